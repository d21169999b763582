"""Mains hum of a silent section: which mains, and how strong each harmonic is on each track.

Each harmonic is held against the noise either side of it. The mains is that of 50 and 60 Hz, within half a percent,
whose harmonics together stand out more; where neither does, there is no hum to speak of.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.measure.settled import SURE
from tapewright.words.reading import Reading

MAINS_HZ: Final = (50.0, 60.0)
HARMONICS: Final = 10
RANGE: Final = 0.005
LEAST_S: Final = 2.0
STANDS_OUT: Final = 20.0
"""A harmonic counts as seen at so many times the noise in its own bin; noise alone does that once in 5e8."""
CLEAR_BINS: Final = 3.0
BESIDE_BINS: Final = 14.0
FINE: Final = 16
"""The spectrum is drawn so many times finer than its bins: a line is then read within 0.01 dB wherever it falls."""


@dataclass(frozen=True, slots=True)
class Hum:
    """Hum of a silent section.

    Arguments:
        mains_hz: its fundamental; the reason where no hum stands out.
        levels_db: by track, one reading for each harmonic from the first, dB re the reference level.
        total_db: by track, all harmonics that stand out, added in power.
    """

    mains_hz: Reading
    levels_db: tuple[tuple[Reading, ...], ...]
    total_db: tuple[Reading, ...]


def hum_lines(samples: NDArray[np.float64], rate_hz: float, reference_db: NDArray[np.float64] | None = None) -> Hum:
    """Find mains hum in a silent section.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        reference_db: what the reference level reads on each track, dB re full scale; None for full scale itself.

    >>> times = np.arange(4 * 48000) / 48000
    >>> noise = 1e-5 * np.random.default_rng(1).standard_normal(len(times))
    >>> humming = 0.001 * np.sin(2 * np.pi * 50.02 * times) + noise
    >>> found = hum_lines(humming[:, None], 48000.0)
    >>> (round(found.mains_hz.value, 2), round(found.levels_db[0][0].value))
    (50.02, -60)
    """
    seconds = len(samples) / rate_hz
    tracks = samples.shape[1]
    if seconds < LEAST_S:
        return _none(tracks, f"The silence lasts {seconds:.1f} s; {LEAST_S:g} s are needed.")
    spectrum = _spectrum(samples, rate_hz)
    seen = [_fundamental(spectrum, nominal) for nominal in MAINS_HZ]
    best = int(np.argmax([evidence for _, evidence in seen]))
    fundamental_hz, evidence = seen[best]
    against = np.zeros(tracks) if reference_db is None else reference_db
    at = [number * fundamental_hz for number in range(1, HARMONICS + 1)]
    powers = [(spectrum.at(each), spectrum.noise(each)) for each in at]
    levels = tuple(
        tuple(_reading(float(p[track]), float(n[track]), float(against[track]), number + 1)
              for number, (p, n) in enumerate(powers))
        for track in range(tracks)
    )  # fmt: skip
    if evidence < STANDS_OUT:
        why = "Neither 50 nor 60 Hz nor their harmonics stand out of the noise."
        nothing = _none(tracks, why)
        return replace(nothing, total_db=tuple(_no_more(each, why) for each in levels))
    doubt_hz = math.hypot(0.3 / seconds / math.sqrt(evidence), spectrum.step_hz / HARMONICS)
    mains = Reading(fundamental_hz, "Hz", doubt_hz, method="harmonics of the mains together")
    return Hum(mains, levels, tuple(_total(each) for each in levels))


def _none(tracks: int, why: str) -> Hum:
    none = Reading(None, "dB", why_not=why)
    return Hum(Reading(None, "Hz", why_not=why), ((none,) * HARMONICS,) * tracks, (none,) * tracks)


@dataclass(frozen=True, slots=True, eq=False)
class _Spectrum:
    """Power over frequency up to some 1 kHz, finely drawn: peak squared, shape (n, tracks)."""

    power: NDArray[np.float64]
    step_hz: float
    bin_hz: float

    def at(self, frequency_hz: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Give the power at frequencies, shape (..., tracks)."""
        return np.asarray(self.power[np.rint(np.asarray(frequency_hz) / self.step_hz).astype(np.intp)])

    def noise(self, frequency_hz: float) -> NDArray[np.float64]:
        """Give the power of the noise in a bin beside a frequency, shape (tracks,)."""
        apart = np.arange(CLEAR_BINS, min(BESIDE_BINS, 0.4 * MAINS_HZ[0] / self.bin_hz) + 0.5) * self.bin_hz
        beside = self.at(frequency_hz + np.concatenate([-apart, apart]))
        return np.asarray(np.maximum(np.median(beside, axis=0) / np.log(2.0), 1e-30))


