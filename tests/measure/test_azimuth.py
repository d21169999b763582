"""Azimuth from delays between tracks: closed forms, published figures, wrapping, wander, and what noise leaves open."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.askew import ARC_MINUTE, delay_s, line_weights, summed_db
from tapewright.measure.azimuth import read_azimuth, turned_over, wander_at
from tapewright.measure.losses import azimuth_loss_db
from tapewright.measure.section_tone import Baseband, section_tone
from tapewright.standards.iec_60094 import DOUBLE_SPEED_M_PER_S, OUTER_TRACK_SPACING_M, SPEED_M_PER_S, TRACK_CENTRES_M

SPEED = SPEED_M_PER_S.value
WHERE = np.array(TRACK_CENTRES_M)
RATE_HZ = 24000.0
LADDER_HZ = (125.0, 400.0, 1250.0, 4000.0, 10000.0)
Values = NDArray[np.float64]


@pytest.mark.parametrize(
    ("apart_m", "minutes", "delay_us"),
    [(0.9e-3, 1.0, 5.497), (0.9e-3, 3.0, 16.491), (0.9e-3, 6.0, 33.0), (0.9e-3, 10.0, 55.0), (3.21e-3, 1.0, 19.6)],
)
def test_delay_of_a_leaning_gap(apart_m: float, minutes: float, delay_us: float) -> None:
    """Oracle: d tan(a)/v at 4.7625 cm/s; closed form of our own, printed to so many places."""
    assert 1e6 * delay_s(minutes * ARC_MINUTE, apart_m, SPEED) == pytest.approx(delay_us, abs=0.05)


def test_phase_of_the_outer_pair_and_where_it_wraps() -> None:
    """Oracle: 70.6 degrees a minute at 10 kHz, half a turn at 2.5 minutes, a whole one between near tracks at 18.2."""
    outer = 360.0 * 10000.0 * delay_s(ARC_MINUTE, OUTER_TRACK_SPACING_M.value, SPEED)
    near = 360.0 * 10000.0 * delay_s(ARC_MINUTE, 0.9e-3, SPEED)
    assert outer == pytest.approx(70.6, abs=0.1)
    assert 180.0 / outer == pytest.approx(2.5, abs=0.06)
    assert 360.0 / near == pytest.approx(18.2, abs=0.05)
    assert 3.0 * near == pytest.approx(59.0, abs=0.5)


@pytest.mark.parametrize(
    ("apart_m", "speed_m_per_s", "published_deg", "exact_deg"),
    [
        (4.3e-3, 0.095, 45.0, 48.8),
        (10.5e-3, 0.095, 110.0, 119.0),
        (23.4e-3, 0.095, 260.0, 265.0),
        (4.3e-3, 0.190, 22.0, 24.4),
    ],
)
def test_published_phase_of_300_microradians(
    apart_m: float, speed_m_per_s: float, published_deg: float, exact_deg: float
) -> None:
    """Oracle: McKnight's figures (scribd 663316721) for 2 mm tracks at the edges of tapes of 6.3, 12.5 and 25 mm, 10
    kHz.

    He printed them rounded: 2 to 11 % below the formula, which is what stands here as exact. The centres' distances
    are tape widths less a track.
    """
    found = 360.0 * 10000.0 * delay_s(300e-6, apart_m, speed_m_per_s)
    assert found == pytest.approx(exact_deg, rel=0.015)
    assert found == pytest.approx(published_deg, rel=0.12)


def test_published_response_of_a_quarter_of_a_degree() -> None:
    """Oracle: a post on an archivists' list: a cassette 15 minutes out falls 3 dB near 9 kHz and 6 dB near 12 kHz on
    one track, 3.4 and 4.6 kHz when two are summed; track 0.533 mm wide, 0.75 mm apart, by which the figures come out.
    """
    angle, band = 15.0 * ARC_MINUTE, np.arange(500.0, 14000.0, 5.0)
    one = azimuth_loss_db(band, angle, 0.533e-3, SPEED)
    both = one + summed_db(band, angle, 0.75e-3, SPEED)
    for fallen, alone_hz, summed_hz in ((-3.0, 9060.0, 3410.0), (-6.0, 12340.0, 4600.0)):
        assert band[np.argmax(one < fallen)] == pytest.approx(alone_hz, rel=0.01)
        assert band[np.argmax(both < fallen)] == pytest.approx(summed_hz, rel=0.01)


def test_slope_by_four_tracks() -> None:
    """Oracle: tracks 0.45 and 1.35 mm from the middle: 23.7 microradians a microsecond of a track's error; by hand."""
    weights = line_weights(np.array([-1.35e-3, -0.45e-3, 0.45e-3, 1.35e-3]))
    assert 1e6 * SPEED * 1e-6 * float(np.sqrt(weights @ weights)) == pytest.approx(23.7, abs=0.1)


