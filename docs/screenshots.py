"""Make the pictures of the bench page that the manual shows, of an invented job, in a real Chromium.

Run: python -m docs.screenshots [job] [minute] [set-up] [sequence]
"""

import io
import sys
import tempfile
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from PIL import Image

from tapewright.measure.sequence_plan import planned_sequence
from tests.measure import made
from tests.measure.played import Deck, noisy, played, saved
from tests.web.hand import Hand, chromium_with, served
from tests.web.test_minute_browser import begun
from tests.web.test_set_up_browser import to_set_up
from tests.web.test_setting_up import RATE, askew

PICTURES = Path(__file__).parent / "pictures"
COLOURS = 64
"""As many as flat pages need; a picture is a third of the size then."""
ROLLER = made.Rotor(2.332, 0.20, 1.0)
MOTOR = made.Rotor(8.0, 0.04, 0.3)
LISTENS_MS = 14_000
ASKEW_ARCMIN = 1.4
LATE_S = {"before": 40e-6, "after": 2e-6}
"""How much later the second track is than the first."""


def recording(path: Path, seconds: float, *rotors: made.Rotor, error_pct: float) -> Path:
    """Make a recording of a test tone that such rotors waver."""
    samples, _ = made.tone(seconds, made.rotors_curve(rotors), error_pct=error_pct, rate_hz=48_000)
    return made.saved(path, samples, 48_000, "PCM_16")


def keep(page: Any, name: str) -> None:
    """Write what is in the window as a small PNG."""
    seen = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    seen.quantize(COLOURS, dither=Image.Dither.NONE).save(PICTURES / name, optimize=True)
    print(f"{name}: {(PICTURES / name).stat().st_size // 1000} kB", flush=True)


def on_a_telephone(hand: Hand) -> str:
    """Take a machine in, look at the checks, listen live; give the job's address."""
    page = hand.page
    hand.go("main >> text=A machine arrives")
    page.locator("#complaint").fill("The sound wavers, on every cassette")
    page.locator("#machine").select_option("four_track")
    page.locator("#serial").fill("0017")
    page.locator("#name").fill("Inge Invented")
    hand.go("button[value=bench]")
    job = str(page.url)
    page.locator("#picks-h ~ details summary:has-text('In play')").first.click()
    hand.tap(".picks button:has-text('The pitch wavers evenly')")
    page.locator(".leading").wait_for()
    page.wait_for_load_state("networkidle")
    page.evaluate("scrollTo(0, 0)")
    keep(page, "checks-telephone.png")
    page.goto(f"{job.partition('?')[0].partition('#')[0]}/recordings")
    page.wait_for_load_state("networkidle")
    hand.tap("#live-start")
    page.locator(".live-channel b:has-text('±')").nth(2).wait_for()
    page.wait_for_timeout(LISTENS_MS)
    page.evaluate("document.getElementById('live-channels').scrollIntoView()")
    keep(page, "live-telephone.png")
    hand.tap("#live-start")
    return job.partition("?")[0].partition("#")[0]


def on_a_laptop(hand: Hand, job: str, folder: Path) -> None:
    """Put in recordings from before and after, and look at the proof."""
    page = hand.page
    page.goto(f"{job}/recordings")
    page.wait_for_load_state("networkidle")
    hand.put(recording(folder / "before.wav", 40.0, ROLLER, MOTOR, error_pct=0.5), "before")
    hand.put(recording(folder / "after.wav", 40.0, MOTOR, error_pct=0.1), "after")
    page.goto(f"{job}/proof")
    page.locator(".charts-slot svg").nth(1).wait_for()
    page.wait_for_load_state("networkidle")
    keep(page, "proof.png")
    page.goto(job)
    page.locator("svg.mechanism").wait_for()
    page.wait_for_load_state("networkidle")
    keep(page, "checks.png")


def a_minute(hand: Hand) -> None:
    """Begin a guided minute, and go on to play."""
    page = hand.page
    begun(hand)
    hand.tap("label:has(#minute-ready)")
    hand.tap("#minute-start")
    for number in range(1, 4):
        page.locator(f"#minute-where:has-text('Step {number} of')").wait_for()
        if page.locator("#minute-next:has-text('Done: now')").count():
            hand.tap("#minute-next")
        hand.tap("#minute-next")
    page.locator("#minute-where:has-text('Step 4 of')").wait_for()
    page.evaluate("document.getElementById('minute').scrollIntoView()")
    keep(page, "minute-telephone.png")
    hand.tap("#minute-abort")


def a_step(hand: Hand) -> None:
    """Follow the azimuth of a tape that plays askew."""
    page = hand.page
    to_set_up(hand)
    hand.go(".set-up-name:has-text('Azimuth')")
    page.locator("#live-tracks").select_option("1,4")
    hand.tap("#live-start")
    page.locator("#live-stands:has-text('Inside')").wait_for()
    page.wait_for_timeout(LISTENS_MS)
    page.evaluate("document.getElementById('live-says').scrollIntoView()")
    page.evaluate("scrollBy(0, -130)")
    keep(page, "set-up-telephone.png")
    hand.tap("#live-start")


def a_sequence(hand: Hand, folder: Path) -> None:
    """Put in a test sequence from before and one from after, and look at the proof."""
    page, sequence = hand.page, planned_sequence(tracks=2)
    hand.go("main >> text=A machine arrives")
    page.locator("#machine").select_option("two_motor_deck")
    hand.go("text=Take it in and go to the checks")
    job = page.url.partition("?")[0].partition("#")[0]
    page.goto(f"{job}/recordings")
    page.wait_for_load_state("networkidle")
    for stage, late_s in LATE_S.items():
        sound = noisy(played(sequence, Deck(azimuth_s=(0.0, late_s))), 40.0, np.random.default_rng(1))
        hand.put(saved(folder / f"{stage}.wav", sound), stage)
    page.goto(f"{job}/proof")
    page.wait_for_load_state("networkidle")
    page.evaluate("document.getElementById('heads-h').scrollIntoView()")
    page.evaluate("scrollBy(0, -80)")
    keep(page, "proof-sequence.png")


def main(wanted: list[str]) -> None:
    """Make those that are wanted, or all of them."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        heard = recording(folder / "microphone.wav", 90.0, ROLLER, MOTOR, error_pct=0.5)
        tape = folder / "askew.wav"
        soundfile.write(tape, askew(ASKEW_ARCMIN, 20.0), RATE, subtype="PCM_16")
        with served(folder / "home") as address:
            with with_microphone(heard) as browser:
                if not wanted or "job" in wanted:
                    job = on_a_telephone(Hand(browser, address, 390, 844, touch=True))
                    on_a_laptop(Hand(browser, address, 1180, 900, touch=False), job, folder)
                if not wanted or "minute" in wanted:
                    a_minute(Hand(browser, address, 390, 844, touch=True))
                if not wanted or "sequence" in wanted:
                    a_sequence(Hand(browser, address, 1180, 900, touch=False), folder)
            if not wanted or "set-up" in wanted:
                with with_microphone(tape) as browser:
                    a_step(Hand(browser, address, 390, 844, touch=True))


def with_microphone(sound: Path) -> AbstractContextManager[Any]:
    """Start a Chromium that hears a file, over and over."""
    return chromium_with(
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={sound}",
    )


if __name__ == "__main__":
    main(sys.argv[1:])
