"""Whether drawn films of a cassette's hubs are read right: rates, moments in which a reel falls short, refusals.

Films of every shipped layout in turn are drawn with a phone's faults (motion blur, perspective, sway, lamps, rolling
shutter, noise, missing frames, compression) and read with `watch_reels`, which knows nothing of how they were made:
play with moments in which the take-up falls short (10 to 60 per cent, 0.3 to 2 s), play without any, fast winds, and
films without a reel. All draws come from a seed. Printed are the errors of the mean rates and how often the interval
holds them, moments found and false ones, refusals, and the time a film takes to draw and to read.

Run: python benchmarks/reel_films.py [--films 24] [--seconds 8] [--processes 2] [--first 0] [--minutes M] [--long]
[--keep FOLDER]

The default takes some minutes on two cores; --films 300 is the whole trial. --minutes stops drawing new films after so
long. --long also reads one minute of 1080p at 30 frames a second and prints the time it took over its playing time.
--keep leaves the films and their truths.
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tapewright.jobs.reels_seen import expected_reel_rates
from tapewright.machine.library import shipped, shipped_ids
from tapewright.measure.film_watching import watch_reels
from tapewright.simulate.film import FilmTruth, film, film_without_reel
from tapewright.simulate.film_camera import Camera
from tapewright.simulate.film_course import ReelCourse, mode_course
from tapewright.simulate.film_drive import Hesitation
from tapewright.simulate.film_look import Look
from tapewright.simulate.film_scenes import NO_REELS
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reels_seen import ReelsSeen

SHORT = ("slips", "hesitates", "stands", "lags")
KINDS = ("slips", "slips", "winds", "slips", "plain", "slips", "no reel", "slips", "slips", "winds", "plain", "no reel")
SIZES = ((1280, 720), (1280, 720), (960, 540), (960, 540), (1280, 720), (1920, 1080))
AIM_PCT = 0.2
SEED = 2000


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one film.

    Arguments:
        number, kind, says: which film, and how it was filmed.
        refused: the reason, where it was refused.
        errors_pct: of each hub's mean rate.
        holds: whether its interval holds the truth.
        no_rate: hubs without a mean rate, or that were not found.
        open: whether the film's own words leave open which of several rates it is.
        wanted, found, false: moments.
        notes: what went wrong, sentences.
        drawn_s, read_s: processor time.
    """

    number: int
    kind: str
    says: str
    refused: str
    errors_pct: tuple[float, ...]
    holds: tuple[bool, ...]
    no_rate: int
    open: bool
    wanted: int
    found: int
    false: int
    notes: tuple[str, ...]
    drawn_s: float
    read_s: float
    frames: int


def small_camera(rng: np.random.Generator) -> Camera:
    """Draw a phone whose films are small and few frames a second, so that many can be drawn and watched."""
    return replace(some_camera(rng), width=960, height=540, rate_hz=24.0, exposure_s=1 / 100, row_s=25e-6)


def some_camera(rng: np.random.Generator) -> Camera:
    """Draw a phone, how it is held and in which light; ranges from memory."""
    width, height = SIZES[rng.integers(len(SIZES))]
    rate = float(rng.choice([24.0, 30.0, 30.0, 60.0]))
    return Camera(
        width=width,
        height=height,
        rate_hz=rate,
        exposure_s=float(min(rng.choice([1 / 50, 1 / 100, 1 / 120, 1 / 250]), 0.9 / rate)),
        row_s=float(rng.uniform(8e-3, 28e-3) / height),
        fills=float(rng.uniform(0.55, 1.0)),
        tilt_deg=float(rng.uniform(-18, 18)),
        turn_deg=float(rng.uniform(-18, 18)),
        roll_deg=float(rng.uniform(-12, 12)),
        aside_px=(float(rng.uniform(-40, 40)), float(rng.uniform(-30, 30))),
        shake_px=float(rng.choice([0.0, 0.5, 1.5, 3.0])),
        mains_hz=float(rng.choice([50.0, 60.0])),
        flicker=float(rng.choice([0.0, 0.05, 0.15])),
        noise=float(rng.uniform(0.004, 0.03)),
        jitter_s=float(rng.choice([0.0, 5e-4, 3e-3])),
        stamp_error_s=float(rng.choice([0.0, 0.0, 5e-4])),
        drops=float(rng.choice([0.0, 0.0, 0.03])),
        rotation=int(rng.choice([0, 0, 0, 90, 270])),
    )


