"""A guided minute in a real browser: led through with a recording as its microphone, kept, and taken into the job."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tests.web.hand import WIDER, Hand, chromium_with, served
from tests.web.minutes import sound_file
from tests.web.seriousness import nothing_serious

pytestmark = [pytest.mark.browser, pytest.mark.slow]

MACHINE = "four_track"
STEPS = minute_steps(shipped(MACHINE))


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    sound = sound_file(tmp_path_factory.mktemp("room") / "microphone.wav", 60.0, 48_000)
    microphone = f"--use-file-for-fake-audio-capture={sound}"
    with chromium_with("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", microphone) as browser:
        yield browser


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    with served(tmp_path / "home") as said:
        yield said


def begun(hand: Hand) -> None:
    hand.go("main >> text=A machine arrives")
    hand.choose("#machine", MACHINE)
    hand.fill("#complaint", "It squeals")
    hand.go("button[value=ticket]")
    hand.go("main >> text=To the checks")
    hand.go("nav >> text=Sound")
    hand.go("text=To the guided minute")


@pytest.mark.parametrize(
    ("width", "height", "touch", "colours"), [(390, 844, True, "light"), (1280, 900, False, "dark")]
)
def test_led_through_a_minute(
    chromium: Any, address: str, tmp_path: Path, width: int, height: int, touch: bool, colours: str
) -> None:
    """Every step in turn, gone on from early; the first key by its own countdown; the machine does not rewind."""
    hand = Hand(chromium, address, width, height, touch=touch, color_scheme=colours)
    page = hand.page
    begun(hand)
    nothing_serious(page)
    assert page.evaluate(WIDER) <= 0
    assert page.locator("#minute-start").is_disabled(), "the owner's tape is asked for first"
    hand.tap("label:has(#minute-ready)")
    hand.tap("label:has(#minute-film)")
    hand.tap("#minute-start")
    says = page.locator("#minute-says")
    for number, step in enumerate(STEPS):
        page.locator(f"#minute-where:has-text('Step {number + 1} of')").wait_for()
        assert step.says in says.inner_text()
        for caution in step.cautions:
            assert caution in page.locator("#minute-cautions").inner_text()
        if page.locator("#minute-next:has-text('Done: now')").count():
            hand.tap("#minute-next")
        if number == 0:
            page.wait_for_timeout(1500)
            nothing_serious(page)
            hand.holds()
            page.screenshot(path=tmp_path / f"running-{width}.png")
        if step.mode == "play":
            hand.tap("#minute-pause")
            assert page.locator("#minute-pause").get_attribute("aria-pressed") == "true"
            hand.tap("#minute-pause")
        hand.tap("#minute-failed" if step.mode == "rewind" else "#minute-next")
    page.locator("article.recording").nth(1).wait_for()
    shown = page.locator("#kept").inner_text()
    assert "it did not do what it should in rewind" in shown
    assert "film" in shown
    nothing_serious(page)
    assert page.evaluate(WIDER) <= 0
    page.screenshot(path=tmp_path / f"kept-{width}.png", full_page=True)
    assert hand.complaints == []
    hand.context.close()


def test_breaking_off_keeps_nothing(chromium: Any, address: str) -> None:
    hand = Hand(chromium, address, 390, 844, touch=True)
    begun(hand)
    hand.tap("label:has(#minute-ready)")
    hand.tap("#minute-start")
    hand.page.locator("#minute-now").wait_for()
    hand.tap("#minute-abort")
    hand.page.locator("#minute-status:has-text('nothing was kept')").wait_for()
    hand.page.reload()
    assert "None yet." in hand.page.locator("#kept").inner_text()
    hand.context.close()
