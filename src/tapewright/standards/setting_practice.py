"""What service papers and calibration tapes allow in setting heads; no standard of a machine's own.

Each with where it was seen. They stand in where neither the machine's sheet nor DIN 45500 part 4 says anything.
"""

import math
from typing import Final

from tapewright.standards.figures import Figure

TAPE_AZIMUTH_ARCMIN: Final = Figure(
    1.0, "IEC 60094-2:1994 as quoted by JIS C 5563-1996 clause 3, calibration tapes, either way", "quoted", -1.0, 1.0
)
PHASE_AT_HZ: Final = Figure(6300.0, "service paper of a car cassette player, left against right", "quoted")
PHASE_ACCEPTED_DEG: Final = Figure(
    45.0, "service paper of a car cassette player: in phase good, 45 degrees accepted, 90 wrong", "quoted", -45.0, 45.0
)
TAPE_WEAVE_ARCMIN: Final = Figure(
    1.0, "AES convention paper 3710, abstract: about 600 µrad peak to peak is the tape's own", "quoted", None, 1.0
)
"""Half of 600 µrad, which is 2.06 minutes of arc: nobody should ask for less wander."""


def accepted_azimuth_arcmin(apart_m: float, speed_m_per_s: float) -> float:
    """Give the angle at which two tracks stand 45 degrees apart at 6.3 kHz, minutes of arc.

    Arguments:
        apart_m: distance between the middles of the two tracks.
        speed_m_per_s: of the tape.

    >>> round(accepted_azimuth_arcmin(0.9e-3, 0.047625), 1)
    3.6
    """
    late_s = PHASE_ACCEPTED_DEG.value / 360.0 / PHASE_AT_HZ.value
    return math.degrees(math.atan(late_s * speed_m_per_s / apart_m)) * 60.0
