"""Follow a tone that was mixed down: unwrap its phase, mask where the envelope drops out.

The phase is unwrapped in double precision, since single precision biases an hour's mean by parts in a million.
"""

from dataclasses import dataclass
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapewright.measure.level import modulation
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.runs_of_mask import runs_of

DROP_BELOW: Final = 0.35
"""Of the median envelope: deeper, the phase means nothing (9 dB)."""
DROP_UNTIL: Final = 0.5
"""A dropout lasts until the envelope is back to this: 6 dB."""
END_SCRAP_S: Final = 0.15
GUARD_S: Final = 0.1
"""Left out inside either end of the tone: key clicks, the run-up, the level's own rise."""
NOISE_S: Final = 180.0
"""The noise beside the tone is taken from so much of its beginning."""
BESIDE_S: Final = 0.01
"""Beside a dropout the level is on its way down or up for so long."""
Scalar = TypeVar("Scalar", bound=np.generic)


@dataclass(frozen=True, slots=True)
class Course:
    """A followed tone in figures.

    Arguments:
        start_s: time in the file at which it begins.
        end_s: time at which it ends.
        frequency_hz: mean frequency over the stretch.
        dropouts: how many were masked.
        masked_s: how long they last together.
        noise_rad2_per_hz: density of the phase noise that comes with the tone's own noise.
        amplitude: of the tone, full scale 1.
        swing: how far its level swings, one sigma as a ratio.
        change_db: level at the end over that at the beginning, decibels.
        modulation: rate, hertz, and depth, ratio, of a steady modulation of the level; None when there is none.
    """

    start_s: float
    end_s: float
    frequency_hz: float
    dropouts: int
    masked_s: float
    noise_rad2_per_hz: float
    amplitude: float
    swing: float
    change_db: float = 0.0
    modulation: tuple[float, float] | None = None


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
        change_db: level of the last tenth of the stretch over that of the first, decibels.
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
    change_db: float = 0.0

    @property
    def end_s(self) -> float:
        """Give the time of the last sample in the file."""
        return self.start_s + (len(self.phase_rad) - 1) / self.rate_hz

    @property
    def course(self) -> Course:
        """Give it in figures."""
        return Course(
            self.start_s,
            self.end_s,
            self.frequency_hz,
            self.dropouts,
            self.masked_s,
            self.noise_rad2_per_hz,
            self.amplitude,
            self.swing,
            self.change_db,
            modulation(self.envelope, np.isfinite(self.phase_rad), self.rate_hz),
        )


