"""The bench in a real browser: by taps, by keys, on a telephone and on a laptop. Needs a Chromium on this machine."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.web.hand import WIDER, Hand, chromium_with, served
from tests.web.visitor import COMPLAINT, tone_with_flutter

pytestmark = pytest.mark.browser

MOST_TAPS = 10


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with chromium_with() as browser:
        yield browser


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    with served(tmp_path / "home") as said:
        yield said


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
        hand.tap(".leave a:has-text('Report')")
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
