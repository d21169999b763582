"""How well what was predicted came true: scores, and a table with its intervals.

Predictions are written down when they are made, before the truth is known. With few jobs the intervals are wide, and
the table says so; a curve through ten points would not.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from tapewright.words.estimate import Estimate

JEFFREYS = 0.5
TWO_SIDED_95 = 1.959964
RESAMPLED = 1000


@dataclass(frozen=True, slots=True)
class Bin:
    """Predictions of about the same chance.

    Arguments:
        predicted: their mean.
        came_true: share of them that came true.
        low: lower end of the 95 % interval of that share (Jeffreys).
        high: its upper end.
        count: how many.
    """

    predicted: float
    came_true: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class Murphy:
    """The Brier score in three parts: reliability - resolution + uncertainty.

    Arguments:
        brier: the score, 0 best; of predictions put into bins by their value.
        reliability: how far what was said lies from what came true, 0 best.
        resolution: how far the bins differ from the overall share, large best.
        uncertainty: of the events themselves.
    """

    brier: float
    reliability: float
    resolution: float
    uncertainty: float


def brier_score(predicted: Sequence[float], came_true: Sequence[bool]) -> float:
    """Give the mean square of prediction less event (G. W. Brier, Mon. Wea. Rev. 78, 1950).

    >>> round(brier_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]), 6)
    0.0375
    """
    return sum((p - e) ** 2 for p, e in zip(predicted, came_true, strict=True)) / len(predicted)


def log_score(predicted: Sequence[float], came_true: Sequence[bool]) -> float:
    """Give the mean of minus the logarithm of the chance that was given to what happened; 0 best.

    >>> round(log_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]), 6)
    0.197635
    """
    chances = [p if e else 1.0 - p for p, e in zip(predicted, came_true, strict=True)]
    return -sum(math.log(max(chance, 1e-12)) for chance in chances) / len(chances)


def murphy(predicted: Sequence[float], came_true: Sequence[bool]) -> Murphy:
    """Take the Brier score apart by the values predicted (A. H. Murphy, J. Appl. Meteor. 12, 1973).

    Arguments:
        predicted: chances; equal ones make a bin, so round them first.
        came_true: what happened.
    """
    total = len(predicted)
    overall = sum(came_true) / total
    groups: dict[float, list[bool]] = {}
    for p, e in zip(predicted, came_true, strict=True):
        groups.setdefault(p, []).append(e)
    shares = {p: sum(events) / len(events) for p, events in groups.items()}
    reliability = sum(len(groups[p]) * (p - share) ** 2 for p, share in shares.items()) / total
    resolution = sum(len(groups[p]) * (share - overall) ** 2 for p, share in shares.items()) / total
    uncertainty = overall * (1.0 - overall)
    return Murphy(brier_score(predicted, came_true), reliability, resolution, uncertainty)


def murphy_corrected(predicted: Sequence[float], came_true: Sequence[bool]) -> Murphy:
    """Take the Brier score apart without the bias of small bins.

    In a bin of n cases the share that came true strays by p (1 - p) / n by chance alone, and the plain decomposition
    takes that for unreliability. It is taken off (C. A. T. Ferro and T. E. Fricker, Q. J. R. Meteorol. Soc. 138, 2012).
    A bin of one case says nothing of its own straying, so nothing is taken off there; parts may come out below 0.

    Arguments:
        predicted: chances; equal ones make a bin, so round them first.
        came_true: what happened.
    """
    total, plain = len(predicted), murphy(predicted, came_true)
    groups: dict[float, list[bool]] = {}
    for p, e in zip(predicted, came_true, strict=True):
        groups.setdefault(p, []).append(e)
    straying = sum(len(events) * _straying(events) for events in groups.values()) / total
    overall = _straying(list(came_true))
    return Murphy(
        plain.brier,
        plain.reliability - straying,
        plain.resolution - straying + overall,
        plain.uncertainty + overall,
    )


def _straying(events: Sequence[bool]) -> float:
    """Estimate the variance of the share that came true, without bias."""
    share = sum(events) / len(events)
    return share * (1.0 - share) / (len(events) - 1) if len(events) > 1 else 0.0


def brier_with_doubt(
    predicted: Sequence[float], came_true: Sequence[bool], jobs: Sequence[Hashable] | None = None
) -> Estimate:
    """Give the Brier score with the half-width of its 95 % interval.

    With every case on its own the sampling variance is (mean of (f - x)^4 - B^2) / (n - 1), which needs only moments of
    the forecasts, since x is 0 or 1 (A. A. Bradley, S. S. Schwartz and T. Hashino, Wea. Forecasting 23, 2008). Cases of
    one job go together: then the jobs' sums are what strays.

    Arguments:
        predicted: chances, 0 to 1.
        came_true: what happened.
        jobs: the job of each case; None for every case on its own.
    """
    squares = [(p - e) ** 2 for p, e in zip(predicted, came_true, strict=True)]
    return _mean_with_doubt(squares, jobs)


def bias_with_doubt(
    predicted: Sequence[float], came_true: Sequence[bool], jobs: Sequence[Hashable] | None = None
) -> Estimate:
    """Give by how much more was predicted than came true, on average, with the half-width of its 95 % interval."""
    return _mean_with_doubt([p - e for p, e in zip(predicted, came_true, strict=True)], jobs)


def _mean_with_doubt(values: Sequence[float], jobs: Sequence[Hashable] | None) -> Estimate:
    """Give a mean and its doubt; values of one job are taken to stray together."""
    count, mean = len(values), math.fsum(values) / len(values)
    sums: dict[Hashable, float] = {}
    for key, value in zip(range(count) if jobs is None else jobs, values, strict=True):
        sums[key] = sums.get(key, 0.0) + value - mean
    if len(sums) < 2:
        return Estimate(mean, math.inf, "derived")
    variance = math.fsum(one * one for one in sums.values()) * len(sums) / (len(sums) - 1) / count**2
    return Estimate(mean, TWO_SIDED_95 * math.sqrt(variance), "derived")


def reliability_table(predicted: Sequence[float], came_true: Sequence[bool], bins: int = 10) -> tuple[Bin, ...]:
    """Say how often predictions of about the same chance came true, with 95 % intervals.

    Arguments:
        predicted: chances, 0 to 1.
        came_true: what happened.
        bins: of equal width; empty ones are left out.
    """
    sorted_in: dict[int, list[tuple[float, bool]]] = {}
    for p, e in zip(predicted, came_true, strict=True):
        sorted_in.setdefault(min(int(p * bins), bins - 1), []).append((p, e))
    return tuple(count_with_interval(members) for _, members in sorted(sorted_in.items()))


def count_with_interval(members: Sequence[tuple[float, bool]]) -> Bin:
    """Give how often predictions came true, with the 95 % interval of Jeffreys.

    Arguments:
        members: what was predicted, and whether it came true; at least one.
    """
    count, true = len(members), sum(event for _, event in members)
    spread = beta(true + JEFFREYS, count - true + JEFFREYS)
    # Jeffreys' interval reaches its end where all or none came true.
    low = 0.0 if true == 0 else float(spread.ppf(0.025))
    high = 1.0 if true == count else float(spread.ppf(0.975))
    return Bin(sum(p for p, _ in members) / count, true / count, low, high, count)


def calibration_error(table: Sequence[Bin]) -> float:
    """Give the mean distance between predicted and come true, each bin by its count."""
    total = sum(one.count for one in table)
    return sum(one.count * abs(one.predicted - one.came_true) for one in table) / total


@dataclass(frozen=True, slots=True)
class ErrorInterval:
    """The calibration error, how sure it is, and what chance alone would make of perfect predictions.

    Arguments:
        error: as `calibration_error` gives it.
        low, high: 95 % interval, jobs drawn again with replacement.
        by_chance: mean of the same figure, were every prediction exactly right; it never is 0 with few cases.
    """

    error: float
    low: float
    high: float
    by_chance: float


def calibration_error_with_interval(
    predicted: Sequence[float], came_true: Sequence[bool], jobs: Sequence[Hashable], bins: int = 10, seed: int = 1
) -> ErrorInterval:
    """Give the calibration error with its interval.

    The jobs are drawn again, with replacement, a thousand times (B. Efron, Ann. Stat. 7, 1979).

    Arguments:
        predicted: chances, 0 to 1.
        came_true: what happened.
        jobs: the job of each case; cases of one job are drawn together.
        bins: of equal width.
        seed: of the draws.
    """
    random = np.random.default_rng(seed)
    said, so = np.array(predicted), np.array(came_true, dtype=np.float64)
    which = np.minimum((said * bins).astype(np.int64), bins - 1)
    _, owner = np.unique([str(job) for job in jobs], return_inverse=True)
    gaps = np.zeros((owner.max() + 1, bins))  # per job and bin: predicted less come true
    np.add.at(gaps, (owner, which), said - so)
    sizes = np.bincount(owner).astype(np.float64)
    draws = random.multinomial(len(gaps), np.full(len(gaps), 1.0 / len(gaps)), size=RESAMPLED).astype(np.float64)
    again = np.abs(draws @ gaps).sum(axis=1) / (draws @ sizes)
    chance = [_gap(said, random.random(len(said)) < said, which, bins) for _ in range(RESAMPLED // 5)]
    low, high = np.quantile(again, [0.025, 0.975])
    return ErrorInterval(_gap(said, so > 0, which, bins), float(low), float(high), float(np.mean(chance)))


def _gap(said: NDArray[np.float64], so: NDArray[np.bool_], which: NDArray[np.int64], bins: int) -> float:
    return float(np.abs(np.bincount(which, said - so, minlength=bins)).sum() / len(said))
