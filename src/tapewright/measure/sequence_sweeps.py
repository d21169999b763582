"""Sweeps of a test sequence's marks, found in every channel while a file is read once.

Some seconds at a time, the sound's spectrum is held against those of the two templates, in the sweeps' band only;
turned back, that says how well they fit at every moment. What counts is likeness: the share of the energy in the
sweeps' band, while the template lasts, that the template and its quarter turn account for. It does not depend on
level, phase or polarity, and what noise does to it is known in closed form.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from tapewright.measure.audio import Recording
from tapewright.measure.plain import channel_blocks
from tapewright.measure.sequence_mark import HIGH_HZ, LOW_HZ, SWEEP_S, edges, sweep_phase

LIKENESS: Final = 0.25
"""Least likeness of a sweep: noise alone reaches it once in 10 to the power of 41 tries."""
BAND_HZ: Final = (0.9 * LOW_HZ, 1.1 * HIGH_HZ)
_AT_ONCE_S: Final = 3.0
"""So much sound is looked at together, at least, and less than twice as much."""
_APART_S: Final = 0.04
"""Of two peaks nearer than this only the stronger one counts: less than two sweeps of one kind are ever apart."""
_OVER: Final = 1.8
"""Values of likeness looked at, at least, for each hertz of the band and second; at most twice as many."""
MOST_VALUES_PER_S: Final = 2.0 * _OVER * (BAND_HZ[1] - BAND_HZ[0])
DIMENSIONS: Final = 2.0 * (BAND_HZ[1] - BAND_HZ[0]) * SWEEP_S
"""Independent numbers in the band while a sweep lasts; for the chance that noise is like a sweep."""


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """Where one channel is like one of the two sweeps.

    Arguments:
        times_s: beginning of the template where it fits best, in the file, shape (n,), rising.
        likeness: 0 to 1, shape (n,).
        strength: energy of the sweep there, shape (n,); to be compared within one file only.
    """

    times_s: NDArray[np.float64]
    likeness: NDArray[np.float64]
    strength: NDArray[np.float64]


class _Templates:
    """Both sweeps as spectra over the bins of their band."""

    def __init__(self, rate_hz: float) -> None:
        self.frames = 1 << int(np.ceil(np.log2(_AT_ONCE_S * rate_hz)))
        bins = np.arange(int(BAND_HZ[0] * self.frames / rate_hz), int(BAND_HZ[1] * self.frames / rate_hz) + 1)
        self.band = slice(int(bins[0]), int(bins[-1]) + 1)
        self.values = 1 << int(np.ceil(np.log2(_OVER * len(bins))))
        self.value_s = self.frames / self.values / rate_hz
        length = int(np.ceil(SWEEP_S * rate_hz))
        self.hop = self.frames - length - int(2.0 * _APART_S * rate_hz)
        times_s = np.arange(length) / rate_hz
        self.window = round(SWEEP_S / self.value_s)
        self.spectra = []
        for rising in (True, False):
            whole = edges(times_s, SWEEP_S) * np.exp(1j * sweep_phase(times_s, rising))
            cut = fft.fft(whole, self.frames)[self.band]
            energy = float(np.sum(np.abs(cut) ** 2)) / self.values
            self.spectra.append((np.conj(cut) / np.sqrt(energy)).astype(np.complex64))

    def likeness(self, sound: NDArray[np.float32]) -> list[tuple[NDArray[np.float32], NDArray[np.float32]]]:
        """Give likeness and strength for the rising and the falling sweep, for `frames` samples of one channel."""
        cut = fft.rfft(sound)[self.band]
        power = np.abs(fft.ifft(cut, self.values)) ** 2
        total = np.concatenate([[0.0], np.cumsum(power, dtype=np.float64)])
        energy = total[self.window :] - total[: -self.window]
        given = []
        for spectrum in self.spectra:
            strength = (np.abs(fft.ifft(cut * spectrum, self.values)) ** 2)[: len(energy)]
            # Silence is like nothing; what numbers of single precision cannot tell from it is silence.
            alike = np.where(energy > 1e-6 * total[-1] + 1e-20, strength / np.maximum(energy, 1e-30), 0.0)
            given.append((alike.astype(np.float32), strength))
        return given


class SweepSearch:
    """Look for sweeps in all channels as the blocks come in.

    Arguments:
        rate_hz: sample rate, at least 8000.
        channels: how many.
        least: likeness from which a peak is kept.
    """

    def __init__(self, rate_hz: float, channels: int, least: float = LIKENESS) -> None:
        self._rate_hz, self._least, self._templates = rate_hz, least, _Templates(rate_hz)
        self._held = np.zeros((channels, self._templates.frames), dtype=np.float32)
        self._filled = 0
        self._at = 0
        self._found: list[tuple[list[NDArray[np.float64]], ...]] = [([], []) for _ in range(channels)]

    def add(self, block: NDArray[np.float32]) -> None:
        """Take the next block, shape (channels, frames); what is no number counts as silence."""
        done = 0
        while done < block.shape[1]:
            taken = min(block.shape[1] - done, self._templates.frames - self._filled)
            into = self._held[:, self._filled : self._filled + taken]
            np.copyto(into, block[:, done : done + taken])
            into[~np.isfinite(into)] = 0.0
            self._filled, done = self._filled + taken, done + taken
            if self._filled == self._templates.frames:
                self._look(self._held)
                self._filled -= self._templates.hop
                self._held[:, : self._filled] = self._held[:, self._templates.hop :]
                self._at += self._templates.hop

    def _look(self, sound: NDArray[np.float32]) -> None:
        step_s = self._templates.value_s
        apart = max(1, round(_APART_S / step_s))
        for channel, one in enumerate(sound):
            for kept, (alike, strength) in zip(self._found[channel], self._templates.likeness(one), strict=True):
                if not np.any(alike >= self._least):
                    continue
                places, _ = signal.find_peaks(alike, height=self._least, distance=apart)
                if len(places):
                    fine = places + _between(strength, places)
                    kept.append(np.stack([self._at / self._rate_hz + fine * step_s, alike[places], strength[places]]))

    def peaks(self) -> tuple[tuple[Peaks, Peaks], ...]:
        """Give what was found once all is in: for each channel the rising sweeps and the falling ones."""
        if self._filled:
            self._held[:, self._filled :] = 0.0
            self._look(self._held)
            self._filled = 0
        return tuple((_once(rising), _once(falling)) for rising, falling in self._found)


def _between(strength: NDArray[np.float32], places: NDArray[np.intp]) -> NDArray[np.float64]:
    """Give how far from a peak's highest value its top lies, by the parabola through three values."""
    left, middle, right = (np.sqrt(strength[places + side].astype(np.float64)) for side in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    return np.asarray(np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, 1.0), 0.0).clip(-1.0, 1.0))


