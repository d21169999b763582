"""A hub unrolled: brightness over angle and radius, its harmonics, and the angle between two such pictures.

All of it is one-dimensional phase correlation summed over radii and harmonics; the angle is refined by Newton's method
on the correlation's own Fourier sum, so it is not tied to a grid (Guizar-Sicairos, Thurman, Fienup 2008 refine the
two-dimensional case by a finer transform; here the derivative is at hand).
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

HARMONICS: Final = 48
"""Of one turn: six teeth have their eighth there; own choice."""
ANGLES: Final = 256
COARSE: Final = 1024
"""Points of the first look at the correlation."""
SYMMETRIES: Final = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12)

Floats = NDArray[np.float64]
Spectra = NDArray[np.complex64]


@dataclass(frozen=True, slots=True)
class Place:
    """Where something turns, in pixels of the picture it is looked up in.

    Arguments:
        x, y: its centre.
        radius: of its outermost ring.
        stretch: e and g of the matrix ((1 + e, g), (g, 1 - e)) that takes the circle into the picture.
    """

    x: float
    y: float
    radius: float
    stretch: tuple[float, float] = (0.0, 0.0)


def ring_points(place: Place, shares: Floats, angles: int = ANGLES) -> tuple[Floats, Floats]:
    """Give the picture's points along rings, each (rings, angles): angle grows anticlockwise as one sees it.

    Arguments:
        place: centre, radius and stretch.
        shares: radii of the rings over the outermost one.
        angles: points on each ring.

    >>> x, y = ring_points(Place(10.0, 10.0, 4.0), np.array([1.0]), 4)
    >>> [round(float(value), 6) for value in (x[0, 1], y[0, 1])]
    [10.0, 6.0]
    """
    turn = np.arange(angles) * (2.0 * np.pi / angles)
    across = place.radius * np.outer(shares, np.cos(turn))
    down = -place.radius * np.outer(shares, np.sin(turn))
    e, g = place.stretch
    return place.x + (1.0 + e) * across + g * down, place.y + g * across + (1.0 - e) * down


def looked_up(picture: NDArray[Any], x: Floats, y: Floats) -> NDArray[np.float32]:
    """Give brightness between pixels, by the four around; outside the picture its edge goes on.

    Arguments:
        picture: shape (height, width).
        x: where, pixels from the left; any shape.
        y: where, pixels from the top; the same shape.
    """
    height, width = picture.shape
    x, y = np.clip(x, 0.0, width - 1.001), np.clip(y, 0.0, height - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    fx, fy = (x - left).astype(np.float32), (y - top).astype(np.float32)
    upper = picture[top, left] * (1.0 - fx) + picture[top, left + 1] * fx
    lower = picture[top + 1, left] * (1.0 - fx) + picture[top + 1, left + 1] * fx
    return np.asarray(upper * (1.0 - fy) + lower * fy, dtype=np.float32)


def harmonics(rings: NDArray[np.float32], highest: int = HARMONICS) -> Spectra:
    """Give harmonics 1 to `highest` of one turn, shape (..., highest).

    Arguments:
        rings: brightness, angle last.
        highest: the last harmonic.
    """
    return np.asarray(fft.rfft(rings, axis=-1)[..., 1 : highest + 1] / rings.shape[-1], dtype=np.complex64)


def correlation(cross: NDArray[np.complex128], points: int = COARSE) -> Floats:
    """Give the correlation over a full turn, shape (..., points), from the cross spectrum's harmonics 1, 2, ...

    Arguments:
        cross: conjugate of the first picture's harmonics times the second's, summed over rings, shape (..., harmonics).
        points: angles from 0 on.
    """
    padded = np.zeros((*cross.shape[:-1], points // 2 + 1), dtype=np.complex128)
    padded[..., 1 : cross.shape[-1] + 1] = cross
    return np.asarray(fft.irfft(padded, points, axis=-1) * (points / 2.0), dtype=np.float64)


def refined(cross: NDArray[np.complex128], angle: float, steps: int = 4) -> tuple[float, float]:
    """Refine where the correlation peaks: its angle in radians, and how sharply it bends there (a positive number).

    Arguments:
        cross: harmonics 1, 2, ... of the cross spectrum.
        angle: near the peak, radians.
        steps: of Newton's method.

    >>> cross = np.exp(-1j * 0.7 * np.arange(1, 9))
    >>> round(refined(cross, 0.65)[0], 9)
    0.7
    """
    order = np.arange(1, len(cross) + 1)
    widest = 0.5 / len(cross)
    bend = 0.0
    for _ in range(steps):
        terms = cross * np.exp(1j * order * angle)
        bend = float(np.sum(order**2 * terms.real))
        if bend <= 0.0:
            break
        angle += float(np.clip(-np.sum(order * terms.imag) / bend, -widest, widest))
    return angle, bend


def symmetry_of(power: Floats) -> tuple[int, float]:
    """Give how many times something looks the same in a turn, and the share of its contrast that agrees with that.

    Arguments:
        power: of harmonics 1, 2, ... of one turn.

    >>> symmetry_of(np.array([0.1, 0, 0, 0, 0, 5.0, 0, 0, 0, 0, 0, 1.0]))[0]
    6
    """
    whole = float(power.sum()) or 1.0
    best = (1, 1.0)
    score = 0.0
    for number in SYMMETRIES[1:]:
        share = float(power[number - 1 :: number].sum()) / whole
        if share - 1.0 / number > score and share > 0.5:
            best, score = (number, share), share - 1.0 / number
    return best


__all__ = ["Place", "correlation", "harmonics", "looked_up", "refined", "ring_points", "symmetry_of"]