def some_look(rng: np.random.Generator) -> Look:
    """Draw a cassette."""
    return Look(
        shell="clear" if rng.random() < 0.4 else "window",
        fins=int(rng.choice([6, 6, 3])),
        hub=float(rng.choice([0.8, 0.8, 0.55, 0.35])),
        shell_light=float(rng.uniform(0.12, 0.7)),
        mark=float(rng.choice([0.0, 0.3, 0.6])),
        texture=float(rng.uniform(0.01, 0.05)),
        glare=float(rng.choice([0.0, 0.0, 0.4])),
        gradient=float(rng.uniform(0.0, 0.4)),
    )


def some_moments(rng: np.random.Generator, seconds: float) -> tuple[Hesitation, ...]:
    """Draw one to three moments that do not meet, none at the ends."""
    found: list[Hesitation] = []
    at = float(rng.uniform(1.2, 2.5))
    while len(found) < 3:
        one = Hesitation(at, float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.1, 0.6)))
        if at + one.lasts_s > seconds - 1.0:
            break
        found.append(one)
        at += one.lasts_s * 1.8 + float(rng.uniform(1.0, 2.0))  # what hangs loose is taken in first
    return tuple(found)


def one_film(number: int, seconds: float, folder: str) -> Result:
    """Draw one film, read it, and hold what was read against the truth."""
    rng = np.random.default_rng([SEED, number])
    kind, path = KINDS[number % len(KINDS)], Path(folder) / f"film{number:04d}.mp4"
    camera, look, quality = some_camera(rng), some_look(rng), int(rng.integers(22, 33))
    said = f"{camera.width}x{camera.height}@{camera.rate_hz:g} r{camera.rotation} fills {camera.fills:.2f} "
    said += (
        f"sway {camera.shake_px:g} noise {camera.noise:.3f} crf {quality} {look.shell} hub {look.hub} fins {look.fins}"
    )
    began = time.process_time()
    if kind == "no reel":
        what = NO_REELS[
            number // len(KINDS) % len(NO_REELS) if number % 2 else (number // len(KINDS) + 1) % len(NO_REELS)
        ]
        truth = film_without_reel(what, path, seconds, number, camera, quality)
        drawn = time.process_time() - began
        return judged(number, f"no reel: {what}", said, truth, None, path, (), drawn)
    ids = [one for one in shipped_ids() if not one.endswith("_starter")]
    machine = shipped(ids[number % len(ids)])
    mode = "play" if kind != "winds" else str(rng.choice(["fast_forward", "rewind"]))
    side_s = 85.7 / machine.tape.speed_m_per_s
    position = float(rng.uniform(0.0, 0.9) * side_s) if kind != "winds" else float(rng.uniform(0.35, 0.6) * side_s)
    moments = some_moments(rng, seconds) if kind == "slips" else ()
    truth = film(machine, [], path, mode, seconds, number, position, camera, look, moments, True, quality)
    drawn = time.process_time() - began
    course = mode_course(machine, mode, seconds + 0.5, number, position, moments, True)
    return judged(
        number, kind, f"{machine.id} {mode} {said}", truth, course, path, expected_reel_rates(machine, mode), drawn
    )