def _once(kept: list[NDArray[np.float64]]) -> Peaks:
    """Put the peaks of all blocks together; one seen in two of them, or twice near by, counts once."""
    table = np.concatenate(kept, axis=1) if kept else np.zeros((3, 0))
    table = table[:, np.argsort(table[0], kind="stable")]
    stays = np.ones(table.shape[1], dtype=bool)
    for at in np.argsort(-table[1], kind="stable"):
        if stays[at]:
            near = np.abs(table[0] - table[0, at]) < _APART_S
            near[at] = False
            stays[near] = False
    return Peaks(*table[:, stays])


def pooled(found: Sequence[tuple[Peaks, Peaks]]) -> tuple[Peaks, Peaks]:
    """Put the sweeps of all channels together; what several channels hold at once counts once, where it is clearest.

    Arguments:
        found: for each channel the rising sweeps and the falling ones.
    """
    tables = [[np.stack([p.times_s, p.likeness, p.strength]) for p in each] for each in zip(*found, strict=True)]
    return _once(tables[0]), _once(tables[1])


def find_sweeps(
    recording: Recording, progress: Callable[[float], None] | None = None
) -> tuple[tuple[Peaks, Peaks], ...]:
    """Read a file once and give where each channel is like a rising and like a falling sweep.

    Arguments:
        recording: from `open_recording`, of at least 8000 samples a second.
        progress: called with the share done.
    """
    search = SweepSearch(recording.rate_hz, recording.channels)
    for block in channel_blocks(recording, progress=progress):
        search.add(block)
    return search.peaks()


__all__ = ["DIMENSIONS", "LIKENESS", "MOST_VALUES_PER_S", "Peaks", "SweepSearch", "find_sweeps", "pooled"]
