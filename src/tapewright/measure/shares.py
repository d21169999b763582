"""How often a size is exceeded, counted in memory that does not grow: bins a fifth of a percent wide, at any size."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

_DROPPED_BITS: Final = 14
"""Of a number in single precision 9 bits of the fraction are left: 512 bins an octave."""
_LEAST: Final = (127 - 36) << 9
"""Sizes below 2^-36 count as that."""
_BINS: Final = 40 << 9


class Shares:
    """Counts of sizes, from which the size is read that a given share of them exceeds.

    >>> held = Shares()
    >>> _ = held.add(np.linspace(-1.0, 1.0, 20001))
    >>> round(held.exceeded(0.05), 3)
    0.95
    """

    def __init__(self) -> None:
        self.counts: NDArray[np.int64] = np.zeros(_BINS, dtype=np.int64)

    def add(self, values: NDArray[np.floating[Any]]) -> float:
        """Count the sizes of these values, shape (n,); give what one in twenty of them alone exceeds.

        A size counts in the bin its sign, exponent and first fraction bits name: nothing is sorted.
        """
        if not len(values):
            return 0.0
        bits = np.abs(values.astype(np.float32)).view(np.int32) >> _DROPPED_BITS
        counted = np.bincount(np.clip(bits - _LEAST, 0, _BINS - 1), minlength=_BINS)
        self.counts += counted
        return level_exceeded(counted, 0.05)

    def exceeded(self, share: float) -> float:
        """Give the size that this share of all values exceeds."""
        return level_exceeded(self.counts, share)


def level_exceeded(counts: NDArray[np.int64], share: float) -> float:
    """Give the size that this share of what was counted exceeds: the bin, and as far into it as its own count says."""
    below = np.cumsum(counts)
    wanted = (1.0 - share) * float(below[-1])
    at = int(np.searchsorted(below, wanted))
    before = float(below[at - 1]) if at else 0.0
    edges = (np.array([at, at + 1], dtype=np.int32) + np.int32(_LEAST)) << _DROPPED_BITS
    low, high = edges.astype(np.int32).view(np.float32).tolist()
    inside = (wanted - before) / max(float(counts[at]), 1.0)
    return float(low + (high - low) * min(max(inside, 0.0), 1.0))


__all__ = ["Shares", "level_exceeded"]
