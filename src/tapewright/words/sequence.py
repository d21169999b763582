"""A test sequence: what stands on the tape, section by section."""

from dataclasses import dataclass
from typing import Final

MARK: Final = "mark"
SPEED: Final = "speed"
LEVEL: Final = "level"
AZIMUTH: Final = "azimuth"
RESPONSE: Final = "response"
MULTITONE: Final = "multitone"
SILENCE: Final = "silence"
CROSSTALK: Final = "crosstalk"
DISTORTION: Final = "distortion"
ERASURE: Final = "erasure"
KINDS: Final = (MARK, SPEED, LEVEL, AZIMUTH, RESPONSE, MULTITONE, SILENCE, CROSSTALK, DISTORTION, ERASURE)


@dataclass(frozen=True, slots=True)
class Section:
    """One stretch of a test sequence.

    Arguments:
        kind: one of `KINDS`.
        start_s: from the beginning of the sequence, at the right speed.
        length_s: at the right speed, its rise and fall included.
        tracks: those that carry it, counted from 1; the others are silent.
        frequency_hz: of its one tone, at the right speed; None where there is none or several.
        frequencies_hz: of its tones when there are several at once; empty otherwise.
        level_db: of each tone over the reference level; of a mark, of its sweeps.
        to_be_erased: whether it is to be erased after it was recorded, so that what is left of it can be read.
    """

    kind: str
    start_s: float
    length_s: float
    tracks: tuple[int, ...]
    frequency_hz: float | None = None
    frequencies_hz: tuple[float, ...] = ()
    level_db: float = 0.0
    to_be_erased: bool = False

    @property
    def end_s(self) -> float:
        """Give where it ends, at the right speed.

        >>> Section(SPEED, 2.0, 15.0, (1, 2), 3150.0).end_s
        17.0
        """
        return self.start_s + self.length_s


@dataclass(frozen=True, slots=True)
class Sequence:
    """Everything that stands on a test tape, in the order of time.

    Arguments:
        name: which of the sequences it is.
        tape_speed_m_s: it is made for.
        tracks: how many there are.
        tape_type: "I" or "II".
        time_constant_s: of the treble in the replay curve.
        reference_nwb_per_m: the reference level, as flux per width of track.
        sections: one after the other; marks are among them.
    """

    name: str
    tape_speed_m_s: float
    tracks: int
    tape_type: str
    time_constant_s: float
    reference_nwb_per_m: float
    sections: tuple[Section, ...]

    @property
    def duration_s(self) -> float:
        """Give how long it plays at the right speed.

        >>> Sequence("a", 0.047625, 1, "I", 120e-6, 250.0, (Section(SPEED, 0.5, 15.0, (1,)),)).duration_s
        15.5
        """
        return max((section.end_s for section in self.sections), default=0.0)
