"""A whole job in a real browser, from the counter to the paper for the owner, with a recording as its microphone."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tapewright.measure.recording import measure_recording
from tests.measure import made
from tests.web.hand import Hand, by_tab, chromium_with, served, visible_words
from tests.web.seriousness import nothing_serious
from tests.web.visitor import tone_with_flutter

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ERROR_PCT = 0.5
FLUTTER = (made.Rotor(2.332, 0.20, 1.0), made.Rotor(8.0, 0.04, 0.3))
"""The first turns with the pinch roller of the invented machine."""
LIVE_S = 13.0
"""The live window is twelve seconds long."""
MOST_FIELDS, MOST_TAPS_AT_THE_COUNTER, MOST_TAPS_TO_A_PART, MOST_PAGES = 8, 12, 10, 9


@pytest.fixture(scope="module")
def tape(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the microphone hears: a tone of 3150 Hz, 0.5 % fast, with known flutter; long enough never to begin anew."""
    samples, _ = made.tone(150.0, made.rotors_curve(FLUTTER), error_pct=ERROR_PCT, rate_hz=48_000)
    return made.saved(tmp_path_factory.mktemp("tape") / "microphone.wav", samples, 48_000, "PCM_16")


@pytest.fixture(scope="module")
def chromium(tape: Path) -> Iterator[Any]:
    microphone = f"--use-file-for-fake-audio-capture={tape}"
    with chromium_with("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", microphone) as browser:
        yield browser


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    with served(tmp_path / "home") as said:
        yield said


def numbers(line: str) -> tuple[float, float]:
    """Read value and doubt out of a line of the page."""
    found = re.search(r"([+-]?\d+(?:\.\d+)?) ± (\d+(?:\.\d+)?)", line)
    assert found, line
    return float(found[1]), float(found[2])


def at_the_counter(hand: Hand) -> None:
    """Take a machine in, every question of the counter answered, and give its ticket."""
    hand.go("main >> text=A machine arrives")
    hand.fill("#complaint", "The sound wavers")
    hand.tap("label:has([name=tape][value=no])")
    hand.fields += 1
    hand.choose("#machine", "four_track")
    hand.fill("#serial", "0017")
    hand.fill("#name", "Inge Invented")
    hand.fill("#reach", "000 17")
    hand.fill("#accessories", "lid, lead")
    hand.go("button[value=ticket]")
    assert "0017" in hand.page.locator(".ticket dl").inner_text()


def to_a_part(hand: Hand) -> None:
    """Get from the checks to the first named part without typing a letter."""
    hand.go("main >> text=To the checks")
    hand.tap("summary:has-text('In play')")
    hand.tap(".picks button:has-text('The pitch wavers evenly')")
    hand.page.locator(".leading").wait_for()
    hand.holds()


def listen(hand: Hand, tape: Path) -> None:
    """Listen live, hold what is read against what the file says, and record a stretch into the job."""
    page = hand.page
    page.wait_for_load_state("networkidle")
    hand.tap("#live-start")
    first = ".live-channel[data-channel='1']"
    page.locator(f"{first} b:has-text('±')").nth(2).wait_for()
    page.wait_for_timeout(1000.0 * LIVE_S)
    hand.tap("#live-hold")  # so that nothing moves while it is read
    said = visible_words(page, f"{first} .live-readings li")
    remarks = visible_words(page, f"{first} .remarks li")
    assert "echo cancelling are off" in page.locator("#live-says").inner_text()
    nothing_serious(page)
    hand.holds()
    of_file = measure_recording(tape).channels[0]
    wanted = (of_file.speed_error_pct, of_file.weighted_peak_pct, of_file.weighted_rms_pct)
    for line, reading in zip(said, wanted, strict=True):
        live, doubt = numbers(line)
        print(f"live {live} ± {doubt}, file {reading.value} ± {reading.doubt}: {line}; {remarks}")
        assert reading.value is not None
        assert reading.doubt is not None
        assert abs(live - reading.value) <= doubt + reading.doubt
    speed, doubt = numbers(said[0])
    assert abs(speed - ERROR_PCT) <= doubt
    assert "over the limit" in said[1]
    hand.tap("#live-hold")
    hand.tap("#live-record")
    page.locator("#live-record:has-text('Stop recording')").wait_for()
    page.wait_for_timeout(1000.0 * LIVE_S)
    hand.tap("#live-record")
    page.locator("#live-says:has-text('Kept in the job')").wait_for()
    with page.expect_navigation():
        hand.tap("#live-start")
    hand.measured(1)
    kept = page.locator(".recording").first
    assert "before the repair" in kept.inner_text()
    speed, doubt = numbers(kept.locator("tr:has-text('speed error')").first.inner_text())
    assert abs(speed - ERROR_PCT) <= doubt + 1e-6


