"""Whether a stretch of a recording holds what a section put there: for stretches that no mark vouches for."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import Recording
from tapewright.measure.plain import channel_blocks
from tapewright.words.sequence import MARK, SILENCE, Section

PIECE_S: Final = 0.25
NEUTRAL: Final = 0.3
"""Likeness that speaks neither for nor against: what is silent, or erased, is like any other silence."""
_MARGIN_S: Final = 0.03
_LOWEST_HZ: Final = 30.0
TRIMMED_S: Final = 0.15
"""Left out at either end of a tone whose place is not sure."""
NEAR_RATIO: Final = 0.02
LEAST_BINS: Final = 8
STANDS_OUT: Final = 100.0
"""Least power of a tone over the middle one of its neighbourhood."""

Place = Callable[[float], float]
"""Where in the file, seconds, a time on the tape at the right speed stands."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a section, and how far the recording holds it.

    Arguments:
        first_s: its beginning, time on the tape at the right speed.
        last_s: its end.
        like: share of the sound that is the section's tones, 0 to 1; `NEUTRAL` where that cannot be said.
    """

    first_s: float
    last_s: float
    like: float


def piece_times(section: Section) -> list[tuple[float, float]]:
    """Cut a section into pieces of about a quarter of a second."""
    count = max(1, round((section.length_s - 2.0 * _MARGIN_S) / PIECE_S))
    edges = np.linspace(section.start_s + _MARGIN_S, section.end_s - _MARGIN_S, count + 1)
    return [(float(a), float(b)) for a, b in itertools.pairwise(edges)]


def frames_between(recording: Recording, start_s: float, end_s: float) -> NDArray[np.float32]:
    """Give the sound between two times in the file, shape (channels, frames), as far as the file goes."""
    first = max(0, round(start_s * recording.rate_hz))
    last = min(recording.frames, round(end_s * recording.rate_hz))
    if last <= first:
        return np.zeros((recording.channels, 0), dtype=np.float32)
    parts = [block.copy() for block in channel_blocks(recording, first, last, min(last - first, 1 << 17))]
    return np.concatenate(parts, axis=1) if parts else np.zeros((recording.channels, 0), dtype=np.float32)


def _share(sound: NDArray[np.float32], rate_hz: float, tones_hz: Sequence[float]) -> float:
    """Give the share of power that lies within some hertz of tones, in the channel that has most, 0 to 1."""
    window = np.hanning(sound.shape[1])
    power = np.abs(np.fft.rfft(sound * window, axis=1)) ** 2
    hz = np.fft.rfftfreq(sound.shape[1], 1.0 / rate_hz)
    heard = hz > _LOWEST_HZ
    near = np.zeros(len(hz), dtype=bool)
    for tone in tones_hz:
        near |= np.abs(hz - tone) < max(3.0 * float(hz[1]), 0.01 * tone)
    total = power[:, heard].sum(axis=1)
    held = power[:, heard & near].sum(axis=1)
    return float(np.max(np.where(total > 1e-12 * len(window), held / np.maximum(total, 1e-30), 0.0)))


def pieces_of(
    recording: Recording, section: Section, place: Place, slowness: float, channels: Sequence[int]
) -> list[Piece]:
    """Say of each piece of a section how far the recording holds it where it should stand.

    Arguments:
        recording: from `open_recording`.
        section: one of the sequence's.
        place: where a time of the sequence should stand in the file.
        slowness: time in the file by time on the tape.
        channels: those that carry the section's tracks.
    """
    times = piece_times(section)
    tones_hz = section.frequencies_hz or ((section.frequency_hz,) if section.frequency_hz is not None else ())
    if section.kind in (MARK, SILENCE) or section.to_be_erased or not tones_hz or not channels:
        return [Piece(a, b, NEUTRAL) for a, b in times]
    found = []
    sound = frames_between(recording, place(times[0][0]), place(times[-1][1]))[list(channels)]
    begun_s = max(0.0, place(times[0][0]))
    for first_s, last_s in times:
        a, b = (round((place(at) - begun_s) * recording.rate_hz) for at in (first_s, last_s))
        inside = a >= 0 and b <= sound.shape[1] + 1 and min(b, sound.shape[1]) - a > 64
        here = [hz / slowness for hz in tones_hz if hz / slowness < 0.5 * recording.rate_hz]
        like = _share(sound[:, a:b], recording.rate_hz, here) if inside and here else 0.0
        found.append(Piece(first_s, last_s, like))
    return found


def played_ratio(recording: Recording, section: Section, start_s: float, end_s: float, channel: int) -> float | None:
    """Give how fast a section with one tone plays, by the middle of its power near where the tone should be.

    Arguments:
        recording: from `open_recording`.
        section: one of the sequence's, with one tone.
        start_s: where it stands in the file, within a tenth of a second.
        end_s: the same of its end.
        channel: that carries it, from 0.

    Returns:
        The speed ratio; None where nothing stands out there.
    """
    sound = frames_between(recording, start_s + TRIMMED_S, end_s - TRIMMED_S)[channel]
    if section.frequency_hz is None or len(sound) < recording.rate_hz // 2:
        return None
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    bin_hz = recording.rate_hz / len(sound)
    expected_hz = section.frequency_hz * section.length_s / (end_s - start_s)
    first, last = (int(expected_hz * ratio / bin_hz) for ratio in (1.0 - NEAR_RATIO, 1.0 + NEAR_RATIO))
    near = power[first : last + 1]
    if len(near) < LEAST_BINS or np.max(near) < STANDS_OUT * np.median(near):
        return None
    # Flutter spreads a tone into sidelines; their middle by power is the mean frequency, the strongest need not be.
    tone = np.where(near > 0.01 * np.max(near), near, 0.0)
    return float(np.sum(tone * np.arange(first, first + len(near))) / np.sum(tone) * bin_hz / section.frequency_hz)


def cut_between(left: list[Piece], right: list[Piece], lost_s: float) -> tuple[float, float]:
    """Find where tape or sound was taken out, or put in, between two marks.

    Arguments:
        left: the pieces between them, as placed by the mark before.
        right: the same pieces, as placed by the mark after.
        lost_s: time on the tape that is not there; 0 where something was put in.

    Returns:
        Time on the tape up to which the mark before holds, and from which on the mark after does; where several places
        fit equally well, what is sure.
    """
    places = np.array([left[0].first_s, *(piece.last_s for piece in left)])
    edges = places[places <= left[-1].last_s - lost_s] if lost_s < left[-1].last_s - places[0] else places[:1]
    gains = []
    for cut in edges:
        before = sum(piece.like - NEUTRAL for piece in left if piece.last_s <= cut + 1e-9)
        after = sum(piece.like - NEUTRAL for piece in right if piece.first_s >= cut + lost_s - 1e-9)
        gains.append(before + after)
    best = np.flatnonzero(np.array(gains) > max(gains) - 0.5)
    return float(edges[best[0]]), float(edges[best[-1]]) + lost_s


def reach(pieces: list[Piece]) -> float | None:
    """Give how far sections go on beyond the outermost mark, time on the tape; None where not even the first is there.

    Arguments:
        pieces: beginning next to the mark, going away from it.

    What cannot be told, such as silence, counts only when something that can be told stands beyond it.
    """
    gained = np.cumsum([piece.like - NEUTRAL for piece in pieces])
    if not len(gained) or np.max(gained) <= 0.0:
        return None
    last = pieces[int(np.argmax(gained))]
    away = pieces[-1].first_s >= pieces[0].first_s
    return last.last_s if away else last.first_s
