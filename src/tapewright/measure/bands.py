"""Flat bands of the speed deviation that unweighted readings are taken in, and the filter that cuts them out."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.standards.iec_60386 import FLUTTER_BAND_HZ, UNWEIGHTED_BAND_HZ, WOW_BAND_HZ
from tapewright.standards.nab import BAND_HZ as AVERAGE_BAND_HZ

LEAST_RMS_S: Final = 1.0
LEAST_TURNS: Final = 3.0
"""A band that begins slower than a second or two wants so many turns of its slowest rate; own choice, as for lines."""


@dataclass(frozen=True, slots=True)
class Band:
    """A flat band.

    Arguments:
        band_hz: lower and upper edge, 3 dB down.
        says: what it is called in a reading's method.
        least_s: a shorter stretch gives no reading in it.
    """

    band_hz: tuple[float, float]
    says: str
    least_s: float


WHOLE: Final = Band(UNWEIGHTED_BAND_HZ, "unweighted", LEAST_RMS_S)
WOW: Final = Band(
    WOW_BAND_HZ, "wow alone, unweighted (band of JIS C 5569-1991 clause 2.1)", LEAST_TURNS / WOW_BAND_HZ[0]
)
FAST: Final = Band(
    FLUTTER_BAND_HZ, "flutter above the wow, unweighted (band of JIS C 5569-1991 clause 2.2)", LEAST_RMS_S
)
AVERAGED: Final = Band(AVERAGE_BAND_HZ, "unweighted", LEAST_TURNS / AVERAGE_BAND_HZ[0])


def band_limited(
    values: NDArray[np.float64], rate_hz: float, band_hz: tuple[float, float] = UNWEIGHTED_BAND_HZ
) -> NDArray[np.float64]:
    """Pass a deviation through a flat band, 3 dB down at its edges: an octave wide below, an eighth of one above.

    Arguments:
        values: shape (n,), no gaps, drift taken out.
        rate_hz: samples per second.
        band_hz: lower and upper edge.

    The ends are continued by reflection, so that the filter does not ring on them.
    """
    reach = min(len(values) - 1, int(max(5.0, 1.0 / band_hz[0]) * rate_hz))
    longer = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]])
    length = fft.next_fast_len(len(longer), real=True)
    gain = band_gain(fft.rfftfreq(length, 1.0 / rate_hz), band_hz)
    passed = fft.irfft(fft.rfft(longer, length) * gain, length)
    return np.asarray(passed[reach : reach + len(values)], dtype=np.float64)


def band_gain(frequency: NDArray[np.float64], band_hz: tuple[float, float]) -> NDArray[np.float64]:
    """Give the flat band's gain at these rising frequencies, same shape: 3 dB down at either edge.

    >>> band_gain(np.array([0.1, 0.2, 10.0, 200.0, 400.0]), (0.2, 200.0)).round(3).tolist()
    [0.0, 0.707, 1.0, 0.707, 0.0]
    """
    gain = ((frequency > band_hz[0] / 2.0) & (frequency < 2.0 * band_hz[1])).astype(np.float64)
    for edge_hz, rise in ((band_hz[0], 1.0), (band_hz[1], -8.0)):
        near = slice(*np.searchsorted(frequency, [edge_hz / 2.0, edge_hz * 2.0]).tolist())
        octaves = np.log2(np.maximum(frequency[near], 1e-9) / edge_hz)
        gain[near] *= np.sin(np.pi / 2.0 * np.clip(0.5 + rise * octaves, 0.0, 1.0))
    return gain


__all__ = ["AVERAGED", "FAST", "LEAST_RMS_S", "LEAST_TURNS", "WHOLE", "WOW", "Band", "band_gain", "band_limited"]
