"""The stretches in which something is so: from where to where a row of yes and no says yes without a break."""

import numpy as np
from numpy.typing import NDArray


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Give each unbroken run of yes: its first place, and the place after its last.

    Arguments:
        mask: shape (n,).

    >>> runs_of(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(mask, dtype=np.int8), [0]])))
    return [(int(first), int(after)) for first, after in zip(edges[::2], edges[1::2], strict=True)]
