"""Overlapping frames of a recording, cut as its blocks come in; memory holds one frame and one block."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray


class OverlappingFrames:
    """Cut frames of one length, so many samples apart, out of blocks of any length.

    Arguments:
        length: samples in a frame.
        hop: samples from one frame's beginning to the next one's.

    >>> frames = OverlappingFrames(3, 2)
    >>> [(at, frame.tolist()) for at, frame in frames.add(np.arange(6, dtype=np.float32)[None])]
    [(0, [[0.0, 1.0, 2.0]]), (2, [[2.0, 3.0, 4.0]])]
    """

    def __init__(self, length: int, hop: int) -> None:
        self._length, self._hop = length, hop
        self._held: NDArray[np.float32] | None = None
        self._at = 0
        self._skip = 0

    def add(self, block: NDArray[np.float32]) -> Iterator[tuple[int, NDArray[np.float32]]]:
        """Give every frame that the next block completes: its first sample, and its samples.

        Arguments:
            block: shape (channels, n); samples that are no numbers become silence.
        """
        skipped = min(self._skip, block.shape[1])
        self._skip -= skipped
        fresh = np.nan_to_num(block[:, skipped:], nan=0.0, posinf=0.0, neginf=0.0)
        held = fresh if self._held is None else np.concatenate([self._held, fresh], axis=1)
        first = 0
        while first + self._length <= held.shape[1]:
            yield self._at, held[:, first : first + self._length]
            self._at += self._hop
            first += self._hop
        self._skip += max(0, first - held.shape[1])
        self._held = held[:, min(first, held.shape[1]) :].copy()


__all__ = ["OverlappingFrames"]
