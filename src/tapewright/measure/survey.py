"""One pass over a file: what stands out in each short frame, how loud it is, and whether it was clipped."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import Recording, seeks_quickly, sound_pieces
from tapewright.measure.frames import FEATURES, Frames, Levels
from tapewright.measure.plain import channel_blocks
from tapewright.words.problem import InputAtFaultError, Problem

TONE_BAND_HZ: Final = (500.0, 10000.0)
"""Where a test tone is looked for: from an octave and a half below 3150 Hz to the top of an azimuth tone."""
GLIMPSES_FROM_S: Final = 60.0
"""In a longer recording a steady tone is first looked for in a part of it."""
GLIMPSE_EVERY: Final = 4
MOST_GLIMPSES: Final = 400
GOLDEN: Final = 0.6180339887
"""Share of a slot by which each glimpse is shifted against the last, so that no regular beeping escapes them."""


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """What one channel holds, frame by frame.

    Arguments:
        times_s: middle of each frame, shape (n,).
        step_s: from one frame to the next.
        frequency_hz: where the strongest peak stands, shape (n,).
        tone_power: power in that peak, shape (n,), full scale 1.
        total_power: all power above 300 Hz, shape (n,).
        harmonic_power: power at whole multiples of the peak, shape (n,).
        other_power: strongest other peak that is no harmonic, shape (n,).
        other_hz: where that stands, shape (n,).
        rest_power: all power above 300 Hz that is neither the peak with its skirts nor harmonics, shape (n,).
        low_power: power below 300 Hz, shape (n,).
        wide_power: power within 13 % of where the peak's neighbourhood has its centre, shape (n,): all of a tone that
            swings too fast for one peak. In frames where one peak holds most of the power this and the next two are
            that peak's.
        wide_hz: that centre, shape (n,).
        wide_other_power: strongest peak outside it and outside its overtones, shape (n,).
        resolution_hz: distance between two bins.
        peak: largest sample, full scale 1.
        clipped: how many samples stand at full scale in a row of three or more.
        not_numbers: how many samples are not finite.
        constant: every sample is the same.
        at_rails: every sample stands at one of two levels, full scale.
    """

    times_s: NDArray[np.float64]
    step_s: float
    frequency_hz: NDArray[np.float64]
    tone_power: NDArray[np.float64]
    total_power: NDArray[np.float64]
    harmonic_power: NDArray[np.float64]
    other_power: NDArray[np.float64]
    other_hz: NDArray[np.float64]
    rest_power: NDArray[np.float64]
    low_power: NDArray[np.float64]
    wide_power: NDArray[np.float64]
    wide_hz: NDArray[np.float64]
    wide_other_power: NDArray[np.float64]
    resolution_hz: float
    peak: float
    clipped: int
    not_numbers: int
    constant: bool
    at_rails: bool


def _refuse_flat(recording: Recording, surveys: tuple[Survey, ...]) -> None:
    if all(one.constant and one.peak == 0.0 for one in surveys):
        raise InputAtFaultError(
            Problem(
                str(recording.path),
                "Every sample is zero: nothing reached the recorder.",
                "Check the cable, the input that was chosen and the record level, then record again.",
            )
        )
    if all(one.constant or one.at_rails for one in surveys):
        raise InputAtFaultError(
            Problem(
                str(recording.path),
                "Every sample stands at one fixed level or at full scale: no sound can be told from it.",
                "Turn the record level down and record again.",
            )
        )


def survey(
    recording: Recording,
    tone_hz: float | None = None,
    progress: Callable[[float], None] | None = None,
    channels: Sequence[int] | None = None,
) -> tuple[Survey, ...]:
    """Read the file once and say, for each channel, what stands out in each frame.

    Arguments:
        recording: from `open_recording`.
        tone_hz: look only within 10 % of this; None looks from 500 Hz to 10 kHz.
        progress: called with the share done.
        channels: which ones, from 0; None for all.

    Errors:
        InputAtFaultError: not one sample can be read, all samples of all channels are zero, or stand at a fixed
            level.
    """
    band = TONE_BAND_HZ if tone_hz is None else (0.9 * tone_hz, 1.1 * tone_hz)
    channels = range(recording.channels) if channels is None else channels
    frames = [Frames(recording.rate_hz, band, recording.frames) for _ in channels]
    levels = [Levels() for _ in channels]
    count = 0
    for block in channel_blocks(recording, progress=progress):
        count += block.shape[1]
        for one, level, channel in zip(frames, levels, channels, strict=True):
            one.add(level.add(block[channel]))
    if not count:
        raise InputAtFaultError(
            Problem(
                str(recording.path),
                "The header is sound but not one sample can be read: the file is cut short or damaged.",
                "Copy it again from where it was recorded.",
            )
        )
    found = tuple(summed_up(one, level, recording.rate_hz) for one, level in zip(frames, levels, strict=True))
    if len(found) == recording.channels:
        _refuse_flat(recording, found)
    return found


def glimpses(recording: Recording, tone_hz: float | None = None) -> tuple[Survey, ...] | None:
    """Look at a part of a long recording of plain samples: a frame in each third of a second, at uneven places.

    Of more than three minutes it is 400 frames.

    Arguments:
        recording: from `open_recording`.
        tone_hz: as for `survey`.

    Returns:
        For each channel what `survey` gives, without counts of clipped samples; None when the file is too short for
        this or slow to seek in. Enough to know a long steady tone; what is less than that needs `survey`.
    """
    if recording.duration_s < GLIMPSES_FROM_S or not seeks_quickly(recording):
        return None
    band = TONE_BAND_HZ if tone_hz is None else (0.9 * tone_hz, 1.1 * tone_hz)
    frames = [Frames(recording.rate_hz, band, recording.frames) for _ in range(recording.channels)]
    length = frames[0].length
    slot = length * max(GLIMPSE_EVERY, recording.frames // (length * MOST_GLIMPSES))
    count = recording.frames // slot
    places = np.arange(count) * slot + ((np.arange(count) * GOLDEN % 1.0) * (slot - length)).astype(np.int64)
    held: list[NDArray[np.float32]] = []
    for piece in sound_pieces(recording, places.tolist(), length):
        held.append(piece.T.copy())
        if len(held) == 32:
            _take(frames, held)
    _take(frames, held)
    if sum(part.shape[1] for part in frames[0].rows) != count:
        return None
    times = (places + length / 2) / recording.rate_hz
    return tuple(summed_up(one, Levels(), recording.rate_hz, times, slot / recording.rate_hz) for one in frames)


def _take(frames: list[Frames], held: list[NDArray[np.float32]]) -> None:
    """Hand frames of shape (channels, length) to their channels, and let go of them; what is no number is silence."""
    if held:
        together = np.nan_to_num(np.stack(held, axis=1), nan=0.0, posinf=0.0, neginf=0.0)
        for one, part in zip(frames, together, strict=True):
            one.add_frames(part)
        held.clear()


def summed_up(
    frames: Frames,
    levels: Levels,
    rate_hz: float,
    times_s: NDArray[np.float64] | None = None,
    step_s: float | None = None,
) -> Survey:
    """Sum up what was seen of one channel.

    Arguments:
        frames: its features.
        levels: its counts.
        rate_hz: sample rate.
        times_s: middle of each frame; None for frames that follow each other.
        step_s: from one frame to the next; None for the same.
    """
    table = np.concatenate(frames.rows, axis=1).astype(np.float64) if frames.rows else np.zeros((FEATURES, 0))
    even = (np.arange(table.shape[1]) * frames.hop + frames.length / 2) / rate_hz
    return Survey(
        even if times_s is None else times_s,
        frames.hop / rate_hz if step_s is None else step_s,
        table[0],
        table[1],
        table[2],
        table[3],
        table[4],
        table[5],
        table[6],
        table[7],
        table[8],
        table[9],
        table[10],
        frames.bin_hz,
        max(levels.peak, float(np.sqrt(np.max(table[2], initial=0.0)))),
        levels.clipped,
        levels.not_numbers,
        levels.low == levels.high,
        levels.off_rails == 0,
    )
