"""Before and after: what changed between two recordings, and whether it is more than doubt allows.

The doubts of two recordings add as independent ones. What both share, such as the doubt of the weighting table, cancels
in truth and is left in here, so that a change is called one too seldom and never too often.
"""

import json
import math
from collections.abc import Sequence
from dataclasses import MISSING, fields, replace
from pathlib import Path
from typing import Any, Final

from tapewright.jobs.examine import READINGS, Progress, hear_all
from tapewright.jobs.pass_changes import heads_said, pass_changes
from tapewright.jobs.pass_said import listed_before
from tapewright.machine.parts import Machine
from tapewright.words.comparison import (
    BETTER,
    GONE,
    NEITHER,
    NEW,
    ONLY_AFTER,
    ONLY_BEFORE,
    OTHER,
    WITHIN_DOUBT,
    WORSE,
    ChannelChange,
    LineChange,
    PassChange,
    ReadingChange,
)
from tapewright.words.findings import BudgetItem
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.signal import Line
from tapewright.words.whole_file import read_text

SAME_LINE: Final = 0.005
"""Two lines this near in frequency, as a share, are one: sizes, creep and packs are never quite the same twice."""


def compared(before: Sequence[Heard], after: Sequence[Heard]) -> list[ChannelChange]:
    """Say of each channel what changed.

    Arguments:
        before: what the earlier recording says, channel by channel.
        after: the same of the later one.

    Returns:
        One change for each channel that either recording has.
    """
    earlier, later = ({one.channel: one for one in heard} for heard in (before, after))
    return [_channel(number, earlier.get(number), later.get(number)) for number in sorted({*earlier, *later})]


def _channel(number: int, before: Heard | None, after: Heard | None) -> ChannelChange:
    for when, heard in (("before", before), ("after", after)):
        if heard is None:
            return ChannelChange(number, why_not=f"The recording from {when} has no channel {number}.")
        if not heard.tone.get("found"):
            reason = heard.tone.get("why_not") or "No tone was found."
            return ChannelChange(number, why_not=f"{when.capitalize()}: {reason}")
    assert before is not None
    assert after is not None
    names = [name for name in before.readings if name in after.readings]
    readings = [reading_change(name, before.readings[name], after.readings[name]) for name in names]
    return ChannelChange(number, tuple(readings), tuple(line_changes(before, after)))


def reading_change(name: str, before: Reading, after: Reading) -> ReadingChange:
    """Say what changed in one reading; what is nearer to nothing is better, of speed as of flutter.

    >>> reading_change("weighted_peak_pct", Reading(0.30, "%", 0.01), Reading(0.10, "%", 0.01)).verdict
    'better'
    """
    change = _difference(before, after)
    if change.value is None:
        verdict = NEITHER if before.value is None and after.value is None else ONLY_AFTER
        return ReadingChange(name, before, after, change, ONLY_BEFORE if before.value is not None else verdict)
    assert before.value is not None
    assert after.value is not None
    return ReadingChange(name, before, after, change, _verdict(before.value, after.value, change))


def _difference(before: Reading, after: Reading) -> Reading:
    for when, reading in (("before", before), ("after", after)):
        if reading.value is None:
            return Reading(None, reading.unit, why_not=f"There is no reading from {when}: {reading.why_not}")
    assert before.value is not None
    assert after.value is not None
    if before.unit != after.unit:
        return Reading(None, after.unit, why_not=f"One is in {before.unit} and the other in {after.unit}.")
    doubt = math.hypot(before.doubt or 0.0, after.doubt or 0.0)
    return Reading(after.value - before.value, after.unit, doubt, method="after less before, doubts as independent")


def _verdict(before: float, after: float, change: Reading) -> str:
    """Judge a change by its distance from nothing; one that only crossed over to the other side is no better."""
    assert change.value is not None
    doubt = change.doubt or 0.0
    if abs(change.value) <= doubt:
        return WITHIN_DOUBT
    nearer = abs(before) - abs(after)
    if abs(nearer) <= doubt:
        return OTHER
    return BETTER if nearer > 0 else WORSE


