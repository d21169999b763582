"""IEC 61672-1: the A-weighting of sound level meters, taken here for the noise of a tape.

The printed table lies in `tables/a_weighting.csv`. The closed form is that of the document's Annex E (as quoted in a
national edition): four zeros at nought and six poles at four rates. It meets the rounded table to 0.05 dB at the
exact rates of the base-ten series. Which class a chain reaches depends on what stands before the file; here the
digital part alone is held to the limits.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

POLES_HZ: Final = (20.598997, 20.598997, 107.652649, 737.862231, 12194.217148, 12194.217148)
"""Annex E as quoted (jis.eomec.com/jisc150912017/9); the same figures stand in an open acoustics code."""
REFERENCE_HZ: Final = 1000.0


def exact_frequency_hz(nominal_hz: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
    """Give the exact rate that a nominal one stands for: the nearest of 10^(n/10) hertz.

    >>> round(float(exact_frequency_hz(np.array(12500.0))), 1)
    12589.3
    """
    steps = np.round(10.0 * np.log10(np.asarray(nominal_hz, dtype=np.float64)))
    return np.asarray(10.0 ** (steps / 10.0), dtype=np.float64)


def _unscaled(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    s = 1j * np.asarray(frequency_hz, dtype=np.float64)
    below = np.ones_like(s)
    for pole in POLES_HZ:
        below = below * (s + pole)
    return np.asarray(s**4 / below, dtype=np.complex128)


_AT_REFERENCE: Final = float(abs(_unscaled(np.array(REFERENCE_HZ))))


def a_weighting_response(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    """Give the complex response of the A-weighting; its size is 1 at 1 kHz.

    Arguments:
        frequency_hz: any shape, hertz.

    >>> round(float(20.0 * np.log10(abs(a_weighting_response(np.array(100.0))))), 1)
    -19.1
    """
    return np.asarray(_unscaled(frequency_hz) / _AT_REFERENCE, dtype=np.complex128)
