"""Chirps put into loud noise are found where they were put; lines, knocks and the room's own tones are none."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.mechanism_chirps import chirps_in
from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_tones import pitch_of, tones_in

FS = 24000
LASTS_S = 8.0
WIND = [("off", 0.0, 3.0), ("rewind", 3.0, 8.0)]
PLACES_S = (3.9, 5.1, 6.8)
Floats = NDArray[np.float64]


def loud(seed: int) -> Floats:
    return 0.05 * np.random.default_rng(seed).standard_normal(round(LASTS_S * FS))


def chirped(pitch_hz: float, places_s: tuple[float, ...], lasts_s: float = 0.35, size: float = 0.03) -> Floats:
    """Give tones of one pitch that swell ten times a second, each at its place."""
    at_s = np.arange(round(LASTS_S * FS)) / FS
    there = np.any([(at_s >= place) & (at_s < place + lasts_s) for place in places_s], axis=0)
    swell = 0.65 + 0.35 * np.cos(2 * np.pi * 10.0 * at_s)
    return np.asarray(size * swell * there * np.sin(2 * np.pi * pitch_hz * at_s))


def found(samples: Floats) -> list[tuple[float, list[float], float]]:
    sound = Sound(samples.astype(np.float32), FS)
    return [
        (pitch_of(bursts), [float(one.times_s[0]) for one in bursts], sure)
        for bursts, sure in chirps_in(sound, WIND, 11000.0)
    ]


@settings(max_examples=5, deadline=None)
@given(st.floats(1500.0, 9000.0), st.integers(0, 1000))
def test_chirps_that_stand_out_of_no_critical_band_are_found_where_they_are(pitch_hz: float, seed: int) -> None:
    ((heard_hz, begins_s, sure),) = found(loud(seed) + chirped(pitch_hz, PLACES_S))
    assert heard_hz == pytest.approx(pitch_hz, rel=0.01)
    assert begins_s == pytest.approx(PLACES_S, abs=0.12)
    assert sure > 0.9


def test_they_stand_out_of_no_critical_band_indeed() -> None:
    sound = Sound((loud(4) + chirped(6000.0, PLACES_S)).astype(np.float32), FS)
    assert sum(len(tone.times_s) for tone in tones_in(sound, 11000.0)) < 10


@pytest.mark.parametrize("seed", range(6))
def test_noise_alone_a_line_that_stays_and_knocks_are_none(seed: int) -> None:
    at_s = np.arange(round(LASTS_S * FS)) / FS
    line = 0.03 * np.sin(2 * np.pi * 3000.0 * at_s)
    knocks = np.zeros(len(at_s))
    for place in np.arange(3.2, 7.8, 0.31):
        ring = at_s[: round(0.1 * FS)]
        first = round(place * FS)
        knocks[first : first + len(ring)] += 0.5 * np.exp(-ring / 0.01) * np.sin(2 * np.pi * 2400.0 * ring)
    for beside in (0.0, line, knocks):
        assert found(loud(seed) + beside) == []


def test_what_sounds_with_the_machine_off_too_is_the_rooms() -> None:
    assert found(loud(2) + chirped(4000.0, (0.6, 1.7, *PLACES_S))) == []


def test_a_line_that_comes_up_once_and_stays_is_no_chirp() -> None:
    assert found(loud(3) + chirped(4000.0, (5.5,), lasts_s=2.5)) == []