def line_changes(before: Heard, after: Heard) -> list[LineChange]:
    """Pair the steady lines of two recordings: by the part that makes them, else by frequency with speed allowed for.

    Arguments:
        before: one channel, with a tone.
        after: the same of the later recording.
    """
    faster = _speed(after) / _speed(before)
    owners = [{item.frequency_hz: item for item in heard.budget if item.order} for heard in (before, after)]
    left = sorted(after.lines, key=lambda line: -line.peak_pct)
    found: list[LineChange] = []
    for line in sorted(before.lines, key=lambda line: -line.peak_pct):
        mate = next((other for other in left if _same(line, other, faster, owners)), None)
        if mate is not None:
            left.remove(mate)
        found.append(_line_change(line, mate, owners))
    found += [_line_change(None, line, owners) for line in left]
    return sorted(found, key=lambda one: -max(one.before_pct or 0.0, one.after_pct or 0.0))


def _speed(heard: Heard) -> float:
    reading = heard.readings.get("speed_error_pct")
    return 1.0 + ((reading.value if reading is not None else None) or 0.0) / 100.0


def _same(before: Line, after: Line, faster: float, owners: Sequence[dict[float, BudgetItem]]) -> bool:
    earlier, later = owners[0].get(before.frequency_hz), owners[1].get(after.frequency_hz)
    if earlier is not None and later is not None:
        return (earlier.part, earlier.order) == (later.part, later.order)
    expected_hz = before.frequency_hz * faster
    allowed_hz = math.hypot(before.frequency_doubt_hz, after.frequency_doubt_hz) + SAME_LINE * expected_hz
    return abs(after.frequency_hz - expected_hz) <= allowed_hz


def _line_change(before: Line | None, after: Line | None, owners: Sequence[dict[float, BudgetItem]]) -> LineChange:
    sizes = [_size(line, when) for line, when in ((before, "before"), (after, "after"))]
    change = _difference(*sizes)
    if before is None or after is None:
        verdict = NEW if before is None else GONE
    else:
        verdict = _verdict(before.peak_pct, after.peak_pct, change)
    owned = [
        None if line is None else of.get(line.frequency_hz) for line, of in zip((before, after), owners, strict=True)
    ]
    owner = owned[0] or owned[1]
    return LineChange(
        before_hz=None if before is None else before.frequency_hz,
        after_hz=None if after is None else after.frequency_hz,
        before_pct=sizes[0].value,
        after_pct=sizes[1].value,
        change=change,
        part="" if owner is None else owner.part,
        order=0 if owner is None else owner.order,
        verdict=verdict,
    )


def _size(line: Line | None, when: str) -> Reading:
    if line is None:
        return Reading(None, "%", why_not=f"no such line was found {when}; it may be there, below the noise.")
    return Reading(line.peak_pct, "%", line.doubt_pct)


def said_in_all(changes: Sequence[ChannelChange], heads: Sequence[PassChange] = ()) -> str:
    """Say in a sentence or two what a comparison comes to.

    Arguments:
        changes: channel by channel.
        heads: of a test sequence, where both recordings hold one.
    """
    return " ".join(filter(None, [_channels_said(changes), heads_said(heads)]))


def _channels_said(changes: Sequence[ChannelChange]) -> str:
    verdicts = [one.verdict for channel in changes for one in channel.readings]
    better, worse, moved = (verdicts.count(one) for one in (BETTER, WORSE, OTHER))
    if not verdicts:
        return "Nothing can be compared."
    if not better and not worse and not moved:
        return "No reading changed by more than its doubt."
    counted = [f"{better} of {len(verdicts)} readings better"] if better else []
    counted += [f"{worse} of {len(verdicts)} worse"] if worse else []
    counted += [f"{moved} changed and no nearer"] if moved else []
    return "Beyond doubt: " + ", ".join(counted) + "."


