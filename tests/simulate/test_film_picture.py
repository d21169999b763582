"""Frames of a film against closed forms and a slow, plain way to read an angle off a picture."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.machine.library import shipped
from tapewright.simulate.film_camera import Camera, frame_times, light, projection, row_times, shown, shown_size
from tapewright.simulate.film_course import mode_course
from tapewright.simulate.film_look import ANGLES, AXES_MM, Disc, Look, Picture, Scene, field, soft
from tapewright.simulate.film_picture import Painter
from tapewright.simulate.film_scenes import cassette_scene

FOUR = shipped("four_track")
STILL = Camera(width=640, height=360, exposure_s=0.0, row_s=0.0, softness_px=1.0)
PLAIN = Look(texture=0.0, streaks=0.0, gradient=0.0)


def ring(picture: Picture, camera: Camera, x_mm: float, radius_mm: float, count: int = 720) -> np.ndarray:
    """Read a picture along a circle of the cassette's plane, bilinearly: the slow and obvious way."""
    angles = 2 * np.pi * np.arange(count) / count
    points = np.stack([x_mm + radius_mm * np.cos(angles), radius_mm * np.sin(angles), np.ones(count)])
    seen = projection(camera) @ points
    x, y = seen[0] / seen[2], seen[1] / seen[2]
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    right, down = x - left, y - top
    above = picture[top, left] * (1 - right) + picture[top, left + 1] * right
    below = picture[top + 1, left] * (1 - right) + picture[top + 1, left + 1] * right
    return np.asarray(above * (1 - down) + below * down)


def teeth_angle(picture: Picture, camera: Camera, x_mm: float, teeth: int = 6) -> float:
    """Give where the teeth stand, turns modulo one tooth: phase of their harmonic on circles through them."""
    total = 0.0 + 0.0j
    for radius in np.linspace(3.9, 4.9, 7):
        values = ring(picture, camera, x_mm, radius)
        total += np.sum(values * np.exp(-2j * np.pi * teeth * np.arange(len(values)) / len(values)))
    return float(-np.angle(total) / (2 * np.pi * teeth))


@pytest.mark.parametrize(
    "camera", [STILL, replace(STILL, tilt_deg=12.0, turn_deg=-15.0, roll_deg=20.0), replace(STILL, rotation=90)]
)
def test_the_drawn_hubs_stand_where_the_course_says(camera: Camera) -> None:
    course = mode_course(FOUR, "play", 3.0, seed=1, position_s=200.0, running=True)
    painter = Painter(cassette_scene(course, PLAIN, camera, seed=1), camera, seed=1)
    for name, x_mm in (("left", -AXES_MM / 2), ("right", AXES_MM / 2)):
        first = teeth_angle(painter.luma(0.0), camera, x_mm)
        for time_s in (0.11, 0.5, 1.37):
            turned = teeth_angle(painter.luma(time_s), camera, x_mm) - first
            expected = float(course.turns_at(name, np.array([time_s]))[0])
            off = (turned - expected + 1 / 12) % (1 / 6) - 1 / 12
            assert abs(off) * 360 < 0.35, (name, time_s)


