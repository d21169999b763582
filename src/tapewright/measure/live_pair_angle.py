"""What delays that come in say of the gaps: their angle, how it wanders, how late each channel is, what stands off."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.askew import ARC_MINUTE, angles_rad, comes_round_arcmin, off_line
from tapewright.measure.live_pair_delays import CROSSTALK, Delays, mean_doubt
from tapewright.measure.live_pair_tones import STEP_S, Run
from tapewright.words.reading import Reading

WANDER_LEAST: Final = 30
"""Moments: in three seconds a reel has turned once or twice."""
Values = NDArray[np.float64]
Channels = NDArray[np.intp]


def finest(delays: Sequence[Delays]) -> Delays | None:
    """Give the finest tone without an open turn; where every one has one, the coarsest."""
    clear = [one for one in delays if one.resolved]
    return clear[-1] if clear else delays[0] if delays else None


def angle_of(
    delays: Sequence[Delays], best: Delays, where_m: Values, speed_m_per_s: float
) -> tuple[Reading, float | None]:
    """Give the angle by all tones without an open turn, and after which angle it would look the same, if a turn is.

    Arguments:
        delays: of every tone.
        best: from `finest`.
        where_m: places of the channels that take part.
        speed_m_per_s: of the tape.
    """
    apart_m = float(np.ptp(where_m))
    taken = [one for one in delays if one.resolved] or [best]
    read = [angles_rad(one.over_time, where_m, speed_m_per_s) / ARC_MINUTE for one in taken]
    crossed = [CROSSTALK / (2.0 * np.pi * one.frequency_hz) * speed_m_per_s / (apart_m * ARC_MINUTE) for one in taken]
    doubts = np.array([math.hypot(float(mean_doubt(one)), wide) for one, wide in zip(read, crossed, strict=True)])
    value, doubt = _weighed(np.array([float(one.mean()) for one in read]), doubts)
    told = ", ".join(f"{one.frequency_hz:.0f}" for one in taken)
    found = Reading(value, "arcmin", doubt, method="line through the delays of the tracks", conditions=f"{told} Hz")
    return found, None if best.resolved else comes_round_arcmin(best.frequency_hz, apart_m, speed_m_per_s)


def wander_of(run: Run, part: Channels, inverted: NDArray[np.bool_], where_m: Values, speed_m_per_s: float) -> Reading:
    """Give half the range that holds 95 % of the time, a steady turning of the screw taken out.

    Arguments:
        run: the tone, its turns known.
        part: the channels that take part.
        inverted: which of them stand half a turn off.
        where_m: their places.
        speed_m_per_s: of the tape.
    """
    if len(run.phases) < WANDER_LEAST:
        return Reading(None, "arcmin", why_not=f"The tone must stand for {WANDER_LEAST * STEP_S:g} s.")
    phases = np.array(run.phases)[:, part] - np.pi * inverted
    delays = -phases / (2.0 * np.pi * run.frequency_hz)
    course = angles_rad(delays - delays.mean(axis=1, keepdims=True), where_m, speed_m_per_s) / ARC_MINUTE
    times = np.arange(len(course)) * STEP_S
    slope, level = np.polyfit(times, course, 1)
    half = float(np.ptp(np.quantile(course - slope * times - level, [0.025, 0.975]))) / 2.0
    if abs(slope) * times[-1] > 4.0 * half + 0.2:
        return Reading(None, "arcmin", why_not="The angle is being moved.")
    seconds = len(course) * STEP_S
    doubt = half / math.sqrt(max(2.0, seconds / 2.0))
    return Reading(half, "arcmin", doubt, method="half the range that holds 95 % of the time, up to 3 Hz",
                   conditions=f"{seconds:.1f} s")  # fmt: skip


def delays_of(best: Delays | None, part: Channels, channels: int, why_not: str) -> tuple[Reading, ...]:
    """Give how late each channel is against the mean of those that take part.

    Arguments:
        best: from `finest`.
        part: the channels that take part.
        channels: how many there are.
        why_not: where there is no delay.
    """
    found = [Reading(None, "µs", why_not=why_not) for _ in range(channels)]
    if best is not None:
        for place, at in enumerate(part):
            found[at] = Reading(1e6 * float(best.mean[place]), "µs", 1e6 * float(best.doubt[place]))
    return tuple(found)


def scatter_of(
    best: Delays | None, part: Channels, every_m: Values, speed_m_per_s: float, why_not: str
) -> tuple[Reading, ...]:
    """Give what each gap stands off the line; two lie on one always.

    Arguments:
        best: from `finest`.
        part: the channels that take part.
        every_m: places of all channels.
        speed_m_per_s: of the tape.
        why_not: where there is no delay.
    """
    if best is None or len(part) < 3:
        why = why_not if best is None else "Two gaps lie on a straight line whatever they do."
        return tuple(Reading(None, "µm", why_not=why) for _ in every_m)
    off_m = best.over_time @ off_line(every_m[part]).T * speed_m_per_s
    doubts = np.hypot(mean_doubt(off_m), CROSSTALK / (2.0 * np.pi * best.frequency_hz) * speed_m_per_s)
    found = [Reading(None, "µm", why_not="This channel does not carry the tone.") for _ in every_m]
    for place, at in enumerate(part):
        found[at] = Reading(1e6 * float(off_m[:, place].mean()), "µm", 1e6 * float(doubts[place]))
    return tuple(found)


def _weighed(values: Values, doubts: Values) -> tuple[float, float]:
    """Give the mean weighed by doubts, and its own doubt, wider where the tones disagree beyond theirs."""
    weights = 1.0 / np.maximum(doubts, 1e-12) ** 2
    mean = float(weights @ values / weights.sum())
    alone = float(1.0 / math.sqrt(weights.sum()))
    if len(values) < 2:
        return mean, alone
    apart = float(weights @ (values - mean) ** 2) * 4.0 / (len(values) - 1)
    return mean, alone * math.sqrt(max(1.0, apart))


__all__ = ["angle_of", "delays_of", "finest", "scatter_of", "wander_of"]
