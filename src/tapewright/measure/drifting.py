"""Lines that slow down or speed up as a reel's pack grows or shrinks, made steady by counting time in its turns.

The radius of a pack of tape obeys r² = r0² ± v h t/pi (closed form of our own), so a hub that turns at f now turns at
f / sqrt(1 + 2 b t) a time t later. In the warped time (sqrt(1 + 2 b t) - 1)/b that is one steady line, whatever f is;
b is the relative slowing per second, for a cassette at most some 0.001, at double speed twice that.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

MOST_SLOWING_PER_S: Final = 0.0024
"""A bare hub with the thickest tape at double speed loses 12 % in its first minute (closed form above)."""
TOP_HZ: Final = 3.0
"""No reel of a cassette turns faster in play; nor its second harmonic, but for a bare hub at double speed."""
LEAST_TURN: Final = 0.1
"""Drift that bends the phase by less than this at the ends, turns, is not told from none."""
STEP_TURN: Final = 0.12
"""How far two trials lie apart, in turns at the ends of the stretch, for the fastest line."""
GAIN: Final = 14.0
"""A drifting line counts when it holds so much more than a steady one at best, in units of the background: chance
alone does that once in e^14, and some thousand drifts and rates are tried."""
_RATE_HZ: Final = 10.0


def warped(times_s: NDArray[np.float64], slowing_per_s: float) -> NDArray[np.float64]:
    """Give the time in which a reel of this slowing turns steadily, same shape, seconds; 0 stays 0.

    Arguments:
        times_s: from the moment at which the slowing is stated.
        slowing_per_s: relative loss of rate per second then.

    >>> warped(np.array([-10.0, 0.0, 10.0]), 0.001).round(2).tolist()
    [-10.05, 0.0, 9.95]
    """
    if slowing_per_s == 0.0:
        return times_s
    return np.asarray((np.sqrt(1.0 + 2.0 * slowing_per_s * times_s) - 1.0) / slowing_per_s, dtype=np.float64)


def rate_ratio(times_s: NDArray[np.float64], slowing_per_s: float) -> NDArray[np.float64]:
    """Give the rate at each time over that at time 0, same shape."""
    return np.asarray(1.0 / np.sqrt(1.0 + 2.0 * slowing_per_s * times_s), dtype=np.float64)


def strongest_drifting(
    residual: NDArray[np.float64],
    times_s: NDArray[np.float64],
    rate_hz: float,
    density: Callable[[NDArray[np.float64]], NDArray[np.float64]],
) -> tuple[float, float] | None:
    """Find the strongest line that drifts as a reel does: its rate in the middle of the stretch, and its slowing.

    Arguments:
        residual: speed deviation with the lines known so far taken out, zero where there is none, shape (n,).
        times_s: shape (n,), from the middle of the stretch.
        rate_hz: samples per second.
        density: gives the background's power per hertz at these rates.

    Returns:
        None when no line is better explained drifting than steady.
    """
    seconds = len(residual) / rate_hz
    factor = max(1, int(rate_hz / _RATE_HZ))
    slow = _thinned(residual, factor)
    at = times_s[: len(slow) * factor].reshape(-1, factor).mean(axis=1)
    step = 8.0 * STEP_TURN / (TOP_HZ * seconds**2)
    most = min(MOST_SLOWING_PER_S, 0.8 / seconds)
    trials = step * np.arange(-int(most / step), int(most / step) + 1)
    if len(trials) < 3:
        return None
    length = fft.next_fast_len(3 * len(slow), real=True)
    frequency = fft.rfftfreq(length, factor / rate_hz)
    inside = (frequency > 3.0 / seconds) & (frequency < TOP_HZ)
    scale = 2.0 * factor / rate_hz / float(np.sum(_taper(len(slow)) ** 2))
    background = density(frequency[inside])
    steady = np.zeros(0)
    found: tuple[float, float, float] = (GAIN, 0.0, 0.0)
    for slowing in sorted(trials.tolist(), key=abs):
        even = np.linspace(warped(at[:1], slowing)[0], warped(at[-1:], slowing)[0], len(at))
        held = np.interp(even * (1.0 + 0.5 * slowing * even), at, slow) * _taper(len(slow))  # the warp's inverse
        stretch = (even[-1] - even[0]) / (at[-1] - at[0])
        power = np.interp(frequency, frequency / stretch, np.abs(fft.rfft(held, length)) ** 2)[inside]
        power *= scale / background
        if slowing == 0.0:
            steady = power
            continue
        smeared = 2 * int((2.0 / seconds + abs(slowing) * TOP_HZ * seconds / 2.0) / frequency[1]) + 1
        gain = power - ndimage.maximum_filter1d(steady, smeared)
        gain[abs(slowing) * frequency[inside] * seconds**2 / 8.0 < LEAST_TURN] = 0.0
        if gain.max() > found[0]:
            found = float(gain.max()), float(frequency[inside][np.argmax(gain)]), slowing
    return found[1:] if found[1] > 0.0 else None


def _taper(count: int) -> NDArray[np.float64]:
    return np.asarray(np.sin(np.pi * (np.arange(count) + 0.5) / count))


def _thinned(values: NDArray[np.float64], factor: int) -> NDArray[np.float64]:
    """Give means of so many values at a time, twice smoothed against folding."""
    count = len(values) // factor * factor
    smooth = np.convolve(values, np.ones(factor) / factor, mode="same") if factor > 1 else values
    return np.asarray(smooth[:count].reshape(-1, factor).mean(axis=1))


__all__ = ["rate_ratio", "strongest_drifting", "warped"]
