"""Marks of a test sequence, put together from sweeps; and which of them belong to one pass of the sequence."""

from collections.abc import Iterator
from collections.abc import Sequence as Several
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.sequence_mark import (
    CODE_S,
    FIRST,
    SECOND,
    SYMBOLS,
    Sweep,
    chance_of_likeness,
    check_symbol,
    code_sweep,
    mark_length_s,
    speed_shift_s,
    track_sweep,
)
from tapewright.measure.sequence_plan import marks_of, sequence_of
from tapewright.measure.sequence_sweeps import DIMENSIONS, LIKENESS, MOST_VALUES_PER_S, Peaks
from tapewright.words.sequence import Sequence

SPEEDS: Final = (0.88, 1.13)
"""Speed ratios that are looked for: 10 % either way, and some room for wow on top."""
NEAR_S: Final = 0.006
"""A sweep may stand so far from where the others put it; the places of the code are 20 ms apart."""


_Placed = tuple[Sweep, int]
_Code = tuple[tuple[int, ...], tuple[_Placed, ...]]


@dataclass(frozen=True, slots=True)
class HeardMark:
    """A mark as one channel holds it.

    Arguments:
        index: which of the sequence's marks, from 0.
        variant: which of the sequences.
        start_s: its beginning in the file.
        slowness: time in the file by time on the tape at the right speed, through the mark; 0.9 is 11 % fast.
        likeness: of its least like sweep.
        own: strength of the sweep that each track alone carries, in the order of tracks; 0 where there is none.
    """

    index: int
    variant: int
    start_s: float
    slowness: float
    likeness: float
    own: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark as all channels together hold it.

    Arguments:
        index: which of the sequence's marks, from 0.
        variant: which of the sequences.
        start_s: its beginning in the file, the middle one of the channels'.
        slowness: likewise.
        heard: by channel, from 0; empty where no channel holds all of it.
    """

    index: int
    variant: int
    start_s: float
    slowness: float
    heard: dict[int, HeardMark]


def _stands_at(one: Sweep, start_s: float, slowness: float) -> float:
    """Give where in the file a template fits a sweep of a mark."""
    return start_s + slowness * one.at_s + speed_shift_s(one.rising) * (1.0 - slowness)


def _fitted(sweeps: Several[Sweep], times_s: Several[float]) -> tuple[float, float]:
    """Give start and slowness of a mark by least squares: both stand linearly in where its templates fit."""
    shifts = np.array([speed_shift_s(one.rising) for one in sweeps])
    after = np.array([one.at_s for one in sweeps]) - shifts
    known = np.stack([np.ones(len(sweeps)), after], axis=1)
    start_s, slowness = np.linalg.lstsq(known, np.asarray(times_s) - shifts, rcond=None)[0]
    return float(start_s), float(slowness)


def _near(peaks: Peaks, time_s: float) -> int | None:
    """Give the strongest peak near a time; None where there is none."""
    first, last = np.searchsorted(peaks.times_s, [time_s - NEAR_S, time_s + NEAR_S])
    return int(first + np.argmax(peaks.likeness[first:last])) if last > first else None


def _codes(peaks: tuple[Peaks, Peaks], chain: tuple[_Placed, ...], known: tuple[int, ...]) -> Iterator[_Code]:
    """Give every code whose sweeps may follow those of a chain; each makes the next one's place surer.

    Arguments:
        peaks: of the rising sweeps and of the falling ones.
        chain: the sweeps so far, each with its place among its peaks.
        known: the symbols so far.
    """
    start_s, slowness = _fitted([one for one, _ in chain], [_time(peaks, *one) for one in chain])
    if not 1.0 / SPEEDS[1] <= slowness <= 1.0 / SPEEDS[0]:
        return
    if len(known) == len(CODE_S):
        yield known, chain
        return
    for symbol in range(SYMBOLS):
        if len(known) == 2 and symbol != check_symbol(*known):
            continue
        one = code_sweep(len(known), symbol)
        peak = _near(_of(peaks, one), _stands_at(one, start_s, slowness))
        if peak is not None:
            yield from _codes(peaks, (*chain, (one, peak)), (*known, symbol))


def _of(peaks: tuple[Peaks, Peaks], one: Sweep) -> Peaks:
    return peaks[0] if one.rising else peaks[1]


def _time(peaks: tuple[Peaks, Peaks], one: Sweep, place: int) -> float:
    return float(_of(peaks, one).times_s[place])


def _read(peaks: tuple[Peaks, Peaks], first: int, second: int) -> HeardMark | None:
    """Read the mark that begins with two sweeps; None where that is none."""
    best: HeardMark | None = None
    for (index, variant, _), chain in _codes(peaks, ((FIRST, first), (SECOND, second)), ()):
        sequence = sequence_of(variant)
        if sequence is None or index >= len(marks_of(sequence)):
            continue
        sweeps, at = [one for one, _ in chain], [_time(peaks, *one) for one in chain]
        start, slow = _fitted(sweeps, at)
        if max(abs(_stands_at(one, start, slow) - time) for one, time in zip(sweeps, at, strict=True)) > NEAR_S:
            continue
        alike = min(float(_of(peaks, one).likeness[peak]) for one, peak in chain)
        if best is None or alike > best.likeness:
            best = HeardMark(index, variant, start, slow, alike, _own(peaks[0], sequence.tracks, start, slow))
    return best


def _own(rising: Peaks, tracks: int, start_s: float, slowness: float) -> tuple[float, ...]:
    peaks = [_near(rising, _stands_at(track_sweep(track + 1), start_s, slowness)) for track in range(tracks)]
    return tuple(0.0 if peak is None else float(rising.strength[peak]) for peak in peaks)


def heard_marks(rising: Peaks, falling: Peaks) -> tuple[HeardMark, ...]:
    """Give the marks of one channel, in the order of time.

    Arguments:
        rising: where the channel is like a rising sweep.
        falling: where it is like a falling one.
    """
    found = []
    for first, time_s in enumerate(falling.times_s):
        earliest, latest = (_second_after(1.0 / speed) for speed in reversed(SPEEDS))
        candidates = np.searchsorted(rising.times_s, [time_s + earliest, time_s + latest])
        read = [_read((rising, falling), first, second) for second in range(*candidates)]
        found += [one for one in read if one is not None]
    return tuple(found)


def _second_after(slowness: float) -> float:
    """Give how long after the first sweep's template the second one's fits."""
    return _stands_at(SECOND, 0.0, slowness) - _stands_at(FIRST, 0.0, slowness)


def placed_marks(heard: Several[tuple[HeardMark, ...]], together: tuple[HeardMark, ...] = ()) -> tuple[PlacedMark, ...]:
    """Put the same mark in several channels together; give all marks in the order of time.

    Arguments:
        heard: for each channel what `heard_marks` gives.
        together: the same for the sweeps of all channels; a dropout seldom hits all tracks at once.
    """
    by_channel: list[tuple[HeardMark, int | None]] = [(one, at) for at, marks in enumerate(heard) for one in marks]
    every = sorted([*by_channel, *((one, None) for one in together)], key=lambda pair: pair[0].start_s)
    groups: list[list[tuple[HeardMark, int | None]]] = []
    for one, channel in every:
        for group in groups[-3:]:
            known = group[0][0]
            same = (known.index, known.variant) == (one.index, one.variant)
            if same and one.start_s - known.start_s < 0.5 * mark_length_s(2):
                group.append((one, channel))
                break
        else:
            groups.append([(one, channel)])
    return tuple(_together(group) for group in groups)


def _together(group: list[tuple[HeardMark, int | None]]) -> PlacedMark:
    alone = [one for one, channel in group if channel is not None] or [one for one, _ in group]
    return PlacedMark(
        group[0][0].index,
        group[0][0].variant,
        float(np.median([one.start_s for one in alone])),
        float(np.median([one.slowness for one in alone])),
        {channel: one for one, channel in group if channel is not None},
    )


def passes(marks: Several[PlacedMark]) -> tuple[tuple[PlacedMark, ...], ...]:
    """Part marks into passes of one sequence: in each the same sequence runs on, forwards.

    Arguments:
        marks: in the order of time.
    """
    parts: list[list[PlacedMark]] = []
    for one in marks:
        if parts and one.variant == parts[-1][-1].variant and one.index > parts[-1][-1].index:
            parts[-1].append(one)
        else:
            parts.append([one])
    return tuple(tuple(part) for part in parts)


def chance_in_noise(seconds: float, channels: int = 1) -> float:
    """Give at most how likely a mark is found somewhere in noise that fills the sweeps' band evenly.

    Arguments:
        seconds: length of the recording.
        channels: how many, each with noise of its own.

    Five sweeps have to be there: the first anywhere, the second within the range of speeds, the three of the code at
    one of their places; the code's third symbol follows from the others. Each is looked for at no more than so many
    times a second. Sweeps that do not overlap are independent in such noise, and the chances of a union add up to no
    less than its own. Closed form, an upper bound.

    >>> chance_in_noise(3600.0, 4) < 1e-190
    True
    """
    one = chance_of_likeness(LIKENESS, DIMENSIONS)
    per_s = MOST_VALUES_PER_S
    reach_s = _second_after(1.0 / SPEEDS[0]) - _second_after(1.0 / SPEEDS[1])
    window = 2.0 * NEAR_S * per_s
    return float(
        channels * seconds * per_s * one * reach_s * per_s * one * (SYMBOLS * window * one) ** 2 * window * one
    )


def sequence_heard(run: Several[PlacedMark]) -> Sequence:
    """Give the sequence that a pass of marks is of."""
    sequence = sequence_of(run[0].variant)
    if sequence is None:
        raise ValueError("a mark of no sequence is never read")
    return sequence


__all__ = [
    "HeardMark", "PlacedMark", "chance_in_noise", "heard_marks", "passes", "placed_marks", "sequence_heard",
]  # fmt: skip
