"""The bench in a real browser: by taps, by keys, on a telephone and on a laptop. Needs a Chromium on this machine."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.web.visitor import COMPLAINT, tone_with_flutter

pytestmark = pytest.mark.browser

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync", "--no-first-run"]
MOST_TAPS = 10
TOUCHED_PX = 44.0
"""The least height of what a finger is meant to hit."""
TOO_SMALL = """() => [...document.querySelectorAll("button, input:not([type=hidden]), select, textarea, summary, a")]
    .filter((one) => !one.closest("svg") && one.checkVisibility())
    .map((one) => one.closest("label") ?? one)
    .map((one) => [one.textContent.trim() || one.name, one.getBoundingClientRect().height])
    .filter(([, height]) => height < %s)"""
WIDER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("there is no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    with playwright.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Serve a bench as the command does, and give its address."""
    code = "from tapewright.web.serve import serve; serve(0, lambda text: print(text, flush=True))"
    environment = os.environ | {"TAPEWRIGHT_DATA": str(tmp_path / "home")}
    with subprocess.Popen([sys.executable, "-c", code], env=environment, stdout=subprocess.PIPE, text=True) as bench:
        assert bench.stdout
        said = re.search(r"http://[\d.:]+", bench.stdout.readline())
        assert said
        yield said[0]
        bench.terminate()


class Hand:
    """One finger on a page: it counts its taps and sees whether the page holds what it promises."""

    def __init__(self, browser: Any, address: str, width: int, height: int, *, touch: bool, **more: Any) -> None:
        self.context = browser.new_context(viewport={"width": width, "height": height}, has_touch=touch, **more)
        self.page = self.context.new_page()
        self.touch, self.taps = touch, 0
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        self.page.on("console", lambda said: self.complaints.append(said.text) if said.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda asked: self.hosts.add(urlsplit(asked.url).netloc))
        self.page.goto(address)

    def tap(self, what: str, times: int = 1) -> None:
        found = self.page.locator(what).first
        self.taps += times
        if self.touch:
            found.tap()
        else:
            found.click()

    def go(self, what: str) -> None:
        """Tap something that leads to another page, and see that that one holds what it promises."""
        with self.page.expect_navigation():
            self.tap(what)
        self.holds()

    def holds(self) -> None:
        """See that nothing sticks out at the side and that everything can be hit."""
        self.page.wait_for_load_state()
        assert self.page.evaluate(WIDER) <= 0
        assert self.page.evaluate(TOO_SMALL % TOUCHED_PX) == []


@pytest.mark.parametrize(("width", "height", "touch"), [(390, 844, True), (1280, 900, False)])
def test_from_the_complaint_to_the_report(
    chromium: Any, address: str, tmp_path: Path, width: int, height: int, touch: bool
) -> None:
    hand = Hand(chromium, address, width, height, touch=touch)
    page = hand.page
    hand.holds()
    hand.go("main >> text=A machine arrives")

    hand.tap("#complaint")
    page.keyboard.type(COMPLAINT)
    page.locator("#machine").select_option("four_track_starter")
    hand.taps += 2  # a list is opened, and one of it touched
    hand.tap("text=Take it in and go to the checks")
    page.locator("svg.mechanism").wait_for()
    hand.holds()
    hand.tap("#now button:has-text('Noticed')")
    leading = page.locator(".leading")
    leading.wait_for()
    assert leading.inner_text().startswith("capstan belt")
    print(f"{hand.taps} taps from the complaint to the first named part")
    assert hand.taps <= MOST_TAPS
    hand.holds()

    # One answer by the keyboard alone, and taken back by it; the focus is where the check is, so that it is read out.
    question = page.locator(".question").inner_text()
    assert page.evaluate("document.activeElement.id") == "now"
    page.keyboard.press("y")
    page.locator(f"text=Undo: {question[:-1]}").wait_for()
    page.wait_for_load_state()
    page.keyboard.press("u")
    page.locator(f".question:has-text('{question[:30]}')").wait_for()
    page.wait_for_load_state()
    # The same with nothing but Tab and Enter.
    page.locator(".answers button").first.focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator(f"text=Undo: {question[:-1]}").wait_for()

    hand.tap("#q")
    page.keyboard.type("loop")
    page.locator("#found button:has-text('Not there')").first.wait_for()
    assert page.locator(".answers-so-far li").count() == 2, "typing a letter of the keys answers nothing"
    hand.tap("#found button:has-text('Not there')")
    page.locator(".answers-so-far li >> nth=2").wait_for()

    hand.go("nav >> text=Sound")
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"RIFF")
    page.wait_for_load_state("networkidle")
    page.locator("#file").set_input_files(broken)
    page.locator(".refused:has-text('broken.wav')").wait_for()
    assert ["422" in one for one in hand.complaints] == [True], "the browser's own note of the refusal"
    hand.complaints.clear()
    page.wait_for_load_state("networkidle")
    page.locator("#file").set_input_files(tone_with_flutter(tmp_path / "side a.wav"))
    page.locator("text=Test tone of 3150").wait_for(timeout=60_000)
    hand.tap("summary:has-text('Charts')")
    page.locator("svg.chart").first.wait_for(timeout=60_000)
    hand.holds()

    for place in ("Plan", "Proof", "Sheet", "Findings"):
        hand.go(f"nav >> text={place}")
    with hand.context.expect_page() as opened:
        hand.tap("main >> text=Report")
    report = opened.value
    report.locator("text=capstan belt").first.wait_for(state="attached", timeout=60_000)
    assert report.evaluate(WIDER) <= 0
    assert hand.complaints == []
    assert hand.hosts == {urlsplit(address).netloc}
    hand.context.close()


def test_the_smallest_telephone_and_no_script(chromium: Any, address: str, tmp_path: Path) -> None:
    """Every form works without the script."""
    hand = Hand(chromium, address, 360, 640, touch=True, java_script_enabled=False)
    page = hand.page
    hand.go("main >> text=A machine arrives")
    page.locator("#complaint").fill(COMPLAINT)
    page.locator("#machine").select_option("one_motor_portable")
    hand.tap("text=Take it in and go to the checks")
    page.locator("#q").fill("uneven")
    hand.go(".find button")
    hand.tap("#found button:has-text('Noticed')")
    page.locator(".suspects li").first.wait_for()
    hand.tap(".answers button:has-text('No')")
    page.locator(".answers-so-far li >> nth=1").wait_for()
    hand.tap("text=See them on the drawing")
    page.locator("svg.mechanism").wait_for()
    page.go_back()
    hand.go("nav >> text=Sound")
    page.locator("#file").set_input_files(tone_with_flutter(tmp_path / "side a.wav", seconds=3.0))
    hand.tap("text=Add the recording")
    page.locator(".recording h3").wait_for()
    for _ in range(60):
        page.locator(".recording h3").wait_for()
        if page.locator("text=Test tone of 3150").count():
            break
        hand.tap(".recording a:has-text('Look again')")
        page.wait_for_timeout(300)
    page.locator("text=Test tone of 3150").wait_for()
    assert hand.complaints == []
    assert hand.hosts == {urlsplit(address).netloc}
    hand.context.close()


def test_nothing_sticks_out_on_the_smallest_telephone(chromium: Any, address: str) -> None:
    hand = Hand(chromium, address, 360, 640, touch=True)
    hand.holds()
    hand.go("main >> text=A machine arrives")
    hand.page.locator("#complaint").fill("a" * 400)
    hand.tap("text=Take it in and go to the checks")
    hand.page.locator("svg.mechanism").wait_for()
    hand.holds()
    hand.context.close()
