"""Partials of a programme: the peaks of each short frame, linked into tracks as long as a note holds."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

FRAME_S: Final = 0.4
"""Two tones half a tone apart at 200 Hz are parted; vibrato is averaged out or shows as unsteady."""
HOP_S: Final = 0.1
BAND_HZ: Final = (150.0, 5000.0)
MOST_PEAKS: Final = 40
CLEAR: Final = 30.0
"""A peak counts from 15 dB over the median of its neighbourhood; noise alone reaches that hardly ever."""
RANGE: Final = 1e-5
"""And from 50 dB below the strongest of the frame."""
BESIDE_HZ: Final = 150.0
JUMP: Final = 0.004
"""Furthest a partial moves from one frame to the next, ratio: 4 % a second."""
LEVEL_JUMP: Final = 10.0
"""And the most that its power changes, ratio."""


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """Partials of one frame, the lowest first.

    Arguments:
        hz: where they stand, shape (n,).
        power: shape (n,).
        sd_hz: standard deviation of the place by the noise beside it, shape (n,).
    """

    hz: NDArray[np.float64]
    power: NDArray[np.float64]
    sd_hz: NDArray[np.float64]


def find_peaks(samples: NDArray[np.float32], rate_hz: float) -> Peaks:
    """Find the partials of one frame.

    Arguments:
        samples: shape (n,).
        rate_hz: samples per second.

    Places come of the ratio of the two highest bins, which is exact for a lone steady tone in a Hann window
    (Grandke 1983).
    """
    count = len(samples)
    window = (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(count) / count)).astype(np.float32)
    bin_hz = rate_hz / count
    top = min(count // 2, int(BAND_HZ[1] / bin_hz) + 2)
    size = np.abs(fft.rfft(samples * window)[: top + 1]).astype(np.float64)
    power = size**2
    beside = ndimage.median_filter(power, max(3, round(BESIDE_HZ / bin_hz)), mode="nearest") / np.log(2.0)
    inner = power[2:-2]
    highest = (inner > power[1:-3]) & (inner >= power[3:-1]) & (inner > power[:-4]) & (inner > power[4:])
    at = np.flatnonzero(highest & (inner > np.maximum(CLEAR * beside[2:-2], RANGE * power.max()))) + 2
    at = at[at * bin_hz >= BAND_HZ[0]]
    at = np.sort(at[np.argsort(-power[at])[:MOST_PEAKS]])
    right = size[at + 1] >= size[at - 1]
    ratio = np.where(right, size[at + 1], size[at - 1]) / np.maximum(size[at], 1e-30)
    offset = np.where(right, 1.0, -1.0) * (2.0 * ratio - 1.0) / (1.0 + ratio)
    noise = np.sqrt(beside[at] / np.maximum(power[at], 1e-30))
    hz = np.asarray((at + np.clip(offset, -0.6, 0.6)) * bin_hz, dtype=np.float64)
    return Peaks(hz, power[at], np.asarray(0.7 * noise * bin_hz, dtype=np.float64))


@dataclass(frozen=True, slots=True, eq=False)
class Tracks:
    """Partials followed over frames, one row for each peak, the rows of a track together and in their order.

    Arguments:
        track: which track a row belongs to, rising from 0, shape (n,).
        frame: which frame, shape (n,).
        log_hz: logarithm of the frequency, shape (n,).
        sd: its standard deviation by noise, shape (n,).
    """

    track: NDArray[np.intp]
    frame: NDArray[np.intp]
    log_hz: NDArray[np.float64]
    sd: NDArray[np.float64]


class Linker:
    """Link the peaks of frame after frame into tracks."""

    def __init__(self) -> None:
        self._last = Peaks(np.zeros(0), np.zeros(0), np.zeros(0))
        self._names = np.zeros(0, dtype=np.intp)
        self._count, self._frame = 0, 0
        self._rows: list[tuple[NDArray[np.intp], int, Peaks]] = []

    def add(self, peaks: Peaks) -> None:
        """Take the next frame's peaks."""
        names = np.full(len(peaks.hz), -1, dtype=np.intp)
        if len(peaks.hz) and len(self._last.hz):
            apart = np.abs(np.log(peaks.hz)[:, None] - np.log(self._last.hz)[None, :])
            near = np.argmin(apart, axis=1)
            mutual = np.argmin(apart, axis=0)[near] == np.arange(len(peaks.hz))
            louder = peaks.power / self._last.power[near]
            same = mutual & (apart[np.arange(len(near)), near] < JUMP)
            same &= (louder < LEVEL_JUMP) & (louder > 1.0 / LEVEL_JUMP)
            names[same] = self._names[near[same]]
        fresh = names < 0
        names[fresh] = self._count + np.arange(fresh.sum())
        self._count += int(fresh.sum())
        self._rows.append((names, self._frame, peaks))
        self._last, self._names = peaks, names
        self._frame += 1

    def tracks(self, trimmed: int, least: int) -> Tracks:
        """Give the tracks that are long enough, so many frames taken off either end.

        Arguments:
            trimmed: frames in which the note may not yet, or no longer, fill the frame.
            least: frames that must be left.
        """
        if not self._rows:
            return Tracks(np.zeros(0, np.intp), np.zeros(0, np.intp), np.zeros(0), np.zeros(0))
        name = np.concatenate([row[0] for row in self._rows])
        frame = np.concatenate([np.full(len(row[0]), row[1], dtype=np.intp) for row in self._rows])
        hz = np.concatenate([row[2].hz for row in self._rows])
        sd_hz = np.concatenate([row[2].sd_hz for row in self._rows])
        first = np.full(self._count, self._frame, dtype=np.intp)
        last = np.full(self._count, -1, dtype=np.intp)
        np.minimum.at(first, name, frame)
        np.maximum.at(last, name, frame)
        long = last - first + 1 - 2 * trimmed >= least
        kept = long[name] & (frame >= first[name] + trimmed) & (frame <= last[name] - trimmed)
        order = np.flatnonzero(kept)
        order = order[np.lexsort((frame[order], name[order]))]
        _, track = np.unique(name[order], return_inverse=True)
        return Tracks(track.astype(np.intp), frame[order], np.log(hz[order]), sd_hz[order] / hz[order])


__all__ = ["FRAME_S", "HOP_S", "Linker", "Peaks", "Tracks", "find_peaks"]
