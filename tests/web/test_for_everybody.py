"""Is every page fit for everybody? Asked of axe (WCAG 2.2 AA), light and dark, on a telephone and on a laptop."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.web.hand import WIDER, Hand, chromium_with, served
from tests.web.seriousness import nothing_serious
from tests.web.visitor import COMPLAINT, tone_with_flutter

pytestmark = [pytest.mark.browser, pytest.mark.slow]

OF_A_JOB = (
    "", "?q=loop", "?part=capstan_belt", "/ticket", "/recordings", "/findings", "/plan", "/proof", "/sheet", "/years",
    "/set-up", "/set-up/clean", "/set-up/azimuth",
)  # fmt: skip
OF_THE_BENCH = ("/", "/?q=nothing+fits", "/arrive", "/who", "/sign-in", "/jobs/in-and-out", "/jobs/nothing")
PAPERS = ("/report", "/hand-over/owner.html", "/hand-over/bench.html")
UNFOLDED = "() => { for (const one of document.querySelectorAll('details')) one.open = true; }"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with chromium_with() as browser:
        yield browser


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str, str]]:
    """A bench with two jobs, one in full and one just begun; gives their addresses after that of the bench."""
    folder = tmp_path_factory.mktemp("bench")
    with served(folder / "home") as address, httpx.Client(base_url=address, headers={"origin": address}) as client:
        yield address, address + full_job(client, folder), address + _begun(client, machine="four_track_starter")


def _begun(client: httpx.Client, **fields: str) -> str:
    return client.post("/jobs", data=fields, timeout=90).headers["location"].removesuffix("/ticket")


def full_job(client: httpx.Client, folder: Path) -> str:
    """Make a job with a tape inside, answers, recordings from before and after, a part that went in, a photo, costs."""
    job = _begun(client, machine="four_track", complaint=COMPLAINT, tape="yes", serial="0017", name="Inge Invented")
    for sign, present in (("play_wavers_regularly", "yes"), ("play_tape_uneven", "yes"), ("play_loop", "no")):
        assert client.post(f"{job}/answer", data={"sign": sign, "present": present}, timeout=90).status_code == 303
    for stage, flutter_hz in (("before", 2.332), ("after", 5.0)):
        sound = tone_with_flutter(folder / "tone.wav", 16.0, flutter_hz=flutter_hz).read_bytes()
        asked = {"name": f"{stage}.wav", "stage": stage, "tone": ""}
        assert client.put(f"{job}/recordings", params=asked, content=sound, timeout=90).status_code == 201
    for _ in range(300):
        if "data-measuring" not in client.get(f"{job}/recordings", timeout=90).text:
            break
    client.post(f"{job}/add", data={"kind": "part", "what": "pinch roller", "part": "pinch_roller", "cost": "9.50"})
    client.post(f"{job}/add", data={"kind": "soak", "what": "ran", "minutes": "60", "passed": "yes"})
    client.post(f"{job}/sheet", data={"approved_limit": "5", "estimate_low": "3", "currency": "EUR"})
    return job


@pytest.mark.parametrize(("width", "height", "touch"), [(390, 844, True), (1280, 900, False)])
@pytest.mark.parametrize("colours", ["light", "dark"])
def test_axe_finds_nothing_serious(
    chromium: Any, bench: tuple[str, str, str], width: int, height: int, touch: bool, colours: str
) -> None:
    address, job, begun = bench
    hand = Hand(chromium, address, width, height, touch=touch, color_scheme=colours)
    page = hand.page
    places = [f"{address}{one}" for one in OF_THE_BENCH] + [
        f"{one}{place}" for one in (job, begun) for place in (*OF_A_JOB, "/minute")
    ]
    for place in [*places, *(f"{job}{paper}" for paper in PAPERS)]:
        page.goto(place)
        page.evaluate(UNFOLDED)
        page.wait_for_load_state("networkidle")
        # Structure is the same in both colours: only what they change is asked a second time.
        nothing_serious(page, () if colours == "light" else ("color-contrast", "link-in-text-block"))
        assert page.evaluate(WIDER) <= 0, place
    assert [one for one in hand.complaints if "404" not in one] == []
    hand.context.close()


def test_what_is_printed(chromium: Any, bench: tuple[str, str, str]) -> None:
    """On paper: black on white whatever the screen has, no buttons, nothing cut off at the side, every heading."""
    _, job, _ = bench
    hand = Hand(chromium, job, 680, 960, touch=False, color_scheme="dark")
    page = hand.page
    for place in OF_A_JOB:
        page.emulate_media(media="screen")
        page.goto(f"{job}{place}")
        page.wait_for_load_state("networkidle")
        headings = page.locator("main :is(h1, h2):not(.unprinted *)").all_inner_texts()
        page.emulate_media(media="print")
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)", place
        assert page.locator("button:visible, input:visible, nav:visible").count() == 0, place
        shown = page.locator("main h1:visible, main h2:visible").all_inner_texts()
        assert [" ".join(one.split()) for one in shown] == [" ".join(one.split()) for one in headings], place
        assert page.evaluate(WIDER) <= 0, place
        nothing_serious(page, ("color-contrast",))
    assert re.search(r"/jobs/[0-9a-f]{16}", page.url)
    hand.context.close()
