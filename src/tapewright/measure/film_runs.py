"""Short runs of a film's frames, thinned and laid over each other: in them it is looked for what turns."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.measure.film_reading import FilmFrame, small

Pictures = NDArray[np.float32]

MOST_MOVED: Final = 0.15
"""Of the picture's height: a farther shift of the camera is no shake."""


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Short runs of small frames, laid over each other.

    Arguments:
        frames: shape (n, height, width), each with its mean taken out and its contrast made one.
        run: which run each belongs to, shape (n,).
        by: pixels of the film for one pixel here.
    """

    frames: Pictures
    run: NDArray[np.intp]
    by: int


def laid_over(bursts: Sequence[Sequence[FilmFrame]]) -> Runs:
    """Thin the frames, take the light's flicker out and shift each onto the first.

    Arguments:
        bursts: runs of frames from different places of the film.
    """
    held: list[Pictures] = []
    which: list[int] = []
    by = 1
    for number, burst in enumerate(bursts):
        for frame in burst:
            thin, by = small(frame.luma)
            thin = thin - thin.mean()
            thin /= max(float(thin.std()), 1e-6)
            if held and thin.shape != held[0].shape:
                continue
            if held:
                thin = _shifted(thin, held[0])
            held.append(thin)
            which.append(number)
    return Runs(np.stack(held), np.array(which, dtype=np.intp), by)


def _shifted(picture: Pictures, onto: Pictures) -> Pictures:
    """Shift a picture onto another by phase correlation, to a fraction of a pixel; a jump is let be."""
    window = np.outer(np.hanning(onto.shape[0]), np.hanning(onto.shape[1])).astype(np.float32)
    cross = np.fft.rfft2(picture * window) * np.conj(np.fft.rfft2(onto * window))
    peak = np.fft.irfft2(cross / (np.abs(cross) + 1e-6 * np.abs(cross).max() + 1e-12), s=onto.shape)
    down, across = (int(at) for at in np.unravel_index(int(np.argmax(peak)), peak.shape))
    moved = [_between(peak[:, across], down), _between(peak[down, :], across)]
    farthest = max(abs(value) for value in moved)
    if not 0.1 <= farthest <= MOST_MOVED * onto.shape[0]:
        return picture
    return np.asarray(ndimage.shift(picture, [-value for value in moved], order=1, mode="nearest"), dtype=np.float32)


def _between(line: NDArray[Any], at: int) -> float:
    """Give where a peak stands between the points of a ring, counted from its zero either way."""
    before, here, after = (float(line[(at + step) % len(line)]) for step in (-1, 0, 1))
    bend = before - 2.0 * here + after
    off = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return (at + len(line) // 2) % len(line) - len(line) // 2 + off


__all__ = ["Pictures", "Runs", "laid_over"]
