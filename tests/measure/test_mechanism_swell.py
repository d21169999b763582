"""How a pitch swells: tones, strokes and noise made for the purpose."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.mechanism import hear_sound
from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_swell import (
    FROM_SWELL,
    STEP_S,
    UNSTEADILY,
    comes_round,
    depth_at,
    level_of,
    steepness,
    swells,
)
from tapewright.words.mechanism_heard import Mark, RateExpected

FS = 16000.0
TIMES_S = np.arange(round(9.0 * FS)) / FS
PITCH_HZ = 2350.0
Floats = NDArray[np.float64]


def noise(seed: int) -> Floats:
    return 0.01 * np.random.default_rng(seed).standard_normal(len(TIMES_S))


def tone(rate_hz: float, share: float, pitch_hz: float = PITCH_HZ) -> Floats:
    swell = 1.0 + share * np.cos(2 * np.pi * rate_hz * TIMES_S)
    return 0.05 * swell * np.sin(2 * np.pi * pitch_hz * TIMES_S)


def sounding(samples: Floats) -> Sound:
    return Sound(samples.astype(np.float32), FS)


@settings(max_examples=20, deadline=None)
@given(st.floats(2.5, 12.0), st.floats(0.3, 0.7), st.integers(0, 1000))
def test_a_tone_swells_at_its_rate_and_as_far_as_the_first_harmonic_of_its_level(
    rate_hz: float, share: float, seed: int
) -> None:
    """Closed form: ln|1 + m cos x| has the first harmonic 2 (1 - sqrt(1 - m**2)) / m."""
    _, levels = level_of(sounding(noise(seed) + tone(rate_hz, share)), PITCH_HZ, 1.0, 8.0)
    back, depth = swells(levels)
    first = 2.0 * (1.0 - np.sqrt(1.0 - share**2)) / share
    assert back.value == pytest.approx(rate_hz, abs=back.doubt)
    assert depth == pytest.approx(2.0 * 20.0 / np.log(10.0) * first, rel=0.15)
    assert depth_at(levels, rate_hz) == pytest.approx(depth, rel=0.1)


def test_a_steady_tone_and_noise_do_not_swell() -> None:
    found = [swells(level_of(sounding(noise(seed) + tone(0.0, 0.0)), PITCH_HZ, 1.0, 8.0)[1])[0] for seed in range(10)]
    found += [swells(level_of(sounding(noise(seed)), PITCH_HZ, 1.0, 8.0)[1])[0] for seed in range(10, 20)]
    assert all(one.value is None for one in found)


def test_a_stroke_rises_more_steeply_than_it_falls_and_a_swelling_does_not() -> None:
    at = np.asarray(np.arange(700) * STEP_S, dtype=np.float64)
    struck = -60.0 * (at * 4.0 % 1.0)
    assert steepness(struck, 4.0) > 3.0
    assert steepness(np.asarray(10.0 * np.cos(2 * np.pi * 4.0 * at)), 4.0) == pytest.approx(1.0, abs=0.1)


def test_a_squeal_is_heard_at_a_motors_own_harmonic_where_it_swells_and_a_whine_is_none() -> None:
    motor = RateExpected("capstan_motor", "play", 47.0, 40.0, 60.0, "motor", (1.0, 2.0, 3.0, 4.0, 6.0, 12.0))
    marks = (Mark("off", 0.0), Mark("play", 1.0))
    on = (TIMES_S > 1.2) * 1.0
    lines = sum(0.02 * np.cos(2 * np.pi * order * 47.0 * TIMES_S + order) for order in (1, 2, 3, 6))
    for share, count in ((0.55, 1), (0.0, 0)):
        samples = noise(4) + on * (lines + tone(7.2, share, 50 * 47.0))
        heard = hear_sound(sounding(samples), marks, [motor])
        assert len(heard.squeals) == count
        if count:
            assert heard.squeals[0].modulation_hz.value == pytest.approx(7.2, abs=0.1)


def swelling(turned: Floats, seed: int) -> Floats:
    """Give a level that swells by 6 dB once a turn, with a decibel of noise."""
    return 3.0 * np.cos(2 * np.pi * turned) + np.random.default_rng(seed).standard_normal(len(turned))


@settings(max_examples=20, deadline=None)
@given(st.floats(5.0, 14.0), st.integers(0, 1000))
def test_short_pieces_say_how_often_they_swell(rate_hz: float, seed: int) -> None:
    at_s = np.arange(45) * STEP_S
    back = comes_round([swelling(np.asarray(rate_hz * at_s + 0.37 * k, np.float64), seed + k) for k in range(5)])
    assert back.value == pytest.approx(rate_hz, abs=back.doubt)
    assert back.method == FROM_SWELL


@pytest.mark.parametrize("seed", range(8))
def test_what_turns_by_fits_and_starts_is_told_from_what_turns_as_it_should(seed: int) -> None:
    """A reel that slips, half as fast and unsteady by two fifths, is not taken for one that is in order."""
    marks = 1.0 + 0.45 * np.random.default_rng(seed).standard_normal(40)
    rate = 5.0 * np.clip(np.interp(np.arange(600) * STEP_S, np.arange(40) * 0.2, marks), 0.1, 1.6)
    back = comes_round([swelling(np.cumsum(rate) * STEP_S, seed)])
    assert back.value is not None
    assert back.value + (back.doubt or 0.0) < 0.85 * 11.0
    assert back.method in (FROM_SWELL, UNSTEADILY)


def test_a_level_that_only_wavers_does_not_come_round() -> None:
    found = [comes_round([np.random.default_rng(seed).standard_normal(60) for _ in range(4)]) for seed in range(20)]
    assert sum(one.value is not None for one in found) <= 1