def playing(
    frequency_hz: float,
    late_s: Values,
    seconds: float = 1.2,
    rate_hz: float = RATE_HZ,
    noise: float = 0.0,
    seed: int = 1,
) -> Values:
    """Give a tone that arrives late on each track, shape (n, tracks); `late_s` of shape (tracks,) or (n, tracks)."""
    times = np.arange(int(seconds * rate_hz)) / rate_hz
    wow = 3e-4 * np.sin(2.0 * np.pi * 2.2 * times)
    tone = 0.1 * np.cos(2.0 * np.pi * frequency_hz * (times[:, None] + 0.03 * wow[:, None] - late_s))
    return np.asarray(tone + noise * np.random.default_rng(seed).standard_normal(tone.shape))


def tones(late_s: Values, noise: float = 0.0, seed: int = 1) -> list[Baseband]:
    return [section_tone(playing(hz, late_s, noise=noise, seed=seed), RATE_HZ, hz) for hz in LADDER_HZ]


@settings(max_examples=8, deadline=None)
@given(st.floats(-40.0, 40.0), st.lists(st.floats(-3.0, 3.0), min_size=4, max_size=4), st.integers(1, 1000))
def test_coarse_to_fine_never_takes_a_wrong_turn(minutes: float, off_um: list[float], seed: int) -> None:
    """Far beyond what 10 kHz can tell alone: 40 minutes are eight turns of it between the outer tracks."""
    along = WHERE * math.tan(minutes * ARC_MINUTE) + 1e-6 * np.array(off_um)
    line = np.polyfit(WHERE, along, 1)
    found = read_azimuth(tones(along / SPEED, 1e-4, seed), TRACK_CENTRES_M, SPEED)
    assert found.steps_hz == pytest.approx(LADDER_HZ, rel=0.01)
    assert found.angle_arcmin.value == pytest.approx(math.atan(line[0]) / ARC_MINUTE, abs=0.02)
    for track, scatter in enumerate(found.scatter_um):
        assert scatter.value == pytest.approx(1e6 * (along - np.polyval(line, WHERE))[track], abs=0.05)
    assert sum(one.value or 0.0 for one in found.delays_us) == pytest.approx(0.0, abs=1e-3)


def test_ten_kilohertz_alone_would_take_a_wrong_turn() -> None:
    late = WHERE * math.tan(12.0 * ARC_MINUTE) / SPEED
    found = read_azimuth(tones(late)[-1:], TRACK_CENTRES_M, SPEED)
    assert abs((found.angle_arcmin.value or 0.0) - 12.0) > 1.0


def test_too_coarse_a_step_is_not_taken() -> None:
    """From a noisy 125 Hz to 10 kHz at once: the delay of the first leaves turns of the second open."""
    late = WHERE * math.tan(5.0 * ARC_MINUTE) / SPEED
    two = [section_tone(playing(hz, late, noise=0.5), RATE_HZ, hz) for hz in (125.0, 10000.0)]
    found = read_azimuth(two, TRACK_CENTRES_M, SPEED)
    assert found.steps_hz == pytest.approx([125.0], rel=0.01)
    assert found.angle_arcmin.value == pytest.approx(5.0, abs=2.0 * (found.angle_arcmin.doubt or 0.0))


