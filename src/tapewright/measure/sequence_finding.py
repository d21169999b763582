"""Find a test sequence in a recording: at any speed within 10 %, channels in any order, pieces missing."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import Recording, open_recording
from tapewright.measure.sequence_content import Piece, frames_between, pieces_of, played_ratio
from tapewright.measure.sequence_mark import BURST_HZ, BURST_S, burst_at_s
from tapewright.measure.sequence_marks import PlacedMark, heard_marks, passes, placed_marks, sequence_heard
from tapewright.measure.sequence_plan import marks_of
from tapewright.measure.sequence_sweeps import find_sweeps, pooled
from tapewright.measure.sequence_timeline import Span, Timeline, timeline
from tapewright.words.sequence import MARK, Section, Sequence

LEAST_RATE_HZ: Final = 8000
APART: Final = 4.0
"""A channel carries the track whose own sweep is this much stronger in it than any other's, ratio of energies: 6 dB."""

TELLS_HZ: Final = (300.0, 5000.0)
"""Tones that tell the speed where marks are too few: low enough for any head, high enough for a second or two."""
BURST_EDGE_S: Final = 0.02
"""Left out of the burst at either end."""
LEAST_FRAMES: Final = 64


@dataclass(frozen=True, slots=True)
class FoundSection:
    """A section of the sequence, where it stands in the recording.

    Arguments:
        section: as it was planned.
        start_s: in the file.
        end_s: in the file.
        speed_ratio: mean speed over the stretch between the marks around it; above 1 is fast.
        channels: for each track of the sequence the channel that holds it, from 0; None where none does.
    """

    section: Section
    start_s: float
    end_s: float
    speed_ratio: float
    channels: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class FoundSequence:
    """A test sequence found in a recording.

    Arguments:
        sequence: which one, as it was planned.
        speed_ratio: mean speed between the marks, against the tape's; above 1 is fast.
        channel_of_track: for each track the channel that holds it, from 0; None where none does.
        polarity: for each track 1 or -1, against the sequence as written; 0 where that cannot be told.
        sections: those that are there from beginning to end, in the order of time.
        missing: those that are not.
        notes: what is odd, sentences.
    """

    sequence: Sequence
    speed_ratio: float
    channel_of_track: tuple[int | None, ...]
    polarity: tuple[int, ...]
    sections: tuple[FoundSection, ...]
    missing: tuple[Section, ...]
    notes: tuple[str, ...] = ()


