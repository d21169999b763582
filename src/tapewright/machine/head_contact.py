"""Where the tracks lie on a machine's tape, and what spacing, a gap and a lean take from them: the laws at one tone.

Every loss is in decibels, never above nought, and hangs on the wavelength on the tape alone: speed over frequency.
"""

import math
from dataclasses import dataclass
from typing import Final

from tapewright.machine.parts import TapeFormat
from tapewright.standards import contact_laws
from tapewright.standards.iec_60094 import MONO_TRACK_WIDTH_M, TAPE_WIDTH_M, TRACK_CENTRES_M, TRACK_WIDTH_M

TREBLE_HZ: Final = 10000.0
"""Where treble is looked at: azimuth is set by 10 kHz, common practice."""
SUMMED_HZ: Final = 6300.0
"""The tone by which tracks are summed on coarse units: service manuals as quoted."""
AT_THE_EDGE_M: Final = 0.15e-3
"""A track whose outer side lies nearer to the tape's edge than this goes with the edge; from memory."""
LEAST_DB: Final = -40.0
"""What is further down is gone: noise and crosstalk stand there."""


@dataclass(frozen=True, slots=True)
class Tracks:
    """Where the tracks lie that a machine plays in one direction.

    Arguments:
        centres_m: from the edge next to the deck plate, track 1 first.
        width_m: of each.
    """

    centres_m: tuple[float, ...]
    width_m: float

    @property
    def edge(self) -> tuple[int, ...]:
        """Number the tracks that lie along an edge of the tape, counted from 1."""
        reach = self.width_m / 2.0 + AT_THE_EDGE_M
        return tuple(
            number
            for number, centre in enumerate(self.centres_m, 1)
            if min(centre, TAPE_WIDTH_M.value - centre) <= reach
        )

    @property
    def inner(self) -> tuple[int, ...]:
        """Number the others."""
        return tuple(number for number in range(1, len(self.centres_m) + 1) if number not in self.edge)

    @property
    def apart_m(self) -> float:
        """Give how far the outermost two are apart."""
        return max(self.centres_m) - min(self.centres_m)


def tracks_of(tape: TapeFormat) -> Tracks:
    """Lay out the tracks of a tape format.

    One is mono, two are stereo on one side, four lie in one direction (IEC 60094-7 as quoted). Any other number is
    spread over the whole tape with guard bands half as wide as a track, since no standard is known for it.

    >>> from tapewright.machine.library import shipped
    >>> tracks_of(shipped("four_track").tape).edge, tracks_of(shipped("two_motor_deck").tape).edge
    ((1, 4), (1,))
    """
    if tape.tracks == 1:
        return Tracks((MONO_TRACK_WIDTH_M.value / 2.0,), MONO_TRACK_WIDTH_M.value)
    if tape.tracks in (2, 4):
        return Tracks(TRACK_CENTRES_M[: tape.tracks], TRACK_WIDTH_M.value)
    width = TAPE_WIDTH_M.value / (1.5 * tape.tracks - 0.5)
    return Tracks(tuple(width * (0.5 + 1.5 * number) for number in range(tape.tracks)), width)


def wavelength_m(tape: TapeFormat, frequency_hz: float = TREBLE_HZ) -> float:
    """Give the wavelength of a tone on the tape, metres."""
    return tape.speed_m_per_s / frequency_hz


def spacing_db(spacing_m: float, wave_m: float) -> float:
    """Give what a spacing between tape and head takes away (Wallace).

    >>> round(spacing_db(1e-6, 4.7625e-6), 2)
    -11.46
    """
    return float(contact_laws.spacing_db(spacing_m / wave_m))


def gap_db(gap_m: float, wave_m: float) -> float:
    """Give what the length of a gap takes away.

    >>> round(gap_db(1e-6, 4.7625e-6), 2)
    -0.79
    """
    return max(LEAST_DB, float(contact_laws.line_across_db(contact_laws.GAP_ACTS * gap_m / wave_m)))


def lean_db(angle_rad: float, width_m: float, wave_m: float) -> float:
    """Give what a gap that leans takes from one track.

    >>> round(lean_db(math.radians(10 / 60), 0.6e-3, 4.7625e-6), 2)
    -2.01
    """
    return max(LEAST_DB, float(contact_laws.line_across_db(width_m * math.tan(angle_rad) / wave_m)))


def summed_db(angle_rad: float, apart_m: float, wave_m: float) -> float:
    """Give what the sum of two tracks loses by the lean between them.

    >>> round(summed_db(math.radians(3 / 60), 0.9e-3, 0.047625 / 6300), 2)
    -0.47
    """
    return max(LEAST_DB, float(contact_laws.summed_db(apart_m * math.tan(angle_rad) / wave_m)))


__all__ = [
    "SUMMED_HZ",
    "TREBLE_HZ",
    "Tracks",
    "gap_db",
    "lean_db",
    "spacing_db",
    "summed_db",
    "tracks_of",
    "wavelength_m",
]
