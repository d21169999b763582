"""The sound of a mechanism cut into frames: spectra, the background around each frequency, what stands above it."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.audio import open_recording, sound_blocks

Array = NDArray[np.float64]
Single = NDArray[np.float32]

LONGEST_S: Final = 900.0
"""More of a recording than this is not listened to."""
COMB_RATE_HZ: Final = 6000.0
"""Sample rate at which combs are looked for: motors sound below 2.4 kHz."""
FRAME_S: Final = 0.4
HOP_S: Final = 0.1
PADDED: Final = 4
"""Spectra are read this many times finer than a frame resolves, so that no line falls between two bins."""
HIGHEST_HZ: Final = 2400.0
BLOCK_HZ: Final = 50.0
"""The background is the median over this much: wider than a line, narrower than what a room does."""


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """A recording as one channel.

    Arguments:
        samples: shape (n,), full scale 1.
        rate_hz: samples a second.
        clipped: share of the samples that stand at the largest value of the file.
        left_out_s: how much of the file was not read for its length, seconds.
        packed: whether a lossy codec was decoded.
    """

    samples: Single
    rate_hz: float
    clipped: float = 0.0
    left_out_s: float = 0.0
    packed: bool = False

    @property
    def duration_s(self) -> float:
        """Give the length that is held, in seconds."""
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Power spectra of frames that overlap.

    Arguments:
        power: shape (frames, bins), power of full scale 1.
        background: the same shape: what the neighbourhood of a frequency holds without its lines.
        times_s: middle of each frame, shape (frames,).
        bin_hz: distance of two bins.
    """

    power: Single
    background: Single
    times_s: Array
    bin_hz: float

    @property
    def above(self) -> Single:
        """Give the power over the background: exponential with mean 1 where there is noise alone."""
        return self.power / self.background


