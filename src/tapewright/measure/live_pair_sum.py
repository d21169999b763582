"""Two tracks against each other while they play: their delay, and the second road to it, the level of their sum.

Two tones of the same frequency add up to as much as their levels allow only when they are in step. What the sum lacks
tells how far they are out of step, but not which way, and near the top it tells little.
"""

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.askew import ARC_MINUTE, angle_rad
from tapewright.measure.live_pair_delays import CROSSTALK, NOW, Delays, mean_doubt
from tapewright.measure.live_pair_tones import Run
from tapewright.words.reading import Reading

LEAST_SUM: Final = 1e-8
"""The sum's power over what it could be, below which it is nought: 80 dB."""
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PairReading:
    """What two channels say against each other.

    Arguments:
        channels: the two, counted from 1; the first lies nearer to the deck plate.
        delay_us: how much later the second comes.
        angle_arcmin: the angle that makes such a delay between these two.
        sum_db: their sum, against what it would be in step.
        by_sum_arcmin: the angle that the sum tells, without its sign, to the next turn.
    """

    channels: tuple[int, int]
    delay_us: Reading
    angle_arcmin: Reading
    sum_db: Reading
    by_sum_arcmin: Reading


def pair_readings(
    best: Delays, run: Run, part: NDArray[np.intp], where_m: Values, signs: Values, speed_m_per_s: float
) -> tuple[PairReading, ...]:
    """Read every two channels that take part.

    Arguments:
        best: the tone's delays.
        run: the same tone.
        part: channels that take part.
        where_m: place of every channel's track.
        signs: -1 where a channel of `part` has its wires crossed.
        speed_m_per_s: of the tape.
    """
    found = []
    for first, second in itertools.combinations(range(len(part)), 2):
        apart_m = float(where_m[part[second]] - where_m[part[first]])
        if apart_m == 0.0:
            continue
        low, high = (first, second) if apart_m > 0.0 else (second, first)
        found.append(_pair(best, run, part, (low, high), abs(apart_m), float(signs[low] * signs[high]), speed_m_per_s))
    return tuple(found)


def _pair(
    best: Delays,
    run: Run,
    part: NDArray[np.intp],
    two: tuple[int, int],
    apart_m: float,
    sign: float,
    speed_m_per_s: float,
) -> PairReading:
    delay = best.over_time[:, two[1]] - best.over_time[:, two[0]]
    turn = 2.0 * math.pi * best.frequency_hz
    wide = math.hypot(float(mean_doubt(delay)), math.sqrt(2.0) * CROSSTALK / turn)
    per_s = speed_m_per_s / apart_m / ARC_MINUTE
    mean = float(delay.mean())
    told = f"{best.frequency_hz:.0f} Hz"
    cosine, total = _cosine(run, int(part[two[0]]), int(part[two[1]]), sign)
    by_sum = _by_sum(cosine, turn, per_s)
    return PairReading(
        (int(part[two[0]]) + 1, int(part[two[1]]) + 1),
        Reading(1e6 * mean, "µs", 1e6 * wide, conditions=told),
        Reading(angle_rad(mean, apart_m, speed_m_per_s) / ARC_MINUTE, "arcmin", wide * per_s, conditions=told),
        _decibels(total),
        by_sum,
    )


def _cosine(run: Run, one: int, other: int, sign: float) -> tuple[Values, Values]:
    """Give, moment by moment, how far two channels are in step, by the power of their sum; and that power's share."""
    taken = list(run.frames)[-NOW:]
    own = run.powers(NOW)[:, [one, other]]
    both = 2.0 * np.sqrt(own[:, 0] * own[:, 1])
    summed = own.sum(axis=1) + sign * np.array([2.0 * np.real(frame.crossed[one, other]) for frame in taken])
    cosine = np.clip((summed - own.sum(axis=1)) / both, -1.0, 1.0)
    return cosine, np.maximum(summed / (own.sum(axis=1) + both), LEAST_SUM)


def _by_sum(cosine: Values, turn: float, arcmin_per_s: float) -> Reading:
    middle, open_ = float(np.clip(cosine.mean(), -1.0, 1.0)), float(mean_doubt(cosine)) + CROSSTALK**2
    angle = math.acos(middle) / turn * arcmin_per_s
    low, high = (math.acos(float(np.clip(middle + side * open_, -1.0, 1.0))) for side in (1.0, -1.0))
    doubt = math.hypot(max(high - math.acos(middle), math.acos(middle) - low), CROSSTALK * math.sqrt(2.0))
    return Reading(angle, "arcmin", doubt / turn * arcmin_per_s, method="level of the sum of two tracks, without sign")


def _decibels(share: Values) -> Reading:
    decibels = 10.0 * np.log10(share)
    return Reading(float(10.0 * np.log10(share.mean())), "dB", float(mean_doubt(decibels)),
                   method="sum of tracks against their levels added in step")  # fmt: skip


def sum_of_all(run: Run, part: NDArray[np.intp], signs: Values) -> Reading:
    """Give the sum of all tracks against what it would be in step, dB.

    Arguments:
        run: one tone.
        part: channels that take part.
        signs: -1 where one of them has its wires crossed.
    """
    taken = list(run.frames)[-NOW:]
    powers = run.powers(NOW)[:, part]
    crossed = np.array([np.real(signs @ frame.crossed[np.ix_(part, part)] @ signs) for frame in taken])
    noise = np.array([frame.noise[part].sum() for frame in taken])
    return _decibels(np.clip((crossed - noise) / np.sqrt(powers).sum(axis=1) ** 2, LEAST_SUM, 1.0))


__all__ = ["PairReading", "pair_readings", "sum_of_all"]
