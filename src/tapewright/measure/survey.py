"""One pass over a file: what stands out in each short frame, how loud it is, and whether it was clipped."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from tapewright.measure.audio import Recording, seeks_quickly, sound_pieces
from tapewright.measure.plain import channel_blocks
from tapewright.words.problem import InputAtFaultError, Problem

FRAME_S: Final = 0.093
"""Long enough to tell a tone from its neighbours, short enough that flutter does not smear it."""
TONE_BAND_HZ: Final = (500.0, 10000.0)
"""Where a test tone is looked for: from an octave and a half below 3150 Hz to the top of an azimuth tone."""
FLOOR_HZ: Final = 300.0
"""Below this nothing counts for or against a tone: hum and rumble live there."""
GLIMPSES_FROM_S: Final = 60.0
"""In a longer recording a steady tone is first looked for in a part of it."""
GLIMPSE_EVERY: Final = 4
MOST_GLIMPSES: Final = 400
MOST_FRAMES: Final = 24_000
"""A file of more than twenty minutes is looked at in so many frames, further apart: memory stays flat."""
FEATURES: Final = 11
GOLDEN: Final = 0.6180339887
"""Share of a slot by which each glimpse is shifted against the last, so that no regular beeping escapes them."""
FULL_SCALE: Final = 1.0 - 2.0**-7
HARMONICS: Final = tuple(range(2, 41))
REACH: Final = 0.13
"""Ratio either way within which a tone that swings by up to 6 % keeps its power in one frame, wherever it peaks."""
WIDE_HARMONICS: Final = tuple(range(2, 6))
ONE_PEAK: Final = 0.75
"""Where one peak holds more than this share of a frame's power, the tone is that peak."""


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