def hear_one(
    path: Path,
    machine: Machine | None = None,
    tone_hz: float | None = None,
    progress: Progress | None = None,
    *,
    accept_truncated: bool = False,
) -> list[Heard]:
    """Measure a recording, or read what was printed of one when it was measured.

    Arguments:
        path: a recording; or a `.json` file that `measure --json` or `examine --json` printed.
        machine: whose rates the lines are set against; None to measure only.
        tone_hz: the frequency on the test tape; None to take the usual one that is nearest.
        progress: is told how much is done, 0 to 1.
        accept_truncated: take what is there of a recording that is cut short.

    Raises:
        InputAtFaultError: for a file that is neither.
    """
    if path.suffix.lower() == ".json":
        return measured_before(path)
    return hear_all(machine, [path], tone_hz, progress, accept_truncated=accept_truncated)


def measured_before(path: Path) -> list[Heard]:
    """Read the channels of the one recording in what `measure --json` or `examine --json` printed.

    Raises:
        InputAtFaultError: when it holds no recording, or more than one.
    """
    do = "Give what `tapewright measure FILE --json` printed, or the recording itself."
    text = read_text(path, largest_mb=100, instead=do, absent="Check the name.", kind="JSON")
    try:
        found = json.loads(text)
        files = found.get("recordings", [found])
        if len(files) != 1:
            raise InputAtFaultError(Problem(str(path), f"holds {len(files)} recordings.", do))
        channels = files[0]["channels"]
        heard = [_heard_before(str(files[0]["file"]), number, one) for number, one in enumerate(channels, 1)]
        return _with_pass_before(heard, files[0].get("one_pass"))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        found_there = f"is not what measuring prints: {type(error).__name__} at {error}."
        raise InputAtFaultError(Problem(str(path), found_there, do)) from None


def _heard_before(file: str, number: int, found: dict[str, Any]) -> Heard:
    readings: dict[str, Reading] = {name: _reading(found[name]) for name in READINGS if name in found}
    return Heard(
        file=file,
        channel=number,
        tone=dict(found["tone"]),
        readings=readings,
        lines=tuple(_line(row) for row in found["lines"]),
        budget=tuple(_item(row) for row in found.get("budget", ())),
    )


def _with_pass_before(heard: list[Heard], one_pass: Any) -> list[Heard]:
    """Put the test sequence that a file was found to hold with its first channel; an earlier version listed none."""
    if not heard or not isinstance(one_pass, dict) or "listed" not in one_pass:
        return heard
    return [replace(heard[0], one_pass=listed_before(one_pass)), *heard[1:]]


def _line(row: dict[str, Any]) -> Line:
    """Read a line; what a file of an earlier version does not hold yet is as it is by default."""
    return Line(**{one.name: float(row[one.name]) for one in fields(Line) if one.name in row or one.default is MISSING})


def _item(row: dict[str, Any]) -> BudgetItem:
    return BudgetItem(
        part=str(row["part"]),
        order=int(row["order"]),
        frequency_hz=float(row["frequency_hz"]),
        peak_pct=float(row["peak_pct"]),
        doubt_pct=float(row["doubt_pct"]),
        probability=float(row["probability"]),
    )


def _reading(found: dict[str, Any]) -> Reading:
    if found["value"] is None:
        return Reading(None, str(found.get("unit", "%")), why_not=str(found["why_not"]))
    doubt = found.get("doubt")
    return Reading(float(found["value"]), str(found["unit"]), None if doubt is None else float(doubt))


def heads_compared(before: Sequence[Heard], after: Sequence[Heard]) -> list[PassChange]:
    """Say what changed in the readings of a test sequence; nothing where either recording holds none.

    Arguments:
        before: what the earlier recording says, channel by channel.
        after: the same of the later one.
    """
    pair = [next((one.one_pass for one in heard if one.one_pass is not None), None) for heard in (before, after)]
    return [] if pair[0] is None or pair[1] is None else pass_changes(pair[0], pair[1])


def comparison_json(
    before: Path, after: Path, changes: Sequence[ChannelChange], heads: Sequence[PassChange] = ()
) -> dict[str, object]:
    """Give what `compare` prints."""
    return {
        "before": str(before), "after": str(after), "says": said_in_all(changes, heads),
        "channels": plain(list(changes)), "heads": plain(list(heads)),
    }  # fmt: skip
