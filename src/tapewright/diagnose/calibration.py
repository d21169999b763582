"""How well what was predicted came true: scores, and a table with its intervals.

Predictions are written down when they are made, before the truth is known. With few jobs the intervals are wide, and
the table says so; a curve through ten points would not.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.stats import beta

JEFFREYS = 0.5


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
    return tuple(_bin(members) for _, members in sorted(sorted_in.items()))


def _bin(members: Sequence[tuple[float, bool]]) -> Bin:
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