def find_sequence(
    path: str | Path, progress: Callable[[float], None] | None = None, accept_truncated: bool = False
) -> FoundSequence | None:
    """Look for a test sequence in a recording. The file is only read, never altered.

    Arguments:
        path: a sound file.
        progress: called with the share done.
        accept_truncated: take what is there of a file that is cut short.

    Returns:
        What was found; None where there is no mark. Where the sequence was played several times, the most complete
        pass.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    recording = open_recording(path, accept_truncated)
    if recording.rate_hz < LEAST_RATE_HZ:
        return None
    sweeps = find_sweeps(recording, progress)
    heard = [heard_marks(rising, falling) for rising, falling in sweeps]
    together = heard_marks(*pooled(sweeps)) if len(sweeps) > 1 else ()
    runs = passes(placed_marks(heard, together))
    if not runs:
        return None
    run = max(runs, key=lambda one: (sum(max(1, len(mark.heard)) for mark in one), -one[0].start_s))
    channels, notes = _channels(run, recording.channels)
    if len(runs) > 1:
        notes = (*notes, f"The sequence was played {len(runs)} times; this is the most complete pass.")
    return _put_together(recording, run, channels, notes)


def _channels(run: tuple[PlacedMark, ...], count: int) -> tuple[tuple[int | None, ...], tuple[str, ...]]:
    """Say which channel carries which track, by the sweeps that each track alone carries in every mark."""
    tracks = sequence_heard(run).tracks
    energy = np.zeros((count, tracks))
    for mark in run:
        for channel, one in mark.heard.items():
            energy[channel] += one.own
    return _assigned(energy)


def _assigned(energy: NDArray[np.float64]) -> tuple[tuple[int | None, ...], tuple[str, ...]]:
    """Give each track the channel that has its own sweep; `energy` has the shape (channels, tracks)."""
    channel_of: list[int | None] = [None] * energy.shape[1]
    notes = []
    for channel in np.argsort(-energy.max(axis=1), kind="stable"):
        own = np.sort(energy[channel])[::-1]
        track = int(np.argmax(energy[channel]))
        if own[0] <= 0.0:
            notes.append(f"Channel {channel + 1} holds none of the marks.")
        elif own[0] < APART * own[1]:
            notes.append(f"Channel {channel + 1} holds several tracks together, so it is none of them.")
        elif (other := channel_of[track]) is not None:
            notes.append(f"Channels {other + 1} and {channel + 1} both hold track {track + 1}.")
        else:
            channel_of[track] = int(channel)
    return tuple(channel_of), tuple(notes)


def _put_together(
    recording: Recording, run: tuple[PlacedMark, ...], channels: tuple[int | None, ...], notes: tuple[str, ...]
) -> FoundSequence:
    sequence = sequence_heard(run)

    def heard(section: Section, span: Span) -> list[Piece]:
        there = [channel for track in section.tracks if (channel := channels[track - 1]) is not None]
        return pieces_of(recording, section, span.place, span.slowness, there)

    line = timeline(run, heard)
    found = _sections(sequence, run, line, channels, recording.duration_s)
    ratio = _by_tones(recording, found, channels) if len(run) == 1 else None
    if ratio is not None:
        run = (replace(run[0], slowness=1.0 / ratio),)
        line = timeline(run, heard)
        found = _sections(sequence, run, line, channels, recording.duration_s)
    there = {id(one.section) for one in found}
    missing = tuple(one for one in sequence.sections if id(one) not in there)
    if len(run) == 1:
        by = "on it alone" if ratio is None else "on it and on tones beside it"
        notes = (*notes, f"Only one mark was found: speed and times hang {by}.")
    return FoundSequence(
        sequence,
        line.speed_ratio,
        channels,
        _polarities(recording, run, channels),
        found,
        missing,
        (*notes, *line.notes),
    )


def _by_tones(recording: Recording, found: tuple[FoundSection, ...], channels: tuple[int | None, ...]) -> float | None:
    """Give the mean speed by the tones of sections, each as much as it is long; None where there is none."""
    told = []
    for one in found:
        hz = one.section.frequency_hz or 0.0
        there = [channel for track in one.section.tracks if (channel := channels[track - 1]) is not None]
        if there and TELLS_HZ[0] <= hz <= TELLS_HZ[1] and not one.section.to_be_erased:
            ratio = played_ratio(recording, one.section, one.start_s, one.end_s, there[0])
            told += [] if ratio is None else [(ratio, one.section.length_s)]
    return sum(ratio * s for ratio, s in told) / sum(s for _, s in told) if told else None


def _sections(
    sequence: Sequence,
    run: tuple[PlacedMark, ...],
    line: Timeline,
    channels: tuple[int | None, ...],
    duration_s: float,
) -> tuple[FoundSection, ...]:
    """Give the sections that lie in one span and in the file; a mark only where it was heard."""
    marks = marks_of(sequence)
    heard = [marks[one.index].start_s for one in run]
    found = []
    for section in sequence.sections:
        if section.kind == MARK and section.start_s not in heard:
            continue
        span = next((one for one in line.spans if one.holds(section)), None)
        if span is None:
            continue
        start_s, end_s = span.place(section.start_s), span.place(section.end_s)
        slowness = span.slowness_between(section.start_s, section.end_s)
        if start_s >= -0.01 and end_s <= duration_s + 0.01:
            found.append(FoundSection(section, max(0.0, start_s), min(duration_s, end_s), 1.0 / slowness, channels))
    return tuple(found)


def _polarities(recording: Recording, run: tuple[PlacedMark, ...], channels: tuple[int | None, ...]) -> tuple[int, ...]:
    """Tell the polarity of each track by the bursts of its marks; 0 where it cannot be told.

    The fundamental's amplitude squared times the octave's conjugate does not depend on when the burst came; it turns
    its sign with the polarity.
    """
    products = np.zeros((0, recording.channels), dtype=np.complex128)
    for mark in run:
        begun_s = mark.start_s + mark.slowness * (burst_at_s(sequence_heard(run).tracks) + BURST_EDGE_S)
        sound = frames_between(recording, begun_s, begun_s + mark.slowness * (BURST_S - 2.0 * BURST_EDGE_S))
        if sound.shape[1] < LEAST_FRAMES:
            continue
        turns = np.arange(sound.shape[1]) / recording.rate_hz / mark.slowness
        windowed = sound * np.hanning(sound.shape[1])
        first, second = (windowed @ np.exp(-2j * np.pi * hz * turns) for hz in BURST_HZ)
        products = np.vstack([products, first * first * second.conj()])
    total, size = products.sum(axis=0), np.abs(products).sum(axis=0)
    clear = (np.abs(total) > 0.5 * size) & (np.abs(total.real) > 0.5 * np.abs(total))
    told = np.where(clear, np.sign(total.real), 0.0)
    return tuple(0 if channel is None else int(told[channel]) for channel in channels)


def section_samples(recording: Recording, found: FoundSection) -> NDArray[np.float64]:
    """Give the sound of a section, shape (n, tracks), full scale 1, in the order of tracks.

    Arguments:
        recording: from `open_recording`.
        found: one of `FoundSequence.sections`.

    A track that no channel holds is silent: all zeros.
    """
    sound = frames_between(recording, found.start_s, found.end_s)
    given = np.zeros((sound.shape[1], len(found.channels)))
    for track, channel in enumerate(found.channels):
        if channel is not None:
            given[:, track] = sound[channel]
    return given


__all__ = ["FoundSection", "FoundSequence", "find_sequence", "section_samples"]