def _local_median(amplitude: NDArray[np.floating[Any]], rate_hz: float) -> NDArray[np.float64]:
    """Follow the median level over about two seconds: from the medians of half-second pieces, smoothed over five."""
    length = max(1, min(int(0.5 * rate_hz), len(amplitude)))
    count = max(1, len(amplitude) // length)
    every = max(1, length // 150)  # the level does not change much faster
    medians = np.median(amplitude[: count * length].reshape(count, length)[:, ::every], axis=1)
    medians = ndimage.median_filter(medians, size=min(5, count | 1), mode="nearest")
    centres = (np.arange(count) + 0.5) * length
    return np.asarray(np.interp(np.arange(len(amplitude)), centres, medians), dtype=np.float64)


def _thinned(values: NDArray[Scalar]) -> NDArray[Scalar]:
    """Give some 10 000 of the values, evenly taken: enough for a median."""
    return values[:: max(1, len(values) // 10000)]


def _dropouts(envelope: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mark dropouts: from where the envelope leaves half its median, if it falls below a third, until it is back."""
    low = envelope < DROP_UNTIL
    marked = np.zeros(len(envelope), dtype=bool)
    for start, stop in runs_of(low):
        if envelope[start:stop].min() < DROP_BELOW:
            marked[start:stop] = True
    return marked


def _unwrap(angle: NDArray[np.float32]) -> NDArray[np.float64]:
    """Lay an angle out over whole turns, in double precision."""
    phase = angle.astype(np.float64)
    if len(phase) > 1:
        step = np.diff(phase)
        step -= 2.0 * np.pi * np.rint(step / (2.0 * np.pi))
        np.cumsum(step, out=step)
        phase[1:] = phase[0] + step
    return phase


def _unwrapped(
    angle: NDArray[np.float32], good: NDArray[np.bool_], rate_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Unwrap inside each good run; across a dropout only where the speed on both sides leaves no doubt of the turns."""
    phase = np.full(len(angle), np.nan)
    piece = np.zeros(len(angle), dtype=np.intp)
    before: tuple[int, float, float] | None = None
    current = 0
    for start, stop in runs_of(good):
        run = _unwrap(angle[start:stop])
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


def _steady(
    mixed: NDArray[np.complex64], angle: NDArray[np.float32], rate_hz: float, within_hz: float
) -> NDArray[np.bool_]:
    """Mark where the frequency, over 10 ms, is near the tone's: what follows a tone may be as loud as the tone."""
    step = np.diff(angle)
    step -= np.float32(2.0 * np.pi) * np.rint(step * np.float32(0.5 / np.pi))
    if np.abs(step).max(initial=0.0) < min(within_hz * 2.0 * np.pi / rate_hz, 3.0):
        return np.ones(len(angle), dtype=bool)  # where each step is near, so is their mean
    turn = mixed[1:] * mixed[:-1].conj()
    length = max(1, int(0.01 * rate_hz))
    turning = np.angle(ndimage.uniform_filter1d(turn.real, length) + 1j * ndimage.uniform_filter1d(turn.imag, length))
    near = np.abs(turning) * rate_hz / (2.0 * np.pi) < within_hz
    return np.concatenate([near[:1], near])


def _edges(good: NDArray[np.bool_], rate_hz: float, trim: int) -> slice:
    """Find where the tone begins and ends, half a filter and the guard inside both edges.

    Short scraps at either end, split off by a dropout, are what comes before or after the tone, or not worth the risk.
    """
    runs = runs_of(good)
    while runs and runs[0][1] - runs[0][0] < END_SCRAP_S * rate_hz:
        runs.pop(0)
    while runs and runs[-1][1] - runs[-1][0] < END_SCRAP_S * rate_hz:
        runs.pop()
    if not runs or runs[-1][1] - runs[0][0] < 2 * trim + 2:
        return slice(0, 0)
    return slice(runs[0][0] + trim, runs[-1][1] - trim)


def tone_noise(phase: NDArray[np.float64], envelope: NDArray[np.float64], rate_hz: float) -> float:
    """Estimate the density of phase noise that is plain noise beside the tone, rad²/Hz, from 120 to 210 Hz off it.

    Noise stands in amplitude and in phase alike, flutter in phase alone, an uneven level in amplitude alone: where the
    two agree within a third it is their mean, else the smaller. Medians over time, and 10 ms beside a dropout left out,
    keep the flanks of dropouts from counting as noise.
    """
    phase, envelope = phase[: int(NOISE_S * rate_hz)], envelope[: int(NOISE_S * rate_hz)]
    bad = ~np.isfinite(phase)
    length = min(len(phase), 2048)
    if length < 256 or bad.all():
        return 0.0
    curve = np.where(bad, 0.0, np.gradient(np.where(bad, 0.0, phase)))
    curve[ndimage.binary_dilation(bad, iterations=2)] = 0.0
    beside = ndimage.binary_dilation(bad, iterations=max(2, int(BESIDE_S * rate_hz))) if bad.any() else bad
    level = np.where(beside, 0.0, envelope - float(np.mean(envelope[~bad])))
    frequency, amplitude = signal.welch(level, rate_hz, nperseg=length, average="median")
    _, turning = signal.welch(curve * rate_hz, rate_hz, nperseg=length, average="median")
    band = (frequency >= 120.0) & (frequency <= 210.0)
    step = 2.0 * rate_hz * np.sin(np.pi * frequency[band] / rate_hz) * np.cos(np.pi * frequency[band] / rate_hz)
    averaged = max(1.0, 1.5 * len(phase) / length)
    densities = np.array([np.median(amplitude[band]), np.median(turning[band] / step**2)])
    densities /= 1.0 - 1.0 / (3.0 * averaged)  # the median of a mean of so many periodograms lies under its mean
    alike = densities.max() < densities.min() * 4.0 / 3.0
    return float(densities.mean() if alike else densities.min())


@dataclass(frozen=True, slots=True, eq=False)
class _Masked:
    """What a mixer gave, and which of it is the tone."""

    amplitude: NDArray[np.float32]
    angle: NDArray[np.float32]
    envelope: NDArray[np.float64]
    good: NDArray[np.bool_]

    def part(self, kept: slice) -> "_Masked":
        return _Masked(self.amplitude[kept], self.angle[kept], self.envelope[kept], self.good[kept])


def _masked(mixed: NDArray[np.complex64], mixer: ToneMixer, loud: float) -> _Masked:
    amplitude, angle = np.abs(mixed), np.angle(mixed)
    envelope = amplitude / np.maximum(_local_median(amplitude, mixer.rate_hz), 1e-30)
    good = ~_dropouts(np.where(amplitude < 0.1 * loud, 0.0, envelope))
    good &= _steady(mixed, angle, mixer.rate_hz, mixer.off_tone_hz)
    return _Masked(amplitude, angle, envelope, good)


def _change_db(amplitude: NDArray[np.float32]) -> float:
    """Compare the level of the last tenth with that of the first."""
    tenth = max(1, len(amplitude) // 10)
    first, last = (float(np.median(_thinned(end))) for end in (amplitude[:tenth], amplitude[-tenth:]))
    return float(20.0 * np.log10(max(last, 1e-30) / max(first, 1e-30)))


def _trim(mixer: ToneMixer) -> int:
    return int(np.ceil(mixer.delay_frames / mixer.factor + GUARD_S * mixer.rate_hz))


def _described(held: _Masked, start_s: float, mixer: ToneMixer, whole: bool) -> Followed:
    """Unwrap what was kept; a whole tone's phase is taken against its own mean, a part's against the mixer's."""
    phase, piece = _unwrapped(held.angle, held.good, mixer.rate_hz)
    slope = _mean_slope(phase, piece) if whole else 0.0
    if slope:
        phase -= slope * np.arange(len(phase))
    if held.good.any():
        phase -= np.nanmean(phase)
    dropouts = runs_of(~held.good)
    return Followed(
        phase,
        held.envelope,
        piece,
        mixer.rate_hz,
        start_s,
        mixer.frequency_hz + slope * mixer.rate_hz / (2.0 * np.pi),
        len(dropouts),
        sum(stop - start for start, stop in dropouts) / mixer.rate_hz,
        tone_noise(phase, held.envelope, mixer.rate_hz) if whole else 0.0,
        float(np.median(_thinned(held.amplitude))),
        float(np.ptp(np.quantile(_thinned(held.envelope), [0.25, 0.75]))) / 1.349,
        _change_db(held.amplitude) if whole else 0.0,
    )


def followed(mixer: ToneMixer) -> Followed | None:
    """Turn all that a mixer has gathered into phase and envelope; None when less than 0.1 s of tone is left."""
    start_s = mixer.start_s
    mixed = mixer.take(mixer.pending)
    if len(mixed) < 0.1 * mixer.rate_hz:
        return None
    held = _masked(mixed, mixer, float(np.median(_thinned(np.abs(mixed)))))
    kept = _edges(held.good, mixer.rate_hz, _trim(mixer))
    if kept.stop - kept.start < 0.1 * mixer.rate_hz:
        return None
    return _described(held.part(kept), start_s + kept.start / mixer.rate_hz, mixer, whole=True)


def followed_part(
    mixed: NDArray[np.complex64], start_s: float, mixer: ToneMixer, loud: float, ends: tuple[bool, bool]
) -> Followed | None:
    """Do the same for one part of a long tone, its phase against the mixer's frequency; None when nothing is left.

    Arguments:
        mixed: from the mixer, shape (n,).
        start_s: time of the first of them.
        mixer: where they come from.
        loud: the tone's usual amplitude so far; 0 when not known yet.
        ends: whether the tone begins in this part, and whether it ends in it.
    """
    if len(mixed) < 0.1 * mixer.rate_hz:
        return None
    held = _masked(mixed, mixer, loud or float(np.median(_thinned(np.abs(mixed)))))
    edges = _edges(held.good, mixer.rate_hz, _trim(mixer))
    kept = slice(edges.start if ends[0] else 0, edges.stop if ends[1] else len(mixed))
    if kept.stop - kept.start < 0.1 * mixer.rate_hz:
        return None
    return _described(held.part(kept), start_s + kept.start / mixer.rate_hz, mixer, whole=False)


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
