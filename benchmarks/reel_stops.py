"""Whether a film tells which reel coasts on when a wind is stopped: sound brakes and such that do not hold.

Films of fast forward and rewind, each stopped by the key, are drawn of the invented deck with brakes, each of its brake
faults in turn, and watched. Printed is what was said of the reel that gave the tape, and how often that was so.

Run: python -m benchmarks.reel_stops [--films 10] [--seed 5]
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import argparse
import tempfile
from pathlib import Path

import numpy as np

from benchmarks.reel_films import small_camera, some_look
from tapewright.faults.applied import Fault
from tapewright.jobs.guided_minute_film import watch_minute
from tapewright.machine.library import shipped
from tapewright.simulate.film import film
from tapewright.simulate.film_course import FilmStep
from tapewright.words.mechanism_heard import Mark

STEPS = (
    FilmStep("fast_forward", 0.0, 4.0),
    FilmStep("stop", 4.0, 2.0),
    FilmStep("rewind", 6.0, 4.0),
    FilmStep("stop", 10.0, 2.0),
)
FAULTS = (
    None,
    Fault("supply_brake", "not_holding", 1.0),
    Fault("takeup_brake", "not_holding", 1.0),
    Fault("supply_brake", "pad_off", 1.0),
    Fault("takeup_brake", "pad_off", 1.0),
)


def said(number: int, seed: int, folder: Path) -> list[tuple[str, bool, bool, float]]:
    """Draw and watch one film; give reel, what was said of it, what is so, and how sure."""
    machine, fault = shipped("two_motor_deck"), FAULTS[number % len(FAULTS)]
    random, path = np.random.default_rng([seed, number]), folder / f"{number}.mp4"
    camera = small_camera(random)
    film(machine, [fault] if fault else [], path, STEPS, seed=number, position_s=400.0, camera=camera,
         look=some_look(random))  # fmt: skip
    pieces = watch_minute(path, machine, [*(Mark(step.mode, step.at_s) for step in STEPS), Mark("off", 12.0)])
    path.unlink()
    told = [one.watched.heard for one in pieces if one.watched is not None]
    return [
        (reel, bool(sign.present), fault is not None and fault.part == reel.replace("_reel", "_brake"), sign.sure)
        for heard in told if heard is not None
        for sign in heard.evidence.signs
        for reel in ("takeup_reel", "supply_reel") if sign.id == f"stop_{reel}_coasts"
    ]  # fmt: skip


def main() -> None:
    """Try films, and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--films", type=int, default=10)
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args()
    found: list[tuple[str, bool, bool, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(asked.films):
            own = said(number, asked.seed, Path(folder))
            found += own
            print(number, FAULTS[number % len(FAULTS)], *own, flush=True)
    coasts, holds = ([one for one in found if one[2] is so] for so in (True, False))
    print(f"of {2 * asked.films} winds {len(found)} told of the reel that gave the tape")
    print(f"coasts and said so: {sum(one[1] for one in coasts)} of {len(coasts)}")
    print(f"stands in time and said to coast: {sum(one[1] for one in holds)} of {len(holds)}")


if __name__ == "__main__":
    main()
