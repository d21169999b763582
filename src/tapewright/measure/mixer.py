"""Mix a tone down with its own mean frequency, filter and thin it, as the blocks of a channel come in.

The mixing, the linear-phase filter and the thinning are one matrix product over the samples laid out in rows of the
thinning factor (a polyphase filter), so that the sound is touched once, in single precision.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.tone import Tone

TRACE_RATE_HZ: Final = 1200.0
"""Least rate of the trace: the weighting is met to 0.31 dB there, and 200 Hz of flutter passes."""
OFF_TONE: Final = 0.06
"""Further from the mean frequency than this, ratio, it is not the tone (a tape machine's worst is half of it)."""
SWINGING: Final = 0.2
"""The same for a tone known to swing strongly: where a belt slips, the speed dips by as much."""
SLOPE_HZ: Final = 650.0
"""Width of the filter's slope: the wider, the fewer products each sample costs."""
SWINGING_SLOPE_HZ: Final = 250.0
STOP_DB: Final = 75.0
"""What would fold into the band is this far down."""
_AT_ONCE: Final = 512


class ToneMixer:
    """Mix, filter and thin one channel as its blocks come in.

    Arguments:
        tone: from `find_tone`.
        rate_hz: sample rate of the recording, at least 2400.
        frames: length of the recording.
        swinging: whether the tone swings so strongly that a wider band has to be followed.

    Errors:
        ValueError: no tone was found.
    """

    def __init__(self, tone: Tone, rate_hz: float, frames: int, swinging: bool = False) -> None:
        if tone.frequency_hz is None or tone.start_s is None or tone.end_s is None:
            raise ValueError("there is no tone to follow")
        self.frequency_hz, self._rate_hz = tone.frequency_hz, rate_hz
        self.swinging = swinging
        self._edge_hz = self._edge()
        least_hz = max(TRACE_RATE_HZ, 2.0 * self._edge_hz + SWINGING_SLOPE_HZ) if swinging else TRACE_RATE_HZ
        self.factor = max(1, int(rate_hz // least_hz))
        self.rate_hz = rate_hz / self.factor
        slope_hz = SWINGING_SLOPE_HZ if swinging else SLOPE_HZ
        self._stop_hz = min(self._edge_hz + slope_hz, self.rate_hz - self._edge_hz)
        taps = self._filter()
        self.delay_frames = (len(taps) - 1) / 2.0
        self._parts = -(-len(taps) // self.factor)
        self._matrix = self._polyphase(taps)
        # A whole number of steps from the file's beginning, so that two channels' values stand at the same times.
        self.first = max(0, int((tone.start_s - 0.1) * rate_hz)) // self.factor * self.factor
        self.last = min(frames, int((tone.end_s + 0.1) * rate_hz))
        self._rest = np.zeros(0, dtype=np.float32)
        self._columns = np.zeros((2 * self._parts, 0), dtype=np.float32)
        self._mixed: list[NDArray[np.complex64]] = []
        self.pending, self._taken = 0, 0

    @property
    def expected(self) -> int:
        """Give how many values will come of the whole stretch, if the file holds it."""
        return max(0, (self.last - self.first) // self.factor - self._parts + 1)

    @property
    def start_s(self) -> float:
        """Give the time in the file of the next value that `take` will give."""
        return (self.first + self.delay_frames + self._taken * self.factor) / self._rate_hz

    @property
    def band_hz(self) -> float:
        """Give the band that is followed, both sides, to the filter's half-amplitude points."""
        return self._edge_hz + self._stop_hz

    @property
    def off_tone_hz(self) -> float:
        """Give how far from the mean frequency it is no longer the tone."""
        return max((SWINGING if self.swinging else OFF_TONE) * self.frequency_hz, 60.0)

    def _edge(self) -> float:
        """Give the edge of the flat band: 200 Hz of flutter either side, plus the tone's own wander."""
        if not self.swinging:
            return float(np.clip(200.0 + 0.02 * self.frequency_hz, 240.0, 400.0))
        mirrored_hz = self._rate_hz - 2.0 * self.frequency_hz
        return float(max(240.0, min(200.0 + SWINGING * self.frequency_hz, 0.5 * mirrored_hz)))

    def _filter(self) -> NDArray[np.float64]:
        """Design the filter: flat to its edge, 75 dB down where it would fold."""
        edge, stop = self._edge_hz, self._stop_hz
        count, beta = signal.kaiserord(STOP_DB, (stop - edge) / (self._rate_hz / 2.0))
        return np.asarray(signal.firwin(count | 1, (edge + stop) / 2.0, window=("kaiser", beta), fs=self._rate_hz))

    def _polyphase(self, taps: NDArray[np.float64]) -> NDArray[np.float32]:
        padded = np.zeros(self._parts * self.factor)
        padded[: len(taps)] = taps
        turns = np.arange(len(padded)) * (self.frequency_hz / self._rate_hz)
        parts = (padded * np.exp(-2j * np.pi * (turns % 1.0))).reshape(self._parts, self.factor).T
        return np.ascontiguousarray(np.concatenate([parts.real, parts.imag], axis=1).T, dtype=np.float32)

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples of the stretch, shape (n,), unbroken in memory."""
        lacking = (self.factor - len(self._rest)) % self.factor
        if len(samples) < lacking:
            self._rest = np.concatenate([self._rest, samples])
            return
        head = np.concatenate([self._rest, samples[:lacking]]).reshape(-1, self.factor)
        rows = (len(samples) - lacking) // self.factor
        body = samples[lacking : lacking + rows * self.factor].reshape(rows, self.factor)
        self._rest = samples[lacking + rows * self.factor :].copy()
        columns = np.concatenate([self._columns, self._matrix @ head.T, self._matrix @ body.T], axis=1)
        count = columns.shape[1] - self._parts + 1
        if count <= 0:
            self._columns = columns
            return
        real, imaginary = columns[0, :count].copy(), columns[self._parts, :count].copy()
        for part in range(1, self._parts):
            real += columns[part, part : part + count]
            imaginary += columns[self._parts + part, part : part + count]
        mixed = np.empty(count, dtype=np.complex64)
        mixed.real, mixed.imag = real, imaginary
        self._mixed.append(mixed)
        self._columns = columns[:, count:].copy()
        self.pending += count

    def take(self, count: int, keep: int = 0) -> NDArray[np.complex64]:
        """Give the next values: the tone against a steady one of `frequency_hz`, amplitude 1 for full scale.

        Arguments:
            count: how many; fewer come when fewer are pending.
            keep: how many of the last of them are to be given again the next time.
        """
        joined = np.concatenate(self._mixed) if self._mixed else np.zeros(0, dtype=np.complex64)
        given = joined[:count].copy()
        done = max(0, len(given) - keep)
        rest = joined[done:].copy()
        self._mixed = [rest]
        given *= self._turned(self._taken, len(given))
        self._taken += done
        self.pending = len(rest)
        return given

    def _turned(self, first: int, count: int) -> NDArray[np.complex64]:
        """Give twice the turning that is still to be taken out of each value, from the `first` on."""
        step = self.frequency_hz * self.factor / self._rate_hz
        coarse = (first + _AT_ONCE * np.arange(-(-count // _AT_ONCE))) * step % 1.0
        fine = np.arange(_AT_ONCE) * step % 1.0
        table = np.outer(2.0 * np.exp(-2j * np.pi * coarse), np.exp(-2j * np.pi * fine))
        return table.reshape(-1)[:count].astype(np.complex64)


__all__ = ["OFF_TONE", "SWINGING", "TRACE_RATE_HZ", "ToneMixer"]
