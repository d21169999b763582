"""A hand that holds the phone: how each frame lies against the first, by what does not turn.

Points with contrast outside the hubs are followed (Lucas and Kanade 1981: brightness is expanded to first order and
the shift, size, tilt, gain and offset that fit best are solved for, again until nothing moves), each counting less
the worse it fits (Huber). A tilted camera would turn both hubs by as much, so its tilt is followed too.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.measure.film_polar import looked_up
from tapewright.measure.film_reading import small
from tapewright.words.reels_seen import HubSeen

Floats = NDArray[np.float64]

CELL: Final = 12
"""One point from each square of so many pixels of the small picture."""
LEAST_POINTS: Final = 24
LEAST_SLOPE: Final = 0.03
"""Brightness over a pixel, in the picture's own spread: less is noise; own choice."""
BESIDE_HUB: Final = 1.6
"""A hub's radius times this is left out: the tape about it turns too."""
ITERATIONS: Final = 4
STEADY_PX: Final = 0.01


class Camera:
    """How the camera stands against the first frame, followed frame by frame."""

    def __init__(self, luma: NDArray[Any], hubs: Sequence[HubSeen]) -> None:
        thin, self._by = small(luma)
        self._middle = (0.5 * (thin.shape[1] - 1), 0.5 * (thin.shape[0] - 1))
        self._pose = np.zeros(4)
        self._x, self._y = _points(thin, hubs, self._by)
        self.follows = len(self._x) >= LEAST_POINTS
        if not self.follows:
            return
        smooth = ndimage.gaussian_filter(thin, 0.7)
        self._reference = looked_up(thin, self._x, self._y).astype(np.float64)
        down, across = _slopes(smooth)
        slope_y, slope_x = looked_up(down, self._x, self._y), looked_up(across, self._x, self._y)
        x, y = self._x - self._middle[0], self._y - self._middle[1]
        columns = [slope_x, slope_y, slope_x * x + slope_y * y, slope_y * x - slope_x * y]
        self._slopes = np.stack([*columns, self._reference, np.ones_like(x)], axis=1)

    def look(self, luma: NDArray[Any]) -> None:
        """Find how a new frame lies, from where the last one lay.

        Arguments:
            luma: the frame.
        """
        if not self.follows:
            return
        thin = small(luma)[0]
        pose = self._pose.copy()
        for _ in range(ITERATIONS):
            x, y = self._warped(self._x, self._y, pose)
            seen = looked_up(thin, x, y).astype(np.float64)
            step = _solved(self._slopes, self._reference - seen)
            moved = float(np.abs(step[:2]).max())
            pose += step[:4]
            if moved < STEADY_PX:
                break
        # A jump that no hand makes is a fit gone astray: the camera is left where it was.
        if np.abs(pose[:2] - self._pose[:2]).max() < 0.1 * self._middle[0] and abs(pose[3]) < 0.5:
            self._pose = pose

    def placed(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Give where points of the first frame lie in this one, film pixels.

        Arguments:
            x: of the points.
            y: of the points.
        """
        if not self.follows:
            return x, y
        off = 0.5 * (self._by - 1)
        there_x, there_y = self._warped((x - off) / self._by, (y - off) / self._by, self._pose)
        return there_x * self._by + off, there_y * self._by + off

    def _warped(self, x: Floats, y: Floats, pose: Floats) -> tuple[Floats, Floats]:
        across, down, larger, tilt = pose
        from_x, from_y = x - self._middle[0], y - self._middle[1]
        return x + across + larger * from_x - tilt * from_y, y + down + larger * from_y + tilt * from_x


def _points(thin: NDArray[np.float32], hubs: Sequence[HubSeen], by: int) -> tuple[Floats, Floats]:
    """Choose the points: the steepest of each square, outside the hubs and off the edges."""
    smooth = ndimage.gaussian_filter(thin, 0.7)
    slope_y, slope_x = _slopes(smooth)
    steep = np.hypot(slope_x, slope_y)
    rows, columns = np.mgrid[0 : thin.shape[0], 0 : thin.shape[1]]
    for hub in hubs:
        away = np.hypot(columns - hub.centre_x / by, rows - hub.centre_y / by)
        steep[away < BESIDE_HUB * hub.radius_px / by] = 0.0
    edge = max(3, thin.shape[0] // 30)
    steep[:edge], steep[-edge:], steep[:, :edge], steep[:, -edge:] = 0.0, 0.0, 0.0, 0.0
    high, wide = (size // CELL for size in thin.shape)
    cells = steep[: high * CELL, : wide * CELL].reshape(high, CELL, wide, CELL).transpose(0, 2, 1, 3)
    flat = cells.reshape(high * wide, CELL * CELL)
    best = flat.argmax(axis=1)
    good = flat.max(axis=1) > LEAST_SLOPE * float(thin.std())
    number = np.arange(high * wide)
    y = (number // wide) * CELL + best // CELL
    x = (number % wide) * CELL + best % CELL
    return x[good].astype(np.float64), y[good].astype(np.float64)


def _slopes(picture: NDArray[np.float32]) -> tuple[Floats, Floats]:
    """Give how fast brightness grows downward and to the right."""
    return np.asarray(np.gradient(picture, axis=0), np.float64), np.asarray(np.gradient(picture, axis=1), np.float64)


def _solved(slopes: Floats, misses: Floats) -> Floats:
    """Solve for the step, each point weighed by how well it fits (Huber 1964)."""
    centred = misses - np.median(misses)
    spread = 1.4826 * float(np.median(np.abs(centred))) + 1e-9
    weight = np.minimum(1.0, 1.5 * spread / np.maximum(np.abs(centred), 1e-9))
    weighted = slopes * weight[:, None]
    normal = weighted.T @ slopes
    normal += np.diag(1e-6 * np.diag(normal) + 1e-12)
    return np.asarray(np.linalg.solve(normal, weighted.T @ misses), dtype=np.float64)


__all__ = ["Camera"]
