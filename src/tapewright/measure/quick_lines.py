"""The strongest lines of one stretch, quickly: good enough to let the filters run on through a dropout."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.measure.lines import FittedLines
from tapewright.measure.trend import straight_line
from tapewright.words.signal import Trace

THINNED_HZ: Final = 100.0
TOP_HZ: Final = 30.0
MOST: Final = 6
ABOVE: Final = 50.0
"""A line is taken when its power stands so far above the median of the spectrum's neighbourhood."""
NEIGHBOURS: Final = 64
_NONE: Final = np.zeros(0)


def _thinned(trace: Trace, factor: int) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Give means over so many values, the share of each that is there, and their times from the trace's start."""
    rows = len(trace.values) // factor
    table = trace.values[: rows * factor].reshape(rows, factor)
    there = np.isfinite(table)
    share = there.mean(axis=1)
    means = np.where(there, table, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    times = np.asarray((np.arange(rows) + (factor - 1) / (2.0 * factor)) * (factor / trace.rate_hz), dtype=np.float64)
    return means, share, times


def _peaks(values: NDArray[np.float64], rate_hz: float) -> list[float]:
    """Give the frequencies of the strongest peaks of the spectrum, hertz."""
    taper = np.hanning(len(values) + 2)[1:-1]
    power = np.abs(fft.rfft(values * taper, 2 * len(values))) ** 2
    step = rate_hz / (2 * len(values))
    power = power[: int(TOP_HZ / step)]
    power[:6] = 0.0
    found: list[float] = []
    while len(found) < MOST and len(power) > NEIGHBOURS:
        best = int(np.argmax(power))
        near = power[max(0, best - NEIGHBOURS) : best + NEIGHBOURS]
        if not 0 < best < len(power) - 1 or power[best] < ABOVE * float(np.median(near[near > 0.0])):
            break
        around = np.log(np.maximum(power[best - 1 : best + 2], 1e-300))
        bend = around[0] - 2.0 * around[1] + around[2]
        offset = 0.5 * (around[0] - around[2]) / bend if bend < 0.0 else 0.0
        found.append((best + float(np.clip(offset, -0.5, 0.5))) * step)
        power[max(0, best - 6) : best + 7] = 0.0
    return found


def strong_lines(trace: Trace) -> FittedLines:
    """Fit the strongest lines below 30 Hz of a stretch to its speed; without doubts, for the filters' sake only.

    Arguments:
        trace: speed deviation, nan in dropouts.

    Returns:
        Up to six lines with their phases; a frequency is moved once towards where the fit is best.
    """
    factor = max(1, int(trace.rate_hz // THINNED_HZ))
    means, share, times = _thinned(trace, factor)
    end_s = trace.start_s + len(trace.values) / trace.rate_hz
    there = share > 0.0
    nothing = FittedLines((), _NONE, _NONE, _NONE, trace.start_s, end_s)
    if np.count_nonzero(there) < 4 * NEIGHBOURS:
        return nothing
    means = np.where(there, means - straight_line(means, there), 0.0)
    rate = trace.rate_hz / factor
    frequency = np.array(_peaks(means * share, rate))
    if not len(frequency):
        return nothing
    weight, middle = np.sqrt(share), times[-1] / 2.0
    cosine = sine = np.zeros(len(frequency))
    for step in range(2):
        turn = np.outer(times, 2.0 * np.pi * frequency)
        columns = [np.cos(turn), np.sin(turn)]
        if step == 0:
            held, *_ = np.linalg.lstsq(np.hstack(columns) * weight[:, None], means * weight, rcond=None)
            cosine, sine = np.split(held, 2)
            moving = (times[:, None] - middle) * (sine * columns[0] - cosine * columns[1])
            held, *_ = np.linalg.lstsq(np.hstack([*columns, moving]) * weight[:, None], means * weight, rcond=None)
            frequency = frequency + np.clip(held[2 * len(frequency) :] / (2.0 * np.pi), -0.5 / end_s, 0.5 / end_s)
        else:
            held, *_ = np.linalg.lstsq(np.hstack(columns) * weight[:, None], means * weight, rcond=None)
            cosine, sine = np.split(held, 2)
    droop = np.sinc(frequency * factor / trace.rate_hz)
    turn = 2.0 * np.pi * frequency * trace.start_s
    cosine, sine = cosine / droop, sine / droop
    return FittedLines(
        (),
        frequency,
        cosine * np.cos(turn) - sine * np.sin(turn),
        sine * np.cos(turn) + cosine * np.sin(turn),
        trace.start_s,
        end_s,
    )


__all__ = ["strong_lines"]
