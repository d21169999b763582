"""Turn the phase of a followed tone into the speed of the tape over time."""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.measure.follow import Followed
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.signal import Trace

JUMP: Final = 0.04
"""A change of frequency, ratio, within 10 ms from one held note to the next: no flywheel does that."""
HELD: Final = 0.006
"""A note is held when its frequency strays by no more than this, one sigma as a ratio, for 100 ms."""
_DIFFERENTIATOR_S: Final = 0.02


def _filled(phase_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Run the phase straight through its gaps, so that the differentiator has something to go over."""
    held = ~np.isfinite(phase_rad)
    if not held.any() or held.all():
        return phase_rad
    at = np.arange(len(phase_rad))
    filled = phase_rad.copy()
    filled[held] = np.interp(at[held], at[~held], filled[~held])
    return filled


def speed_trace(tone: Followed) -> Trace:
    """Give the speed deviation from its mean, fast positive, flat to 200 Hz; nan in dropouts and 10 ms beside them.

    Arguments:
        tone: from `followed`.
    """
    taps = _differentiator(tone.rate_hz)
    half = len(taps) // 2
    bad = ~np.isfinite(tone.phase_rad)
    bad[1:] |= np.diff(tone.piece) != 0
    turning = np.convolve(_filled(tone.phase_rad), taps, mode="same")
    turning *= tone.rate_hz / (2.0 * np.pi * tone.frequency_hz)
    spoilt = ndimage.binary_dilation(bad, structure=np.ones(len(taps), dtype=bool)) if bad.any() else bad
    spoilt[:half] = spoilt[-half:] = True
    turning[spoilt] = np.nan
    return Trace(turning[half:-half], tone.rate_hz, tone.start_s + half / tone.rate_hz)


def means_in_gaps(tone: Followed, trace: Trace) -> NDArray[np.float64]:
    """Give the mean speed deviation of each gap of a trace, where the phase on its two sides tells it; else nan.

    No whole turn is lost in a short dropout, so that the phase says how far the tape went while the tone was away; how
    it went there is not known. This lets what stands in for the gap leave the filters where they would have been.

    Arguments:
        tone: from `followed`.
        trace: its speed deviation.

    Returns:
        The same shape as the trace: the mean all over each gap, nan elsewhere.
    """
    offset = round((trace.start_s - tone.start_s) * tone.rate_hz)
    means = np.full(len(trace.values), np.nan)
    turn = 2.0 * np.pi * tone.frequency_hz / tone.rate_hz
    for start, stop in runs_of(~np.isfinite(trace.values)):
        before, after = offset + start - 1, offset + stop
        if before < 0 or after >= len(tone.phase_rad) or tone.piece[before] != tone.piece[after]:
            continue
        moved = float(tone.phase_rad[after] - tone.phase_rad[before]) / turn
        ends = 0.5 * float(trace.values[start - 1] + trace.values[stop]) if start > 0 and stop < len(means) else 0.0
        means[start:stop] = (moved - ends) / (stop - start)  # the trapezoids at the two ends hold half a value each
    return means


def jumps(trace: Trace) -> bool:
    """Say whether the frequency ever jumps from one held note to another, as keys and computers make it do.

    Arguments:
        trace: from `speed_trace`.
    """
    length = max(3, int(0.1 * trace.rate_hz))
    apart = length // 2 + int(0.005 * trace.rate_hz)
    there = np.isfinite(trace.values)
    values = np.where(there, trace.values, np.where(np.arange(len(there)) % 2, 1.0, -1.0))
    mean = ndimage.uniform_filter1d(values, length)
    strays = np.sqrt(np.maximum(ndimage.uniform_filter1d(values**2, length) - mean**2, 0.0))
    before, after = slice(0, max(0, len(values) - 2 * apart)), slice(2 * apart, None)
    held = (strays[before] < HELD) & (strays[after] < HELD)
    return bool(np.any(held & (np.abs(mean[after] - mean[before]) > JUMP)))


@lru_cache(maxsize=8)
def _differentiator(rate_hz: float) -> NDArray[np.float64]:
    """Design a differentiator per sample by least squares: within 0.05 % up to 205 Hz, closing above 400 Hz.

    Short, since half of it is lost on either side of a dropout.
    """
    half = max(12, int(0.5 * _DIFFERENTIATOR_S * rate_hz))
    order = np.arange(1, half + 1)
    passed = 2.0 * np.pi * np.linspace(0.5, 205.0, 300) / rate_hz
    closed = 2.0 * np.pi * np.linspace(min(430.0, 0.4 * rate_hz), 0.5 * rate_hz, 120) / rate_hz
    table = np.concatenate(
        [2.0 * np.sin(passed[:, None] * order) / passed[:, None], 0.02 * np.sin(closed[:, None] * order)]
    )
    wanted = np.concatenate([np.ones(len(passed)), np.zeros(len(closed))])
    side = np.linalg.lstsq(table, wanted, rcond=None)[0]
    return np.concatenate([side[::-1], [0.0], -side]).astype(np.float64)
