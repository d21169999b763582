"""Recommendation ITU-R BS.468-4: weighting and quasi-peak detector for noise in sound broadcasting.

The weighting table was seen (`tables/bs468_weighting.csv`); the poles of its passive network are from memory, and
meet every row of the table to 0.05 dB. The readings of tone bursts (`tables/bs468_bursts.csv`) are from memory. How a
meter is built is left open there; the two stages here are a closed form of our own that meets all eleven bursts.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.standards.weighting import weighted_samples

REFERENCE_HZ: Final = 1000.0
_REAL_POLES_HZ: Final = (4122.70, 9975.06)
_PAIRS_HZ: Final = (complex(3758.53, 5790.04), complex(2983.16, 9940.84))
"""Distance of each pole left of the imaginary axis, and its height; s over 2 pi. From memory, checked by the table."""

STAGES_S: Final = ((1.446e-3, 350.9e-3), (155.1e-3, 64.16e-3))
"""Attack and decay of the two stages; a closed form of our own for the burst readings."""
STEADY: Final = 0.98236
"""What the two stages show of a steady sine of peak 1 at 1 kHz, weighted; computed with the above."""
DETECTOR_RATE_HZ: Final = 48000.0
SETTLING_S: Final = 1.5
"""What a stretch begins with has left the detector to less than a hundredth after it."""


def _unscaled(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    s = 1j * np.asarray(frequency_hz, dtype=np.float64)
    below = np.ones_like(s)
    for pole in _REAL_POLES_HZ:
        below = below * (s + pole)
    for pair in _PAIRS_HZ:
        below = below * (s + pair) * (s + pair.conjugate())
    return np.asarray(s / below, dtype=np.complex128)


_AT_REFERENCE: Final = float(abs(_unscaled(np.array(REFERENCE_HZ))))


def bs468_response(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    """Give the complex response of the weighting network; its size is 1 at 1 kHz.

    Arguments:
        frequency_hz: any shape, hertz.

    >>> round(float(20.0 * np.log10(abs(bs468_response(np.array(6300.0))))), 1)
    12.2
    """
    return np.asarray(_unscaled(frequency_hz) / _AT_REFERENCE, dtype=np.complex128)


def _lanes(sizes: NDArray[np.float64], run: int, lead: int) -> NDArray[np.float64]:
    """Cut each track into runs with a lead before each, all side by side, shape (lead + run, lanes)."""
    count = -(-len(sizes) // run)
    padded = np.concatenate(
        [np.zeros((lead, sizes.shape[1])), sizes, np.zeros((count * run - len(sizes), sizes.shape[1]))]
    )
    windows = np.lib.stride_tricks.sliding_window_view(padded, lead + run, axis=0)[::run]
    return np.ascontiguousarray(windows.transpose(2, 0, 1).reshape(lead + run, -1))


def _detected(lanes: NDArray[np.float64], rate_hz: float, lead: int) -> NDArray[np.float64]:
    """Run the two stages down every lane at once; what comes after the lead, shape (run, lanes)."""
    rates = [(-np.expm1(-1.0 / (rise * rate_hz)), -np.expm1(-1.0 / (fall * rate_hz))) for rise, fall in STAGES_S]
    first, second = np.zeros(lanes.shape[1]), np.zeros(lanes.shape[1])
    shown = np.empty((len(lanes) - lead, lanes.shape[1]))
    step = np.empty_like(first)
    (rise1, fall1), (rise2, fall2) = rates
    for index, size in enumerate(lanes):
        np.subtract(size, first, out=step)
        first += np.where(step > 0.0, rise1, fall1) * step
        np.subtract(first, second, out=step)
        second += np.where(step > 0.0, rise2, fall2) * step
        if index >= lead:
            shown[index - lead] = second
    return shown


def quasi_peak(
    samples: NDArray[np.floating[Any]], rate_hz: float, weighted: bool = True
) -> tuple[NDArray[np.float64], float]:
    """Give what the pointer of the meter shows over time, shape (n, tracks), and the rate of that, hertz.

    A steady sine of 1 kHz shows its root mean square. The first `SETTLING_S` do not count yet.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second, 44.1 kHz and more for the whole of the weighting.
        weighted: False where the samples are weighted already.
    """
    held, held_hz = weighted_samples(samples, rate_hz, bs468_response if weighted else _flat, DETECTOR_RATE_HZ)
    run, lead = int(0.3 * held_hz), int(SETTLING_S * held_hz)
    shown = _detected(_lanes(np.abs(held), run, lead), held_hz, lead)
    by_track = shown.reshape(run, -1, held.shape[1]).transpose(1, 0, 2).reshape(-1, held.shape[1])[: len(held)]
    return np.asarray(by_track / (STEADY * np.sqrt(2.0)), dtype=np.float64), held_hz


def _flat(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    return np.ones(np.shape(frequency_hz), dtype=np.complex128)