def judged(
    number: int, kind: str, says: str, truth: FilmTruth, course: ReelCourse | None, path: Path,
    may_turn: tuple[tuple[float, float], ...], drawn: float,
) -> Result:  # fmt: skip
    """Read a film and hold it against the truth."""
    began = time.process_time()
    try:
        seen = watch_reels(path, None, may_turn, "")
    except InputAtFaultError as error:
        read = time.process_time() - began
        return Result(
            number, kind, says, str(error), (), (), len(truth.hubs), False, len(moments_of(truth)), 0, 0, (str(error),),
            drawn, read, truth.frames,
        )  # fmt: skip
    read = time.process_time() - began
    notes: list[str] = []
    unsure = any(text.startswith("Whether the ") for text in seen.cannot_say)
    errors, holds, missing = means(seen, truth, course, notes)
    found, false = moments_found(seen, truth, notes)
    wanted = len(moments_of(truth))
    return Result(
        number, kind, says, "", tuple(errors), tuple(holds), missing, unsure, wanted, found, false, tuple(notes), drawn,
        read, truth.frames,
    )  # fmt: skip


def means(
    seen: ReelsSeen, truth: FilmTruth, course: ReelCourse | None, notes: list[str]
) -> tuple[list[float], list[bool], int]:
    """Hold mean rates against the truth over the same time."""
    errors, holds, missing = [], [], 0
    for hub in truth.hubs:
        reading = seen.mean_rate_hz.get(hub.name)
        near = [
            one for one in seen.hubs
            if one.name == hub.name
            and np.hypot(one.centre_x - hub.centre_x, one.centre_y - hub.centre_y) < hub.radius_px
        ]  # fmt: skip
        if reading is None or reading.value is None or course is None or not near:
            missing += 1
            notes.append(f"{hub.name}: no rate, or not where the hub is")
            continue
        turned = course.turns_at(hub.name, np.array(over(reading.conditions, truth.duration_s)))
        right = float(turned[1] - turned[0]) / float(np.diff(over(reading.conditions, truth.duration_s))[0])
        errors.append(100.0 * (reading.value - right) / abs(right))
        holds.append(abs(reading.value - right) <= (reading.doubt or 0.0))
        if abs(errors[-1]) > AIM_PCT:
            notes.append(f"{hub.name}: read {reading.value:.4f} Hz ± {reading.doubt or 0:.4f}, was {right:.4f}")
        elif not holds[-1]:
            notes.append(f"{hub.name}: off {errors[-1]:+.3f} %, doubt {100 * (reading.doubt or 0) / abs(right):.3f} %")
    return errors, holds, missing


def over(conditions: str, duration_s: float) -> tuple[float, float]:
    """Read "1.2 to 8.9 s" off a reading's conditions; the whole film where it says nothing."""
    words = conditions.replace(";", " ").split()
    if "to" in words:
        try:
            return float(words[words.index("to") - 1]), float(words[words.index("to") + 1])
        except ValueError:
            pass
    return 0.0, duration_s


def moments_of(truth: FilmTruth) -> list[tuple[str, float, float, float]]:
    return [(e.hub, e.start_s, e.end_s, e.share) for e in truth.events if e.kind in SHORT]


def moments_found(seen: ReelsSeen, truth: FilmTruth, notes: list[str]) -> tuple[int, int]:
    """Count true moments that were found, and what was found where there was none."""
    told = [event for event in seen.events if event.kind in SHORT]
    found = 0
    for hub, start, end, share in moments_of(truth):
        hit = any(one.start_s < end and one.end_s > start and one.name == hub for one in told)
        found += hit
        if not hit:
            notes.append(f"missed: {hub} {start:.2f} to {end:.2f} s, {100 * share:.0f} %")
    false = 0
    for one in told:
        if not any(start - 0.2 < one.end_s and end + 0.2 > one.start_s for _, start, end, _ in moments_of(truth)):
            false += 1
            notes.append(
                f"false: {one.kind} {one.name} {one.start_s:.2f} to {one.end_s:.2f} s, {100 * one.share:.0f} %"
            )
    return found, false