def line_scene(rate_hz: float) -> Scene:
    """Give one dark disc with one bright spoke, which stands upright at time 0."""
    x, y = field(8.0)
    through = soft(40.0 - np.hypot(x, y), 0.1)
    table = np.full((400, ANGLES), 0.1, dtype=np.float32)
    spoke = np.abs(np.arange(ANGLES) - ANGLES // 4)
    radius = (np.arange(400) + 0.5) / 10.0
    table[spoke[None, :] * (2 * np.pi / ANGLES) * radius[:, None] < 0.5] = 1.0
    disc = Disc("one", (0.0, 0.0), 39.0, table, 10.0, lambda times_s: np.asarray(rate_hz * times_s))
    return Scene(np.zeros_like(through), through, 8.0, (disc,))


def spoke_angle(picture: Picture, row: int) -> float:
    """Give how far the spoke leans in one row, degrees anticlockwise of upright."""
    middle_x, middle_y = (picture.shape[1] - 1) / 2, (picture.shape[0] - 1) / 2
    values = picture[row] - 0.1
    column = float(np.sum(np.clip(values, 0, 1) * np.arange(len(values))) / np.sum(np.clip(values, 0, 1)))
    return float(np.degrees(np.arctan2(middle_x - column, middle_y - row)))


def test_a_rolling_shutter_shears_by_the_rate_times_the_time_of_a_row() -> None:
    """Closed form: a row d rows above the middle is d x 30 µs early; 105 rows at 0.7 turns a second make 0.79°."""
    camera = Camera(width=640, height=480, exposure_s=0.0, row_s=30e-6, fills=0.6)
    picture = Painter(line_scene(0.7), camera, seed=1).luma(0.0)
    row = round((camera.height - 1) / 2 - 105)
    expected = -360.0 * 0.7 * 30e-6 * 105
    assert expected == pytest.approx(-0.79, abs=0.005)
    assert spoke_angle(picture, row) == pytest.approx(expected, abs=0.12)
    assert spoke_angle(Painter(line_scene(0.0), camera, seed=1).luma(0.0), row) == pytest.approx(0.0, abs=0.12)
    fast = Painter(line_scene(6.0), camera, seed=1).luma(0.0)
    assert spoke_angle(fast, row) == pytest.approx(-6.8, abs=0.15)


def test_exposure_smears_a_spoke_over_the_angle_it_moves() -> None:
    """Closed form: 1 turn a second for 1/50 s is 7.2°, so the bright width grows by that arc."""
    camera = Camera(width=640, height=480, exposure_s=0.02, row_s=0.0, fills=0.6)
    sharp = Painter(line_scene(0.0), camera, seed=1).luma(0.0)[150]
    smeared = Painter(line_scene(1.0), camera, seed=1).luma(0.0)[150]
    arc_px = np.radians(7.2) * (479 / 2 - 150)
    above = np.asarray(smeared > 0.11).sum() - np.asarray(sharp > 0.11).sum()
    assert above == pytest.approx(arc_px, abs=1.6)
    assert smeared.sum() == pytest.approx(sharp.sum(), rel=0.02)  # light is neither lost nor made


@settings(max_examples=25, deadline=None)
@given(exposure_s=st.floats(1e-4, 0.03), at_s=st.floats(0.0, 1.0))
def test_flicker_is_the_mean_of_the_lamp_over_the_exposure(exposure_s: float, at_s: float) -> None:
    camera = Camera(exposure_s=exposure_s, flicker=0.3, mains_hz=60.0)
    times_s = at_s + (np.arange(20000) + 0.5) / 20000 * exposure_s - exposure_s / 2
    slow = np.mean(1.0 + 0.3 * np.cos(2 * np.pi * 120.0 * times_s))
    assert light(camera, np.array([at_s]))[0] == pytest.approx(slow, abs=1e-6)


def test_frame_times_are_increasing_with_the_share_missing_that_was_asked() -> None:
    camera = Camera(rate_hz=30.0, jitter_s=0.004, drops=0.2)
    ticks, truly = frame_times(camera, 60.0, seed=3)
    assert np.all(np.diff(ticks) > 0)
    assert np.allclose(np.array(ticks) / 90000, truly)
    assert len(ticks) == pytest.approx(1800 * 0.8, abs=60)
    assert np.max(np.abs(truly * 30.0 - np.round(truly * 30.0))) / 30.0 <= 0.00401
    assert frame_times(camera, 60.0, seed=3)[0] == ticks


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
def test_a_turned_picture_shows_the_right_hub_on_the_right(rotation: int) -> None:
    camera = Camera(width=640, height=360, rotation=rotation)
    (left_x, left_y), (right_x, right_y) = shown(camera, -21.25, 0.0), shown(camera, 21.25, 0.0)
    assert right_x - left_x == pytest.approx(42.5 * camera.px_per_mm)
    assert left_y == pytest.approx(right_y)
    middle = (shown_size(camera)[0] - 1) / 2, (shown_size(camera)[1] - 1) / 2
    assert ((left_x + right_x) / 2, left_y) == pytest.approx(middle)


def test_rows_are_read_about_the_frames_own_time() -> None:
    times_s = row_times(Camera(height=720, row_s=30e-6), 5.0)
    assert times_s.mean() == pytest.approx(5.0)
    assert times_s[-1] - times_s[0] == pytest.approx(719 * 30e-6)


def test_the_pack_edge_stands_at_the_true_radius() -> None:
    """Read along the line between the hubs in the window: where the dark pack ends."""
    camera = replace(STILL, width=1280, height=720)
    course = mode_course(FOUR, "play", 2.0, seed=1, position_s=0.0, running=True)
    picture = Painter(cassette_scene(course, PLAIN, camera, seed=1), camera, seed=1).luma(1.0)
    x_mm = np.linspace(-8.0, 8.0, 801)
    across = (camera.width - 1) / 2 + x_mm * camera.px_per_mm
    values = np.interp(across, np.arange(camera.width), picture[camera.height // 2])
    half = (values.max() + values[:100].min()) / 2
    edge_mm = float(x_mm[np.argmax(values > half)]) + AXES_MM / 2
    expected = 1000.0 * float(np.interp(1.0, course.times_s, course.radius_m("left")))
    assert edge_mm == pytest.approx(expected, abs=0.12)
