"""Where in a file the sections of a sequence stand: from mark to mark, and beyond the first and the last of them."""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from tapewright.measure.sequence_content import Piece, cut_between, reach
from tapewright.measure.sequence_marks import PlacedMark, sequence_heard
from tapewright.measure.sequence_plan import marks_of
from tapewright.words.sequence import MARK, Section, Sequence

MOST_OFF: Final = 0.006
"""From one mark to the next the mean speed lies no further than this, ratio, from that through the marks themselves."""
UNEVEN: Final = 0.01
"""Two stretches whose speeds differ more than this are worth a word."""
LOOSE_S: Final = 0.005
"""So far a mark's place may be out."""

Heard = Callable[[Section, "Span"], list[Piece]]
"""Says of each piece of a section how far the recording holds it, placed as a span places it."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the tape, and where it stands in the file.

    Arguments:
        first_s: its beginning, time on the tape at the right speed.
        last_s: its end.
        anchor_s: a time on the tape ...
        anchored_s: ... and where that stands in the file.
        slowness: time in the file by time on the tape.
        other_s: another time on the tape at which a slowness that changes makes no difference, ...
        bend: ... and how fast it changes, half of it, per second.
    """

    first_s: float
    last_s: float
    anchor_s: float
    anchored_s: float
    slowness: float
    other_s: float = 0.0
    bend: float = 0.0

    def place(self, at_s: float) -> float:
        """Give where in the file a time on the tape stands."""
        since_s = at_s - self.anchor_s
        return self.anchored_s + self.slowness * since_s + self.bend * since_s * (at_s - self.other_s)

    def slowness_between(self, first_s: float, last_s: float) -> float:
        """Give the mean slowness between two times on the tape."""
        return (self.place(last_s) - self.place(first_s)) / (last_s - first_s)

    def holds(self, section: Section) -> bool:
        """Say whether a section lies in it from beginning to end."""
        return self.first_s <= section.start_s + 1e-6 and section.end_s <= self.last_s + 1e-6


@dataclass(frozen=True, slots=True)
class Timeline:
    """The spans of one pass, in the order of time, and what was odd about them.

    Arguments:
        spans: they do not overlap on the tape.
        speed_ratio: mean over all spans between marks; above 1 is fast.
        notes: sentences.
    """

    spans: tuple[Span, ...]
    speed_ratio: float
    notes: tuple[str, ...]


def _starts(run: tuple[PlacedMark, ...]) -> list[float]:
    """Give where on the tape the marks of a pass begin."""
    marks = marks_of(sequence_heard(run))
    return [marks[one.index].start_s for one in run]


def timeline(run: tuple[PlacedMark, ...], heard: Heard) -> Timeline:
    """Lay out one pass of a sequence over the file.

    Arguments:
        run: its marks, in the order of time.
        heard: looks whether a section is where it should be; asked only where no two marks vouch for it.
    """
    sequence, starts, notes = sequence_heard(run), _starts(run), []
    local = float(np.median([one.slowness for one in run]))
    sure = _sure(run, starts, local)
    even, bend = _course(list(sure.values()), local)

    def from_mark(one: PlacedMark, at_s: float, first_s: float, last_s: float) -> Span:
        return Span(first_s, last_s, at_s, one.start_s, even + 2.0 * bend * at_s, at_s, bend)

    spans: list[Span] = []
    for (one, start), (other, end) in itertools.pairwise(zip(run, starts, strict=True)):
        if start in sure:
            spans.append(replace(sure[start], bend=bend))
            continue
        left, right = from_mark(one, start, start, end), from_mark(other, end, start, end)
        before, after, said = _parted(left, right, sequence, heard)
        spans += [before, after]
        notes.append(said)
    first = from_mark(run[0], starts[0], 0.0, starts[0])
    last = from_mark(run[-1], starts[-1], starts[-1], sequence.duration_s)
    spans = [*_beyond(first, sequence, heard, before=True), *spans, *_beyond(last, sequence, heard, before=False)]
    slow, fast = (
        max((s.slowness for s in sure.values()), default=1.0),
        min((s.slowness for s in sure.values()), default=1.0),
    )
    if slow / fast > 1.0 + UNEVEN:
        notes.append(
            f"The speed differs by {100.0 * (slow / fast - 1.0):.1f} % from stretch to stretch: times are less sure."
        )
    return Timeline(tuple(spans), _mean_speed(list(sure.values())) if sure else 1.0 / local, tuple(notes))


