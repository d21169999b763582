"""Rows of a table that are alike, found by one number for each row.

Sorting whole rows is slow; here the columns are joined into one whole number, as digits are, and pressed together again
whenever it would grow too large. The order is that of the rows.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

LARGEST: Final = 2**62


def distinct_rows(rows: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.intp]]:
    """Give the distinct rows in their order, and for each row which of them it is.

    Arguments:
        rows: whole numbers from 0, or truth values, shape (rows, columns).

    Returns:
        Shape (distinct, columns); shape (rows,).

    >>> distinct_rows(np.array([[1, 0], [0, 2], [1, 0]]))
    (array([[0, 2],
           [1, 0]]), array([1, 0, 1]))
    """
    key, size = np.zeros(len(rows), dtype=np.int64), 1
    for column in rows.T:
        values = int(column.max(initial=0)) + 1
        if size > LARGEST // values:
            key = np.unique(key, return_inverse=True)[1].ravel()
            size = int(key.max(initial=0)) + 1
        key, size = key * values + column, size * values
    _, first, place = np.unique(key, return_index=True, return_inverse=True)
    return rows[first], place.ravel()
