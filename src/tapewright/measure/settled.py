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


__all__ = ["settled_mean"]
