"""The mean of something that wavers, and how far it may be off.

The mean is taken under a raised cosine, so that a steady waver of three turns and more leaves it alone, however many
turns the stretch holds. What wavers irregularly near nought, and would pass as the mean, is told from its density a
little higher up.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FIRST_BIN: Final = 3
LAST_BIN: Final = 26
"""Turns of the stretch between which the density is taken; the raised cosine reaches over two."""
LEAST_VALUES: Final = 24
SURE: Final = 2.06
"""Half width of the 95 % interval in sigmas."""
FEW: Final = 3.0
"""With fewer bins that hold the density it is less sure itself: so much is added, over their number. Both by
simulation of white noise."""
WAVERED: Final = 0.95
"""Half width of 95 % for what is mostly one waver of any phase; by simulation of heads that waver by 0.7 to 1.4 Hz."""
LEAK: Final = 1.05
"""By simulation of wavers of 2 to 12 turns."""


def settled_mean(values: NDArray[np.float64], good: NDArray[np.bool_] | None = None) -> tuple[float, float]:
    """Give the mean of a series and the half width of its 95 % interval, in the unit of the values.

    Arguments:
        values: shape (n,), at even steps, n at least 24; of fewer nothing is known, and the half width is infinite.
        good: which of them count; None for all.

    >>> turns = np.arange(1000) / 1000.0
    >>> mean, doubt = settled_mean(2.0 + np.sin(2 * np.pi * 7.3 * turns))
    >>> abs(mean - 2.0) < 0.001
    True
    """
    count = len(values)
    weights = np.hanning(count + 2)[1:-1]
    if good is not None:
        weights = np.where(good, weights, 0.0)
    total = float(weights.sum())
    if total <= 0.0 or count < LEAST_VALUES:
        return float(np.mean(values)) if count else 0.0, float("inf")
    mean = float(weights @ values) / total
    left = np.where(weights > 0.0, values - mean, 0.0) * weights
    power = np.abs(np.fft.rfft(left)[: min(LAST_BIN + 1, count // 2)]) ** 2
    beside = power[FIRST_BIN:]
    sure = SURE + FEW * (1.0 / len(beside) - 1.0 / (LAST_BIN - FIRST_BIN + 1))
    noise = sure * float(np.sqrt(np.median(beside) / np.log(2.0)))
    return mean, float(np.hypot(noise, _leaked(power))) / total


def _leaked(power: NDArray[np.float64]) -> float:
    """Give what steady wavers may add to the mean all the same, in the unit of a bin's size.

    A waver of k turns adds up to 1/(pi k (k² - 1)) of its size (closed form), less with its phase and where k is whole.
    """
    turns = np.arange(2, len(power))
    reaches = LEAK / (np.pi * turns * (turns**2 - 1.0))
    return float(np.sqrt(np.sum(power[2:] * reaches**2)))


def wavered(values: NDArray[np.float64], good: NDArray[np.bool_], rate_hz: float, seconds: float) -> float:
    """Give how far a mean over fewer seconds may be off, if all wavers there as it does in these values; 95 %.

    Arguments:
        values: shape (n,), of a longer stretch.
        good: which of them count.
        rate_hz: values per second.
        seconds: how long the other mean is taken, under its own raised cosine.

    >>> turns = np.arange(1000) / 100.0
    >>> doubt = wavered(np.sin(2 * np.pi * 0.7 * turns), np.ones(1000, dtype=bool), 100.0, 2.0)
    >>> 0.1 < doubt < 0.3
    True
    """
    weights = np.where(good, np.hanning(len(values) + 2)[1:-1], 0.0)
    total = float(weights.sum())
    if total <= 0.0 or len(values) < LEAST_VALUES:
        return float("inf")
    left = np.where(good, values - float(weights @ values) / total, 0.0) * weights
    power = np.abs(np.fft.rfft(left)[1:]) ** 2
    turns = np.arange(1, len(power) + 1) * rate_hz / len(values) * seconds
    inside = np.where(np.abs(turns - 1.0) < 1e-6, 0.5, np.sinc(turns) / np.where(turns == 1.0, 1.0, 1.0 - turns**2))
    # A line stands in three bins of the raised cosine, 1.5 times its power in all; its phase is any.
    return float(WAVERED * np.sqrt(np.sum(4.0 * power * inside**2) / 1.5 / 2.0)) / total


__all__ = ["settled_mean", "wavered"]