class Levels:
    """Counts over the samples of one channel, block by block: the largest, clipped ones, ones that are no numbers."""

    def __init__(self) -> None:
        self.peak, self.clipped, self.not_numbers = 0.0, 0, 0
        self.low, self.high = np.inf, -np.inf
        self.off_rails = 0
        self._before = np.zeros(2, dtype=bool)

    def add(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Count the next samples, shape (n,); give them back, silence in place of what is no number."""
        low, high = float(samples.min()), float(samples.max())
        if not np.isfinite(low + high):  # the least or the largest is no number where any sample is none
            self.not_numbers += int(np.count_nonzero(~np.isfinite(samples)))
            samples = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
            low, high = float(samples.min()), float(samples.max())
        self.low, self.high = min(self.low, low), max(self.high, high)
        self.peak = max(self.peak, -low, high)
        if self.peak < FULL_SCALE:
            self.off_rails += len(samples)
            self._before[:] = False
            return samples
        railed = np.concatenate([self._before, np.abs(samples) >= FULL_SCALE])
        self.clipped += int(np.count_nonzero(railed[2:] & railed[1:-1] & railed[:-2]))
        self.off_rails += len(samples) - int(np.count_nonzero(railed[2:]))
        self._before = railed[-2:].copy()
        return samples


class Frames:
    """Spectral features of one channel, frame by frame, from blocks of any length.

    Arguments:
        rate_hz: sample rate.
        band_hz: where a tone is looked for.
        samples: how many will come; of many the frames lie further apart.
    """

    def __init__(self, rate_hz: float, band_hz: tuple[float, float], samples: int) -> None:
        self.length = max(64, 2 ** round(np.log2(FRAME_S * rate_hz)))
        self.hop = max(self.length // 2, samples // MOST_FRAMES)
        self._skip = 0
        self.bin_hz = rate_hz / self.length
        window = signal.windows.hann(self.length, sym=False)
        self._window = (window / np.sqrt(np.sum(window**2) * self.length / 2)).astype(np.float32)
        self._rest = np.zeros(0, dtype=np.float32)
        bins = self.length // 2 + 1
        self._low = min(max(5, round(band_hz[0] / self.bin_hz)), bins - 8)
        self._high = max(self._low + 2, min(round(band_hz[1] / self.bin_hz), bins - 6))
        self._floor = round(FLOOR_HZ / self.bin_hz)
        self.rows: list[NDArray[np.float32]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n,)."""
        skipped = min(self._skip, len(samples))
        self._skip -= skipped
        joined = np.concatenate([self._rest, samples[skipped:]])
        count = (len(joined) - self.length) // self.hop + 1
        if count <= 0:
            self._rest = joined
            return
        frames = np.lib.stride_tricks.sliding_window_view(joined, self.length)[:: self.hop]
        for first in range(0, count, 32):
            self.add_frames(frames[first : first + 32])
        self._skip += max(0, count * self.hop - len(joined))
        self._rest = joined[count * self.hop :].copy()

    def add_frames(self, frames: NDArray[np.float32]) -> None:
        """Take whole frames, shape (n, length)."""
        features = np.zeros((FEATURES, len(frames)))
        features[0] = features[9] = self._low * self.bin_hz
        loud = np.flatnonzero(frames.any(axis=1))
        if len(loud):
            spectrum = fft.rfft(frames[loud] * self._window, axis=1)
            features[:, loud] = self._features(spectrum.real**2 + spectrum.imag**2)
        self.rows.append(features.astype(np.float32))

    def _features(self, power: NDArray[np.float32]) -> NDArray[np.float64]:
        rows = np.arange(len(power))
        peak = self._low + np.argmax(power[:, self._low : self._high], axis=1)
        around = power[rows[:, None], peak[:, None] + np.arange(-3, 4)].astype(np.float64)
        logs = np.log(around[:, 2:5] + 1e-40)
        bend = logs[:, 0] - 2.0 * logs[:, 1] + logs[:, 2]
        offset = np.where(bend < 0.0, 0.5 * (logs[:, 0] - logs[:, 2]) / np.where(bend < 0.0, bend, -1.0), 0.0)
        place = peak + np.clip(offset, -0.5, 0.5)
        total = power[:, self._floor :].sum(axis=1, dtype=np.float64)
        low = power[:, 1 : self._floor].sum(axis=1, dtype=np.float64)
        harmonic, other, where, rest = self._beside(power, place)
        wide = np.stack([around.sum(axis=1), place, other])
        spread = np.flatnonzero((wide[0] <= ONE_PEAK * total) & (total > 0.0))
        if len(spread):
            wide[:, spread] = self._wide(power[spread], place[spread])
        return np.stack(
            [
                place * self.bin_hz,
                around.sum(axis=1),
                total,
                harmonic,
                other,
                where * self.bin_hz,
                rest,
                low,
                wide[0],
                wide[1] * self.bin_hz,
                wide[2],
            ]
        )

    def _wide(self, power: NDArray[np.float32], place: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take the neighbourhood of the peak for the tone: its power, its centre, the strongest peak beside it."""
        bins = power.shape[1]
        rows = np.arange(len(power))
        summed = np.zeros((2, len(power), bins + 1))
        np.cumsum(power, axis=1, out=summed[0, :, 1:])
        np.cumsum(power * np.arange(bins, dtype=np.float32), axis=1, out=summed[1, :, 1:])
        centre = place
        for _ in range(2):
            first = np.clip(np.round((1.0 - REACH) * centre).astype(int) - 2, self._floor, bins)
            after = np.clip(np.round((1.0 + REACH) * centre).astype(int) + 3, 0, bins)
            near, moment = summed[:, rows, after] - summed[:, rows, first]
            centre = moment / np.maximum(near, 1e-30)
        cleared = power.copy()
        cleared[:, : self._floor] = 0.0
        at = np.arange(bins)
        for order in (1, *WIDE_HARMONICS):
            reach = (REACH if order == 1 else 0.07) * order * centre + 3.0
            cleared[np.abs(at - order * centre[:, None]) < reach[:, None]] = 0.0
        best = np.argmax(cleared, axis=1)
        around = np.clip(best[:, None] + np.arange(-3, 4), 0, bins - 1)
        return np.stack([near, centre, cleared[rows[:, None], around].sum(axis=1)])

    def _beside(
        self, power: NDArray[np.float32], place: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Look beside the peak: power at its harmonics, the strongest peak that is none of them, and all the rest."""
        cleared = power.copy()
        cleared[:, : self._floor] = 0.0
        rows = np.arange(len(power))[:, None]
        spread = np.arange(-4, 5)
        own = np.clip(np.round(place).astype(int)[:, None] + np.arange(-8, 9), 0, power.shape[1] - 1)
        cleared[rows, own] = 0.0
        harmonic = np.zeros(len(power))
        for order in HARMONICS:
            centre = np.round(order * place).astype(int)
            inside = centre < power.shape[1] - 5
            if not inside.any():
                break
            index = np.clip(centre[:, None] + spread, 0, power.shape[1] - 1)
            harmonic += np.where(inside, cleared[rows, index].sum(axis=1), 0.0)
            cleared[rows, np.where(inside[:, None], index, 0)] = 0.0
        where = np.argmax(cleared, axis=1)
        around = np.clip(where[:, None] + np.arange(-3, 4), 0, power.shape[1] - 1)
        other = cleared[rows, around].sum(axis=1).astype(np.float64)
        skirt = np.clip(np.round(place).astype(int)[:, None] + np.array([-8, -7, -6, 6, 7, 8]), 0, power.shape[1] - 1)
        rest = cleared.sum(axis=1, dtype=np.float64) + power[rows, skirt].sum(axis=1)
        return harmonic, other, where.astype(np.float64), rest


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
