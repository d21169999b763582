"""The middle of values that count unequally: what one or two wild ones among them do not move."""

import numpy as np
from numpy.typing import NDArray


def weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give each row's weighted median: the smallest value up to which half of the row's weight is reached.

    Arguments:
        values: shape (rows, n); what is not a number sorts last.
        weights: the same shape, none below nought.

    Returns:
        Shape (rows,).

    >>> weighted_median(np.array([[3.0, 1.0, 2.0]]), np.array([[1.0, 1.0, 5.0]])).tolist()
    [2.0]
    """
    order = np.argsort(values, axis=1)
    running = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    at = np.argmax(running >= 0.5 * running[:, -1:], axis=1)
    picked: NDArray[np.float64] = np.take_along_axis(values, np.take_along_axis(order, at[:, None], axis=1), axis=1)
    return picked[:, 0]
