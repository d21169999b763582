"""Paint the frames of a film: each row at its own time, each point where the hand held the camera just then."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.simulate.film_camera import Camera, Hand, light, projection, row_times
from tapewright.simulate.film_look import ANGLES, FIELD_MM, Blob, Disc, Picture, Scene
from tapewright.simulate.pack import Samples

BLUR_DEG: Final = 1.0
"""What turns is drawn so often within an exposure that it moves no farther from one to the next."""
MOST_PER_FRAME: Final = 16
MARGIN_PX: Final = 6.0
"""Points so near an opening are looked at as well, besides the hand's sway."""
DIVIDE_MM: Final = 8.0
"""The line between two packs never lies farther from the middle."""
BLACK, WHITE = 16.0, 235.0
"""Luma of black and white in the studio range (ITU-R BT.601, from memory)."""


class Painter:
    """Paints frames of a scene.

    Arguments:
        scene: what stands before the camera.
        camera: how it is filmed.
        seed: the same seed gives the same frames.
        gradient: of the light over the picture, share.
    """

    def __init__(self, scene: Scene, camera: Camera, seed: int, gradient: float = 0.0) -> None:
        self.scene, self.camera = scene, camera
        self._hand = Hand(camera.shake_px, seed)
        self._from_picture = np.linalg.inv(projection(camera))
        rng = np.random.default_rng([seed, 61])
        self._noise_rng = rng
        self._noise = rng.standard_normal((camera.height + 64, camera.width + 64), dtype=np.float32)
        way = rng.uniform(0, 2 * np.pi)
        across = np.linspace(-0.5, 0.5, camera.width, dtype=np.float32)[None, :] * np.float32(np.cos(way))
        down = np.linspace(-0.5, 0.5, camera.height, dtype=np.float32)[:, None] * np.float32(np.sin(way))
        self._light = (1.0 + gradient * (across + down)).astype(np.float32)
        self._x = np.arange(camera.width, dtype=np.float32)
        self._y = np.arange(camera.height, dtype=np.float64)
        still = scene.still
        self._rows, self._columns = still.shape
        self._places = [self._places_of(disc) for disc in scene.discs]

    def frame(self, time_s: float) -> NDArray[np.uint8]:
        """Paint the frame of a moment as bytes of luma, shape (height, width)."""
        drawn = self.luma(time_s)
        if self.camera.noise > 0.0:
            down, right = self._noise_rng.integers(0, 64, 2)
            noise = self._noise[down : down + self.camera.height, right : right + self.camera.width]
            drawn += noise * (self.camera.noise * (0.5 + drawn))
        drawn *= WHITE - BLACK
        drawn += BLACK + 0.5
        return np.clip(drawn, BLACK, WHITE).astype(np.uint8)

    def luma(self, time_s: float) -> Picture:
        """Paint the frame of a moment without the sensor's noise, shape (height, width), 0 black to 1 white."""
        times_s = row_times(self.camera, time_s)
        into = self._into(time_s)
        sway = self._hand.sway(times_s) if self.camera.shake_px else (np.zeros(1), np.zeros(1))
        terms = [
            (np.float32(row[0]), (row[1] * (self._y - sway[1]) - row[0] * sway[0] + row[2]).astype(np.float32))
            for row in into
        ]
        drawn = self._still(terms)
        for disc, (rows, columns) in zip(self.scene.discs, self._places, strict=True):
            self._turning(drawn, disc, rows, columns, terms, times_s, time_s)
        for blob in self.scene.blobs:
            self._blob(drawn, blob, into, time_s)
        drawn *= self._light
        if self.camera.flicker:
            drawn *= light(self.camera, times_s).astype(np.float32)[:, None]
        return drawn

    def _into(self, time_s: float) -> NDArray[np.float64]:
        """Give what takes the picture's points into raster and plane at a moment: the hand's turn about the middle."""
        turned = self._hand.turned_rad(time_s)
        cos, sin = np.cos(-turned), np.sin(-turned)
        mid_x, mid_y = (self.camera.width - 1) / 2, (self.camera.height - 1) / 2
        back = np.array(
            [[cos, -sin, mid_x - cos * mid_x + sin * mid_y], [sin, cos, mid_y - sin * mid_x - cos * mid_y], [0, 0, 1]]
        )
        return np.asarray(self._from_picture @ back)

    def _still(self, terms: list[tuple[np.float32, Picture]]) -> Picture:
        """Look up what does not move, at every point."""
        planes = [along * self._x[None, :] + rest[:, None] for along, rest in terms]
        scale = np.float32(self.scene.per_mm) / planes[2]
        across, down = planes[0], planes[1]
        across *= scale
        across += np.float32(FIELD_MM[0] * self.scene.per_mm)
        down *= scale
        np.subtract(np.float32(FIELD_MM[1] * self.scene.per_mm), down, out=down)
        np.clip(across, 0, self._columns - 1, out=across)
        np.clip(down, 0, self._rows - 1, out=down)
        place = down.astype(np.int32)
        place *= self._columns
        place += across.astype(np.int32)
        return np.take(self.scene.still.ravel(), place)

    def _places_of(self, disc: Disc) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Give the points of the picture that can ever show something that turns: rows and columns."""
        into = self._from_picture
        x, y = self._x[None, :], self._y[:, None]
        den = into[2, 0] * x + into[2, 1] * y + into[2, 2]
        across = (into[0, 0] * x + into[0, 1] * y + into[0, 2]) / den
        up = (into[1, 0] * x + into[1, 1] * y + into[1, 2]) / den
        margin = (MARGIN_PX + 4.0 * self.camera.shake_px) / self.camera.px_per_mm
        near = np.hypot(across - disc.centre_mm[0], up - disc.centre_mm[1]) < disc.reach_mm + margin
        if len(self.scene.discs) > 1:  # each has its own side, so that nothing is drawn twice
            near &= np.sign(disc.centre_mm[0]) * across > -DIVIDE_MM - margin
        rows, columns = np.nonzero(near)
        shown = np.zeros(len(rows), dtype=bool)
        for right in (-margin, 0.0, margin):
            for raised in (-margin, 0.0, margin):
                shown |= self._through(across[rows, columns] + right, up[rows, columns] + raised) > 0.0
        return rows[shown].astype(np.int32), columns[shown].astype(np.int32)

    def _through(self, across: NDArray[np.floating], up: NDArray[np.floating]) -> Picture:
        column = np.clip((across + FIELD_MM[0]) * self.scene.per_mm, 0, self._columns - 1).astype(np.int32)
        row = np.clip((FIELD_MM[1] - up) * self.scene.per_mm, 0, self._rows - 1).astype(np.int32)
        return np.asarray(np.take(self.scene.through.ravel(), row * self._columns + column), dtype=np.float32)

    def _turning(
        self, drawn: Picture, disc: Disc, rows: NDArray[np.int32], columns: NDArray[np.int32],
        terms: list[tuple[np.float32, Picture]], times_s: Samples, time_s: float,
    ) -> None:  # fmt: skip
        """Add what turns, where it is seen through what stands still."""
        x = columns.astype(np.float32)
        den = terms[2][0] * x + terms[2][1][rows]
        across = (terms[0][0] * x + terms[0][1][rows]) / den
        up = (terms[1][0] * x + terms[1][1][rows]) / den
        seen = self._through(across, up)
        if len(self.scene.discs) > 1:
            seen *= np.sign(disc.centre_mm[0]) * (across - np.float32(self._divide(time_s))) >= 0
        across -= np.float32(disc.centre_mm[0])
        up -= np.float32(disc.centre_mm[1])
        radius = np.hypot(across, up)
        angle = np.arctan2(up, across) * np.float32(ANGLES / (2 * np.pi)) + np.float32(2 * ANGLES + 0.5)
        line = np.minimum((radius * np.float32(disc.per_mm)).astype(np.int32), len(disc.table) - 1) * ANGLES
        shown = self._blurred(disc, line, angle, rows, times_s)
        if disc.pack_mm is not None:
            pack = np.clip((disc.pack_mm(time_s) - radius) * np.float32(self.camera.px_per_mm) + 0.5, 0, 1)
            shown = np.asarray(disc.inside + pack * (shown - np.float32(disc.inside)), dtype=np.float32)
        drawn[rows, columns] += seen * shown

    def _divide(self, time_s: float) -> float:
        """Give where the side of the one disc ends and that of the other begins: between the edges of their packs."""
        left, right = (0.0 if disc.pack_mm is None else disc.pack_mm(time_s) for disc in self.scene.discs[:2])
        return (left - right) / 2

    def _blurred(
        self, disc: Disc, line: NDArray[np.int32], angle: Picture, rows: NDArray[np.int32], times_s: Samples
    ) -> Picture:
        """Average what is seen over the exposure of each row."""
        exposure_s, table = self.camera.exposure_s, disc.table.ravel()
        ends = disc.turns_at(np.array([times_s[0] - exposure_s / 2, times_s[0] + exposure_s / 2]))
        count = int(np.clip(np.ceil(abs(ends[1] - ends[0]) * 360.0 / BLUR_DEG), 1, MOST_PER_FRAME))
        total = np.zeros(len(line), dtype=np.float32)
        for number in range(count):
            at = times_s + ((number + 0.5) / count - 0.5) * exposure_s
            turned = ((disc.turns_at(at) % 1.0) * ANGLES).astype(np.float32)
            total += np.take(table, line + ((angle - turned[rows]).astype(np.int32) & (ANGLES - 1)))
        return total / np.float32(count)

    def _blob(self, drawn: Picture, blob: Blob, into: NDArray[np.float64], time_s: float) -> None:
        """Lay a soft shape over what is drawn."""
        x, y, turned = blob.at_mm(time_s)
        place = np.linalg.inv(into) @ np.array([x, y, 1.0])
        mid_x, mid_y = place[0] / place[2], place[1] / place[2]
        reach = max(blob.size_mm) * self.camera.px_per_mm * 1.3
        left, right = (int(np.clip(mid_x + way * reach, 0, self.camera.width)) for way in (-1, 1))
        top, bottom = (int(np.clip(mid_y + way * reach, 0, self.camera.height)) for way in (-1, 1))
        across = (self._x[None, left:right] - np.float32(mid_x)) / np.float32(self.camera.px_per_mm)
        down = (self._y[top:bottom, None] - mid_y).astype(np.float32) / np.float32(self.camera.px_per_mm)
        cos, sin = np.float32(np.cos(turned)), np.float32(np.sin(turned))
        along, beside = cos * across + sin * down, cos * down - sin * across
        away = np.sqrt((along / blob.size_mm[0]) ** 2 + (beside / blob.size_mm[1]) ** 2)
        covers = np.clip((1.0 - away) * 6.0 + 0.5, 0.0, 1.0).astype(np.float32)
        part = drawn[top:bottom, left:right]
        part += covers * (np.float32(blob.light) * (1.0 - 0.3 * np.minimum(away, 1.0)) - part)