def read_sound(path: str | Path) -> Sound:
    """Read a recording as one channel: the mean of all its channels.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    recording = open_recording(path, accept_truncated=True)
    frames = min(recording.frames, int(LONGEST_S * recording.rate_hz))
    kept = np.empty(frames, dtype=np.float32)
    at, highest, at_highest = 0, 0.0, 0
    for block in sound_blocks(recording, 0, frames):
        size = np.abs(block)
        here = float(size.max(initial=0.0))
        if here > highest * 1.0001:
            highest, at_highest = here, 0
        at_highest += int(np.count_nonzero(size >= highest * 0.9999)) if highest > 0 else 0
        kept[at : at + len(block)] = block.mean(axis=1)
        at += len(block)
    kept = np.nan_to_num(kept[:at], copy=False)
    left_out = max(0.0, recording.duration_s - LONGEST_S)
    clipped = at_highest / max(1, at * recording.channels)
    return Sound(kept, float(recording.rate_hz), clipped, left_out, recording.packed)


def thinned(sound: Sound, rate_hz: float = COMB_RATE_HZ) -> Sound:
    """Give the same sound at a lower sample rate; as it is where that is low already."""
    if sound.rate_hz <= rate_hz * 1.2:
        return sound
    ratio = Fraction(rate_hz / sound.rate_hz).limit_denominator(400)
    samples = signal.resample_poly(sound.samples, ratio.numerator, ratio.denominator).astype(np.float32)
    return Sound(samples, sound.rate_hz * float(ratio), sound.clipped, sound.left_out_s, sound.packed)


def cut_into(samples: NDArray[Any], length: int, hop: int) -> NDArray[Any]:
    """Give overlapping pieces of a row of samples, shape (pieces, length); a view, nothing is copied.

    What is left at the end and fills no piece is left out.

    >>> cut_into(np.arange(5), 3, 2).tolist()
    [[0, 1, 2], [2, 3, 4]]
    """
    return np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]


def laid_over(rows: Array, step_s: float, rate_hz: float, most_places: float) -> Array:
    """Lay all rounds of something that comes back over one another: the mean of each place of a round.

    Arguments:
        rows: values over time, shape (rows, n).
        step_s: from value to value.
        rate_hz: how often a second it comes round.
        most_places: a round is cut into so many at most, and never finer than the values lie.

    Returns:
        Shape (rows, places).

    >>> laid_over(np.tile([[0.0, 1.0, 2.0, 1.0]], 5), 0.25, 1.0, 16).tolist()
    [[0.0, 1.0, 2.0, 1.0]]
    """
    places = int(np.clip(1.0 / (rate_hz * step_s), 3, most_places))
    place = (np.arange(rows.shape[1]) * step_s * rate_hz * places).astype(int) % places
    counted = np.maximum(np.bincount(place, minlength=places), 1)
    return np.array([np.bincount(place, row, places) / counted for row in rows])


def framed(sound: Sound, frame_s: float = FRAME_S, hop_s: float = HOP_S, highest_hz: float = HIGHEST_HZ) -> Frames:
    """Cut a sound into frames and give their spectra with the background.

    Arguments:
        sound: thinned already.
        frame_s: length of a frame; a sound that is shorter is one frame.
        hop_s: from frame to frame.
        highest_hz: bins above are left out.
    """
    length = max(16, min(round(frame_s * sound.rate_hz), len(sound.samples)))
    hop = max(1, round(hop_s * sound.rate_hz))
    padded = 1 << int(np.ceil(np.log2(PADDED * length)))
    window = np.hanning(length + 1)[:-1].astype(np.float32)
    window /= np.sqrt(np.sum(window**2))
    cut = cut_into(sound.samples, length, hop)
    bin_hz = sound.rate_hz / padded
    bins = min(padded // 2, int(highest_hz / bin_hz)) + 1
    power = np.empty((len(cut), bins), dtype=np.float32)
    for first in range(0, len(cut), 256):
        spectrum = np.fft.rfft(cut[first : first + 256] * window, padded, axis=1)[:, :bins]
        power[first : first + 256] = np.abs(spectrum) ** 2
    times = np.asarray((np.arange(len(cut)) * hop + length / 2) / sound.rate_hz, dtype=np.float64)
    return Frames(power, background(power, bin_hz, 4.0 * sound.rate_hz / length), times, bin_hz)


def background(power: Single, bin_hz: float, line_hz: float, block_hz: float = BLOCK_HZ) -> Single:
    """Give what the neighbourhood of each frequency holds without its lines, frame by frame.

    Arguments:
        power: shape (frames, bins).
        bin_hz: distance of two bins.
        line_hz: width of one line, foot to foot: a block has to be wider.
        block_hz: over how much the median is taken.

    A median of exponential values is ln 2 of their mean; lines that fill a third of a block raise it by less than half.
    """
    bins = power.shape[1]
    width = min(bins, max(8, round(max(block_hz, 3.0 * line_hz) / bin_hz)))
    step = max(1, width // 2)
    starts = np.arange(0, max(1, bins - width + 1), step)
    middle = np.stack([np.median(power[:, at : at + width], axis=1) for at in starts], axis=1) / np.log(2.0)
    floor = np.maximum(1e-6 * middle.mean(axis=1, keepdims=True), 1e-18)
    logs = np.log(np.maximum(middle, floor))
    centres = starts + width / 2
    if len(starts) == 1:
        return np.asarray(np.repeat(np.exp(logs), bins, axis=1), dtype=np.float32)
    place = np.clip(np.interp(np.arange(bins), centres, np.arange(len(starts))), 0, len(starts) - 1)
    low = np.minimum(place.astype(int), len(starts) - 2)
    share = (place - low)[None, :]
    found = np.exp(logs[:, low] * (1 - share) + logs[:, low + 1] * share)
    return np.asarray(found, dtype=np.float32)


def quieted(frames: Frames, quiet: NDArray[np.bool_]) -> Frames:
    """Raise the background by the lines that sound while the machine is off: mains hum, a fan in the room.

    Arguments:
        frames: of the whole recording.
        quiet: frames in which the machine is off, shape (frames,).
    """
    if np.count_nonzero(quiet) < 8:
        return frames
    there = np.quantile(frames.power[quiet], 0.8, axis=0) / np.log(5.0)
    # A line wanders by a bin, and a room's line does not stand still to the decibel.
    spread = np.maximum.reduce([there, np.roll(there, 1), np.roll(there, -1)])
    spread = np.where(spread > 3.0 * np.median(frames.background[quiet], axis=0), 4.0 * spread, 0.0)
    return Frames(frames.power, np.maximum(frames.background, spread).astype(np.float32), frames.times_s, frames.bin_hz)
