"""Wow and flutter together and apart, and average-responding readings: closed forms; no number where none holds."""

import math
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.bands import AVERAGED, FAST, WHOLE, WOW, Band, band_gain
from tapewright.measure.flutter import Flutter
from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.reading import Reading
from tests.measure import made

RATE_HZ = 8000
SLOW, FAST_ONE = made.Rotor(0.61, 0.08, 1.0), made.Rotor(31.3, 0.05, 2.0)


def value(reading: Reading) -> float:
    assert reading.value is not None, reading.why_not
    return reading.value


@pytest.fixture(scope="module", params=[61.0, 400.0], ids=["short", "in stretches"])
def two_rotors(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> ChannelReadings:
    samples, _ = made.tone(request.param, made.rotors_curve((SLOW, FAST_ONE)), rate_hz=RATE_HZ)
    return measure_recording(made.saved(tmp_path_factory.mktemp("t") / "t.wav", samples, RATE_HZ)).channels[0]


def test_each_band_holds_its_own_rotor(two_rotors: ChannelReadings) -> None:
    """Oracle: a sine of peak p reads p/sqrt 2 rms and 0.99692 p two-sigma; wow ends at 10 Hz, flutter begins there."""
    assert value(two_rotors.wow_band_rms_pct) == pytest.approx(0.08 / np.sqrt(2.0), rel=0.01)
    assert value(two_rotors.wow_band_peak_pct) == pytest.approx(0.08 * 0.99692, rel=0.01)
    assert value(two_rotors.flutter_band_rms_pct) == pytest.approx(0.05 / np.sqrt(2.0), rel=0.005)
    assert value(two_rotors.flutter_band_peak_pct) == pytest.approx(0.05 * 0.99692, rel=0.005)
    assert value(two_rotors.unweighted_rms_pct) == pytest.approx(np.hypot(0.08, 0.05) / np.sqrt(2.0), rel=0.01)


def average_of(gains: tuple[float, float]) -> float:
    """Oracle: the definition itself over an hour of the two rotors, each through its gain."""
    times = np.arange(0.0, 3600.0, 0.0013)
    sizes = gains[0] * made.rotors_curve((SLOW,))(times) + gains[1] * made.rotors_curve((FAST_ONE,))(times)
    return 100.0 * math.pi / (2.0 * math.sqrt(2.0)) * float(np.mean(np.abs(sizes)))


def test_average_of_two_rotors(two_rotors: ChannelReadings) -> None:
    """Oracle: mean size times pi/(2 sqrt 2) over an hour; it is not the rms of the same."""
    edges = band_gain(np.array([SLOW.rate_hz, FAST_ONE.rate_hz]), AVERAGED.band_hz)
    unweighted = average_of((float(edges[0]), float(edges[1])))
    slow, fast = (float(abs(weighting_response(np.array(one.rate_hz)))) for one in (SLOW, FAST_ONE))
    assert value(two_rotors.unweighted_average_pct) == pytest.approx(unweighted, rel=0.01)
    assert value(two_rotors.weighted_average_pct) == pytest.approx(average_of((slow, fast)), rel=0.01)
    assert abs(value(two_rotors.weighted_average_pct) - value(two_rotors.weighted_rms_pct)) > 0.0005


def test_average_of_one_rotor_and_of_noise(tmp_path: Path) -> None:
    """Oracle: of one sine the rms; of noise with a normal law sqrt(2/pi) times 1.1107 = 0.886 of the rms."""
    one, _ = made.tone(20.0, made.rotors_curve((made.Rotor(4.0, 0.1),)), rate_hz=RATE_HZ)
    found = measure_recording(made.saved(tmp_path / "one.wav", one, RATE_HZ)).channels[0]
    assert value(found.weighted_average_pct) == pytest.approx(0.07071, abs=1e-4)
    assert value(found.unweighted_average_pct) == pytest.approx(0.07071, abs=3e-4)
    noise, _ = made.tone(120.0, made.broadband(120.0, 0.05, np.random.default_rng(5)), rate_hz=RATE_HZ)
    found = measure_recording(made.saved(tmp_path / "noise.wav", noise, RATE_HZ)).channels[0]
    ratio = value(found.weighted_average_pct) / value(found.weighted_rms_pct)
    assert ratio == pytest.approx(np.sqrt(2.0 / np.pi) * 1.1107, rel=0.01)


def test_average_says_what_it_is(two_rotors: ChannelReadings) -> None:
    for reading in (two_rotors.weighted_average_pct, two_rotors.unweighted_average_pct):
        assert "from memory" in reading.method
        assert reading.doubt is not None
        assert reading.doubt > 0.0


@pytest.mark.parametrize(
    ("seconds", "withheld"),
    [
        (2.5, {"weighted_peak_pct", "weighted_quasi_peak_pct", "weighted_rms_pct", "weighted_average_pct",
               "unweighted_peak_pct", "unweighted_average_pct", "wow_band_peak_pct", "wow_band_rms_pct",
               "flutter_band_peak_pct"}),
        (5.7, {"weighted_peak_pct", "weighted_quasi_peak_pct", "unweighted_average_pct", "wow_band_peak_pct",
               "wow_band_rms_pct"}),
        (25.0, {"wow_band_peak_pct", "wow_band_rms_pct"}),
        (31.0, set()),
    ],
)  # fmt: skip
def test_what_needs_a_longer_stretch_is_withheld(tmp_path: Path, seconds: float, withheld: set[str]) -> None:
    """Weighted: 2 s settle, 1 s for rms, 5 s for a peak. Wow from 0.1 Hz: 30 s. Averaged from 0.5 Hz: 6 s."""
    samples, _ = made.tone(seconds, made.rotors_curve((made.Rotor(4.0, 0.1),)), rate_hz=RATE_HZ)
    found = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ)).channels[0]
    readings = {each.name: getattr(found, each.name) for each in fields(Flutter)}
    assert {name for name, reading in readings.items() if reading.value is None} == withheld
    for name in withheld:
        assert "are needed for" in readings[name].why_not


