"""A tone of more than a few minutes, read in equal stretches of some two and a half minutes as it comes in.

Each stretch is followed, filtered and counted, with ten seconds of its neighbours on either side so that the filters
are settled; what is kept of it are counts and sums, the mean spectrum, and a trace thinned to a fixed number of points.
Memory does not grow with the length of the tone.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from tapewright.measure.averaged import MeanSpectrum
from tapewright.measure.bands import AVERAGED, FAST, WHOLE, WOW, band_gain
from tapewright.measure.beats import beat
from tapewright.measure.flutter import ready_trace
from tapewright.measure.follow import Followed, followed_part, tone_noise
from tapewright.measure.lines import FittedLines
from tapewright.measure.meter import Meter, Sizes
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.quick_lines import strong_lines
from tapewright.measure.speed_trace import jumps, means_in_gaps, speed_trace
from tapewright.measure.trend import straight_line
from tapewright.standards.iec_60386 import SETTLING_S, weighting_response
from tapewright.words.signal import Trace

LONG_S: Final = 240.0
"""A tone longer than this is read in stretches."""
STRETCH_S: Final = 150.0
LEAD_S: Final = 10.0
"""Twenty time constants of the weighting's slowest pole, and three of the unweighted band's lower edge."""
TRACE_POINTS: Final = 600_000
"""The thinned trace holds at most so many; of an hour 160 a second."""
REFLECTED_S: Final = 5.0
WOW_THINNED: Final = 16
"""Wow ends at 10 Hz: every sixteenth value, some 75 a second, holds it."""
FLAT_BANDS: Final = (WHOLE, AVERAGED, FAST)
SLOW_RATE_HZ: Final = 10.0
SLOW_TOP_HZ: Final = 3.1
SLOW_STOP_DB: Final = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """A deviation behind each filter.

    Arguments:
        weighted: behind the weighting network, every other value, shape ((n + 1) // 2,).
        flat: in each of `FLAT_BANDS`, the same values.
        wow: in the band of wow, every sixteenth value.
    """

    weighted: NDArray[np.float32]
    flat: tuple[NDArray[np.float32], ...]
    wow: NDArray[np.float32]


@lru_cache(maxsize=4)
def _gains(
    length: int, rate_hz: float
) -> tuple[NDArray[np.complex64], tuple[NDArray[np.float32], ...], NDArray[np.float32]]:
    """Give the weighting network and the flat bands at the frequencies that half the rate can hold; wow at its own."""
    frequency = fft.rfftfreq(length, 1.0 / rate_hz)[: length // 4 + 1]
    slow = frequency[: length // (2 * WOW_THINNED) + 1]
    return (
        (0.5 * weighting_response(frequency)).astype(np.complex64),
        tuple((0.5 * band_gain(frequency, band.band_hz)).astype(np.float32) for band in FLAT_BANDS),
        (band_gain(slow, WOW.band_hz) / WOW_THINNED).astype(np.float32),
    )


def passed(values: NDArray[np.float64], rate_hz: float) -> Passed:
    """Pass a deviation through the weighting network and through the flat bands.

    Arguments:
        values: shape (n,), no gaps, drift taken out.
        rate_hz: samples per second, at least 1200.

    The network is the analogue one itself, applied to the spectrum; its first seconds hold what comes before,
    reflected. What half the rate would fold into the band lies above 400 Hz, which `speed_trace` does not let through.
    """
    reach = min(len(values) - 1, int(REFLECTED_S * rate_hz)) // WOW_THINNED * WOW_THINNED
    longer = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]]).astype(np.float32)
    length = WOW_THINNED * fft.next_fast_len(-(-len(longer) // WOW_THINNED))
    spectrum = fft.rfft(longer, length)[: length // 4 + 1]
    weighting, bands, slow = _gains(length, rate_hz)
    weighted, *flat = (_kept(spectrum * gain, length, 2, reach, len(values)) for gain in (weighting, *bands))
    wow = _kept(spectrum[: len(slow)] * slow, length, WOW_THINNED, reach, len(values))
    return Passed(weighted, tuple(flat), wow)


def _kept(
    spectrum: NDArray[np.complexfloating], length: int, every: int, reach: int, count: int
) -> NDArray[np.float32]:
    """Turn a spectrum back into every so-manieth value of the record, what was put before and behind it left out."""
    values = fft.irfft(spectrum, length // every)
    return np.asarray(values[reach // every : reach // every + -(-count // every)], dtype=np.float32)


class SlowTrace:
    """The speed deviation below 3 Hz, where the reels are, some ten values a second, as it comes in.

    Arguments:
        rate_hz: of what comes in.
    """

    def __init__(self, rate_hz: float) -> None:
        self.factor = max(1, int(rate_hz // SLOW_RATE_HZ))
        self.rate_hz = rate_hz / self.factor
        slope_hz = self.rate_hz - 2.0 * SLOW_TOP_HZ
        count, beta = signal.kaiserord(SLOW_STOP_DB, slope_hz / (rate_hz / 2.0))
        self._taps = signal.firwin(count | 1, self.rate_hz / 2.0, window=("kaiser", beta), fs=rate_hz)
        self.delay_s = (len(self._taps) - 1) / 2.0 / rate_hz
        self._rest = np.zeros(0)
        self._held: list[NDArray[np.float32]] = []

    def add(self, values: NDArray[np.float64]) -> None:
        """Take the next values, shape (n,), no gaps."""
        joined = np.concatenate([self._rest, values])
        count = (len(joined) - len(self._taps)) // self.factor + 1
        if count > 0:
            windows = np.lib.stride_tricks.sliding_window_view(joined, len(self._taps))[:: self.factor]
            self._held.append(np.einsum("ij,j->i", windows, self._taps).astype(np.float32))
        self._rest = joined[max(0, count) * self.factor :]

    def trace(self, start_s: float) -> Trace:
        """Give all so far; `start_s` is the time of the first value that came in."""
        values = np.concatenate(self._held).astype(np.float64) if self._held else np.zeros(0)
        return Trace(values, self.rate_hz, start_s + self.delay_s)


class ThinnedTrace:
    """Means of so many values at a time, as they come in; nan where none is there."""

    def __init__(self, factor: int) -> None:
        self.factor = factor
        self._rest = np.zeros(0)
        self._means: list[NDArray[np.float32]] = []

    def add(self, values: NDArray[np.float64]) -> None:
        """Take the next values, shape (n,)."""
        joined = np.concatenate([self._rest, values])
        rows = len(joined) // self.factor
        self._rest = joined[rows * self.factor :]
        table = joined[: rows * self.factor].reshape(rows, self.factor)
        if np.isfinite(table).all():
            self._means.append(table.mean(axis=1).astype(np.float32))
            return
        there = np.isfinite(table)
        counts = there.sum(axis=1)
        sums = np.where(there, table, 0.0).sum(axis=1)
        means = np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
        self._means.append(means.astype(np.float32))

    def values(self) -> NDArray[np.float64]:
        """Give all means so far, shape (n,)."""
        return np.concatenate(self._means).astype(np.float64) if self._means else np.zeros(0)


class LongTone:
    """Follow and count a long tone while its mixer is being filled.

    Arguments:
        mixer: one that has not been filled yet.
        meter: collects what the quasi-peak meter is to be shown, for all channels together.
    """

    def __init__(self, mixer: ToneMixer, meter: Meter) -> None:
        self.mixer, self.meter = mixer, meter
        rate = mixer.rate_hz
        self.count = max(2, round(mixer.expected / rate / STRETCH_S))
        self._body = -(-mixer.expected // self.count) // 2 * 2 + 2
        self._lead = int(LEAD_S * rate) // 2 * 2
        self._number = 0
        self._loud: list[float] = []
        self.weighted, self.pointer, self.wow = Sizes(), Sizes(), Sizes()
        self.flat = tuple(Sizes() for _ in FLAT_BANDS)
        self.thinned = ThinnedTrace(max(1, -(-mixer.expected // TRACE_POINTS)))
        self.slow = SlowTrace(rate)
        self.spectrum = MeanSpectrum(rate / 2.0)
        self.parts: list[Part] = []
        self.second: tuple[float, float] | None = None
        self.noise_rad2_per_hz = 0.0
        self.start_s, self.end_s = 0.0, 0.0
        self.begins_s, self.ends_s = 0.0, 0.0
        self.jumped = False
        self.lost_s = 0.0
        self.modulation: tuple[float, float] | None = None

    def advance(self, ended: bool = False) -> None:
        """Take every stretch that is complete; when the sound has ended, what is left as well."""
        while self._number < self.count:
            first, last = self._number == 0, self._number == self.count - 1
            wanted = self._body + self._lead * (1 if first else 2)
            if self.mixer.pending < wanted and not ended:
                return
            if last and not ended:
                return
            start_s = self.mixer.start_s
            mixed = self.mixer.take(self.mixer.pending if last else wanted, 0 if last else 2 * self._lead)
            self._number += 1
            if len(mixed) <= self._lead:
                self._number = self.count
                return
            short = len(mixed) < wanted
            self._take(mixed, start_s, first, last or short)
            if short:
                self._number = self.count

    def _take(self, mixed: NDArray[np.complex64], start_s: float, first: bool, last: bool) -> None:
        rate = self.mixer.rate_hz
        begins = start_s if first else start_s + self._lead / rate
        ends = np.inf if last else start_s + ((0 if first else self._lead) + self._body) / rate
        loud = float(np.median(self._loud)) if self._loud else 0.0
        tone = followed_part(mixed, start_s, self.mixer, loud, (first, last))
        trace = None if tone is None else speed_trace(tone)
        if tone is None or trace is None or np.count_nonzero(np.isfinite(trace.values)) < rate:
            return
        if not self.parts:
            self.start_s, self.begins_s = trace.start_s, tone.start_s
            self.second, self.modulation = beat(tone), tone.course.modulation
            self.noise_rad2_per_hz = tone_noise(tone.phase_rad, tone.envelope, rate)
        elif trace.start_s > self.end_s + 1.5 / rate and not first:
            self._fill(begins)
        self._loud.append(tone.amplitude)
        self.jumped = self.jumped or (self.mixer.swinging and jumps(trace))
        from_, to = (round((at - trace.start_s) * rate) for at in (begins, min(ends, tone.end_s + 1.0)))
        body = slice(max(0, from_), min(len(trace.values), to))
        self._count(tone, trace, body, settled=not first)
        values = trace.values[body]
        self.thinned.add(values)
        self.end_s = trace.start_s + (body.stop - 1) / rate
        self.ends_s = tone.end_s if last else self.end_s
        there = np.isfinite(values)
        self.parts.append(_part(tone, trace, body, values, there))

    def _fill(self, begins: float) -> None:
        """Keep the thinned trace in time where a whole stretch was lost."""
        lost = round((begins - self.end_s) * self.mixer.rate_hz) - 1
        if lost > 0:
            self.lost_s += lost / self.mixer.rate_hz
            self.thinned.add(np.full(lost, np.nan))
            self.slow.add(np.zeros(lost))

    def _count(self, tone: Followed, trace: Trace, body: slice, settled: bool) -> None:
        rate = trace.rate_hz
        gaps = not np.isfinite(trace.values).all()
        lines = strong_lines(trace) if gaps else _NO_LINES
        means = means_in_gaps(tone, trace) if gaps else None
        ready = ready_trace(trace, lines, True, means)
        held = ready_trace(trace, lines, False, means) if gaps else ready
        behind = passed(ready.values, rate)
        counted = ready.counted.copy()
        if not settled:
            counted[: int(SETTLING_S * rate)] = False
        inside = np.zeros(len(counted), dtype=bool)
        inside[body] = True
        shown, heard = (counted & inside)[::2], held.counted & inside
        self.weighted.add(behind.weighted[shown])
        for sizes, flat in zip(self.flat, behind.flat, strict=True):
            sizes.add(flat[heard[::2]])
        self.wow.add(behind.wow[heard[::WOW_THINNED]])
        self.meter.add(np.where(ready.counted[::2], behind.weighted, 0.0), shown, self.pointer, rate / 2.0)
        self.slow.add(_filled(trace.values, ready.values)[body])
        half = slice(body.start // 2, body.stop // 2)
        self.spectrum.add(
            np.asarray(ready.values[::2][half]), np.isfinite(trace.values[::2][half]), _mean(trace.values[body])
        )


def _filled(values: NDArray[np.float64], flat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fill the gaps of a deviation with what stands in for them, the straight line put back."""
    there = np.isfinite(values)
    return values if there.all() else np.where(there, values, flat + straight_line(values, there))


def _mean(values: NDArray[np.float64]) -> float:
    there = values[np.isfinite(values)]
    return float(there.mean()) if len(there) else 0.0


_EMPTY: Final = np.zeros(0)
_NO_LINES: Final = FittedLines((), _EMPTY, _EMPTY, _EMPTY, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Part:
    """One stretch in figures.

    Arguments:
        amplitude: of the tone, full scale 1.
        swing: how far its level swings, one sigma as a ratio.
        dropouts: how many begin in it.
        masked_s: how long they last.
        furthest: largest deviation from the mixer's frequency, either way, ratio: the lowest and the highest.
    """

    amplitude: float
    swing: float
    dropouts: int
    masked_s: float
    furthest: tuple[float, float]


def _part(tone: Followed, trace: Trace, body: slice, values: NDArray[np.float64], there: NDArray[np.bool_]) -> Part:
    offset = round((trace.start_s - tone.start_s) * trace.rate_hz)
    bad = ~np.isfinite(tone.phase_rad[offset + body.start : offset + body.stop])
    begins = int(np.count_nonzero(bad[1:] & ~bad[:-1])) + int(bool(len(bad)) and bool(bad[0]))
    held = values[there]
    reach = (float(held.min()), float(held.max())) if len(held) else (0.0, 0.0)
    return Part(tone.amplitude, tone.swing, begins, float(np.count_nonzero(bad)) / trace.rate_hz, reach)
