"""What treble is lost between tape and head: the laws of spacing, of gap and lean, and of two tracks summed.

All hang on the wavelength on the tape alone, so each is asked in wavelengths. Sources: R. L. Wallace, "The
reproduction of magnetically recorded signals", Bell Syst. Tech. J. 30, 1951 (spacing; 54.6 d/wavelength as quoted);
Eargle, Electroacoustical Reference Data, chapter 167, as quoted (how long a gap acts); the other two are closed forms.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

SPACING_DB: Final = 40.0 * math.pi * math.log10(math.e)
"""54.575 dB for a spacing of one wavelength (Wallace)."""
GAP_ACTS: Final = 1.11
"""A gap acts a ninth longer than it is (Eargle)."""
Values = NDArray[np.float64]


def spacing_db(wavelengths: ArrayLike) -> Values:
    """Give what a spacing of so many wavelengths takes away, decibels.

    >>> round(float(spacing_db(1.0)), 3)
    -54.575
    """
    return np.asarray(-SPACING_DB * np.asarray(wavelengths, dtype=np.float64))


def line_across_db(wavelengths: ArrayLike) -> Values:
    """Give what is left of a wave read over so many wavelengths at once, by a gap or along a gap that leans, decibels.

    Held at -80 dB, which is what a fit can use near a null.

    >>> round(float(line_across_db(0.5)), 2)
    -3.92
    """
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(np.sinc(np.asarray(wavelengths, dtype=np.float64))), 1e-4)))


def summed_db(wavelengths: ArrayLike) -> Values:
    """Give what the sum of two tracks loses where one lags the other by so many wavelengths, decibels.

    >>> round(float(summed_db(0.25)), 2)
    -3.01
    """
    late = np.pi * np.asarray(wavelengths, dtype=np.float64)
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(np.cos(late)), 1e-6)))
