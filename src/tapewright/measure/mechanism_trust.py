"""How sure a comb is: held against combs of the same lines out of step, laid over the same sound.

Voices, music, other motors and the room are in the sound for both; only the true comb has its lines at multiples of
one rate. So no assumption about the background is needed, and the chance of a false alarm is the recording's own.
"""

import math
import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.mechanism_comb import MOST, bins_of, mean_evidence, rate_grid
from tapewright.measure.mechanism_frames import Array, Single
from tapewright.measure.mechanism_runs import Run

SURE_ENOUGH: Final = 0.6
"""What is less sure than this is no better than a guess, and is not told."""
MOTOR_MOST: Final = 0.99
"""No motor is surer than that: n of n that were so give (n + 1) / (n + 2), Laplace's rule of succession."""
DECOYS: Final = 60
OUT_OF_STEP: Final = 0.13
"""By how much of its frequency each line of a false comb is moved, at most."""
EULER: Final = 0.5772156649
SAME_MACHINE_DB: Final = 8.0
"""Spread of how loud the motors of one machine are, standard deviation; trade judgement, from memory."""
SAME_MOTOR_DB: Final = 4.0
"""The same of one motor at several moments: load, and where the microphone lies."""


@dataclass(frozen=True, slots=True)
class Trust:
    """How well a comb fits a stretch of sound.

    Arguments:
        score: evidence for it per frame, lines that are silent left out.
        usual: the same of the best of a false comb's rates, mean.
        spread: its standard deviation.
        sure: chance that the comb is real, where both were as likely before.
    """

    score: float
    usual: float
    spread: float
    sure: float


def straightened(said: Single, run: Run) -> Array:
    """Give the mean evidence over a run, its frames shifted so that the rate stands still; shape (bins,)."""
    middle = float(np.median(run.rates_hz))
    bins = np.arange(said.shape[1])
    total = np.zeros(said.shape[1])
    for k, rate in enumerate(run.rates_hz):
        row = said[run.first + k]
        total += row if abs(rate / middle - 1.0) * len(bins) < 0.5 else np.interp(bins * (rate / middle), bins, row)
    return total / len(run.rates_hz)


def comb_scores(mean: Array, rates: Array, orders: Array, bin_hz: float) -> Array:
    """Give for each rate the evidence of the lines that speak for it; silent ones count nothing."""
    found = np.zeros(len(rates))
    for at in bins_of(rates, list(orders), bin_hz, len(mean)):
        found += np.maximum(mean[at], 0.0)
    return found


def decoy_scores(mean: Array, orders: tuple[float, ...], span_hz: tuple[float, float], bin_hz: float) -> Array:
    """Give the best score of each of many combs whose lines are out of step, shape (DECOYS,).

    The same stretch gives the same combs every time.
    """
    key = zlib.crc32(repr((len(mean), orders, [round(one, 4) for one in span_hz])).encode())
    random = np.random.default_rng(key)
    rates = rate_grid(*span_hz, orders, bin_hz)
    best = np.empty(DECOYS)
    for k in range(DECOYS):
        moved = np.array(orders) * (1.0 + OUT_OF_STEP * random.uniform(-1.0, 1.0, len(orders)))
        best[k] = comb_scores(mean, rates, moved, bin_hz).max()
    return best


COINCIDENCE: Final = {2: 0.3, 3: 0.03}
"""How likely so few stray lines make a comb by accident, against a rotor whose other lines are all silent."""
LEAST_CHANCE: Final = 1e-3
"""Nobody knows the tail of Gumbel's law from a few dozen: less than this is not believed."""


def trusted(score: float, decoys: Array, orders: int, lines: int = 4, usual: float = 1.0) -> Trust:
    """Weigh a score against those of false combs.

    Arguments:
        score: of the comb.
        decoys: of combs out of step.
        orders: how many lines were looked at.
        lines: how many of them speak.
        usual: how much likelier the rate is beforehand than others that were looked for.

    The largest of many scores goes by Gumbel's law, whose two numbers come from the false combs (Gumbel 1958); a real
    comb may score anything up to all its lines plain to hear.
    """
    mean, spread = float(decoys.mean()), max(float(decoys.std()), 0.02)
    scale = spread * math.sqrt(6.0) / math.pi
    z = (score - (mean - EULER * scale)) / scale
    false = math.exp(-z - math.exp(-max(z, -50.0))) / scale if z > -4 else 0.0
    real = usual / max(0.6 * MOST * orders, score)
    least = COINCIDENCE.get(lines, LEAST_CHANCE) / max(0.6 * MOST * orders, score)
    sure = 0.0 if z < 0 else real / (real + max(false, least))
    return Trust(score, mean, spread, sure)


def loud_enough(decoys: Array, orders: int) -> float:
    """Give how far each line of a comb has to stand above the background to be found, as power.

    Half of its lines sound; it is found where its score would be trusted nine times of ten.
    """
    wanted = float(decoys.mean() + 3.2 * max(float(decoys.std()), 0.02))
    sounding = max(1.0, orders / 2.0)
    low, high = 0.0, 1e4
    for _ in range(50):
        middle = math.sqrt((low + 1e-3) * (high + 1e-3))
        low, high = (middle, high) if sounding * mean_evidence(middle) < wanted else (low, middle)
    return high


def chance_heard(level_db: float, needed_db: float, spread_db: float) -> float:
    """Give the chance that a rotor is louder than it has to be.

    Arguments:
        level_db: how loud it is likely to be.
        needed_db: how loud it has to be.
        spread_db: standard deviation of the former.
    """
    return 0.5 * math.erfc((needed_db - level_db) / (spread_db * math.sqrt(2.0)))


@dataclass(frozen=True, slots=True, eq=False)
class Clue:
    """What speaks for a run.

    Arguments:
        run: it.
        against: chance that it is real, held against combs out of step.
        lines: how many of its lines speak.
        due: whether its rotor should turn there at about that rate.
    """

    run: Run
    against: float
    lines: int
    due: bool

    def grounds(self) -> tuple[float, ...]:
        """Give what the odds are made of: one, lines beyond four of ten, whether not due, how usual the rate is."""
        of_ten = self.lines * max(1.0, 10.0 / len(self.run.orders))
        beyond = min(of_ten, MOST_LINES) - 4.0
        return (1.0, beyond, 0.0 if self.due else 1.0, math.log(max(self.run.usual, 0.05)))


MOST_LINES: Final = 8
ODDS: Final = (2.2, 0.85, -2.0, 1.35)
"""Logarithm of the odds with four lines of ten that speak; for each further line; where it is not due; for each factor
of e by which the rate is more usual than any. Fitted by `python -m benchmarks.mechanism_sureness` on 60 tuning minutes;
fitted on half of them it holds for the other half."""


def sureness(clue: Clue) -> float:
    """Give the chance that a motor ran where a run was found.

    Combs out of step tell noise from a comb. They do not tell a motor from another at twice its rate, or from a mesh
    that nobody described: of those few lines fit, at a rate that is nobody's usual one, where nothing is due.
    """
    odds = sum(one * ground for one, ground in zip(ODDS, clue.grounds(), strict=True))
    return min(MOTOR_MOST, clue.against, 1.0 / (1.0 + math.exp(-odds)))
