"""Loudness that falters: noise made for the purpose, steady, faltering, knocking, and in a room that wavers itself."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.measure.mechanism_bands import band_powers
from tapewright.measure.mechanism_falter import falterings
from tapewright.measure.mechanism_frames import Sound
from tapewright.words.mechanism_heard import SlipHeard, StretchHeard
from tapewright.words.reading import Reading

FS = 16000.0
TIMES_S = np.arange(round(14.0 * FS)) / FS
SPANS = (("off", 0.0, 4.0), ("fast_forward", 4.0, 14.0))
Floats = NDArray[np.float64]


def white(seed: int) -> Floats:
    return np.random.default_rng(seed).standard_normal(len(TIMES_S))


def slow(seed: int, spread: float) -> Floats:
    """Give a factor that wanders about 1 from one third of a second to the next."""
    marks = np.random.default_rng(seed).standard_normal(60)
    return np.clip(1.0 + spread * np.interp(TIMES_S, np.arange(60) * 0.35, marks), 0.1, None)


def listened(winding: Floats, room: Floats, *stretches: StretchHeard) -> list[SlipHeard]:
    turns = TIMES_S > 4.2
    samples = 0.003 * room + 0.02 * turns * winding
    return falterings(*band_powers(Sound(samples.astype(np.float32), FS)), SPANS, stretches)


@pytest.mark.parametrize("seed", range(6))
def test_a_wind_that_falters_is_told_from_a_steady_one(seed: int) -> None:
    (faltering,) = listened(white(seed) * slow(seed, 0.35), white(seed + 50))
    (steady,) = listened(white(seed), white(seed + 50))
    assert steady.sure < 0.1 < 0.6 < faltering.sure


def test_a_loudness_that_wavers_by_so_many_decibels_says_so() -> None:
    """Blocks of three tenths of a second 3 dB down, level and up in turn: two thirds lie 3 dB from the median."""
    up_and_down = 10.0 ** (3.0 * ((TIMES_S - 4.8) // 0.3 % 3 - 1.0) / 20.0)
    (found,) = listened(white(1) * up_and_down, white(2))
    assert found.swings_db == pytest.approx(1.4826 * 3.0, rel=0.1)


def test_what_knocks_steadily_does_not_falter() -> None:
    knocking = 1.0 + 2.0 * (TIMES_S * 7.3 % 1.0 < 0.2)
    (found,) = listened(white(3) * knocking, white(4))
    assert found.sure < 0.3


def test_the_rooms_own_wavering_is_not_the_machines() -> None:
    talking = 6.0 * white(5) * (np.floor(TIMES_S / 0.5) % 3 == 0)
    assert listened(0.3 * white(6), white(7) + talking) == []


def test_a_motor_that_ends_early_leaves_too_little_to_say() -> None:
    ended = StretchHeard("reel_motor", "fast_forward", 4.2, 6.2, Reading(60.0, "Hz", 0.1), Reading(0.1, "%"), 0.95)
    assert listened(white(8), white(9), ended) == []


def test_without_the_room_alone_nothing_is_said() -> None:
    powers = band_powers(Sound((0.02 * white(10)).astype(np.float32), FS))
    assert falterings(*powers, (("fast_forward", 0.0, 14.0),)) == []