def _sure(run: tuple[PlacedMark, ...], starts: list[float], local: float) -> dict[float, Span]:
    """Give the stretches between neighbouring marks that nothing was taken out of or put into, by their beginning.

    A tape may change its speed from mark to mark, and its marks say so; what was cut is not seen in them.
    """
    found = {}
    for (one, start), (other, end) in itertools.pairwise(zip(run, starts, strict=True)):
        slowness = (other.start_s - one.start_s) / (end - start)
        near = (local, one.slowness, other.slowness)
        room = MOST_OFF * local + LOOSE_S / (end - start)
        if min(near) - room <= slowness <= max(near) + room:
            found[start] = Span(start, end, start, one.start_s, slowness, end)
    return found


def _course(sure: list[Span], local: float) -> tuple[float, float]:
    """Give the slowness at the tape's beginning, and half of how fast it changes, per second.

    A time t = a + b n + c n² has between n and m the slowness b + c (n + m): a straight line through the stretches, by
    least squares. Two stretches that differ could be wow alone: their mean is taken then.
    """
    if not sure:
        return local, 0.0
    if len(sure) < 3:
        return 1.0 / _mean_speed(sure), 0.0
    weights = np.array([one.last_s - one.first_s for one in sure])
    sums = np.array([one.last_s + one.first_s for one in sure])
    bend, even = np.polyfit(sums, [one.slowness for one in sure], 1, w=weights)
    return float(even), float(bend)


def _mean_speed(sure: list[Span]) -> float:
    tape_s = sum(one.last_s - one.first_s for one in sure)
    return tape_s / sum(one.slowness * (one.last_s - one.first_s) for one in sure)


def _between(sequence: Sequence, first_s: float, last_s: float) -> list[Section]:
    return [one for one in sequence.sections if one.start_s >= first_s - 1e-6 and one.end_s <= last_s + 1e-6]


def _parted(left: Span, right: Span, sequence: Sequence, heard: Heard) -> tuple[Span, Span, str]:
    """Part the stretch between two marks that do not stand as far from each other as they should."""
    lost_s = right.place(right.anchor_s) - left.place(right.anchor_s)
    away_s = max(0.0, -lost_s / left.slowness)
    sections = _between(sequence, left.first_s, left.last_s)
    lefts = [piece for one in sections for piece in heard(one, left)]
    rights = [piece for one in sections for piece in heard(one, right)]
    until_s, from_s = cut_between(lefts, rights, away_s)
    what = f"{-lost_s:.2f} s are missing" if lost_s < 0.0 else f"{lost_s:.2f} s were put in"
    said = f"Between {left.anchored_s:.1f} and {right.anchored_s:.1f} s in the file {what}."
    return replace(left, last_s=until_s), replace(right, first_s=from_s), said


def _beyond(span: Span, sequence: Sequence, heard: Heard, before: bool) -> list[Span]:
    """Give how much of the stretch before the first or after the last mark is there."""
    sections = _between(sequence, span.first_s, span.last_s)
    own = [one for one in sections if one.kind == MARK and abs(one.start_s - span.first_s) < 1e-6 and not before]
    rest = [one for one in sections if one not in own]
    pieces = [piece for one in rest for piece in heard(one, span)]
    limit = reach(pieces[::-1] if before else pieces)
    mark_end_s = own[0].end_s if own else span.first_s
    if before:
        return [] if limit is None else [replace(span, first_s=_whole(limit, rest))]
    last_s = mark_end_s if limit is None else _whole_end(limit, rest)
    erased = [one for one in rest if one.to_be_erased]
    if erased and not [one for one in rest if last_s < one.end_s and not one.to_be_erased]:
        last_s = erased[-1].end_s
    return [replace(span, last_s=last_s)]


def _whole(limit_s: float, sections: list[Section]) -> float:
    """Let a limit that stands in the first piece of a section reach its beginning."""
    return min((one.start_s for one in sections if 0.0 <= limit_s - one.start_s < 0.05), default=limit_s)


def _whole_end(limit_s: float, sections: list[Section]) -> float:
    return max((one.end_s for one in sections if 0.0 <= one.end_s - limit_s < 0.05), default=limit_s)


__all__ = ["Span", "Timeline", "timeline"]
