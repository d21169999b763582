"""Follow a tone: mix with its mean frequency, filter, decimate, unwrap; mask where the envelope drops out.

The mixing, the linear-phase filter and the decimation are one matrix product over the samples laid out in rows of the
decimation factor (a polyphase filter), so that the sound is touched once, in single precision; the phase is unwrapped
in double precision, since single precision biases an hour's mean by parts in a million.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapewright.measure.tone import Tone
from tapewright.words.signal import Trace

TRACE_RATE_HZ: Final = 1200.0
"""Least rate of the trace: the weighting is met to 0.31 dB there, and 200 Hz of flutter passes."""
DROP_BELOW: Final = 0.35
"""Of the median envelope: deeper, the phase means nothing (9 dB)."""
DROP_UNTIL: Final = 0.5
"""A dropout lasts until the envelope is back to this: 6 dB."""
END_SCRAP_S: Final = 0.15
OFF_TONE: Final = 0.06
"""Further from the mean frequency than this, ratio, it is not the tone (a tape machine's worst is half of it)."""
SWINGING: Final = 0.2
"""The same for a tone known to swing strongly: where a belt slips, the speed dips by as much."""
GUARD_S: Final = 0.1
"""Left out inside either end of the tone: key clicks, the run-up, the level's own rise."""
JUMP: Final = 0.04
"""A change of frequency, ratio, within 10 ms from one held note to the next: no flywheel does that."""
HELD: Final = 0.006
"""A note is held when its frequency strays by no more than this, one sigma as a ratio, for 100 ms."""
NOISE_S: Final = 180.0
"""The noise beside the tone is taken from so much of its beginning."""
_DIFFERENTIATOR_S: Final = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """A tone followed through its stretch.

    Arguments:
        phase_rad: phase against a steady tone of `frequency_hz`, shape (n,); nan in dropouts.
        envelope: amplitude over its local median, shape (n,).
        piece: which unbroken piece each sample is in, shape (n,); across two pieces whole turns of phase may be lost.
        rate_hz: samples per second of these.
        start_s: time of the first one in the file.
        frequency_hz: mean frequency over the stretch.
        dropouts: how many were masked.
        masked_s: how long they last together.
        noise_rad2_per_hz: density of the phase noise that comes with the tone's own noise.
        amplitude: of the tone, full scale 1.
    swing: how far the level swings, one sigma as a ratio (from its quartiles, so that dropouts do not count).
    """

    phase_rad: NDArray[np.float64]
    envelope: NDArray[np.float64]
    piece: NDArray[np.intp]
    rate_hz: float
    start_s: float
    frequency_hz: float
    dropouts: int
    masked_s: float
    noise_rad2_per_hz: float
    amplitude: float
    swing: float

    @property
    def end_s(self) -> float:
        """Give the time of the last sample in the file."""
        return self.start_s + (len(self.phase_rad) - 1) / self.rate_hz


class ToneMixer:
    """Mix, filter and decimate one channel as its blocks come in.

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
        least_hz = max(TRACE_RATE_HZ, 2.0 * self._edge_hz + 250.0) if swinging else TRACE_RATE_HZ
        self.factor = max(1, int(rate_hz // least_hz))
        self.rate_hz = rate_hz / self.factor
        taps = self._filter()
        self._delay_frames = (len(taps) - 1) / 2.0
        self._parts = -(-len(taps) // self.factor)
        self._matrix = self._polyphase(taps)
        self.first = max(0, int((tone.start_s - 0.1) * rate_hz))
        self.last = min(frames, int((tone.end_s + 0.1) * rate_hz))
        self._rest = np.zeros(0, dtype=np.float32)
        self._mixed: list[NDArray[np.complex64]] = []

    @property
    def band_hz(self) -> float:
        """Give the band that is followed, both sides, to the filter's half-amplitude points."""
        return 2.0 * self._edge_hz + 250.0

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
        edge = self._edge_hz
        stop = min(edge + 250.0, self.rate_hz - edge)
        count, beta = signal.kaiserord(75.0, (stop - edge) / (self._rate_hz / 2.0))
        return np.asarray(signal.firwin(count | 1, (edge + stop) / 2.0, window=("kaiser", beta), fs=self._rate_hz))

    def _polyphase(self, taps: NDArray[np.float64]) -> NDArray[np.float32]:
        padded = np.zeros(self._parts * self.factor)
        padded[: len(taps)] = taps
        turns = np.arange(len(padded)) * (self.frequency_hz / self._rate_hz)
        parts = (padded * np.exp(-2j * np.pi * (turns % 1.0))).reshape(self._parts, self.factor).T
        return np.ascontiguousarray(np.concatenate([parts.real, parts.imag], axis=1).T, dtype=np.float32)

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples of the stretch, shape (n,)."""
        joined = np.concatenate([self._rest, samples])
        rows = len(joined) // self.factor
        count = rows - self._parts + 1
        if count <= 0:
            self._rest = joined
            return
        table = self._matrix @ joined[: rows * self.factor].reshape(rows, self.factor).T
        real, imaginary = table[0, :count].copy(), table[self._parts, :count].copy()
        for part in range(1, self._parts):
            real += table[part, part : part + count]
            imaginary += table[self._parts + part, part : part + count]
        self._mixed.append(real + 1j * imaginary)
        self._rest = joined[count * self.factor :].copy()

    def baseband(self) -> tuple[NDArray[np.complex128], float]:
        """Give the tone against a steady one of `frequency_hz`, amplitude 1 for full scale, and the first time.

        What was gathered is handed over: a second call has nothing more to give.
        """
        mixed = np.concatenate(self._mixed).astype(np.complex128) if self._mixed else np.zeros(0, dtype=np.complex128)
        self._mixed.clear()
        turns = np.arange(len(mixed)) * (self.frequency_hz * self.factor / self._rate_hz)
        mixed *= 2.0 * np.exp(-2j * np.pi * (turns % 1.0))
        return mixed, (self.first + self._delay_frames) / self._rate_hz


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _local_median(amplitude: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Follow the median level over about two seconds: from the medians of half-second pieces, smoothed over five."""
    length = max(1, min(int(0.5 * rate_hz), len(amplitude)))
    count = max(1, len(amplitude) // length)
    medians = np.median(amplitude[: count * length].reshape(count, length), axis=1)
    medians = ndimage.median_filter(medians, size=min(5, count | 1), mode="nearest")
    centres = (np.arange(count) + 0.5) * length
    return np.asarray(np.interp(np.arange(len(amplitude)), centres, medians), dtype=np.float64)


def _thinned(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give some 60 000 of the values, evenly taken: enough for a median."""
    return values[:: max(1, len(values) // 60000)]


def _dropouts(envelope: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mark dropouts: from where the envelope leaves half its median, if it falls below a third, until it is back."""
    low = envelope < DROP_UNTIL
    marked = np.zeros(len(envelope), dtype=bool)
    for start, stop in _runs(low):
        if envelope[start:stop].min() < DROP_BELOW:
            marked[start:stop] = True
    return marked


def _unwrapped(
    mixed: NDArray[np.complex128], good: NDArray[np.bool_], rate_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Unwrap inside each good run; across a dropout only where the speed on both sides leaves no doubt of the turns."""
    phase = np.full(len(mixed), np.nan)
    piece = np.zeros(len(mixed), dtype=np.intp)
    before: tuple[int, float, float] | None = None
    current = 0
    for start, stop in _runs(good):
        run = np.unwrap(np.angle(mixed[start:stop]))
        near = min(len(run) - 1, int(0.06 * rate_hz))
        if before is not None:
            last, value, slope = before
            slopes = (slope, (run[near] - run[0]) / near if near else slope)
            wanted = value + 0.5 * sum(slopes) * (start - last)
            run += 2.0 * np.pi * np.round((wanted - run[0]) / (2.0 * np.pi))
            unsure = abs(slopes[1] - slopes[0]) * (start - last) / 2.0 + 2.0 * np.pi * 3.0 * (start - last) / rate_hz
            current += int(unsure > 0.35 * 2.0 * np.pi)
        phase[start:stop], piece[start:stop] = run, current
        before = (stop - 1, float(run[-1]), float((run[-1] - run[-1 - near]) / near) if near else 0.0)
    return phase, piece


def _steady(mixed: NDArray[np.complex128], rate_hz: float, within_hz: float) -> NDArray[np.bool_]:
    """Mark where the frequency, over 10 ms, is near the tone's: what follows a tone may be as loud as the tone."""
    turn = mixed[1:] * mixed[:-1].conj()
    length = max(1, int(0.01 * rate_hz))
    turning = np.angle(ndimage.uniform_filter1d(turn.real, length) + 1j * ndimage.uniform_filter1d(turn.imag, length))
    near = np.abs(turning) * rate_hz / (2.0 * np.pi) < within_hz
    return np.concatenate([near[:1], near])


def _edges(good: NDArray[np.bool_], rate_hz: float, trim: int) -> slice:
    """Find where the tone begins and ends, half a filter and the guard inside both edges.

    Short scraps at either end, split off by a dropout, are what comes before or after the tone, or not worth the risk.
    """
    runs = list(_runs(good))
    while runs and runs[0][1] - runs[0][0] < END_SCRAP_S * rate_hz:
        runs.pop(0)
    while runs and runs[-1][1] - runs[-1][0] < END_SCRAP_S * rate_hz:
        runs.pop()
    if not runs or runs[-1][1] - runs[0][0] < 2 * trim + 2:
        return slice(0, 0)
    return slice(runs[0][0] + trim, runs[-1][1] - trim)


def _tone_noise(phase: NDArray[np.float64], envelope: NDArray[np.float64], rate_hz: float) -> float:
    """Estimate the density of phase noise that is plain noise beside the tone, rad²/Hz, from 120 to 210 Hz off it.

    Noise stands in amplitude and in phase alike, flutter in phase alone, an uneven level in amplitude alone: where the
    two agree within a third it is their mean, else the smaller.
    """
    phase, envelope = phase[: int(NOISE_S * rate_hz)], envelope[: int(NOISE_S * rate_hz)]
    bad = ~np.isfinite(phase)
    length = min(len(phase), 2048)
    if length < 256 or bad.all():
        return 0.0
    curve = np.where(bad, 0.0, np.gradient(np.where(bad, 0.0, phase)))
    curve[ndimage.binary_dilation(bad, iterations=2)] = 0.0
    level = np.where(bad, 0.0, envelope - float(np.mean(envelope[~bad])))
    frequency, amplitude = signal.welch(level, rate_hz, nperseg=length)
    _, turning = signal.welch(curve * rate_hz, rate_hz, nperseg=length)
    band = (frequency >= 120.0) & (frequency <= 210.0)
    step = 2.0 * rate_hz * np.sin(np.pi * frequency[band] / rate_hz) * np.cos(np.pi * frequency[band] / rate_hz)
    averaged = max(1.0, 1.5 * len(phase) / length)
    densities = np.array([np.median(amplitude[band]), np.median(turning[band] / step**2)])
    densities /= 1.0 - 1.0 / (3.0 * averaged)  # the median of a mean of so many periodograms lies under its mean
    alike = densities.max() < densities.min() * 4.0 / 3.0
    return float(densities.mean() if alike else densities.min())


def followed(mixer: ToneMixer) -> Followed | None:
    """Turn what a mixer has gathered into phase and envelope; None when less than 0.1 s of tone is left."""
    mixed, start_s = mixer.baseband()
    amplitude = np.abs(mixed)
    if len(mixed) < 0.1 * mixer.rate_hz:
        return None
    envelope = amplitude / np.maximum(_local_median(amplitude, mixer.rate_hz), 1e-30)
    loud = float(np.median(_thinned(amplitude)))
    good = ~_dropouts(np.where(amplitude < 0.1 * loud, 0.0, envelope))
    good &= _steady(mixed, mixer.rate_hz, mixer.off_tone_hz)
    trim = int(np.ceil(mixer._delay_frames / mixer.factor + GUARD_S * mixer.rate_hz))
    kept = _edges(good, mixer.rate_hz, trim)
    mixed, envelope, good = mixed[kept], envelope[kept], good[kept]
    if len(mixed) < 0.1 * mixer.rate_hz:
        return None
    phase, piece = _unwrapped(mixed, good, mixer.rate_hz)
    slope = _mean_slope(phase, piece)
    phase -= slope * np.arange(len(phase))
    phase -= np.nanmean(phase)
    dropouts = list(_runs(~good))
    return Followed(
        phase,
        envelope,
        piece,
        mixer.rate_hz,
        start_s + kept.start / mixer.rate_hz,
        mixer.frequency_hz + slope * mixer.rate_hz / (2.0 * np.pi),
        len(dropouts),
        sum(stop - start for start, stop in dropouts) / mixer.rate_hz,
        _tone_noise(phase, envelope, mixer.rate_hz),
        float(np.median(_thinned(amplitude[kept]))),
        float(np.ptp(np.quantile(_thinned(envelope), [0.25, 0.75]))) / 1.349,
    )


def _mean_slope(phase: NDArray[np.float64], piece: NDArray[np.intp]) -> float:
    """Give the mean advance of the phase per sample, radians: least squares, each piece with an offset of its own."""
    above = below = 0.0
    for number in range(int(piece[-1]) + 1):
        at = np.flatnonzero((piece == number) & np.isfinite(phase)).astype(np.float64)
        if len(at) < 2:
            continue
        offset = at - at.mean()
        above += float(offset @ phase[at.astype(np.intp)])
        below += float(offset @ offset)
    return above / below if below else 0.0


def speed_trace(tone: Followed) -> Trace:
    """Give the speed deviation from its mean, fast positive, flat to 200 Hz; nan in dropouts and 10 ms beside them.

    Arguments:
        tone: from `followed`.
    """
    taps = _differentiator(tone.rate_hz)
    half = len(taps) // 2
    bad = ~np.isfinite(tone.phase_rad)
    bad[1:] |= np.diff(tone.piece) != 0
    filled = tone.phase_rad.copy()
    if bad.any() and not bad.all():
        at = np.arange(len(filled))
        held = ~np.isfinite(filled)
        filled[held] = np.interp(at[held], at[~held], filled[~held])
    turning = np.convolve(filled, taps, mode="same") * tone.rate_hz / (2.0 * np.pi * tone.frequency_hz)
    spoilt = ndimage.binary_dilation(bad, structure=np.ones(len(taps), dtype=bool)) if bad.any() else bad
    spoilt[:half] = spoilt[-half:] = True
    turning[spoilt] = np.nan
    return Trace(turning[half:-half], tone.rate_hz, tone.start_s + half / tone.rate_hz)


def jumps(trace: Trace) -> bool:
    """Say whether the frequency ever jumps from one held note to another, as keys and computers make it do.

    Arguments:
        trace: from `speed_trace`.
    """
    length = max(3, int(0.1 * trace.rate_hz))
    apart = length // 2 + int(0.005 * trace.rate_hz)
    there = np.isfinite(trace.values)
    values = np.where(there, trace.values, np.where(np.arange(len(there)) % 2, 1.0, -1.0))
    mean = ndimage.uniform_filter1d(values, length)
    strays = np.sqrt(np.maximum(ndimage.uniform_filter1d(values**2, length) - mean**2, 0.0))
    before, after = slice(0, max(0, len(values) - 2 * apart)), slice(2 * apart, None)
    held = (strays[before] < HELD) & (strays[after] < HELD)
    return bool(np.any(held & (np.abs(mean[after] - mean[before]) > JUMP)))


def _differentiator(rate_hz: float) -> NDArray[np.float64]:
    """Design a differentiator per sample by least squares: within 0.05 % up to 205 Hz, closing above 400 Hz.

    Short, since half of it is lost on either side of a dropout.
    """
    half = max(12, int(0.5 * _DIFFERENTIATOR_S * rate_hz))
    order = np.arange(1, half + 1)
    passed = 2.0 * np.pi * np.linspace(0.5, 205.0, 300) / rate_hz
    closed = 2.0 * np.pi * np.linspace(min(430.0, 0.4 * rate_hz), 0.5 * rate_hz, 120) / rate_hz
    table = np.concatenate(
        [2.0 * np.sin(passed[:, None] * order) / passed[:, None], 0.02 * np.sin(closed[:, None] * order)]
    )
    wanted = np.concatenate([np.ones(len(passed)), np.zeros(len(closed))])
    side = np.linalg.lstsq(table, wanted, rcond=None)[0]
    return np.concatenate([side[::-1], [0.0], -side]).astype(np.float64)
