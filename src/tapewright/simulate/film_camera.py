"""The phone that films: where it stands, how it is held, when it reads which row, what its lamp and sensor add.

A frame is read row by row: row i is exposed about its own time, the frame's time plus i - (rows - 1)/2 times the time
of a row. The frame's time is what stands in the file, so it is the middle of the exposure of the middle row.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.simulate.pack import Samples
from tapewright.standards.iec_60094 import SHELL_M
from tapewright.words.problem import InputAtFaultError, Problem

CLOCK_HZ: Final = 90000
"""The raster on which times stand in the file."""
FOCAL: Final = 1.1
"""Focal length against the longer side of the picture: a phone's main lens, from memory."""
SHELL_MM: Final = 1000.0 * SHELL_M[0]
"""Length of the shell."""
SWAYS: Final = (0.2, 0.35, 0.7, 1.3, 2.9, 5.1, 8.3)
"""Frequencies of a hand's sway, Hz; from memory. The faster ones are smaller."""


@dataclass(frozen=True, slots=True)
class Camera:
    """How it is filmed.

    Arguments:
        width, height: of the picture as the sensor gives it, pixels; even.
        rate_hz: frames per second.
        exposure_s: for how long a row is exposed.
        row_s: time from one row to the next.
        fills: share of the width of the picture as shown that the shell takes.
        tilt_deg, turn_deg, roll_deg: how far the camera stands off square: up and down, sideways, about its axis.
        aside_px: where the middle of the hubs lies, (right, down) of the picture's middle.
        shake_px: sway of the hand, rms pixels.
        mains_hz: of the lamps, which flicker at twice that.
        flicker: depth of that, share of the light.
        noise: of the sensor, rms, share of white.
        jitter_s: largest error of a frame's moment against an even raster; the file says the true moment.
        stamp_error_s: rms error of what the file says against the moment.
        drops: share of the frames that are missing.
        rotation: how far a player has to turn the picture clockwise: 0, 90, 180, 270.
        softness_px: width of an edge in the picture.
    """

    width: int = 1280
    height: int = 720
    rate_hz: float = 30.0
    exposure_s: float = 1.0 / 100.0
    row_s: float = 25e-6
    fills: float = 0.8
    tilt_deg: float = 0.0
    turn_deg: float = 0.0
    roll_deg: float = 0.0
    aside_px: tuple[float, float] = (0.0, 0.0)
    shake_px: float = 0.0
    mains_hz: float = 50.0
    flicker: float = 0.0
    noise: float = 0.0
    jitter_s: float = 0.0
    stamp_error_s: float = 0.0
    drops: float = 0.0
    rotation: int = 0
    softness_px: float = 1.2

    @property
    def px_per_mm(self) -> float:
        """Give the scale in the middle of the picture."""
        return self.fills * shown_size(self)[0] / SHELL_MM


def check_camera(camera: Camera) -> None:
    """Refuse a camera that cannot be.

    Raises:
        InputAtFaultError: with all that is wrong.
    """
    rules = (
        ("width", camera.width, 64 <= camera.width <= 1920 and camera.width % 2 == 0, "Give 64 to 1920, even."),
        ("height", camera.height, 64 <= camera.height <= 1920 and camera.height % 2 == 0, "Give 64 to 1920, even."),
        ("frame rate", camera.rate_hz, 5.0 <= camera.rate_hz <= 240.0, "Give 5 to 240 frames a second."),
        ("exposure", camera.exposure_s, 0.0 <= camera.exposure_s <= 0.2, "Give 0 to 0.2 s."),
        ("rotation", camera.rotation, camera.rotation in (0, 90, 180, 270), "Give 0, 90, 180 or 270."),
        ("missing frames", camera.drops, 0.0 <= camera.drops <= 0.9, "Give 0 to 0.9."),
        ("fills", camera.fills, 0.1 <= camera.fills <= 3.0, "Give 0.1 to 3."),
    )
    wrong = [Problem(where, f"is {value:g}.", do) for where, value, holds, do in rules if not holds]
    if wrong:
        raise InputAtFaultError(wrong)


# --- when -------------------------------------------------------------------------------------------------------------


def frame_times(camera: Camera, seconds: float, seed: int) -> tuple[list[int], Samples]:
    """Give what the file says of each frame, in ticks of `CLOCK_HZ`, and when it was truly taken, seconds.

    Arguments:
        camera: its rate, jitter, missing frames.
        seconds: how long is filmed.
        seed: the same seed gives the same times.
    """
    rng = np.random.default_rng([seed, 41])
    count = max(2, int(seconds * camera.rate_hz))
    even = np.arange(count) / camera.rate_hz
    moved = even + rng.uniform(-1.0, 1.0, count) * min(camera.jitter_s, 0.45 / camera.rate_hz)
    moved[0] = 0.0
    stays = rng.random(count) >= camera.drops
    stays[0] = True
    ticks = np.round(moved[stays] * CLOCK_HZ).astype(np.int64)
    truly = ticks / CLOCK_HZ
    if camera.stamp_error_s > 0.0:
        truly = truly + camera.stamp_error_s * rng.standard_normal(len(ticks))
    return [int(tick) for tick in ticks], np.asarray(truly, dtype=np.float64)


