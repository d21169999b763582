"""Scenes to film: a cassette whose hubs follow a course, and scenes without any reel, which must not be read as one."""

from collections.abc import Callable
from typing import Final, Literal, get_args

import numpy as np

from tapewright.simulate.film_camera import Camera
from tapewright.simulate.film_course import ReelCourse
from tapewright.simulate.film_look import (
    ANGLES,
    AXES_MM,
    DISC_MM,
    Blob,
    Disc,
    Look,
    Picture,
    Scene,
    box,
    cassette_still,
    field,
    grain,
    reel_table,
    soft,
)
from tapewright.simulate.pack import Samples

NoReel = Literal["fan", "desk", "hands"]
NO_REELS: Final[tuple[NoReel, ...]] = get_args(NoReel)
FINEST_PER_MM: Final = 24.0
"""Finer than this nothing is drawn, to save memory."""
FAN_MM: Final = 38.0


def cassette_scene(course: ReelCourse, look: Look, camera: Camera, seed: int) -> Scene:
    """Give a cassette in its well, with both hubs turning as a course says.

    Arguments:
        course: where the hubs stand over time.
        look: of shell, hubs, packs.
        camera: decides how finely it is drawn.
        seed: the same seed gives the same scene.
    """
    per_mm, edge_mm = _fineness(camera)
    still, through = cassette_still(look, per_mm, edge_mm, seed)
    discs = []
    for number, (name, side) in enumerate((("left", -1.0), ("right", 1.0))):
        table = reel_table(look, per_mm, edge_mm, seed + number)
        begins = float(np.random.default_rng([seed, 71, number]).random())
        reach = DISC_MM if look.cassette else 8.0
        packs = _pack(course, name) if look.cassette else None
        centre = (side * AXES_MM / 2, 0.0)
        discs.append(Disc(name, centre, reach, table, per_mm, _turning(course, name, begins), packs))
    return Scene(still, through, per_mm, tuple(discs))


def _fineness(camera: Camera) -> tuple[float, float]:
    """Give points per millimetre to draw with, and the width of an edge, millimetres."""
    return min(1.6 * camera.px_per_mm, FINEST_PER_MM), camera.softness_px / camera.px_per_mm


def _turning(course: ReelCourse, name: str, begins: float) -> Callable[[Samples], Samples]:
    turns = course.turns(name)
    return lambda times_s: np.asarray(begins + np.interp(times_s, course.times_s, turns))


def _pack(course: ReelCourse, name: str) -> Callable[[float], float]:
    radius_mm = 1000.0 * course.radius_m(name)
    return lambda time_s: float(np.interp(time_s, course.times_s, radius_mm))


def no_reel_scene(what: NoReel, camera: Camera, seed: int) -> Scene:
    """Give a scene without a reel: a turning fan, a still desk, hands that work on a desk.

    Arguments:
        what: which.
        camera: decides how finely it is drawn.
        seed: the same seed gives the same scene.
    """
    per_mm, edge_mm = _fineness(camera)
    rng = np.random.default_rng([seed, 72])
    x, y = field(per_mm)
    still = _desk(x, y, per_mm, edge_mm, rng)
    through = np.zeros_like(still)
    if what == "fan":
        through = soft(FAN_MM - np.hypot(x, y), edge_mm)
        still = np.asarray(still * (1.0 - through), dtype=np.float32)
        rate = float(rng.uniform(1.5, 9.0) * rng.choice([-1.0, 1.0]))
        disc = Disc("fan", (0.0, 0.0), FAN_MM, _blades(per_mm, edge_mm, int(rng.integers(3, 8))), per_mm, _steady(rate))
        return Scene(still, through, per_mm, (disc,))
    blobs = tuple(_hand(rng, side) for side in (-1, 1)) if what == "hands" else ()
    return Scene(still, through, per_mm, (), blobs)


def _desk(x: Picture, y: Picture, per_mm: float, edge_mm: float, rng: np.random.Generator) -> Picture:
    """Draw a desk with things on it: sheets, a coin or two, round knobs."""
    shape = (y.shape[0], x.shape[1])
    still = np.full(shape, 0.35, dtype=np.float32) + 0.04 * grain(shape, 0.3 * per_mm, rng)
    still += 0.05 * grain((shape[0], 1), 0.6 * per_mm, rng)
    for _ in range(5):
        centre = float(rng.uniform(-50, 50)), float(rng.uniform(-30, 30))
        half = float(rng.uniform(5, 18)), float(rng.uniform(4, 12))
        still += (rng.uniform(0.1, 0.9) - still) * box(x, y, half, edge_mm, centre)
    for _ in range(4):
        away = np.hypot(x - rng.uniform(-50, 50), y - rng.uniform(-30, 30))
        still += (rng.uniform(0.2, 0.9) - still) * soft(rng.uniform(4, 11) - away, edge_mm)
    return np.asarray(np.clip(still, 0.0, 1.0), dtype=np.float32)


def _blades(per_mm: float, edge_mm: float, count: int) -> Picture:
    radius = ((np.arange(int(FAN_MM * per_mm)) + 0.5) / per_mm)[:, None]
    angle = (2 * np.pi * np.arange(ANGLES) / ANGLES)[None, :] + 0.02 * radius  # swept back
    pitch = 2 * np.pi / count
    from_middle = np.abs((angle + pitch / 2) % pitch - pitch / 2)
    drawn = 0.15 + 0.5 * soft(radius * (0.3 * pitch - from_middle), edge_mm)
    drawn += (0.3 - drawn) * soft(9.0 - radius, edge_mm)
    return np.asarray(drawn, dtype=np.float32)


def _steady(rate_hz: float) -> Callable[[Samples], Samples]:
    return lambda times_s: np.asarray(rate_hz * times_s)


def _hand(rng: np.random.Generator, side: int) -> Blob:
    """Give a hand that goes to and fro on its side."""
    rates, phases = rng.uniform(0.2, 1.2, 3), rng.uniform(0, 2 * np.pi, 3)

    def at_mm(time_s: float) -> tuple[float, float, float]:
        along, up, turned = np.sin(2 * np.pi * rates * time_s + phases)
        return float(side * 24 + 14 * along), float(-12 + 12 * up), float(side * 0.9 + 0.4 * turned)

    return Blob(0.7, (26.0, 10.0), at_mm)
