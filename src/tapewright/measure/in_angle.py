"""Speed over the turning angle of something whose rate is known: how large it is at each order, over the tape.

Read at equal steps of angle instead of time, what belongs to that thing stands still at whole orders, also while the
machine runs faster or slower, or a pack of tape grows. The angle is the rate summed over time: what turns with the
capstan follows the tape's own speed, a reel the law of its pack as well (`drifting`).
"""

from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, interpolate

from tapewright.measure.drifting import warped
from tapewright.words.signal import OrderPicture, Trace

MOST_ORDER: Final = 8.0
MOST_HZ: Final = 200.0
"""Beyond this a trace holds nothing."""
TURNS: Final = (16.0, 96.0)
"""A stretch has so many turns, at least and at most: orders an eighth, or a fiftieth, apart are told."""
STRETCHES: Final = 36
"""At most so many are shown; of a longer tape each is the mean power of several."""
LEAST_STRETCHES: Final = 3
OF_RATE: Final = 0.25
"""A cubic curve through the values holds up to this share of their rate within a percent."""
STEPS: Final = 2.5
"""Values per turn of the highest order."""
ORDER_STEPS: Final = 4
"""Orders are shown in quarters: whole ones are the part's own, the others somebody else's."""
THERE: Final = 0.8
"""A stretch of which less was there is left out."""


def order_picture(
    trace: Trace,
    turns_per_s: float,
    slowing_per_s: float = 0.0,
    part: str = "",
    most_order: float = MOST_ORDER,
    tape_m_per_s: float = 0.0,
) -> OrderPicture | None:
    """Give the size of the speed deviation at each order of a rate, stretch by stretch.

    Arguments:
        trace: speed deviation from its mean, a ratio; nan where it was masked.
        turns_per_s: the rate at the mean speed, half way through.
        slowing_per_s: relative loss of that rate per second there, as a reel's.
        part: whose rate it is, to be written on the picture.
        most_order: the highest order wanted.
        tape_m_per_s: mean speed of the tape, to tell how much of it has passed; 0 where it is not known.

    Returns:
        None where the trace is too short for three stretches, or ends before the rate has turned often enough.

    >>> times = np.arange(0.0, 30.0, 0.002)
    >>> found = order_picture(Trace(0.001 * np.cos(2 * np.pi * 24.0 * times), 500.0), 12.0)
    >>> float(found.orders[np.argmax(found.peak_pct.mean(axis=0))]), round(float(found.peak_pct.max()), 2)
    (2.0, 0.1)
    """
    if turns_per_s <= 0.0 or len(trace.values) < 2:
        return None
    most_order = min(most_order, MOST_HZ / turns_per_s, OF_RATE * trace.rate_hz / turns_per_s)
    run_s = _run(trace)
    turned = _turned(run_s, turns_per_s, slowing_per_s)
    whole = float(turned[-1])
    length = float(np.clip(whole / 8.0, *TURNS))
    if most_order < 1.0 or whole < LEAST_STRETCHES * length / 2.0 or whole < length:
        return None
    step = 1.0 / (STEPS * np.ceil(most_order))
    even = np.arange(0.0, whole, step)
    there = np.isfinite(trace.values)
    smooth = _smooth(np.where(there, trace.values, 0.0), trace.rate_hz, turns_per_s, most_order)
    read = np.asarray(interpolate.CubicSpline(turned, smooth)(even))
    seen = np.interp(even, turned, there.astype(np.float64))
    found = _stretches(read, seen, step, length, most_order, np.interp(even, turned, trace.times_s), turns_per_s, part)
    if tape_m_per_s > 0.0:
        found = replace(found, tape_m=tape_m_per_s * np.interp(found.times_s, trace.times_s, run_s))
    return found


def _run(trace: Trace) -> NDArray[np.float64]:
    """Give the seconds of tape until each value, at its mean speed, shape (n,)."""
    speed = 1.0 + np.nan_to_num(trace.values)
    return np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) / trace.rate_hz


def _turned(run_s: NDArray[np.float64], turns_per_s: float, slowing_per_s: float) -> NDArray[np.float64]:
    """Give the turns until each value, shape (n,): of a reel by the law of its pack, of anything else evenly."""
    turned = turns_per_s * warped(run_s - run_s[-1] / 2.0, slowing_per_s)
    return np.asarray(turned - turned[0])


def _smooth(values: NDArray[np.float64], rate_hz: float, turns_per_s: float, most_order: float) -> NDArray[np.float64]:
    """Take out what is too fast for the steps of angle, with a cosine slope, so that it does not fold back."""
    low, high = 1.05 * most_order * turns_per_s, 1.4 * most_order * turns_per_s
    if high >= rate_hz / 2.0:
        return values
    length = fft.next_fast_len(len(values) + int(rate_hz / turns_per_s), real=True)
    frequency = fft.rfftfreq(length, 1.0 / rate_hz)
    gain = 0.5 + 0.5 * np.cos(np.pi * np.clip((frequency - low) / (high - low), 0.0, 1.0))
    return np.asarray(fft.irfft(fft.rfft(values, length) * gain, length)[: len(values)])


def _stretches(
    read: NDArray[np.float64],
    seen: NDArray[np.float64],
    step: float,
    length: float,
    most_order: float,
    at_s: NDArray[np.float64],
    turns_per_s: float,
    part: str,
) -> OrderPicture:
    count = min(len(read), round(length / step))
    starts = np.arange(0, len(read) - count + 1, count // 2)
    window = np.hanning(count + 2)[1:-1]
    orders = np.arange(1, int(most_order * ORDER_STEPS) + 1) / ORDER_STEPS
    padded = fft.next_fast_len(4 * count, real=True)
    grid = fft.rfftfreq(padded, step)
    rows, middles = [], []
    for group in np.array_split(starts, min(STRETCHES, len(starts))):
        powers = []
        for start in group:
            piece, held = read[start : start + count], seen[start : start + count] > 0.5
            weight = window * held
            if weight.sum() >= THERE * window.sum():
                level = float((piece * weight).sum() / weight.sum())
                sizes = 200.0 * np.abs(fft.rfft((piece - level) * weight, padded)) / weight.sum()
                powers.append(_largest(grid, sizes, orders) ** 2)
        rows.append(np.sqrt(np.mean(powers, axis=0)) if powers else np.full(len(orders), np.nan))
        middles.append(int(np.mean(group)) + count // 2)
    at = np.array(middles)
    return OrderPicture(part, turns_per_s, at_s[at], at * step, orders, np.array(rows), round(count * step, 6))


def _largest(grid: NDArray[np.float64], sizes: NDArray[np.float64], orders: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the largest size within half a step of each order shown, so that nothing falls between two of them."""
    edges = np.searchsorted(grid, np.append(orders - 0.5 / ORDER_STEPS, orders[-1] + 0.5 / ORDER_STEPS))
    found = [sizes[first:last].max(initial=0.0) for first, last in pairwise(edges)]
    return np.array(found)


__all__ = ["order_picture"]