@pytest.mark.parametrize("band", [WHOLE, WOW, FAST, AVERAGED], ids=lambda band: str(band.band_hz))
def test_bands_are_flat_inside_and_shut_outside(band: Band) -> None:
    low, high = band.band_hz
    frequency = np.array([low / 2.01, low, 2.0 * low, np.sqrt(low * high), high / 1.1, high, high * 1.1])
    gain = band_gain(frequency, band.band_hz)
    assert gain == pytest.approx([0.0, np.sqrt(0.5), 1.0, 1.0, 1.0, np.sqrt(0.5), 0.0], abs=1e-9)


def points(values: NDArray[np.float64]) -> made.Curve:
    """Give a speed curve through 400 values a second."""
    times = np.arange(len(values)) / 400.0
    return lambda t: np.interp(t, times, values)


@pytest.mark.slow
def test_intervals_of_band_readings_hold(tmp_path: Path) -> None:
    """Oracle: 24 stretches of 40 s of one known noise, its power in each band in closed form; 95 % should lie inside.

    Of 72 readings 3.6 are expected outside; nine or more are seen once in a hundred such trials.
    """
    sections = signal.butter(2, [0.05, 150.0], "band", fs=400.0, output="sos")
    frequency = np.arange(1, 80001, dtype=np.float64) / 400.0
    _, response = signal.freqz_sos(sections, frequency, fs=400.0)
    # linear interpolation between the points of the curve lowers it as sinc² does
    density = 2.0 / 400.0 * (3e-4 * np.abs(response) * np.sinc(frequency / 400.0) ** 2) ** 2
    true = {
        band: 100.0 * math.sqrt(float(np.sum(density * band_gain(frequency, band.band_hz) ** 2)) / 400.0)
        for band in (WOW, FAST, WHOLE)
    }
    outside = 0
    for seed in range(24):
        noise = np.random.default_rng(seed).standard_normal(50 * 400)
        samples, _ = made.tone(40.0, points(3e-4 * signal.sosfilt(sections, noise)[8 * 400 :]), rate_hz=RATE_HZ)
        found = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ)).channels[0]
        readings = {WOW: found.wow_band_rms_pct, FAST: found.flutter_band_rms_pct, WHOLE: found.unweighted_rms_pct}
        outside += sum(abs(value(reading) - true[band]) > (reading.doubt or 0.0) for band, reading in readings.items())
    assert outside <= 8
