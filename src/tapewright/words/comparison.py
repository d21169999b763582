"""What changed between two recordings: of one reading, of one steady line, of one channel."""

from dataclasses import dataclass
from typing import Final

from tapewright.words.one_pass import PassReading
from tapewright.words.reading import Reading

BETTER: Final = "better"
WORSE: Final = "worse"
OTHER: Final = "changed and no nearer"
WITHIN_DOUBT: Final = "no more than doubt"
GONE: Final = "no longer found"
NEW: Final = "newly found"
ONLY_BEFORE: Final = "only before"
ONLY_AFTER: Final = "only after"
NEITHER: Final = "neither time"
CHANGES: Final = (BETTER, WORSE, OTHER, WITHIN_DOUBT, GONE, NEW, ONLY_BEFORE, ONLY_AFTER, NEITHER)


@dataclass(frozen=True, slots=True)
class ReadingChange:
    """One reading before and after.

    Arguments:
        name: of the reading, as `measure` prints it.
        before, after: as taken.
        change: after less before; without a value when one of them is missing.
        verdict: one of `CHANGES`.
    """

    name: str
    before: Reading
    after: Reading
    change: Reading
    verdict: str


@dataclass(frozen=True, slots=True)
class LineChange:
    """One steady line before and after.

    Arguments:
        before_hz, after_hz: where it stood; None where it was not found.
        before_pct, after_pct: its peak size, percent of speed; None where it was not found.
        change: after less before; without a value when it was found once only.
        part: what makes it, when a machine was given and a part explains it; else "".
        order: which harmonic of that part; 0 when nobody's.
        verdict: one of `CHANGES`.
    """

    before_hz: float | None
    after_hz: float | None
    before_pct: float | None
    after_pct: float | None
    change: Reading
    part: str
    order: int
    verdict: str


@dataclass(frozen=True, slots=True)
class ChannelChange:
    """One channel before and after.

    Arguments:
        channel: counted from 1.
        readings: by name, in the order `measure` gives them.
        lines: the largest first.
        why_not: why the channel cannot be compared, a sentence; None when it can.
    """

    channel: int
    readings: tuple[ReadingChange, ...] = ()
    lines: tuple[LineChange, ...] = ()
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class PassChange:
    """One reading of a test sequence before and after.

    Arguments:
        before, after: the reading, with its track and tone; both of the same name, track and tone.
        change: after less before; without a value when one of them is missing.
        verdict: one of `CHANGES`.
        judged_before, judged_after: what its limit made of it; "" where there was none.
    """

    before: PassReading
    after: PassReading
    change: Reading
    verdict: str
    judged_before: str = ""
    judged_after: str = ""
