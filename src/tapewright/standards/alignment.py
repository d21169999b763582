"""How close heads and levels are set: figures of service practice and of calibration tapes, each with its source."""

import math
from typing import Final

from tapewright.standards.figures import Figure

AZIMUTH_PHASE_DEG: Final = Figure(
    45.0, "a car cassette player's service manual: in phase good, 45 degrees acceptable, 90 and more wrong", "quoted",
    None, 90.0,
)  # fmt: skip
AZIMUTH_PHASE_AT_HZ: Final = Figure(6300.0, "the same manual, left against right", "quoted")
PEAKS_WITHIN_DB: Final = Figure(3.0, "two service manuals: left and right peak within this", "quoted", None, 3.0)
TAPE_AZIMUTH_RAD: Final = Figure(
    math.pi / 10800.0, "IEC 60094-2:1994 as quoted by JIS C 5563-1996 clause 3: 90 degrees +- 1 minute of arc", "quoted"
)
WEAVE_RAD: Final = Figure(
    600e-6, "peak to peak, tape in its guides; AES convention paper, elib 3710, abstract", "quoted"
)
SET_SPEED_PCT: Final = Figure(
    0.5, "service manuals of two cassette decks: aim within 0.5 %, after 30 s of running", "quoted", -0.5, 0.5
)
LEVEL_DB: Final = Figure(
    0.5, "common practice, from memory: replay level is set to half a decibel", "from memory", -0.5, 0.5
)
REFERENCE_NWB_PER_M: Final = {
    "250": Figure(250.0, "DIN and IEC reference, 315 Hz", "quoted"),
    "200": Figure(218.0, "200 by the ANSI method at 400 Hz is 218 to 220 by the IEC method", "quoted", 218.0, 220.0),
    "160": Figure(160.0, "older reference, 315 Hz", "quoted"),
}  # fmt: skip
"""What is written on a level tape -> what it is by the IEC method."""


def angle_of_phase_rad(phase_deg: float, frequency_hz: float, apart_m: float, speed_m_per_s: float) -> float:
    """Give the angle at which two tracks show a phase between them, radians: tan a = v delay / d.

    Arguments:
        phase_deg: between the two tracks.
        frequency_hz: of the tone.
        apart_m: centre to centre.
        speed_m_per_s: of the tape.

    >>> round(angle_of_phase_rad(70.6, 10000.0, 3.21e-3, 0.047625) * 10800 / math.pi, 3)
    1.0
    """
    return math.atan(phase_deg / 360.0 / frequency_hz * speed_m_per_s / apart_m)
