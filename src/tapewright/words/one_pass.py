"""What one pass of a test sequence said, as data that travels: every reading by name, track and tone."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.words.reading import Reading
from tapewright.words.signal import Trace
from tapewright.words.verdict import FAIL, PASS, WITHIN_DOUBT, Verdict

AZIMUTH: Final = "azimuth_arcmin"
WANDER: Final = "azimuth_wander_arcmin"
LEVEL: Final = "level_db"
BALANCE: Final = "balance_db"
DELAY: Final = "delay_us"
SCATTER: Final = "gap_scatter_um"
RESPONSE: Final = "response_db"
BETWEEN: Final = "multitone_response_db"
SPACING: Final = "spacing_um"
GAP: Final = "gap_um"
CROSSTALK: Final = "crosstalk_db"
NOISE_A: Final = "noise_a_db"
NOISE_468: Final = "noise_468_db"
THIRD: Final = "third_harmonic_pct"
THREE_PERCENT: Final = "level_at_three_percent_db"
ERASURE: Final = "erasure_db"
HUM: Final = "hum_db"
DROPOUTS: Final = "dropouts_per_minute"
INTERMODULATION: Final = "intermodulation_db"
NAMES: Final = (
    AZIMUTH, WANDER, LEVEL, BALANCE, DELAY, SCATTER, RESPONSE, BETWEEN, SPACING, GAP, CROSSTALK, NOISE_A, NOISE_468,
    THIRD, THREE_PERCENT, ERASURE, HUM, DROPOUTS, INTERMODULATION,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PassReading:
    """One reading of a pass.

    Arguments:
        name: one of `NAMES`.
        reading: with its doubt, or why there is none.
        track: from 1 at the deck plate; 0 for what all tracks say together.
        from_track: the track that plays, of crosstalk; else 0.
        at_hz: the tone as it was recorded; None where there is none.
        at_db: the level it was recorded at over the reference, where several were; None otherwise.
    """

    name: str
    reading: Reading
    track: int = 0
    from_track: int = 0
    at_hz: float | None = None
    at_db: float | None = None

    @property
    def key(self) -> tuple[str, int, int, float | None, float | None]:
        """Give what tells it from every other reading of the same pass."""
        return (self.name, self.track, self.from_track, self.at_hz, self.at_db)


@dataclass(frozen=True, slots=True)
class DropoutHeard:
    """One dropout: its track from 1, when in its section, how long above 3 dB, how deep."""

    track: int
    start_s: float
    length_s: float
    depth_db: float


@dataclass(frozen=True, slots=True)
class Judgement:
    """One line of the acceptance: what was read, and what its limit makes of it.

    Arguments:
        name: of the reading.
        reading: as it was judged: the test tape's own doubt is in it; without a value, why it was not read.
        verdict: None where nothing was read, or nothing sets a limit.
        track: from 1; 0 for all together.
        from_track: of crosstalk; else 0.
        at_hz: the tone, where one decides; None otherwise.
        notes: what went into it, sentences.
    """

    name: str
    reading: Reading
    verdict: Verdict | None
    track: int = 0
    from_track: int = 0
    at_hz: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ResponseField:
    """The field that a limit leaves a response.

    Arguments:
        low_hz, high_hz: where it holds.
        tall_db: from its lower edge to its upper.
        floats: whether it may be moved up and down; else it lies evenly about nought.
    """

    low_hz: float
    high_hz: float
    tall_db: float
    floats: bool


@dataclass(frozen=True, slots=True, eq=False)
class PassSaid:
    """Everything that one pass of a test sequence said.

    Arguments:
        sequence: which one.
        tape_speed_m_per_s: it was made for.
        speed_ratio: how fast it played.
        tracks: those that were read, from 1.
        readings: each by name, track and tone.
        course: the angle of the azimuth over its finest section, minutes of arc; None without one.
        dropouts: each.
        dropout_settings: what counted as one.
        missing: kinds of sections that were not there.
        notes: sentences.
        acceptance: readings against their limits.
        response_fields: what its limits leave the response.
    """

    sequence: str
    tape_speed_m_per_s: float
    speed_ratio: float
    tracks: tuple[int, ...]
    readings: tuple[PassReading, ...]
    course: Trace | None = None
    dropouts: tuple[DropoutHeard, ...] = ()
    dropout_settings: str = ""
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    acceptance: tuple[Judgement, ...] = ()
    response_fields: tuple[ResponseField, ...] = ()

    def of(self, name: str) -> list[PassReading]:
        """Give the readings of a name, in order."""
        return [one for one in self.readings if one.name == name]


def summed_up(judgements: Sequence[Judgement]) -> str:
    """Say in a sentence what an acceptance comes to.

    >>> summed_up([Judgement("hum_db", Reading(-60.0, "dB"), Verdict(PASS, -50.0, "dB", "its sheet"))])
    '1 of 1 readings that have a limit passes.'
    """
    said = [one.verdict.verdict for one in judgements if one.verdict is not None]
    if not said:
        return "No reading could be held against a limit."
    passed, failed, near = (said.count(one) for one in (PASS, FAIL, WITHIN_DOUBT))
    pieces = [f"{passed} of {len(said)} readings that have a limit pass{'es' if passed == 1 else ''}"]
    pieces += [f"{failed} fail{'s' if failed == 1 else ''}"] if failed else []
    pieces += [f"{near} {'is' if near == 1 else 'are'} too near to tell"] if near else []
    return "; ".join(pieces) + "."
