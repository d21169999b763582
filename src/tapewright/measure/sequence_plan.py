"""Which test sequences there are, and what stands on each: sections, times, levels."""

from typing import Final

from tapewright.measure.sequence_mark import mark_length_s
from tapewright.standards.iec_60094 import (
    CHROME_TIME_CONSTANT_S,
    DOUBLE_SPEED_M_PER_S,
    FERRIC_TIME_CONSTANT_S,
    SPEED_M_PER_S,
)
from tapewright.standards.iec_60386 import TEST_TONE_HZ
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.sequence import (
    AZIMUTH,
    CROSSTALK,
    DISTORTION,
    ERASURE,
    LEVEL,
    MARK,
    MULTITONE,
    RESPONSE,
    SILENCE,
    SPEED,
    Section,
    Sequence,
)

REFERENCE_NWB_PER_M: Final = 250.0
"""0 dB at 315 Hz; IEC 60094-2 and DIN 45513-6, as pages on calibration tapes quote them."""
SPEEDS_M_PER_S: Final = (SPEED_M_PER_S.value, DOUBLE_SPEED_M_PER_S.value)
TRACKS: Final = (2, 4)
TYPES: Final = ("I", "II")
LEAD_S: Final = 1.0
"""Silence before the first mark and after the last section."""
GAP_S: Final = 0.2
"""Silence between two sections, so that none runs into the next where the timing is a little out."""
MARK_DB: Final = -6.0
LEVEL_HZ: Final = 315.0
AZIMUTH_HZ: Final = (125.0, 400.0, 1250.0, 4000.0, 10000.0)
"""Coarse to fine. Between the outer tracks, 3.21 mm apart, 125 Hz turns half a cycle at 3.4 degrees (4.76 cm/s), and no
tone is more than 3.2 times the one before: a delay known to a quarter of a cycle of one is known to less than one of
the next."""
AZIMUTH_DB: Final = -10.0
RESPONSE_HZ: Final = (
    40.0, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0, 14000.0, 16000.0, 18000.0
)  # fmt: skip
"""At 4.76 cm/s; the list of IEC 60094-2, from memory, its first tone a little higher."""
FAST_RESPONSE_HZ: Final = (*RESPONSE_HZ, 20000.0)
RESPONSE_DB: Final = -20.0
"""No tape is near saturation at 18 kHz here; IEC 60094-2, from memory."""
MULTITONE_HZ: Final = (
    41.0, 53.0, 73.0, 97.0, 127.0, 167.0, 223.0, 293.0, 389.0, 509.0, 673.0, 887.0,
    1171.0, 1543.0, 2039.0, 2687.0, 3541.0, 4673.0, 6163.0, 8123.0, 10709.0, 14107.0,
)  # fmt: skip
"""A third of an octave and a little apart; primes, so that no tone falls on another's overtones or sums."""
MULTITONE_DB: Final = -26.0
CROSSTALK_HZ: Final = ((1000.0, 0.0), (8000.0, -10.0))
"""One tone that any tape holds at the reference level, and one in the treble, each with its level in decibels."""
DISTORTION_DB: Final = (-10.0, -6.0, -3.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
ERASURE_HZ: Final = 1000.0
"""Common practice: erasure is stated at 1 kHz."""
ERASURE_GAP_S: Final = 6.0
"""Room for a hand that presses the record key."""

_ROWS: Final = tuple((speed, tracks, kind) for speed in SPEEDS_M_PER_S for tracks in TRACKS for kind in TYPES)


class _Tape:
    """Sections laid one after the other."""

    def __init__(self, tracks: int) -> None:
        self.all = tuple(range(1, tracks + 1))
        self.at_s = LEAD_S
        self.sections: list[Section] = []

    def add(
        self,
        kind: str,
        length_s: float,
        hz: float | None = None,
        level_db: float = 0.0,
        tracks: tuple[int, ...] = (),
        together_hz: tuple[float, ...] = (),
        erase: bool = False,
    ) -> None:
        said = Section(kind, round(self.at_s, 6), length_s, tracks or self.all, hz, together_hz, level_db, erase)
        self.sections.append(said)
        self.at_s += length_s + GAP_S

    def mark(self) -> None:
        self.add(MARK, round(mark_length_s(len(self.all)), 6), level_db=MARK_DB)


def _sections(speed_m_s: float, tracks: int) -> tuple[Section, ...]:
    tape = _Tape(tracks)
    tape.mark()
    tape.add(SPEED, 15.0, TEST_TONE_HZ, AZIMUTH_DB)
    tape.add(LEVEL, 6.0, LEVEL_HZ)
    tape.mark()
    for hz in AZIMUTH_HZ:
        tape.add(AZIMUTH, 3.0, hz, AZIMUTH_DB)
    tape.mark()
    tape.add(RESPONSE, 1.5, LEVEL_HZ, RESPONSE_DB)
    for hz in RESPONSE_HZ if speed_m_s == SPEEDS_M_PER_S[0] else FAST_RESPONSE_HZ:
        tape.add(RESPONSE, 1.5, hz, RESPONSE_DB)
    tape.mark()
    tape.add(MULTITONE, 6.0, level_db=MULTITONE_DB, together_hz=MULTITONE_HZ)
    tape.add(SILENCE, 10.0)
    tape.mark()
    for hz, level_db in CROSSTALK_HZ:
        for track in tape.all:
            tape.add(CROSSTALK, 2.5, hz, level_db, (track,))
    tape.mark()
    for level_db in DISTORTION_DB:
        tape.add(DISTORTION, 1.2, LEVEL_HZ, level_db)
    tape.mark()
    tape.add(ERASURE, 4.0, ERASURE_HZ)
    tape.mark()
    tape.at_s += ERASURE_GAP_S
    tape.add(ERASURE, 12.0, ERASURE_HZ, erase=True)
    return tuple(tape.sections)


def variant_of(sequence: Sequence) -> int:
    """Give the number under which a sequence stands in the code of its marks.

    >>> variant_of(planned_sequence(0.09525, 2, "I"))
    4
    """
    return _ROWS.index((sequence.tape_speed_m_s, sequence.tracks, sequence.tape_type))


def sequence_of(variant: int) -> Sequence | None:
    """Give the sequence of a number in the code of a mark; None where there is none."""
    return planned_sequence(*_ROWS[variant]) if 0 <= variant < len(_ROWS) else None


def marks_of(sequence: Sequence) -> tuple[Section, ...]:
    """Give the marks of a sequence, in the order of their numbers.

    >>> len(marks_of(planned_sequence()))
    8
    """
    return tuple(section for section in sequence.sections if section.kind == MARK)


def planned_sequence(tape_speed_m_s: float = SPEEDS_M_PER_S[0], tracks: int = 4, tape_type: str = "I") -> Sequence:
    """Lay out a test sequence.

    Arguments:
        tape_speed_m_s: 0.047625 or 0.09525, within 1 %.
        tracks: 2 or 4.
        tape_type: "I" (120 µs) or "II" (70 µs).

    Raises:
        InputAtFaultError: anything else, each with its Problem.

    >>> planned_sequence(0.0476, 2, "II").name
    'cassette, 4.76 cm/s, 2 tracks, type II'
    """
    speed = next((one for one in SPEEDS_M_PER_S if abs(tape_speed_m_s / one - 1.0) <= 0.01), None)
    problems = []
    if speed is None:
        do = "Give 4.76 or 9.53."
        problems.append(Problem("--tape-speed", f"{100 * tape_speed_m_s:g} cm/s is no speed of a cassette here.", do))
    if tracks not in TRACKS:
        problems.append(Problem("--tracks", f"is {tracks}.", "Give 2 or 4."))
    if tape_type not in TYPES:
        problems.append(Problem("--type", f"is {tape_type}.", "Give I (120 µs) or II (70 µs)."))
    if speed is None or problems:
        raise InputAtFaultError(problems)
    constant_s = (FERRIC_TIME_CONSTANT_S if tape_type == "I" else CHROME_TIME_CONSTANT_S).value
    name = f"cassette, {'4.76' if speed == SPEEDS_M_PER_S[0] else '9.53'} cm/s, {tracks} tracks, type {tape_type}"
    return Sequence(name, speed, tracks, tape_type, constant_s, REFERENCE_NWB_PER_M, _sections(speed, tracks))
