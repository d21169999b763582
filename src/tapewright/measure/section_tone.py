"""The tone of one section of a test recording, on all tracks at once: mixed down, filtered and thinned alike.

All tracks share one mixing frequency and one filter, so what the transport does to the tone is the same in all of
them and falls out when one is held against another. How strong a tone is, is read from its power: flutter moves its
phase and not that.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

EDGE_HZ: Final = 150.0
"""Flutter either side of the tone that is kept."""
SLOPE_HZ: Final = 250.0
STOP_DB: Final = 80.0
LOOKED_FOR: Final = 0.03
"""A section's speed is told beforehand to better than this, ratio."""
DIP: Final = 0.8
"""What falls below this share of the median is a dropout and no level."""
BESIDE_S: Final = 0.02
MOSTLY: Final = 0.5
"""Where less than this would be left, it is noise that makes the dips, and all of it counts."""


@dataclass(frozen=True, slots=True, eq=False)
class Baseband:
    """A tone mixed down on every track.

    Arguments:
        values: complex, shape (n, tracks); size is the peak of the tone, full scale 1.
        rate_hz: of the values.
        frequency_hz: what was mixed with.
        noise_per_hz: density of the noise beside the tone on each track, power per hertz, shape (tracks,).
    """

    values: NDArray[np.complex128]
    rate_hz: float
    frequency_hz: float
    noise_per_hz: NDArray[np.float64]

    @property
    def seconds(self) -> float:
        """Give how long the tone was followed."""
        return len(self.values) / self.rate_hz


def played_frequency(samples: NDArray[np.float64], rate_hz: float, expected_hz: float) -> float:
    """Give the frequency of the strongest tone within 3 % of the expected one, hertz; in silence, that one.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        expected_hz: as recorded, times the speed ratio as far as that is known.

    >>> tone = np.sin(2 * np.pi * 1003.0 * np.arange(48000) / 48000)[:, None]
    >>> round(played_frequency(tone, 48000.0, 1000.0), 1)
    1003.0
    """
    part = _middle(samples, int(2.0 * rate_hz))
    padded = fft.next_fast_len(2 * len(part), real=True)
    low, high = (int(expected_hz * (1.0 + side * LOOKED_FOR) * padded / rate_hz) for side in (-1.0, 1.0))
    taper = np.hanning(len(part) + 2)[1:-1, None]
    power = np.sum(np.abs(fft.rfft(part * taper, padded, axis=0)[low : high + 2]) ** 2, axis=1)
    best = int(np.argmax(power))
    if power[best] <= 0.0:
        return expected_hz
    near = slice(max(0, best - 3), best + 4)
    return float((low + np.average(np.arange(len(power))[near], weights=power[near])) * rate_hz / padded)


def _middle(samples: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    first = max(0, (len(samples) - count) // 2)
    return samples[first : first + count]


def _filter(rate_hz: float, edge_hz: float, stop_hz: float) -> NDArray[np.float64]:
    count, beta = signal.kaiserord(STOP_DB, (stop_hz - edge_hz) / (rate_hz / 2.0))
    return np.asarray(signal.firwin(count | 1, (edge_hz + stop_hz) / 2.0, window=("kaiser", beta), fs=rate_hz))


def mixed_down(
    samples: NDArray[np.float64], rate_hz: float, frequency_hz: float, filter_for_hz: float | None = None
) -> Baseband:
    """Mix the tone down on all tracks; one matrix product over the samples laid out in rows of the thinning factor.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        frequency_hz: of the tone, as it plays.
        filter_for_hz: the tone that the filter is laid out for; an overtone is filtered as its fundamental, so that
            the two stand at the same times.

    >>> tone = 0.5 * np.cos(2 * np.pi * 1000.0 * np.arange(48000) / 48000)[:, None]
    >>> round(float(abs(mixed_down(tone, 48000.0, 1000.0).values).mean()), 4)
    0.5
    """
    lowest_hz = frequency_hz if filter_for_hz is None else filter_for_hz
    edge_hz = min(EDGE_HZ, 0.35 * lowest_hz)
    stop_hz = min(edge_hz + SLOPE_HZ, 0.8 * lowest_hz)
    taps = _filter(rate_hz, edge_hz, stop_hz)
    factor = max(1, int(rate_hz // (edge_hz + stop_hz)))
    parts = -(-len(taps) // factor)
    padded = np.zeros(parts * factor)
    padded[: len(taps)] = taps
    turns = 2.0 * np.pi * frequency_hz / rate_hz
    matrix = (2.0 * padded * np.exp(-1j * turns * np.arange(len(padded)))).reshape(parts, factor).T
    both = np.concatenate([matrix.real, matrix.imag], axis=1)
    rows = len(samples) // factor
    count = max(0, rows - parts + 1)
    values = np.zeros((count, samples.shape[1]), dtype=np.complex128)
    for track in range(samples.shape[1]):
        laid = np.ascontiguousarray(samples[: rows * factor, track]).reshape(rows, factor)
        product = laid @ both
        for part in range(parts if count else 0):
            taken = slice(part, part + count)
            values[:, track] += product[taken, part] + 1j * product[taken, parts + part]
    values *= np.exp(-1j * turns * factor * np.arange(count))[:, None]
    out_hz = rate_hz / factor
    return Baseband(values, out_hz, frequency_hz, _noise(values, out_hz, edge_hz))


def _noise(values: NDArray[np.complex128], rate_hz: float, edge_hz: float) -> NDArray[np.float64]:
    """Take the density of what stands in the outer part of the flat band, where flutter hardly reaches."""
    if len(values) < 64:
        return np.zeros(values.shape[1])
    taper = np.hanning(len(values) + 2)[1:-1, None]
    power = np.abs(np.fft.fft(values * taper, axis=0)) ** 2 / (np.sum(taper**2) * rate_hz)
    offset = np.abs(np.fft.fftfreq(len(values), 1.0 / rate_hz))
    outer = power[(offset > 0.6 * edge_hz) & (offset < edge_hz)]
    return np.asarray(np.median(outer, axis=0) / np.log(2.0), dtype=np.float64)


def steady(size: NDArray[np.float64], rate_hz: float) -> NDArray[np.bool_]:
    """Say where a tone's size, shape (n,), is no dropout, a little way beside each included."""
    dips = size < DIP * float(np.median(size))
    if not dips.any():
        return np.ones(len(size), dtype=np.bool_)
    beside = np.ones(2 * int(np.ceil(BESIDE_S * rate_hz)) + 1, dtype=np.bool_)
    good = np.asarray(~ndimage.binary_dilation(dips, beside), dtype=np.bool_)
    return good if good.mean() > MOSTLY else np.ones(len(size), dtype=np.bool_)


def section_tone(samples: NDArray[np.float64], rate_hz: float, expected_hz: float) -> Baseband:
    """Find a section's tone near its expected frequency and mix it down on every track.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        expected_hz: within 3 %.
    """
    return mixed_down(samples, rate_hz, played_frequency(samples, rate_hz, expected_hz))


__all__ = ["Baseband", "mixed_down", "played_frequency", "section_tone", "steady"]
