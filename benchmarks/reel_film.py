"""Watch drawn films of a cassette's hubs: how long it takes, how far rates are off, which events are found.

Run: python benchmarks/reel_film.py [films] [--long]

The films are drawn by `tapewright.simulate.film`, which shares no code with what watches them. Printed: for films of
random cameras and looks the worst error of a mean rate, how often its interval held, slips of more than 10 % that last
0.3 s found and reported falsely, films without a reel refused; with --long the time one minute of 1080p at 30 frames a
second takes against its playing time.
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from tapewright.machine.library import shipped
from tapewright.measure.film_watching import watch_reels
from tapewright.simulate.film import film, film_without_reel
from tapewright.simulate.film_camera import Camera
from tapewright.simulate.film_drive import Hesitation
from tapewright.simulate.film_look import Look
from tapewright.simulate.film_scenes import NO_REELS
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reels_seen import ReelsSeen

MACHINES = ("two_motor_deck", "one_motor_portable", "flywheel_cam_deck", "direct_reels_deck")
SECONDS = 8.0


def camera(chance: np.random.Generator) -> Camera:
    """Draw a phone and how it is held."""
    size = ((640, 360), (1280, 720))[int(chance.integers(2))]
    rate = float(chance.choice([24.0, 25.0, 30.0, 60.0]))
    exposure = min(float(chance.choice([1 / 50, 1 / 100, 1 / 250])), 0.9 / rate)
    return Camera(
        *size, rate_hz=rate, exposure_s=exposure, row_s=0.018 / size[1],
        fills=float(chance.uniform(0.6, 0.95)), tilt_deg=float(chance.uniform(-20, 20)),
        turn_deg=float(chance.uniform(-20, 20)), roll_deg=float(chance.uniform(-8, 8)),
        shake_px=float(chance.choice([0.0, 1.0, 3.0])), flicker=float(chance.choice([0.0, 0.05, 0.15])),
        noise=float(chance.choice([0.005, 0.015, 0.03])), jitter_s=float(chance.choice([0.0, 5e-4, 3e-3])),
        drops=float(chance.choice([0.0, 0.0, 0.05])), rotation=int(chance.choice([0, 0, 90, 180])),
    )  # fmt: skip


def look(chance: np.random.Generator) -> Look:
    """Draw a cassette."""
    return Look(
        shell="clear" if chance.random() < 0.3 else "window", hub=float(chance.uniform(0.5, 0.9)),
        mark=float(chance.choice([0.0, 0.0, 0.15])), glare=float(chance.choice([0.0, 0.3])),
        gradient=float(chance.uniform(0.0, 0.4)),
    )  # fmt: skip


def overlap(start_s: float, end_s: float, seen: ReelsSeen, name: str) -> bool:
    """Say whether a shortfall of a hub is reported about then."""
    return any(
        event.name == name and event.kind in ("slips", "hesitates", "stands", "lags")
        and event.start_s < end_s + 0.2 and event.end_s > start_s - 0.2
        for event in seen.events
    )  # fmt: skip


def trial(films: int, folder: Path) -> None:
    """Watch films of random cameras, each with one shortfall or none."""
    errors, held, found, wanted, false, refused, spent, played = [], [], 0, 0, 0, 0, 0.0, 0.0
    for number in range(films):
        chance = np.random.default_rng([20260, number])
        given: tuple[Hesitation, ...] = ()
        if number % 2:
            given = (Hesitation(float(chance.uniform(2.0, 5.0)), float(chance.uniform(0.3, 1.0)),
                                float(chance.uniform(0.11, 0.6))),)  # fmt: skip
        seen_by, looks = camera(chance), look(chance)
        path = folder / f"{number}.mp4"
        truth = film(shipped(MACHINES[number % len(MACHINES)]), (), path, "play", SECONDS, number,
                     float(chance.uniform(60, 1500)), seen_by, looks, given, running=True)  # fmt: skip
        begin = time.perf_counter()
        try:
            seen = watch_reels(path)
        except InputAtFaultError as error:
            refused += 1
            print(number, "REFUSED", error, seen_by, looks)
            continue
        finally:
            spent += time.perf_counter() - begin
            played += SECONDS
            path.unlink()
        for hub in truth.hubs:
            reading = seen.mean_rate_hz[hub.name]
            if reading.value is None or hub.moving_rate_hz is None:
                continue
            error = reading.value / hub.mean_rate_hz - 1.0
            errors.append(abs(error))
            held.append(abs(reading.value - hub.mean_rate_hz) <= (reading.doubt or 0.0))
            if abs(error) > 0.002:
                print(number, hub.name, f"off by {100 * error:.2f} %", seen_by, looks, seen.aliasing)
        for event in truth.events:
            falls_short = event.kind in ("hesitates", "slips", "lags", "stands") and event.share > 0.1
            if falls_short and event.end_s - event.start_s >= 0.29:
                wanted += 1
                hit = overlap(event.start_s, event.end_s, seen, event.hub)
                found += hit
                if not hit:
                    print(number, "MISSED", event, seen.events, seen_by)
        for event in seen.events:
            if event.kind in ("slips", "hesitates", "stands", "lags"):
                told = any(one.start_s < event.end_s + 0.3 and one.end_s > event.start_s - 0.3 for one in truth.events)
                false += not told
                if not told:
                    print(number, "FALSE", event, seen_by)
    print(f"films {films}, refused though a reel is there: {refused}")
    print(f"mean rate: worst {100 * max(errors):.4f} %, median {100 * float(np.median(errors)):.4f} %, "
          f"within 0.2 %: {np.mean(np.array(errors) < 0.002):.3f}, intervals held: {np.mean(held):.3f}")  # fmt: skip
    print(f"shortfalls over 10 % and 0.3 s: {found} of {wanted} found; reported falsely: {false}")
    print(f"watching took {spent / played:.3f} of the playing time")


def without_reel(folder: Path) -> None:
    """Watch films in which there is none."""
    refused = 0
    for number, what in enumerate((*NO_REELS, *NO_REELS)):
        shake = 0.5 if number < len(NO_REELS) else 3.0
        film_without_reel(what, folder / "none.mp4", 5.0, number, Camera(640, 360, shake_px=shake, noise=0.02))
        try:
            watch_reels(folder / "none.mp4")
        except InputAtFaultError:
            refused += 1
    print(f"films without a reel: {refused} of {2 * len(NO_REELS)} refused")


def long(folder: Path) -> None:
    """Watch one minute of 1080p at 30 frames a second."""
    film(shipped("two_motor_deck"), (), folder / "long.mp4", "play", 60.0, 7, 300.0,
         Camera(1920, 1080, shake_px=1.0, noise=0.01, flicker=0.05), running=True)  # fmt: skip
    begin = time.perf_counter()
    watch_reels(folder / "long.mp4")
    print(f"one minute of 1920 by 1080: {(time.perf_counter() - begin) / 60.0:.3f} of the playing time")


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("films", nargs="?", type=int, default=40)
    parser.add_argument("--long", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if options.films:
            trial(options.films, Path(name))
            without_reel(Path(name))
        if options.long:
            long(Path(name))


if __name__ == "__main__":
    main()