@pytest.mark.parametrize(("width", "height", "touch"), [(390, 844, True), (1280, 900, False)])
def test_a_whole_job(
    chromium: Any, address: str, tape: Path, tmp_path: Path, width: int, height: int, touch: bool
) -> None:
    hand = Hand(chromium, address, width, height, touch=touch)
    at_the_counter(hand)
    print(f"{hand.fields} fields and {hand.taps} taps from the list to the ticket")
    assert hand.fields <= MOST_FIELDS
    assert hand.taps <= MOST_TAPS_AT_THE_COUNTER
    hand.taps = 0
    to_a_part(hand)
    print(f"{hand.taps} taps from the ticket to the first named part")
    assert hand.taps <= MOST_TAPS_TO_A_PART

    hand.go("nav >> text=Sound")
    listen(hand, tape)
    hand.go("nav >> text=Plan")
    hand.go("text=Done: write it down")
    hand.go("nav >> text=Sound")
    page = hand.page
    page.wait_for_load_state("networkidle")
    assert page.locator("#stage").input_value() == "after", "a part went in, so what comes now is from after"
    hand.put(tone_with_flutter(tmp_path / "after.wav", seconds=20.0, flutter_hz=5.0), "after")

    hand.go("nav >> text=Proof")
    page.locator(".charts-slot svg").nth(1).wait_for()
    hand.holds()
    assert page.locator("tr:has-text('speed error') >> text=better").count() == 1
    hand.go("nav >> text=Sheet")
    page.locator("#status").select_option("ready to collect")
    hand.go("#status ~ button")
    assert "ready to collect" in page.locator(".sheet .muted").first.inner_text()
    hand.go("nav >> text=Proof")
    paper = page.locator("a:has-text('For the owner (PDF)')").get_attribute("href")
    begins = page.evaluate("async (at) => (await (await fetch(at)).text()).slice(0, 5)", paper)
    assert begins == "%PDF-"
    hand.pages.add("the paper")
    print(f"{len(hand.pages)} pages: {sorted(hand.pages)}")
    assert len(hand.pages) <= MOST_PAGES
    assert hand.complaints == []
    assert len(hand.hosts) == 1
    hand.context.close()


def test_from_the_front_page_to_a_part_without_typing(chromium: Any, address: str) -> None:
    """Nothing is known of the machine but its layout, and nobody types a letter."""
    hand = Hand(chromium, address, 390, 844, touch=True)
    hand.go("main >> text=A machine arrives")
    hand.choose("#machine", "four_track_starter")
    hand.go("button[value=bench]")
    hand.tap("summary:has-text('In play')")
    hand.tap(".picks button:has-text('In play the reels race')")
    hand.page.locator(".leading:has-text('capstan belt')").wait_for()
    print(f"{hand.taps} taps from the front page to the first named part")
    assert hand.taps <= MOST_TAPS_TO_A_PART
    hand.context.close()


def test_by_the_keyboard_alone(chromium: Any, address: str, tmp_path: Path) -> None:
    """From the list to the paper with Tab, Enter, arrows and letters; wherever the focus is, that is to be seen."""
    hand = Hand(chromium, address, 1280, 900, touch=False)
    page, keys = hand.page, hand.page.keyboard
    choosers: list[Any] = []
    # From now on: of one that opens before anybody listens nothing is told.
    page.on("filechooser", lambda chooser: choosers.append(chooser))

    def enter(wanted: str) -> None:
        by_tab(page, wanted)
        with page.expect_navigation():
            keys.press("Enter")
        page.wait_for_load_state("networkidle")

    enter("main a[href='/arrive']")
    by_tab(page, "#complaint")
    keys.type("In play the reels race and it gabbles")
    by_tab(page, "[name=tape]")
    keys.press("ArrowLeft")
    assert page.evaluate("document.querySelector('[name=tape]:checked').value") == "no"
    by_tab(page, "#machine")
    keys.type("Invented four")
    assert page.locator("#machine").input_value() == "four_track"
    by_tab(page, "#serial")
    keys.type("0017")
    enter("button[value=ticket]")
    enter("main a.button[href^='/jobs/']")

    by_tab(page, "#now .signs button[value=yes]")
    keys.press("Enter")
    page.locator(".leading").wait_for()
    page.wait_for_load_state("networkidle")
    question = page.locator(".question").inner_text()
    keys.press("n")
    page.locator(f"text=Undo: {question[:-1]}").wait_for()
    page.wait_for_load_state("networkidle")
    keys.press("u")
    page.locator(f".question:has-text('{question[:30]}')").wait_for()
    page.wait_for_load_state("networkidle")
    keys.press("/")
    keys.type("loop")
    page.locator("#found button").first.wait_for()
    by_tab(page, "#found button[value=no]")
    keys.press("Enter")
    page.locator(".answers-so-far li >> nth=1").wait_for()
    page.wait_for_load_state("networkidle")

    # A part of the drawing is reached and opened like any other link.
    page.locator("svg.mechanism a").first.wait_for()
    by_tab(page, "svg.mechanism a", back=True)

    enter("nav a[href$='/recordings']")
    for stage in ("before", "after"):
        by_tab(page, "#stage")
        keys.type(stage)
        by_tab(page, "#file")
        keys.press("Enter")
        for _ in range(100):
            page.wait_for_timeout(50)
            if choosers:
                break
        flutter_hz = 8.0 if stage == "before" else 5.0
        choosers.pop().set_files(tone_with_flutter(tmp_path / f"{stage}.wav", 20.0, flutter_hz=flutter_hz))
        hand.measured(1 if stage == "before" else 2)
    enter("nav a[href$='/proof']")
    page.locator(".charts-slot svg").first.wait_for()
    by_tab(page, "a[href$='owner.pdf']")
    by_tab(page, "a[href$='owner.html']")
    with hand.context.expect_page() as opened:
        keys.press("Enter")
    opened.value.locator("text=0017").first.wait_for()
    assert hand.complaints == []
    hand.context.close()
