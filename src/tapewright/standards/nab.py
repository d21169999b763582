"""The average-responding flutter reading of the American broadcasters' practice (NAB), met in service sheets.

The speed deviation is rectified and averaged, and the scale is drawn so that a sine shows its root mean square: the
mean of its size times pi/(2 sqrt 2) = 1.1107. Of anything but one sine it reads otherwise than a true rms meter: of
noise with a normal law 11.4 % lower than that. Definition, band and test tone: from memory; that service sheets state
such a reading beside the peak reading of IEC 60386, as "NAB", was seen in one of them.
"""

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.standards.figures import Figure

RMS_OF_MEAN: Final = Figure(
    math.pi / (2.0 * math.sqrt(2.0)), "rms over mean size of a sine, so that the scale is true for one", "derived"
)
BAND_HZ: Final = (0.5, 200.0)
"""The unweighted band; from memory. The weighted reading is taken through the network of IEC 60386."""


def average_reading(deviation: NDArray[np.floating[Any]]) -> float:
    """Give what an average-responding meter shows in the end, in the unit of the deviation.

    Arguments:
        deviation: shape (n,), filtered and settled, without gaps.

    >>> t = np.arange(60000) / 1200.0
    >>> round(average_reading(np.sin(2 * np.pi * 4.0 * t)), 4)
    0.7071
    """
    return RMS_OF_MEAN.value * float(np.mean(np.abs(deviation)))
