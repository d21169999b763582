"""What stands out in each short frame of one channel, and what its samples are worth, as the blocks come in."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

FRAME_S: Final = 0.093
"""Long enough to tell a tone from its neighbours, short enough that flutter does not smear it."""
FLOOR_HZ: Final = 300.0
"""Below this nothing counts for or against a tone: hum and rumble live there."""
MOST_FRAMES: Final = 24_000
"""A file of more than twenty minutes is looked at in so many frames, further apart: memory stays flat."""
FEATURES: Final = 11
FULL_SCALE: Final = 1.0 - 2.0**-7
HARMONICS: Final = tuple(range(2, 41))
REACH: Final = 0.13
"""Ratio either way within which a tone that swings by up to 6 % keeps its power in one frame, wherever it peaks."""
WIDE_HARMONICS: Final = tuple(range(2, 6))
ONE_PEAK: Final = 0.75
"""Where one peak holds more than this share of a frame's power, the tone is that peak."""


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