def told(one: Result) -> None:
    """Print what came of one film, as soon as it is known."""
    errors = " ".join(f"{error:+.3f} %" for error in one.errors_pct)
    print(f"film {one.number} ({one.kind}): {one.says}", flush=True)
    outcome = (
        "refused" if one.refused else f"rates off {errors}; moments {one.found} of {one.wanted}, {one.false} false"
    )
    print(f"    {outcome}; read in {one.read_s:.1f} s", flush=True)
    for note in one.notes:
        print(f"    {note}", flush=True)


def report(results: list[Result]) -> None:
    """Print what came of all films."""
    for kind in ("slips", "plain", "winds"):
        some = [one for one in results if one.kind == kind]
        sizes = np.abs([error for one in some if not one.open for error in one.errors_pct])
        if not some:
            continue
        held = [ok for one in some if not one.open for ok in one.holds]
        print(f"\n{kind}: {len(some)} films, {sum(bool(one.refused) for one in some)} refused, "
              f"{sum(one.no_rate for one in some)} of {2 * len(some)} hubs without a rate, "
              f"{sum(one.open for one in some)} left open by teeth that look alike")  # fmt: skip
        if len(sizes):
            quarter = np.percentile(sizes, [50, 90, 95, 100])
            print(f"  mean rate: error, middle {quarter[0]:.3f} %, 90 % within {quarter[1]:.3f} %, 95 % within "
                  f"{quarter[2]:.3f} %, worst {quarter[3]:.3f} %; within {AIM_PCT} %: "
                  f"{np.sum(sizes <= AIM_PCT)} of {len(sizes)}; interval holds {sum(held)} of {len(held)}")  # fmt: skip
        if kind != "winds":
            wanted = sum(one.wanted for one in some)
            found, false = sum(one.found for one in some), sum(one.false for one in some)
            print(f"  moments found: {found} of {wanted}; false ones: {false} in {len(some)} films")
        else:
            print(f"  false moments: {sum(one.false for one in some)} in {len(some)} films")
    without = [one for one in results if one.kind.startswith("no reel")]
    print(f"\nno reel: {sum(bool(one.refused) for one in without)} of {len(without)} refused")
    drawn = sum(one.drawn_s for one in results)
    read = sum(one.read_s for one in results)
    frames = sum(one.frames for one in results)
    print(f"time: drawing {1000 * drawn / frames:.0f} ms a frame, reading {1000 * read / frames:.0f} ms a frame, "
          f"{read / len(results):.1f} s a film (processor time)")  # fmt: skip


def long_film(folder: str) -> None:
    """Read one minute of 1080p at 30 frames a second: wall and processor time over the playing time."""
    camera = Camera(1920, 1080, shake_px=1.0, noise=0.01, flicker=0.05)
    path = Path(folder) / "long.mp4"
    film(shipped("two_motor_deck"), (), path, "play", 60.0, 7, 300.0, camera, running=True)
    began, busy = time.perf_counter(), time.process_time()
    watch_reels(path)
    took, worked = (time.perf_counter() - began) / 60.0, (time.process_time() - busy) / 60.0
    print(f"\none minute of 1920 by 1080 at 30 frames a second: read in {took:.3f} of its playing time")
    print(f"  processor time {worked:.3f} of it")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--films", type=int, default=24)
    parser.add_argument("--seconds", type=float, default=8.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch, ProcessPoolExecutor(options.processes) as pool:
        folder = str(options.keep or scratch)
        until = time.monotonic() + 60.0 * options.minutes
        numbers = range(options.first, options.first + options.films)
        results = []
        # As many films at a time as there are processes, so that the clock can end it.
        for begin in range(0, len(numbers), options.processes):
            if time.monotonic() > until:
                break
            some = numbers[begin : begin + options.processes]
            for one in pool.map(one_film, some, [options.seconds] * len(some), [folder] * len(some)):
                results.append(one)
                told(one)
        report(results)
        if options.long:
            long_film(folder)


if __name__ == "__main__":
    main()