def _spectrum(samples: NDArray[np.float64], rate_hz: float) -> _Spectrum:
    """Cut the spectrum off above the last harmonic, turn it back and draw it finely."""
    wanted = int(np.ceil(2.2 * MAINS_HZ[-1] * (HARMONICS + 1) * len(samples) / rate_hz))
    taper = np.hanning(len(samples) + 2)[1:-1, None]
    low = fft.irfft(fft.rfft(samples * taper, axis=0)[: wanted // 2 + 1], wanted, axis=0)
    padded = fft.next_fast_len(FINE * wanted, real=True)
    drawn = fft.rfft(low, padded, axis=0)
    rate_hz *= wanted / len(samples)
    power = np.abs(2.0 * drawn / float(taper.sum())) ** 2
    return _Spectrum(np.asarray(power), rate_hz / padded, rate_hz / wanted)


def _fundamental(spectrum: _Spectrum, nominal_hz: float) -> tuple[float, float]:
    """Give the fundamental near a nominal one, and how far its plainest harmonic stands over the noise."""
    numbers = np.arange(1.0, HARMONICS + 1.0)
    noise = np.array([spectrum.noise(number * nominal_hz) for number in numbers.tolist()])
    step = spectrum.bin_hz / HARMONICS / 2.0
    trials = nominal_hz + np.arange(-RANGE * nominal_hz, RANGE * nominal_hz + step, step)
    over = spectrum.at(trials[:, None] * numbers) / noise
    sums = over.sum(axis=(1, 2))
    best = int(np.argmax(sums))
    fundamental_hz = float(trials[best])
    if 0 < best < len(sums) - 1:
        left, here, right = sums[best - 1 : best + 2].tolist()
        bend = left - 2.0 * here + right
        fundamental_hz += step * (0.5 * (left - right) / bend if bend < 0.0 else 0.0)
    return fundamental_hz, float(over[best].max())


def _reading(power: float, noise: float, reference_db: float, number: int) -> Reading:
    if not math.isfinite(reference_db):
        return Reading(None, "dB", why_not="The reference level was not read on this track.")
    clean = power - noise
    if power < STANDS_OUT / 2.0 * noise or clean <= 0.0:
        most = 10.0 * math.log10(max(power + 4.0 * noise, 1e-30)) - reference_db
        return Reading(
            None, "dB", why_not=f"Harmonic {number} does not stand out of the noise: less than {most:.0f} dB.",
            interval=(-math.inf, most),
        )  # fmt: skip
    doubt = 20.0 / math.log(10.0) * SURE * math.sqrt(noise / 2.0 / clean)
    return Reading(10.0 * math.log10(clean) - reference_db, "dB", doubt, method=f"harmonic {number} of the mains")


def _total(levels: tuple[Reading, ...]) -> Reading:
    seen = [(one.value, one.doubt or 0.0) for one in levels if one.value is not None]
    if not seen:
        return _no_more(levels, "No harmonic of the mains stands out on this track.")
    powers = np.array([10.0 ** (value / 10.0) for value, _ in seen])
    spread = np.array([doubt for _, doubt in seen]) * powers
    return Reading(10.0 * math.log10(float(powers.sum())), "dB", float(np.sqrt(spread @ spread) / powers.sum()),
                   method=f"{len(seen)} harmonics added in power")  # fmt: skip


def _no_more(levels: tuple[Reading, ...], why: str) -> Reading:
    """Give what all harmonics together stay below, where none of them stands out."""
    most = [one.interval[1] for one in levels if one.interval is not None]
    if len(most) < len(levels):
        return Reading(None, "dB", why_not=why)
    together = 10.0 * math.log10(sum(10.0 ** (one / 10.0) for one in most))
    return Reading(None, "dB", why_not=f"{why} Less than {together:.0f} dB.", interval=(-math.inf, together))


__all__ = ["Hum", "hum_lines"]
