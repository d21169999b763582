"""Make the pictures of the bench page that the manual shows, of an invented job, in a real Chromium.

Run: python -m docs.screenshots
"""

import io
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from tests.measure import made
from tests.web.hand import Hand, chromium_with, served

PICTURES = Path(__file__).parent / "pictures"
COLOURS = 64
"""As many as flat pages need; a picture is a third of the size then."""
ROLLER = made.Rotor(2.332, 0.20, 1.0)
MOTOR = made.Rotor(8.0, 0.04, 0.3)
LISTENS_MS = 14_000


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


def main() -> None:
    """Make all of them."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        heard = recording(folder / "microphone.wav", 90.0, ROLLER, MOTOR, error_pct=0.5)
        microphone = f"--use-file-for-fake-audio-capture={heard}"
        fake = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", microphone)
        with served(folder / "home") as address, chromium_with(*fake) as browser:
            job = on_a_telephone(Hand(browser, address, 390, 844, touch=True))
            on_a_laptop(Hand(browser, address, 1180, 900, touch=False), job, folder)


if __name__ == "__main__":
    main()
