"""Two hundred seeded recordings of machines in trouble, against the speed curve itself, by another road.

One to four rotors or none, noise, belts that stick; 44.1 to 96 kHz, 30 to 55 dB, dropouts, hum, clipping. The truth is
the curve at its own rate through the exact response of the network, where the tone could be heard: what a dropout hides
nobody can know. A dropout that falls on a dip of a sticking belt is the worst case.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.standards.iec_60386 import weighting_response
from tests.measure import made

Samples = NDArray[np.float64]


def machine(draw: np.random.Generator, seconds: float) -> made.Curve:
    rotors = tuple(
        made.Rotor(
            float(np.exp(draw.uniform(np.log(0.5), np.log(60.0)))), draw.uniform(0.01, 0.15), draw.uniform(0.0, 6.0)
        )
        for _ in range(draw.integers(0, 5))
    )
    lines = made.rotors_curve(rotors) if rotors else np.zeros_like
    noise = made.broadband(seconds, draw.uniform(0.01, 0.05), draw)
    dips = [
        (draw.uniform(1.0, seconds - 1.0), draw.uniform(2e-3, 1e-2), draw.uniform(0.05, 0.2))
        for _ in range(draw.integers(0, 3))
    ]

    def curve(t: Samples) -> Samples:
        slips = sum(
            (depth * np.clip(1.0 - np.abs(t - at) / width, 0.0, 1.0) ** 2 for at, depth, width in dips),
            np.zeros(len(t)),
        )
        return np.asarray(lines(t) + noise(t) - slips)

    return curve


def recorded(path: Path, seed: int) -> tuple[ChannelReadings, Samples, int]:
    draw = np.random.default_rng(seed)
    rate_hz, seconds = int(draw.choice([44100, 48000, 96000])), draw.uniform(15.0, 40.0)
    samples, speed = made.tone(seconds, machine(draw, seconds), rate_hz=rate_hz, error_pct=draw.uniform(-2.0, 2.0))
    gaps = draw.uniform(0.5, seconds - 1.0, draw.integers(0, 8)).tolist()
    samples = made.with_dropouts(samples, rate_hz, gaps, draw.uniform(0.01, 0.05)) if gaps else samples
    if draw.random() < 0.3:
        samples = samples + 0.2 * np.sin(2.0 * np.pi * 50.0 * np.arange(len(samples)) / rate_hz)
    samples = made.with_noise(samples, draw.uniform(30.0, 55.0), draw)
    if draw.random() < 0.3:
        samples = np.clip(1.5 * samples, -0.6, 0.6)
    samples *= 0.99 / max(1.0, float(np.max(np.abs(samples))))
    return measure_recording(made.saved(path, samples, rate_hz), 3150.0).channels[0], speed, rate_hz


def errors(found: ChannelReadings, speed: Samples, rate_hz: int) -> tuple[float, float, float]:
    """Give how far two-sigma and rms are off, ratio, and the speed, percent."""
    assert found.tone.start_s is not None, found.tone.why_not
    assert found.tone.end_s is not None
    assert found.trace is not None
    inside = speed[int(found.tone.start_s * rate_hz) : int(found.tone.end_s * rate_hz)]
    factor = {44100: 21, 48000: 24, 96000: 48}[rate_hz]
    slow_hz = rate_hz / factor
    flat = signal.detrend(signal.resample_poly(inside - inside.mean(), 1, factor)) / (1.0 + inside.mean())
    spectrum = np.fft.rfft(flat, 2 * len(flat)) * weighting_response(np.fft.rfftfreq(2 * len(flat), 1.0 / slow_hz))
    settled = int(2.0 * slow_hz)
    weighted = np.fft.irfft(spectrum, 2 * len(flat))[settled : len(flat)]
    times = found.tone.start_s + (settled + np.arange(len(weighted))) / slow_hz
    there = np.interp(times, found.trace.times_s, np.isfinite(found.trace.values).astype(float)) > 0.99
    weighted = 100.0 * weighted[there]
    assert found.weighted_peak_pct.value is not None
    assert found.weighted_rms_pct.value is not None
    assert found.speed_error_pct.value is not None
    return (
        found.weighted_peak_pct.value / float(np.quantile(np.abs(weighted), 0.95)) - 1.0,
        found.weighted_rms_pct.value / float(np.sqrt(np.mean(weighted**2))) - 1.0,
        found.speed_error_pct.value - 100.0 * float(np.mean(inside)),
    )


def check(path: Path, seeds: range, most: float) -> None:
    off = np.abs(np.array([errors(*recorded(path / "t.wav", seed)) for seed in seeds]))
    assert np.mean(off[:, 0] < 0.005) >= 0.95 - most
    assert np.mean(off[:, 1] < 0.005) >= 0.95 - most
    assert off[:, :2].max() < 0.03
    assert np.mean(off[:, 2] < 0.002) >= 0.97 - most


def test_eight_recordings(tmp_path: Path) -> None:
    check(tmp_path, range(8), 0.1)


@pytest.mark.slow
def test_two_hundred_recordings(tmp_path: Path) -> None:
    check(tmp_path, range(8, 208), 0.0)