def test_at_double_speed_the_same_angle_makes_half_the_delay() -> None:
    late = WHERE * math.tan(4.0 * ARC_MINUTE) / DOUBLE_SPEED_M_PER_S.value
    found = read_azimuth(tones(late), TRACK_CENTRES_M, DOUBLE_SPEED_M_PER_S.value)
    assert found.angle_arcmin.value == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize("crossed", [(0,), (3,), (1, 2), (0, 1, 3)])
def test_wires_crossed(crossed: tuple[int, ...]) -> None:
    """The minority is named, and the angle is what it was."""
    signs = np.ones(4)
    signs[list(crossed)] = -1.0
    late = WHERE * math.tan(7.0 * ARC_MINUTE) / SPEED
    turned = [section_tone(playing(hz, late) * signs, RATE_HZ, hz) for hz in LADDER_HZ]
    found = read_azimuth(turned, TRACK_CENTRES_M, SPEED)
    assert found.angle_arcmin.value == pytest.approx(7.0, abs=0.01)
    wanted = signs < 0.0 if len(crossed) <= 2 else signs > 0.0
    if len(crossed) != 2:
        assert found.inverted == tuple(wanted)
    assert turned_over(turned[0]) == found.inverted


def test_two_tracks() -> None:
    where = TRACK_CENTRES_M[:2]
    late = np.array(where) * math.tan(-3.0 * ARC_MINUTE) / SPEED
    found = read_azimuth(tones(late), where, SPEED)
    assert found.angle_arcmin.value == pytest.approx(-3.0, abs=0.01)
    assert all(one.why_not is not None for one in found.scatter_um)


def test_wander_is_read_and_followed_at_a_rate() -> None:
    """Oracle: the sine that was put in; half the range that holds 95 % of its time is 0.997 of its peak."""
    times = np.arange(int(6.0 * RATE_HZ)) / RATE_HZ
    angle = (2.0 + 0.6 * np.sin(2.0 * np.pi * 1.3 * times)) * ARC_MINUTE
    late = np.tan(angle)[:, None] * WHERE / SPEED
    made = [section_tone(playing(hz, late, seconds=6.0, noise=1e-4), RATE_HZ, hz) for hz in (400.0, 1250.0, 4000.0)]
    found = read_azimuth(made, TRACK_CENTRES_M, SPEED)
    assert found.wander_arcmin.value == pytest.approx(0.6, rel=0.03)
    assert wander_at(found.course, 1.3).value == pytest.approx(0.6, rel=0.02)
    elsewhere = wander_at(found.course, 5.1)
    assert (elsewhere.value or 0.0) < 0.01
    assert wander_at(found.course, 0.2).why_not is not None


def test_the_bound_is_what_noise_leaves_open() -> None:
    """Oracle: sd of a phase is sqrt(1/(2 T C/N0)), put through the line's weights; and what draws scatter by."""
    late = WHERE * math.tan(2.0 * ARC_MINUTE) / SPEED
    noise, seconds = 3e-3, 1.5
    found = [
        read_azimuth([section_tone(playing(4000.0, late, seconds, noise=noise, seed=seed), RATE_HZ, 4000.0)],
                     TRACK_CENTRES_M, SPEED)
        for seed in range(24)
    ]  # fmt: skip
    phase = math.sqrt(noise**2 / (RATE_HZ / 2.0) / 0.1**2 / seconds)
    slope = phase / (2.0 * np.pi * 4000.0) * SPEED * float(np.linalg.norm(line_weights(WHERE)))
    wanted = 2.06 * slope / ARC_MINUTE
    bounds = [one.bound_arcmin for one in found]
    assert np.mean(bounds) == pytest.approx(wanted, rel=0.12)
    scatter = np.std([one.angle_arcmin.value or 0.0 for one in found])
    assert 0.7 * wanted / 2.06 < scatter < 2.0 * wanted / 2.06


def test_no_tone_and_one_track_are_our_own_mistakes() -> None:
    with pytest.raises(ValueError, match="two tracks"):
        read_azimuth([], TRACK_CENTRES_M, SPEED)
    with pytest.raises(ValueError, match="too short"):
        read_azimuth([section_tone(playing(1250.0, np.zeros(4), 0.1), RATE_HZ, 1250.0)], TRACK_CENTRES_M, SPEED)
