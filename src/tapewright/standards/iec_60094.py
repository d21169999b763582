"""The compact cassette: speeds, tape, tracks, hubs (IEC 60094-1, 60094-2, 60094-7), each number with how it is known.

No number here was read in the bought text: "quoted" means a page or a national edition that quotes it.

>>> round(100 * SPEED_M_PER_S.value, 4)
4.7625
"""

import math
from dataclasses import dataclass
from typing import Final

from tapewright.standards.figures import Figure

SPEED_M_PER_S: Final = Figure(
    0.047625, "1 7/8 inch a second exactly; JIS S 8604-1993 clause 1 writes 4.76 cm/s", "quoted"
)
DOUBLE_SPEED_M_PER_S: Final = Figure(
    0.09525, "3 3/4 inch a second exactly, used by some four-track recorders", "quoted"
)
SPEED_TOLERANCE: Final = Figure(0.02, "IEC 60094-1, ratio either way", "from memory")

TAPE_WIDTH_M: Final = Figure(3.81e-3, "IEC 60094-7; ECMA-34 title; tolerance from memory", "quoted", 3.76e-3, 3.81e-3)
TRACK_WIDTH_M: Final = Figure(0.6e-3, "stereo track, IEC 60094-7 as quoted", "quoted")
TRACK_GAP_M: Final = Figure(0.3e-3, "between the two tracks of a side, IEC 60094-7 figure", "from memory")
SIDE_GAP_M: Final = Figure(0.81e-3, "tape width less four tracks and two track gaps", "derived")
MONO_TRACK_WIDTH_M: Final = Figure(1.5e-3, "IEC 60094-7 figure", "from memory")
TRACK_CENTRES_M: Final = (0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3)
"""Centres of tracks 1 to 4 from the edge next to the deck plate; derived from the widths and gaps above."""
OUTER_TRACK_SPACING_M: Final = Figure(3.21e-3, "centre of track 1 to centre of track 4", "derived")

PAD_FORCE_N: Final = Figure(
    0.175, "IEC 60094-7 Amendment 1:1996 clause 12.8; value is the middle", "quoted", 0.10, 0.25
)
REEL_AXIS_SPACING_M: Final = Figure(42.5e-3, "open drawings that quote IEC 60094-7", "quoted", 42.49e-3, 42.5e-3)
HUB_RADIUS_M: Final = Figure(
    11e-3, "outer radius of the bare hub; a torque table in use says about 1 cm", "from memory"
)
SHELL_M: Final = (100.4e-3, 63.8e-3, 12.0e-3)
"""Length, height, thickness of the shell; open drawings that quote IEC 60094-7."""

BASS_TIME_CONSTANT_S: Final = Figure(3180e-6, "JIS S 8604-1993 table 1 (IEC 60094-1:1981)", "quoted")
FERRIC_TIME_CONSTANT_S: Final = Figure(120e-6, "type I, JIS S 8604-1993 table 1", "quoted")
CHROME_TIME_CONSTANT_S: Final = Figure(70e-6, "types II and IV, JIS S 8604-1993 table 1", "quoted")


@dataclass(frozen=True, slots=True)
class CassetteTape:
    """What is wound in one size of cassette.

    Arguments:
        minutes: both sides together, at 4.76 cm/s.
        length_m: as supplied; a little more than the playing time needs.
        thickness_m: over all.
        basis: how length and thickness are known.
    """

    minutes: int
    length_m: float
    thickness_m: float
    basis: str


TAPES: Final = {
    "C46": CassetteTape(46, 68.0, 18e-6, "thickness from memory; 15 to 16 µm is also published"),
    "C60": CassetteTape(60, 90.0, 18e-6, "length quoted; thickness from memory, 15 to 16 µm is also published"),
    "C90": CassetteTape(90, 135.0, 12e-6, "quoted; 129 and 132 m and 10 µm are also published"),
    "C120": CassetteTape(120, 180.0, 9e-6, "thickness quoted; length from memory"),
}


def side_length_m(minutes: float, speed_m_per_s: float = SPEED_M_PER_S.value) -> float:
    """Give the tape that one side of so many minutes in all takes, metres.

    Arguments:
        minutes: both sides together, as the cassette is named.
        speed_m_per_s: tape speed.

    >>> round(side_length_m(90), 1)
    128.6
    """
    return minutes * 30.0 * speed_m_per_s


def pack_radius_m(length_m: float, thickness_m: float, hub_radius_m: float = HUB_RADIUS_M.value) -> float:
    """Give the radius of a pack of tape, metres: the side area of the pack is length times thickness.

    Arguments:
        length_m: tape on the hub.
        thickness_m: of the tape.
        hub_radius_m: bare hub.

    >>> round(1e3 * pack_radius_m(90.0, 18e-6), 1)
    25.2
    """
    return math.sqrt(hub_radius_m**2 + length_m * thickness_m / math.pi)
