"""How sure a motor may be said to run: constants fitted on some invented minutes, and held against others.

Each minute is listened to twice: with its own machine's description, and with that of another machine, which stands for
all that a description does not know; the latter count as much as `--strangers` says. A run is so where the motor that
it is named for turned meanwhile; with another machine's description, where any motor turned at its rate.

Run: python -m benchmarks.mechanism_sureness [--first SEED] [--minutes N] [--folder F] [--as-played]
     [--strangers WEIGHT]
"""

import argparse
import math
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from benchmarks.minute_trials import HELD_OUT_FROM, MACHINES, played, trial
from tapewright.jobs.mechanism_heard import listen
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.measure import mechanism_motors
from tapewright.measure.mechanism_frames import FRAME_S, HOP_S
from tapewright.measure.mechanism_trust import Clue, sureness
from tapewright.simulate.minute_truth import MinuteTruth, TrueStretch
from tapewright.words.mechanism_heard import Mark

SHARE, SAME_RATE = 0.2, 0.01
"""A motor turned where so much of the shorter of both stretches is common, and at a rate where it is so near."""
RIDGE = 0.1
"""Each constant is drawn to nought as if by so much of one run: a few runs leave a logistic curve no finite size."""
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Judged:
    """One run that the ear weighed, and whether it was so."""

    seed: int
    clue: Clue
    so: bool
    weight: float


def weighed(seed: int, folder: Path, strangers: float, *, as_played: bool) -> list[Judged]:
    """Listen to one minute as its own machine and as another, and give what the ear weighed."""
    path, truth = played(seed, folder, as_played=as_played)
    own = trial(seed).machine
    other = str(np.random.default_rng([seed, 5]).choice([name for name in MACHINES if name != own]))
    found = []
    for name, weight in ((own, 1.0), (other, strangers)):
        machine = shipped(name)
        for clue in _clues(path, machine, _marks(machine, truth)):
            if machine.rotors[clue.run.name].kind == "motor":
                so = _so(clue, truth.motors, clue.run.name if name == own else "")
                found.append(Judged(seed, clue, so, weight))
    return found


def _marks(machine: Machine, truth: MinuteTruth) -> tuple[Mark, ...]:
    """Give the marks in the words of a machine: a mode that it does not have is taken for its stop or its play."""
    instead = "stop" if "stop" in machine.modes else "play"
    known = ("off", *machine.modes)
    return tuple(mark if mark.mode in known else Mark(instead, mark.at_s) for mark in truth.marks)


def _clues(path: Path, machine: Machine, marks: tuple[Mark, ...]) -> list[Clue]:
    found: list[Clue] = []

    def kept(clue: Clue) -> float:
        found.append(clue)
        return sureness(clue)

    with patch.object(mechanism_motors, "sureness", kept):
        listen(path, machine, marks)
    return found


def _so(clue: Clue, motors: Sequence[TrueStretch], name: str) -> bool:
    start, end = clue.run.first * HOP_S, clue.run.last * HOP_S + FRAME_S
    rate = float(np.median(clue.run.rates_hz))
    return any(
        min(one.end_s, end) - max(one.start_s, start) > SHARE * min(one.end_s - one.start_s, end - start)
        and (one.name == name if name else abs(rate / one.rate_hz - 1.0) < SAME_RATE)
        for one in motors
    )


def fitted(runs: Sequence[Judged]) -> Floats:
    """Fit the logarithm of the odds by what was heard: weighted logistic regression, by Newton's rule."""
    rows = np.array([one.clue.grounds() for one in runs])
    so = np.array([one.so for one in runs], dtype=float)
    weight = np.array([one.weight for one in runs])
    found = np.zeros(rows.shape[1])
    for _ in range(60):
        chance = 1.0 / (1.0 + np.exp(-rows @ found))
        slope = rows.T @ (weight * (so - chance)) - RIDGE * found
        bend = (rows * (weight * chance * (1.0 - chance))[:, None]).T @ rows + RIDGE * np.eye(len(found))
        found = found + np.linalg.solve(bend, slope)
    return found


def told(runs: Sequence[Judged], constants: Floats | None, what: str) -> None:
    """Print how often what was said with so much certainty was so; as the ear says it where no constants are given."""
    own = [one for one in runs if one.weight == 1.0]
    if constants is None:
        said = np.array([sureness(one.clue) for one in own])
    else:
        odds = np.array([one.clue.grounds() for one in own]) @ constants
        said = np.array(
            [min(one.clue.against, chance) for one, chance in zip(own, 1 / (1 + np.exp(-odds)), strict=True)]
        )
        said = np.minimum(said, 0.99)
    so = np.array([one.so for one in own], dtype=float)
    print(f"{what}, {len(own)} runs:")
    for low, high in ((0.0, 0.3), (0.3, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.989), (0.989, 1.0)):
        here = (said >= low) & (said < high)
        if here.any():
            print(f"  {said[here].mean():.3f} said, {so[here].mean():.3f} so of {int(here.sum())}")


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--first", type=int, default=400, help="seed of the first minute")
    reader.add_argument("--minutes", type=int, default=60)
    reader.add_argument("--folder", type=Path, help="where minutes are kept")
    reader.add_argument("--strangers", type=float, default=0.05, help="what another machine's description counts")
    reader.add_argument("--as-played", action="store_true", help="take minutes that an earlier simulator played")
    given: Any = reader.parse_args()
    if given.first + given.minutes > HELD_OUT_FROM:
        reader.error(f"seeds from {HELD_OUT_FROM} on are held out")
    with tempfile.TemporaryDirectory() as passing:
        folder = given.folder or Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        runs = [
            one for seed in range(given.first, given.first + given.minutes)
            for one in weighed(seed, folder, given.strangers, as_played=given.as_played)
        ]  # fmt: skip
    names = ", ".join(("four lines, due, usual as any", "each further line", "not due", "each e times as usual"))
    for lines in range(2, 9):
        own = [one.so for one in runs if one.weight == 1.0 and one.clue.lines == lines]
        print(f"{lines} lines: {sum(own)} of {len(own)} so")
    for part in (0, 1):
        constants = fitted([one for one in runs if one.seed % 2 == part])
        print(f"fitted on every second minute ({names}): {np.round(constants, 2).tolist()}")
        told([one for one in runs if one.seed % 2 != part], constants, "held against the others")
    print(f"fitted on all: {np.round(fitted(runs), 2).tolist()}")
    told(runs, None, "as the ear says it")
    worst = max((sureness(one.clue) for one in runs if one.weight == 1.0 and not one.so), default=math.nan)
    print(f"the surest that was not so: {worst:.3f}")


if __name__ == "__main__":
    main()
