"""The straight line through a trace, gaps left out."""

import numpy as np
from numpy.typing import NDArray


def straight_line(values: NDArray[np.float64], there: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Give the least-squares straight line through the values that are there, at every place, shape (n,).

    Arguments:
        values: shape (n,), evenly spaced; what stands where `there` is False does not matter.
        there: which of them count, at least one.

    >>> straight_line(np.array([1.0, np.nan, 3.0]), np.array([True, False, True])).tolist()
    [1.0, 2.0, 3.0]
    """
    at = np.arange(len(values), dtype=np.float64)
    weight = there.astype(np.float64)
    count = float(weight.sum())
    held = np.where(there, values, 0.0)
    at -= float(at @ weight) / count
    mean = float(held.sum()) / count
    spread = float((at * at) @ weight)
    slope = float(at @ held) / spread if spread > 0.0 else 0.0
    return np.asarray(mean + slope * at, dtype=np.float64)
