"""Level, balance, response and the replay curve: closed forms, published tables, and what is refused."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.measure.levels import balance, fluxivity_db, section_levels
from tapewright.measure.replay_response import Response, as_numbers, response_of
from tapewright.measure.section_tone import mixed_down, section_tone
from tapewright.standards.replay_curve import other_switch_db, recorded_flux_db
from tapewright.words.reading import Reading

RATE_HZ = 44100.0
TONES_HZ = (63.0, 315.0, 1000.0, 3150.0, 6300.0, 10000.0, 14000.0)
Values = NDArray[np.float64]


@pytest.mark.parametrize(
    ("frequency_hz", "ferric_db", "chrome_db"),
    [
        (31.5, -5.60, -5.44),
        (63.0, -2.25, -2.10),
        (125.0, -0.74, -0.61),
        (315.0, 0.0, 0.0),
        (1000.0, 1.81, 0.78),
        (3150.0, 8.09, 4.68),
        (6300.0, 13.59, 9.41),
        (10000.0, 17.49, 13.11),
        (12500.0, 19.40, 14.97),
        (16000.0, 21.53, 17.06),
    ],
)
def test_replay_curve(frequency_hz: float, ferric_db: float, chrome_db: float) -> None:
    """Oracle: the curve by hand from the time constants of JIS S 8604-1993 table 1, over 315 Hz; closed form."""
    at = np.array(frequency_hz)
    assert -float(recorded_flux_db(at, 120e-6)) == pytest.approx(ferric_db, abs=0.006)
    assert -float(recorded_flux_db(at, 70e-6)) == pytest.approx(chrome_db, abs=0.006)


def test_corners_of_the_curve() -> None:
    """Oracle: 1/(2 pi tau): 1326.3, 2273.6 and 50.05 Hz; 3 dB from the asymptote there, closed form."""
    for constant_s, corner_hz in ((120e-6, 1326.3), (70e-6, 2273.6), (3180e-6, 50.05)):
        assert 1.0 / (2.0 * np.pi * constant_s) == pytest.approx(corner_hz, abs=0.05)


def test_the_other_position_of_the_switch() -> None:
    """Oracle: 1.03, 3.41 and 4.38 dB at 1, 3.15 and 10 kHz; 20 lg(120/70) = 4.68 dB in the end, less 0.19 at 315 Hz."""
    found = other_switch_db(np.array([1000.0, 3150.0, 10000.0, 1e6]), 70e-6, 120e-6)
    assert found[:3] == pytest.approx([1.03, 3.41, 4.38], abs=0.006)
    assert found[3] == pytest.approx(4.68 - 0.16, abs=0.03)


@pytest.mark.parametrize(
    ("flux", "reference", "decibels"), [(218.0, 250.0, -1.19), (218.0, 160.0, 2.69), (250.0, 160.0, 3.88)]
)
def test_reference_fluxivities(flux: float, reference: float, decibels: float) -> None:
    """Oracle: 20 lg of the ratio; the pages on calibration tapes round to -1.2 and 2.8 dB."""
    assert fluxivity_db(flux, reference) == pytest.approx(decibels, abs=0.006)


def playing(frequency_hz: float, sizes: Values, seconds: float = 1.0, noise: float = 0.0, seed: int = 1) -> Values:
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    flutter = 2.0 * np.pi * frequency_hz * 0.004 / (2.0 * np.pi * 5.0) * np.sin(2.0 * np.pi * 5.0 * times)
    tone = np.cos(2.0 * np.pi * frequency_hz * times + flutter)[:, None] * sizes
    return np.asarray(tone + noise * np.random.default_rng(seed).standard_normal(tone.shape))


@pytest.mark.parametrize("frequency_hz", [40.0, 315.0, 3150.0, 14000.0])
def test_level_whatever_the_flutter_and_the_noise(frequency_hz: float) -> None:
    """Oracle: the size that was put in, with 0.4 % of flutter and noise a tenth of the tone."""
    sizes = np.array([0.5, 0.05])
    found = section_levels(playing(frequency_hz, sizes, 2.0, noise=0.005), RATE_HZ, frequency_hz)
    for each, size in zip(found, sizes.tolist(), strict=True):
        assert each.value == pytest.approx(20.0 * math.log10(size), abs=0.02)


def test_dropouts_are_no_level() -> None:
    samples = playing(3150.0, np.array([0.1]), 3.0)
    for when in (0.7, 1.4, 2.2):
        samples[int(when * RATE_HZ) : int((when + 0.05) * RATE_HZ)] *= 0.1
    assert section_levels(samples, RATE_HZ, 3150.0)[0].value == pytest.approx(-20.0, abs=0.01)


def test_no_tone_no_level() -> None:
    noise = 0.01 * np.random.default_rng(2).standard_normal((44100, 1))
    assert section_levels(noise, RATE_HZ, 1000.0)[0].why_not is not None
    assert section_levels(np.zeros((44100, 1)), RATE_HZ, 1000.0)[0].why_not is not None
    assert "0.5 s" in (section_levels(noise[:4000], RATE_HZ, 1000.0)[0].why_not or "")


def test_intervals_of_levels_hold() -> None:
    """Oracle: the size that was put in, 120 draws of noise."""
    held = []
    for seed in range(120):
        found = section_levels(playing(1000.0, np.array([0.1]), 0.6, 0.02, seed), RATE_HZ, 1000.0)[0]
        held.append(abs((found.value or 0.0) + 20.0) <= (found.doubt or 0.0))
    assert 0.9 <= np.mean(held) <= 0.99


def test_balance() -> None:
    """Oracle: sums by hand; a track without a level stays without, and one alone has nothing to be held against."""
    levels = [Reading(-12.0, "dB", 0.1), Reading(-10.0, "dB", 0.1), Reading(None, "dB", why_not="no tone")]
    found = balance(levels)
    assert [one.value for one in found] == [pytest.approx(-1.0), pytest.approx(1.0), None]
    assert found[0].doubt == pytest.approx(0.1 / math.sqrt(2.0))
    assert all(one.value is None for one in balance(levels[1:]))


def played_back(extra_db: Values, noise: float = 0.0) -> Response:
    tones = [
        (section_tone(playing(hz, np.array([0.1 * 10.0 ** (more / 20.0)]), noise=noise), RATE_HZ, hz), -20.0)
        for hz, more in zip(TONES_HZ, extra_db.tolist(), strict=True)
    ]
    return response_of(tones)[0]


def test_response_against_the_reference_tone() -> None:
    wanted = np.array([1.0, 0.0, 0.2, 0.1, -0.5, -1.5, -3.0])
    found = played_back(wanted, 1e-4)
    frequencies, values, doubts = as_numbers(found)
    assert frequencies == pytest.approx(TONES_HZ, rel=0.005)
    assert values == pytest.approx(wanted, abs=0.02)
    assert np.all(doubts < 0.05)
    assert found.notes == ()


@pytest.mark.parametrize(("recorded_s", "replayed_s"), [(70e-6, 120e-6), (120e-6, 70e-6)])
def test_the_wrong_tape_switch_is_named(recorded_s: float, replayed_s: float) -> None:
    found = played_back(other_switch_db(np.array(TONES_HZ), recorded_s, replayed_s))
    assert any(
        f"for {1e6 * recorded_s:.0f} µs and replayed for {1e6 * replayed_s:.0f} µs" in one for one in found.notes
    )


def test_a_lost_treble_is_no_wrong_switch() -> None:
    assert played_back(np.array([0.0, 0.0, -0.1, -0.8, -2.5, -6.0, -11.0])).notes == ()


def test_a_tone_that_is_not_there_leaves_a_gap_and_not_a_number() -> None:
    found = played_back(np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -160.0]), 1e-4)
    assert found.deviations_db[-1].why_not is not None
    assert math.isnan(as_numbers(found)[1][-1])


def test_the_filter_takes_the_tone_and_leaves_its_neighbours() -> None:
    """A tone 700 Hz away is 75 dB down, and so is the mirror of a low one."""
    both = playing(3150.0, np.array([0.5])) + playing(3850.0, np.array([0.5]))
    assert np.abs(mixed_down(both, RATE_HZ, 3150.0).values) == pytest.approx(0.5, abs=0.5 * 10 ** (-70.0 / 20.0))
    low = mixed_down(playing(63.0, np.array([0.5]), 2.0), RATE_HZ, 63.0)
    assert np.abs(low.values) == pytest.approx(0.5, abs=0.001)
