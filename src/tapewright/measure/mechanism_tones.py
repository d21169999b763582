"""Tones that stand out of their critical band, where mechanisms squeal.

Prominence ratio after ECMA-74 annex D and ECMA-418-1 (the criteria as cited in acoustic papers; the standards
themselves are not held): a tone's critical band against the mean of both neighbours, 9 dB and more from 1 kHz on. The
band of frequencies is that in which SAE J2521 counts squeal of brakes, 1.25 to 16 kHz; its absolute level needs a
calibrated microphone and is left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_frames import Array, Sound, cut_into

Floats = NDArray[np.floating]
LOWEST_HZ, HIGHEST_HZ = 1250.0, 16000.0
FRAME_S: Final = 0.04
HOP_S: Final = 0.01
LASTS_S: Final = 0.06
"""A tone that is shorter is a click's ringing."""
GAP_S: Final = 0.06
NEAR: Final = 0.03
CHUNK: Final = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """One tone that stood out without a break: its time, frequency, prominence and level, frame by frame."""

    times_s: Array
    frequency_hz: Array
    prominence_db: Array
    level_db: Array


def pitch_of(tones: Sequence[Tone]) -> float:
    """Give the pitch of some tones together, Hz."""
    return float(np.median(np.concatenate([tone.frequency_hz for tone in tones])))


def critical_band_hz(frequency_hz: Floats) -> Array:
    """Give the width of the critical band around a frequency (Zwicker and Terhardt 1980, as ECMA-74 has it).

    >>> round(float(critical_band_hz(np.array(1000.0))), 1)
    162.2
    """
    return np.asarray(25.0 + 75.0 * (1.0 + 1.4 * (frequency_hz / 1000.0) ** 2) ** 0.69)


def band_edges_hz(frequency_hz: Floats) -> tuple[Array, Array, Array, Array]:
    """Give the edges of the band around a frequency and of its neighbours, lowest to highest.

    The middle band lies evenly on a scale of ratios; each neighbour is as wide as the critical band around its own
    middle.
    """
    wide = critical_band_hz(frequency_hz)
    low = -wide / 2.0 + np.sqrt(wide**2 + 4.0 * frequency_hz**2) / 2.0
    high = low + wide
    below = low - critical_band_hz(np.maximum(low - wide / 2.0, 50.0))
    above = high + critical_band_hz(high + wide / 2.0)
    return np.maximum(below, 20.0), np.asarray(low), np.asarray(high), np.asarray(above)


def criterion_db(frequency_hz: Floats) -> Array:
    """Give the prominence from which a tone counts: 9 dB from 1 kHz on, more below.

    >>> float(criterion_db(np.array(2000.0)))
    9.0
    """
    return np.asarray(9.0 + 10.0 * np.log10(np.maximum(1000.0 / frequency_hz, 1.0)))


def prominence(power: Array, bin_hz: float, bins: NDArray[np.intp]) -> Array:
    """Give the prominence ratio at each of some bins, dB.

    Arguments:
        power: shape (frames, all bins).
        bin_hz: distance of two bins.
        bins: which, shape (n,).

    Returns:
        Shape (frames, n).
    """
    total = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1)], axis=1)
    last = power.shape[1]
    edges = [np.clip(np.rint(edge / bin_hz).astype(int), 0, last) for edge in band_edges_hz(bins * bin_hz)]
    lower, own, upper = (total[:, edges[k + 1]] - total[:, edges[k]] for k in range(3))
    # A neighbour cut off by the end of the band is not one: then the other counts alone.
    whole = edges[3] < last
    beside = np.where(whole[None, :], (lower + upper) / 2.0, lower)
    return np.asarray(10.0 * np.log10(np.maximum(own, 1e-20) / np.maximum(beside, 1e-20)))


def tones_in(sound: Sound, highest_hz: float) -> Iterator[Tone]:
    """Find every tone that stands out for long enough.

    Arguments:
        sound: at its own sample rate.
        highest_hz: what lies above is not looked at: no sound reaches the file there.
    """
    open_tones: list[list[tuple[float, float, float, float]]] = []
    for time, peaks in _peaks(sound, min(HIGHEST_HZ, highest_hz)):
        free = list(peaks)
        still = []
        for tone in open_tones:
            last = tone[-1]
            near = [peak for peak in free if abs(peak[0] / last[1] - 1.0) < NEAR]
            if near:
                best = min(near, key=lambda peak: abs(peak[0] - last[1]))
                free.remove(best)
                tone.append((time, *best))
            if time - tone[-1][0] <= GAP_S:
                still.append(tone)
            elif tone[-1][0] - tone[0][0] >= LASTS_S:
                yield _tone(tone)
        open_tones = still + [[(time, *peak)] for peak in free]
    yield from (_tone(tone) for tone in open_tones if tone[-1][0] - tone[0][0] >= LASTS_S)


def _tone(rows: list[tuple[float, float, float, float]]) -> Tone:
    times, frequency, prominent, level = np.array(rows).T
    return Tone(times, frequency, prominent, level)


def _peaks(sound: Sound, highest_hz: float) -> Iterator[tuple[float, list[tuple[float, float, float]]]]:
    """Give for each frame its time and what stands out: frequency, prominence, level."""
    length, hop = round(FRAME_S * sound.rate_hz), round(HOP_S * sound.rate_hz)
    if len(sound.samples) < length or highest_hz <= LOWEST_HZ * 1.2:
        return
    window = np.hanning(length + 1)[:-1]
    window /= np.sqrt(np.sum(window**2))
    bin_hz = sound.rate_hz / length
    cut = cut_into(sound.samples, length, hop)
    last = min(int(1.3 * highest_hz / bin_hz), length // 2)
    bins = np.arange(int(LOWEST_HZ / bin_hz), min(int(highest_hz / bin_hz), last))
    # The band of a tone has to lie inside what reaches the file.
    bins = bins[np.rint(band_edges_hz(bins * bin_hz)[2] / bin_hz).astype(int) <= last]
    needed = criterion_db(bins * bin_hz)
    for first in range(0, len(cut), CHUNK):
        power = np.abs(np.fft.rfft(cut[first : first + CHUNK] * window, axis=1)[:, : last + 1]) ** 2
        ratio = prominence(power, bin_hz, bins)
        middle = power[:, bins]
        top = (middle > power[:, bins - 1]) & (middle >= power[:, bins + 1])
        # A tone holds most of its band in three bins; noise that is loud in a band does not.
        narrow = power[:, bins - 1] + middle + power[:, bins + 1]
        _, low, high, _ = band_edges_hz(bins * bin_hz)
        total = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1)], axis=1)
        own = total[:, np.rint(high / bin_hz).astype(int)] - total[:, np.rint(low / bin_hz).astype(int)]
        plain = top & (ratio > needed) & (narrow > 0.6 * own)
        rows, columns = np.nonzero(plain)
        found: dict[int, list[tuple[float, float, float]]] = {}
        for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
            at = int(bins[column])
            left, here, right = (float(np.log(max(power[row, k], 1e-25))) for k in (at - 1, at, at + 1))
            curved = left - 2.0 * here + right
            shift = 0.5 * (left - right) / curved if curved < 0 else 0.0
            level = 10.0 * np.log10(max(float(narrow[row, column]), 1e-25))
            found.setdefault(row, []).append(((at + shift) * bin_hz, float(ratio[row, column]), level))
        for row in range(len(power)):
            yield ((first + row) * hop + length / 2) / sound.rate_hz, found.get(row, [])
