"""The geometry of gaps that stand askew: from angle to delay and back, from delays of many tracks to a straight line.

Whoever reads delays, from a file or while the screw turns, takes the formulas from here. Angle and delay are positive
where a track further from the deck plate comes later.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.standards import contact_laws

ARC_MINUTE: Final = math.pi / 10800.0
Values = NDArray[np.float64]


def delay_s(angle_rad: float, apart_m: float, speed_m_per_s: float) -> float:
    """Give how much later a leaning gap meets a track than one that lies so far nearer to the deck plate, seconds.

    >>> round(1e6 * delay_s(ARC_MINUTE, 0.9e-3, 0.047625), 2)
    5.5
    """
    return apart_m * math.tan(angle_rad) / speed_m_per_s


def angle_rad(late_s: float, apart_m: float, speed_m_per_s: float) -> float:
    """Give the angle that makes such a delay between two tracks; `delay_s` the other way round.

    >>> round(angle_rad(5.5e-6, 0.9e-3, 0.047625) / ARC_MINUTE, 2)
    1.0
    """
    return math.atan(late_s * speed_m_per_s / apart_m)


def comes_round_arcmin(frequency_hz: float, apart_m: float, speed_m_per_s: float) -> float:
    """Give after which angle a tone looks the same again between two tracks: one turn of delay, minutes of arc.

    >>> round(comes_round_arcmin(10000.0, 3.21e-3, 0.047625), 2)
    5.1
    """
    return angle_rad(1.0 / frequency_hz, apart_m, speed_m_per_s) / ARC_MINUTE


def summed_db(frequency_hz: Values, angle_rad: float, apart_m: float, speed_m_per_s: float) -> Values:
    """Give what the sum of two tracks with the same tone loses by the delay between them, decibels: set-up by ear.

    >>> round(float(summed_db(np.array(6300.0), 3 * ARC_MINUTE, 0.9e-3, 0.047625)), 2)
    -0.47
    """
    late_s = delay_s(angle_rad, apart_m, speed_m_per_s)
    return contact_laws.summed_db(np.asarray(frequency_hz, dtype=np.float64) * late_s)


def line_weights(positions_m: Values) -> Values:
    """Give what each track's delay counts for the slope of the straight line through all, per metre.

    >>> line_weights(np.array([0.0, 1.0]))
    array([-1.,  1.])
    """
    apart = positions_m - positions_m.mean()
    return np.asarray(apart / (apart @ apart), dtype=np.float64)


def off_line(positions_m: Values) -> Values:
    """Give what each track's delay counts for how far each stands off the straight line through all, a row for each.

    >>> np.allclose(off_line(np.array([0.0, 1.0])), 0.0)
    True
    """
    onto = np.eye(len(positions_m)) - 1.0 / len(positions_m)
    return np.asarray(onto - np.outer(positions_m - positions_m.mean(), line_weights(positions_m)))


def angles_rad(delays_s: Values, positions_m: Values, speed_m_per_s: float) -> Values:
    """Give the angle of the straight line through delays over places, radians.

    Arguments:
        delays_s: shape (..., tracks).
        positions_m: shape (tracks,).
        speed_m_per_s: of the tape.
    """
    return np.asarray(np.arctan(delays_s @ line_weights(positions_m) * speed_m_per_s), dtype=np.float64)


__all__ = [
    "ARC_MINUTE",
    "angle_rad",
    "angles_rad",
    "comes_round_arcmin",
    "delay_s",
    "line_weights",
    "off_line",
    "summed_db",
]
