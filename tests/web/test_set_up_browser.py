"""Setting up in a real browser, with sound from a file: the number, how it stands, set; and without the script."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.web.hand import Hand, chromium_with, served
from tests.web.seriousness import nothing_serious
from tests.web.test_setting_up import RATE, askew

pytestmark = [pytest.mark.browser, pytest.mark.slow]
ANGLE_ARCMIN = 1.4


@pytest.fixture(scope="module")
def tape(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Tracks 1 and 4 of a tape that plays askew by a known angle: 400 Hz and 10 kHz, 20 s, over and over."""
    path = tmp_path_factory.mktemp("tape") / "askew.wav"
    soundfile.write(path, askew(ANGLE_ARCMIN, 20.0), RATE, subtype="PCM_16")
    return path


@pytest.fixture(scope="module")
def chromium(tape: Path) -> Iterator[Any]:
    sound = f"--use-file-for-fake-audio-capture={tape}"
    with chromium_with("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", sound) as browser:
        yield browser


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("bench") / "home") as said:
        yield said


def to_set_up(hand: Hand) -> None:
    hand.go("main >> text=A machine arrives")
    hand.page.locator("#machine").select_option("four_track")
    hand.go("text=Take it in and go to the checks")
    hand.go("nav >> text=Sound")
    hand.go("text=To setting up")


@pytest.mark.parametrize(("width", "height", "touch"), [(390, 844, True), (1280, 900, False)])
def test_azimuth_is_followed_set_and_undone(chromium: Any, address: str, width: int, height: int, touch: bool) -> None:
    hand = Hand(chromium, address, width, height, touch=touch)
    page = hand.page
    to_set_up(hand)
    nothing_serious(page)
    hand.go(".set-up-name:has-text('Azimuth')")
    if touch:  # two channels where four are wanted
        hand.tap("#live-start")
        page.locator("#live-says:has-text('so track 3, 4 is not read')").wait_for()
        hand.tap("#live-start")
    page.locator("#live-tracks").select_option("1,4")
    hand.tap("#live-start")
    page.locator("#live-stands:has-text('Inside')").wait_for()
    page.locator("#live-trend:has-text('.')").wait_for()
    assert "channel 1 is track 1, channel 2 is track 4" in page.locator("#live-says").inner_text()
    assert "No turn is left open" in page.locator("#live-lines").inner_text()
    nothing_serious(page)
    hand.holds()
    hand.tap("#live-start")
    page.locator("#live-says:has-text('Stopped')").wait_for()
    value, doubt = float(page.locator("#value").input_value()), float(page.locator("#doubt").input_value())
    print(f"live {value} ± {doubt} minutes of arc; the file is made with {ANGLE_ARCMIN}")
    assert abs(value - ANGLE_ARCMIN) <= doubt + 0.1  # half of the last digit that is shown
    hand.go("button:has-text('Set: write it down')")
    assert "● set" in " ".join(page.locator("#step-azimuth").inner_text().split())
    assert hand.complaints == []
    hand.context.close()


def test_a_list_and_its_forms_without_the_script(chromium: Any, address: str, tmp_path: Path) -> None:
    hand = Hand(chromium, address, 360, 640, touch=True, java_script_enabled=False)
    page = hand.page
    to_set_up(hand)
    hand.go(".set-up-name:has-text('Azimuth')")
    page.locator("text=Reading live needs scripts").wait_for()
    capture = tmp_path / "four.wav"
    soundfile.write(capture, askew(0.5, 2.0, (0.0, 0.9e-3, 2.31e-3, 3.21e-3)).astype(np.float32), RATE)
    page.locator("#file").set_input_files(capture)
    hand.go("text=Read it")
    assert "+0.50" in page.locator(".question").inner_text()
    hand.go("button:has-text('Set: write it down')")
    hand.go(".set-up-name:has-text('Bias')")
    page.locator("#why").fill("no sheet")
    hand.go("form.set-up-left button")
    assert "left alone" in page.locator("#step-bias").inner_text()
    assert hand.complaints == []
    hand.context.close()
