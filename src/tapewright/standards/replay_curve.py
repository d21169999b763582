"""IEC 60094-1: the flux that a cassette is to carry over frequency, and the replay correction that belongs to it.

Time constants as quoted (`iec_60094`); the form N(f) = 10 lg(1 + 1/(w t2)²) - 10 lg(1 + (w t1)²) is from memory of
the clause. A cassette recorded for the other treble constant plays too bright or too dull by a curve that follows
from the two.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.standards.iec_60094 import BASS_TIME_CONSTANT_S

REFERENCE_HZ: Final = 315.0


def recorded_flux_db(
    frequency_hz: NDArray[np.floating[Any]], treble_s: float, bass_s: float = BASS_TIME_CONSTANT_S.value
) -> NDArray[np.float64]:
    """Give the recorded flux over that at 315 Hz, decibels; the replay correction is the same with its sign turned.

    Arguments:
        frequency_hz: any shape.
        treble_s: 120e-6 for type I, 70e-6 for types II and IV.
        bass_s: 3180e-6.

    >>> round(float(recorded_flux_db(np.array(10000.0), 120e-6)), 2)
    -17.49
    """

    def flux(at_hz: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
        turn = 2.0 * np.pi * np.asarray(at_hz, dtype=np.float64)
        return np.asarray(
            10.0 * np.log10(1.0 + 1.0 / (turn * bass_s) ** 2) - 10.0 * np.log10(1.0 + (turn * treble_s) ** 2)
        )

    return np.asarray(flux(frequency_hz) - flux(np.array(REFERENCE_HZ)), dtype=np.float64)


def other_switch_db(
    frequency_hz: NDArray[np.floating[Any]], recorded_s: float, replayed_s: float
) -> NDArray[np.float64]:
    """Give how much too bright a tape plays, over 315 Hz, recorded for one treble constant and replayed for another.

    >>> round(float(other_switch_db(np.array(10000.0), 70e-6, 120e-6)), 2)
    4.38
    """
    return recorded_flux_db(frequency_hz, recorded_s) - recorded_flux_db(frequency_hz, replayed_s)
