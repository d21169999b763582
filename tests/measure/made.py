"""Recordings built in the test itself from a speed curve; shares no code with what measures them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

Curve = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True)
class Rotor:
    """A steady line: rate, peak percent of speed, phase."""

    rate_hz: float
    peak_pct: float
    phase_rad: float = 0.0


def rotors_curve(rotors: Sequence[Rotor]) -> Curve:
    return lambda t: np.sum(
        [r.peak_pct / 100.0 * np.cos(2.0 * np.pi * r.rate_hz * t + r.phase_rad) for r in rotors], axis=0
    )


def broadband(seconds: float, rms_pct: float, draw: np.random.Generator) -> Curve:
    """Noise of the speed between 0.5 and 100 Hz, made on a coarse grid and drawn smooth between."""
    grid_hz = 2000.0
    noise = draw.standard_normal(int((seconds + 4.0) * grid_hz))
    noise = signal.sosfiltfilt(signal.butter(3, [0.5, 100.0], "band", fs=grid_hz, output="sos"), noise)
    noise = noise[int(2 * grid_hz) :] * (rms_pct / 100.0 / np.std(noise))
    return lambda t: np.interp(t, np.arange(len(noise)) / grid_hz, noise)


def tone(
    seconds: float,
    curve: Curve | None = None,
    *,
    tone_hz: float = 3150.0,
    error_pct: float = 0.0,
    amplitude: float = 0.5,
    rate_hz: int = 44100,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give samples, and the speed over nominal less one at each of them."""
    times = np.arange(int(seconds * rate_hz)) / rate_hz
    deviation = np.zeros(len(times)) if curve is None else curve(times)
    speed = (1.0 + error_pct / 100.0) * (1.0 + deviation)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) * tone_hz / rate_hz
    return amplitude * np.sin(2.0 * np.pi * turns), speed - 1.0


def with_noise(samples: NDArray[np.float64], snr_db: float, draw: np.random.Generator) -> NDArray[np.float64]:
    """Add white noise so far below a sine of the samples' own peak."""
    power = float(np.max(np.abs(samples))) ** 2 / 2.0 * 10.0 ** (-snr_db / 10.0)
    return samples + float(np.sqrt(power)) * draw.standard_normal(len(samples))


def hiss(
    draw: np.random.Generator, count: int, rate_hz: float, lowest_hz: tuple[float, float], wide: tuple[float, float]
) -> NDArray[np.float64]:
    """Give white or pink noise, or a band of it, as chance has it.

    Arguments:
        lowest_hz: between these the band begins.
        wide: it ends between so many times and so many times as high.
    """
    white = draw.standard_normal(count)
    kind = draw.integers(3)
    if kind == 0:
        return white
    if kind == 1:
        return np.asarray(signal.lfilter([0.05, -0.096, 0.051, -0.0044], [1.0, -2.495, 2.017, -0.522], white))
    low = draw.uniform(*lowest_hz)
    band = signal.butter(2, [low, low * draw.uniform(*wide)], "band", fs=rate_hz, output="sos")
    return np.asarray(signal.sosfilt(band, white))


def with_dropouts(
    samples: NDArray[np.float64], rate_hz: float, at_s: Sequence[float], length_s: float, depth: float = 0.97
) -> NDArray[np.float64]:
    """Press the level down by `depth` for `length_s` at each of these times."""
    out = samples.copy()
    count = int(length_s * rate_hz)
    dip = 1.0 - depth * np.hanning(count) ** 0.25
    for start in at_s:
        first = int(start * rate_hz)
        out[first : first + count] *= dip
    return out


def saved(path: Path, samples: NDArray[np.float64], rate_hz: int = 44100, subtype: str = "PCM_24") -> Path:
    soundfile.write(str(path), np.clip(samples, -1.0, 1.0 - 2.0**-15), rate_hz, subtype=subtype)
    return path