def row_times(camera: Camera, frame_s: float) -> Samples:
    """Give the middle of the exposure of each row of a frame, seconds, shape (height,)."""
    return np.asarray(frame_s + (np.arange(camera.height) - (camera.height - 1) / 2) * camera.row_s)


def light(camera: Camera, times_s: Samples) -> Samples:
    """Give the lamp's light as rows see it that are exposed about these times, 1 on average, same shape.

    The closed form of a sine at twice the mains under a window of the exposure.
    """
    twice = 2.0 * camera.mains_hz
    seen = camera.flicker * np.sinc(twice * camera.exposure_s)
    return np.asarray(1.0 + seen * np.cos(2 * np.pi * twice * times_s))


def time_base() -> Fraction:
    """Give one tick of the file's clock."""
    return Fraction(1, CLOCK_HZ)


# --- where ------------------------------------------------------------------------------------------------------------


def projection(camera: Camera) -> NDArray[np.float64]:
    """Give the matrix that takes a point of the cassette's plane, (x right, y up, 1) mm, into the stored picture.

    Source: the pinhole camera, from any textbook on views: K [r1 r2 t].
    """
    focal = FOCAL * max(camera.width, camera.height)
    away = focal / camera.px_per_mm
    tilt, turn, roll = np.radians([camera.tilt_deg, camera.turn_deg, camera.roll_deg])
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    about_y = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    stands = about_z @ about_x @ about_y
    plane = np.column_stack([stands[:, 0], stands[:, 1], [0.0, 0.0, away]])
    shown_w, shown_h = shown_size(camera)
    right, down = camera.aside_px
    lens = np.array(
        [[focal, 0, (shown_w - 1) / 2 + right], [0, -focal, (shown_h - 1) / 2 + down], [0, 0, 1]], dtype=np.float64
    )
    into = _stored(camera) @ lens @ plane
    return np.asarray(into / into[2, 2])


def shown_size(camera: Camera) -> tuple[int, int]:
    """Give width and height of the picture as a player shows it, turned as the file says."""
    turned = camera.rotation in (90, 270)
    return (camera.height, camera.width) if turned else (camera.width, camera.height)


def _stored(camera: Camera) -> NDArray[np.float64]:
    """Give what takes a point of the shown picture into the stored one, which a player turns clockwise."""
    last_x, last_y = camera.width - 1.0, camera.height - 1.0
    ways: dict[int, list[list[float]]] = {
        0: [[1, 0, 0], [0, 1, 0]],
        90: [[0, 1, 0], [-1, 0, last_y]],
        180: [[-1, 0, last_x], [0, -1, last_y]],
        270: [[0, -1, last_x], [1, 0, 0]],
    }
    return np.array(ways[camera.rotation] + [[0.0, 0.0, 1.0]], dtype=np.float64)


def shown(camera: Camera, x: float, y: float) -> tuple[float, float]:
    """Give where a point of the plane lies in the picture as shown, pixels from the top left; (x, y) in mm."""
    point = np.linalg.inv(_stored(camera)) @ projection(camera) @ np.array([x, y, 1.0])
    return float(point[0] / point[2]), float(point[1] / point[2])


class Hand:
    """How the hand sways: pixels to the right and down, and a turn, at any time.

    Arguments:
        shake_px: rms sway, pixels.
        seed: the same seed gives the same hand.
    """

    def __init__(self, shake_px: float, seed: int) -> None:
        rng = np.random.default_rng([seed, 42])
        self._rates = np.array(SWAYS) * rng.uniform(0.8, 1.2, (3, len(SWAYS)))
        self._phases = rng.uniform(0, 2 * np.pi, (3, len(SWAYS)))
        sizes = 1.0 / (1.0 + np.array(SWAYS))
        self._sizes = sizes * (shake_px / np.sqrt(np.sum(np.square(sizes)) / 2))

    def sway(self, times_s: Samples) -> tuple[Samples, Samples]:
        """Give the sway to the right and down, pixels, shape (n,) each."""
        found = [self._sum(axis, times_s) for axis in (0, 1)]
        return found[0], found[1]

    def turned_rad(self, time_s: float) -> float:
        """Give how far the picture is turned; a pixel of sway goes with about a minute of arc (from memory)."""
        return float(self._sum(2, np.array([time_s]))[0]) * 5e-4

    def _sum(self, axis: int, times_s: Samples) -> Samples:
        waves = np.sin(2 * np.pi * self._rates[axis][:, None] * times_s + self._phases[axis][:, None])
        return np.asarray(self._sizes @ waves)
