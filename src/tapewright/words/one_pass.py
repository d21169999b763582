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
CALLED: Final = {
    "azimuth_arcmin": "azimuth",
    "azimuth_wander_arcmin": "wander of the azimuth",
    "level_db": "reference level",
    "balance_db": "balance of the tracks",
    "delay_us": "delay against the mean",
    "gap_scatter_um": "gap off the line",
    "response_db": "response against 315 Hz",
    "response_spread_middle_db": "response, spread of the middle",
    "response_spread_db": "response, spread of the whole",
    "multitone_response_db": "response of many tones at once",
    "spacing_um": "spacing",
    "gap_um": "gap",
    "crosstalk_db": "crosstalk",
    "crosstalk_sides_db": "crosstalk from the other side",
    "noise_a_db": "noise, A-weighted",
    "noise_468_db": "noise, BS.468 quasi-peak",
    "signal_to_noise_a_db": "signal to noise, weighted",
    "signal_to_noise_db": "signal to noise, unweighted",
    "third_harmonic_pct": "third harmonic",
    "level_at_three_percent_db": "level at 3 % third harmonic",
    "erasure_db": "left by erasing",
    "hum_db": "hum, all harmonics",
    "dropouts_per_minute": "dropouts a minute",
    "intermodulation_db": "between many tones",
}
"""What each reading of a pass is called."""


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


def unread(judgements: Sequence[Judgement]) -> list[Judgement]:
    """Give what could not be judged because it was not read, not even as an upper limit."""
    return [
        one for one in judgements if one.reading.value is None and one.reading.interval is None and one.verdict is None
    ]


def _called(name: str) -> str:
    return CALLED.get(name) or name.rpartition("_")[0].replace("_", " ")


def summed_up(judgements: Sequence[Judgement]) -> str:
    """Say in a sentence what an acceptance comes to, and what is not in it because it was not read.

    >>> summed_up([
    ...     Judgement("hum_db", Reading(-60.0, "dB"), Verdict(PASS, -50.0, "dB", "its sheet")),
    ...     Judgement("erasure_db", Reading(None, "dB", why_not="No such section."), None, 1),
    ... ])
    '1 of 1 readings that could be read and have a limit passes. 1 was not read: left by erasing.'
    """
    said = [one.verdict.verdict for one in judgements if one.verdict is not None]
    lacking = unread(judgements)
    without = f"{len(lacking)} {'was' if len(lacking) == 1 else 'were'} not read: " + "; ".join(
        dict.fromkeys(_called(one.name) for one in lacking)
    )
    more = f" {without}." if lacking else ""
    if not said:
        return f"No reading could be held against a limit.{more}"
    passed, failed, near = (said.count(one) for one in (PASS, FAIL, WITHIN_DOUBT))
    pieces = [f"{passed} of {len(said)} readings that could be read and have a limit pass{'es' if passed == 1 else ''}"]
    pieces += [f"{failed} fail{'s' if failed == 1 else ''}"] if failed else []
    pieces += [f"{near} {'is' if near == 1 else 'are'} too near to tell"] if near else []
    return f"{'; '.join(pieces)}.{more}"
