"""Everything one examination knows."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tapewright.words.evidence import Evidence
from tapewright.words.findings import Belief, BudgetItem, ChangeOfMind, Check, Clash, PlanStep
from tapewright.words.one_pass import PassSaid
from tapewright.words.reading import Reading
from tapewright.words.signal import Line, OrderPicture, SpeedEvent, Trace
from tapewright.words.verdict import Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What one channel of one recording says, and which rotors explain it.

    Arguments:
        file: the recording, as the user named it.
        channel: counted from 1.
        tone: `found`, `frequency_hz`, `start_s`, `end_s`, `snr_db`, `why_not`.
        readings: by name: `speed_error_pct`, `weighted_peak_pct` and so on.
        lines: steady lines of the speed.
        budget: which part explains which line.
        unexplained_pct: root sum of squares of the lines no part explains, percent peak; None without a machine.
        trace: speed deviation over time; None without a tone.
        spectrum_hz: frequencies of the flutter spectrum, hertz; empty without a tone.
        spectrum_pct: weighted size of a steady line there, percent peak, same length.
        notes: sentences.
        verdicts: by the name of the reading, what a limit makes of it; only where there is one.
        test_tape: the tape that was played, as the shop calls it; "" when it was not told.
        events: what happened to the speed once, and is no line.
        in_angle: the speed over the turning angle of one part; None without a machine or a tone.
        also: what else is shown as data: `stretches` and `side_drift_pct` where the tone stands in several places,
            `together` where channels of the same tone were read as one.
        one_pass: what a test sequence in the recording said; on the first channel of the file only.
        in_no_line: share of the weighted reading's power that is in no line, 0 to 1; None where that is not known.
    """

    file: str
    channel: int
    tone: Mapping[str, object]
    readings: Mapping[str, Reading]
    lines: tuple[Line, ...] = ()
    budget: tuple[BudgetItem, ...] = ()
    unexplained_pct: float | None = None
    trace: Trace | None = None
    spectrum_hz: tuple[float, ...] = ()
    spectrum_pct: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()
    verdicts: Mapping[str, Verdict] = field(default_factory=dict)
    test_tape: str = ""
    events: tuple[SpeedEvent, ...] = ()
    in_angle: OrderPicture | None = None
    in_no_line: float | None = None
    also: Mapping[str, object] = field(default_factory=dict)
    one_pass: PassSaid | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """One piece of evidence in words."""

    id: str
    says: str
    mode: str
    present: bool | None


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """One examination, from the evidence to the plan, with how it came about.

    Arguments:
        machine_id, title, layout: the machine.
        invented: True when the machine is.
        complaint: the owner's words; may be empty.
        made_at: when, ISO 8601.
        version: of the program that made it.
        evidence: all that went in.
        answered: the evidence in words.
        beliefs: the best explanation first.
        none_of_these: share of the evidence that nothing described explains.
        next_check: what to look at next; None when mending saves more than asking on.
        plan: the repairs in their order.
        clash: evidence that cannot hold together.
        heard: the recordings, channel by channel.
        change_of_mind: answers that would take most from the leading suspect.
        notes: what else is to be said, sentences: ranges that stand in for sizes, data that is invented.
    """

    machine_id: str
    title: str
    layout: str
    invented: bool
    complaint: str
    made_at: str
    version: str
    evidence: Evidence
    answered: tuple[Answered, ...]
    beliefs: tuple[Belief, ...]
    none_of_these: float
    next_check: Check | None
    plan: tuple[PlanStep, ...]
    clash: tuple[Clash, ...]
    heard: tuple[Heard, ...] = ()
    notes: tuple[str, ...] = field(default=())
    change_of_mind: tuple[ChangeOfMind, ...] = ()
