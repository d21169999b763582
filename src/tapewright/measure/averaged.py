"""The mean spectrum of a long tone's stretches, and the steady lines that stand out of it.

Each stretch gives a spectrum; what is kept is their mean and how much they scatter. A line that a single stretch hides
in noise stands out of the mean of many, since the background of a mean of K spectra is K times as even. Where the speed
drifts, the spectra are also laid over each other in step with the speed: what turns with the tape stays in its place.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, stats

from tapewright.measure.lines import (
    APART_BINS,
    FALSE_ALARM,
    LEAST_CYCLES,
    LEAST_PCT,
    MOST_LINES,
    SINE_COST,
    SKIRT_BINS,
    SKIRT_RATIO,
    TOP_HZ,
    TRIALS_PER_BIN,
    FittedLines,
)
from tapewright.words.signal import Line

PADDED: Final = 2
"""Points of the spectrum per bin."""
LOBE_BINS: Final = 1.5
"""Half-width of a line's lobe: the first null of a half-sine taper."""
LOBE_POINTS: Final = 2 * round(LOBE_BINS * PADDED) + 1
LOBE_COST: Final = 1.5
"""Variance of a size summed over the lobe, over that of the best fit: the taper counts twice."""
LOOSE_BINS: Final = 4.0
"""A line wanders by up to so much from stretch to stretch and is still one line."""
WHITENED_OCTAVE: Final = 0.25
LOCAL_BINS: Final = 24.0
"""Half-width of the local background."""
MEDIAN_COST: Final = 2.0
"""A median over neighbours is as uncertain as a mean over so many times fewer."""
SKIRT_ABOVE: Final = 4.0
"""What stands less than so far above the skirt of a stronger line, in power, is the skirt."""
UNMOVED_BINS: Final = 0.05
DRIFTS: Final = 0.2
"""The spectra are laid in step with the speed as well where its drift moves 10 Hz by more bins than this."""


@dataclass(frozen=True, slots=True, eq=False)
class Mean:
    """The mean of so many spectra.

    Arguments:
        frequency_hz: shape (n,).
        density: mean power of the speed per hertz, ratio² per hertz, shape (n,).
        scatter: one sigma of a single spectrum about it, both averaged over a lobe, shape (n,).
        count: how many spectra.
        seconds: length of each.
        share: how much of it was not masked.
    """

    frequency_hz: NDArray[np.float64]
    density: NDArray[np.float64]
    scatter: NDArray[np.float64]
    count: int
    seconds: float
    share: float


class _Sum:
    """Sums of spectra, and of the squares of their means over a lobe."""

    def __init__(self, size: int) -> None:
        self.total, self.squares = np.zeros(size), np.zeros(size)

    def add(self, density: NDArray[np.float64], lobes: NDArray[np.float64]) -> None:
        self.total += density
        self.squares += lobes**2


class MeanSpectrum:
    """Spectra of equally long stretches, averaged as they come.

    Arguments:
        rate_hz: samples per second of the speed deviation.
    """

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self.count, self.seconds, self.share = 0, 0.0, 0.0
        self._length = 0
        self._first = 0.0
        self._frequency = np.zeros(0)
        self._fixed, self._in_step = _Sum(0), _Sum(0)
        self._moved = 0.0

    def add(self, values: NDArray[np.float64], there: NDArray[np.bool_], mean: float) -> None:
        """Take one stretch; one shorter than half the first is left out.

        Arguments:
            values: speed deviation, gaps filled, drift taken out, shape (n,).
            there: which of them were not filled in, shape (n,).
            mean: mean speed deviation of the stretch, ratio.
        """
        if not self.count:
            self._length = PADDED * fft.next_fast_len(len(values), real=True)
            self.seconds = len(values) / self.rate_hz
            self._frequency = fft.rfftfreq(self._length, 1.0 / self.rate_hz)
            self._frequency = self._frequency[: int(np.searchsorted(self._frequency, TOP_HZ)) + 1]
            self._fixed, self._in_step = _Sum(len(self._frequency)), _Sum(len(self._frequency))
            self._first = mean
        if 2 * len(values) < self.seconds * self.rate_hz or there.mean() < 0.5:
            return
        values = values[: self._length // PADDED]
        taper = np.sin(np.pi * (np.arange(len(values)) + 0.5) / len(values))
        held = ((values - values.mean()) * taper).astype(np.float32)
        spectrum = fft.rfft(held, self._length)[: len(self._frequency)]
        power = spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
        density = power * (2.0 / (self.rate_hz * float(taper @ taper)))
        lobes = ndimage.uniform_filter1d(density, LOBE_POINTS, mode="nearest")
        self._fixed.add(density, lobes)
        ratio = (1.0 + mean) / (1.0 + self._first)
        self._moved = max(self._moved, abs(ratio - 1.0) * 10.0 * self.seconds)
        if abs(ratio - 1.0) * TOP_HZ * self.seconds > UNMOVED_BINS:
            at = np.arange(len(density))
            density, lobes = np.interp(at * ratio, at, density), np.interp(at * ratio, at, lobes)
        self._in_step.add(density, lobes)
        self.count += 1
        self.share += float(there.mean())

    def means(self) -> tuple[Mean, ...]:
        """Give the mean as the spectra are, and, where the speed drifts, the mean in step with the speed."""
        sums = (self._fixed,) if self._moved < DRIFTS else (self._fixed, self._in_step)
        count = max(self.count, 1)
        found = []
        for one in sums:
            density = one.total / count
            smooth = ndimage.uniform_filter1d(density, LOBE_POINTS, mode="nearest")
            spread = np.sqrt(np.maximum(one.squares / count - smooth**2, 0.0) * count / max(count - 1, 1))
            found.append(Mean(self._frequency, density, spread, self.count, self.seconds, self.share / count))
        return tuple(found)


def background(mean: Mean) -> NDArray[np.float64]:
    """Give the local background of a mean spectrum, shape (n,): a running median, the spectrum evened out first.

    Slow wander rises steeply towards zero, so that a window of fixed width would take its slope for a line. A median
    over a quarter of an octave evens that out; the local median then goes over what is left.
    """
    density = np.maximum(mean.density, 1e-300)
    middle = float(stats.gamma.ppf(0.5, mean.count) / mean.count)
    logs = np.log2(np.maximum(mean.frequency_hz, mean.frequency_hz[1]))
    edges = np.searchsorted(logs, np.arange(logs[1], logs[-1] + WHITENED_OCTAVE, WHITENED_OCTAVE))
    edges = np.unique(np.concatenate([[0], edges, [len(logs)]]))
    centres = np.array([logs[a:b].mean() for a, b in pairwise(edges.tolist())])
    levels = np.array([np.log(np.median(density[a:b])) for a, b in pairwise(edges.tolist())])
    broad = np.exp(np.interp(logs, centres, levels))
    width = int(2 * LOCAL_BINS * PADDED) | 1
    local = ndimage.median_filter(density / broad, size=width, mode="reflect")
    local = ndimage.uniform_filter1d(local, width // 4 | 1, mode="reflect")
    return np.asarray(broad * local / middle, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Found:
    frequency_hz: float
    size: float
    doubt: float
    frequency_doubt_hz: float
    alarm: float


def skirt(bins: NDArray[np.float64], size: float, seconds: float) -> NDArray[np.float64]:
    """Give the envelope of a line's skirt through a half-sine taper, power per hertz: it falls as 1/x⁴.

    Arguments:
        bins: distance from the line, turns in the stretch, any shape.
        size: of the line, ratio.
        seconds: length of the stretch.
    """
    fall = 1.0 / (4.0 * np.maximum(np.abs(bins), 1.0) ** 2 - 1.0) ** 2
    return np.asarray(size**2 / 2.0 * seconds / SINE_COST * np.minimum(1.0, SKIRT_ABOVE * fall), dtype=np.float64)


def _lobe_share(frequency_hz: NDArray[np.float64], at_hz: float, seconds: float, step_hz: float) -> float:
    """Give the share of a line's power that these points of its spectrum hold: cos(pi x)/(1 - 4 x²), squared."""
    bins = (frequency_hz - at_hz) * seconds
    apart = 1.0 - 4.0 * bins**2
    near = np.abs(apart) < 1e-6
    shape = np.where(near, np.pi / 4.0, np.cos(np.pi * bins) / np.where(near, 1.0, apart))
    return float((shape**2).sum()) * step_hz * seconds / SINE_COST


def _size(mean: Mean, local: NDArray[np.float64], best: int) -> tuple[float, float, float]:
    """Give size, its doubt, and frequency of the line at a peak: from the power in its lobe over the background.

    The sum holds all of the line's power, also where it wanders a little; what the lobe's noise adds in the mean is the
    background's own share and is taken out. Its doubt is what noise does in theory, sqrt(3/2 · S/T) of all stretches
    together (and the background's own scatter), unless the stretches scatter more than that by chance.
    """
    step = float(mean.frequency_hz[1])
    reach = LOBE_POINTS // 2
    lobe = slice(max(1, best - reach), min(len(local), best + reach + 1))
    over = mean.density[lobe] - local[lobe]
    power = float(over.sum()) * step
    at = mean.frequency_hz[lobe]
    held = np.maximum(over, 0.0)
    frequency = float(held @ at / held.sum()) if held.sum() > 0.0 else float(mean.frequency_hz[best])
    size = float(np.sqrt(max(2.0 * power / _lobe_share(at, frequency, mean.seconds, step), 1e-300)))
    one = float(local[best]) / (mean.seconds * mean.share)
    theory = float(np.sqrt((LOBE_COST * one + 2.0 * LOBE_BINS * (one / size) ** 2) / mean.count))
    seen = float(mean.scatter[best]) * LOBE_POINTS * step / size / float(np.sqrt(mean.count))
    freedom = max(mean.count - 1, 1)
    by_chance = float(np.sqrt(stats.chi2.ppf(0.98, freedom) / freedom))
    if mean.count >= 4 and seen > by_chance * theory:
        return size, float(stats.t.ppf(0.975, freedom)) * seen, frequency
    return size, 1.96 * theory, frequency


def _first_peak(mean: Mean, local: NDArray[np.float64], allowed: NDArray[np.bool_]) -> tuple[int, float]:
    """Find what stands highest above the background among the allowed places, and its -ln p."""
    ratio = np.where(allowed, mean.density / local, 0.0)
    best = int(np.argmax(ratio))
    values = 2.0 * LOCAL_BINS / (SINE_COST * MEDIAN_COST) * mean.count
    evidence = -float(stats.f.logsf(max(ratio[best], 1e-9), 2 * mean.count, 2.0 * values))
    return best, evidence


def find_in_mean(mean: Mean) -> list[_Found]:
    """Find the lines of a mean spectrum, the strongest first."""
    if mean.count < 1 or not len(mean.density):
        return []
    local = background(mean)
    allowed = mean.frequency_hz > LEAST_CYCLES / mean.seconds
    allowed &= mean.density * 2.0 * SINE_COST / mean.seconds > (LEAST_PCT / 100.0) ** 2
    trials = TRIALS_PER_BIN * mean.seconds * TOP_HZ
    found: list[_Found] = []
    skirts = np.zeros(len(local))
    while len(found) < MOST_LINES and allowed.any():
        best, evidence = _first_peak(mean, local, allowed)
        alarm = float(-np.expm1(trials * np.log1p(-min(np.exp(-evidence), 1.0 - 1e-12))))
        if alarm >= FALSE_ALARM:
            break
        size, doubt, frequency = _size(mean, local, best)
        apart = float(np.sqrt(3.0)) / (np.pi * mean.seconds * size) * doubt
        found.append(_Found(frequency, size, doubt, apart, alarm))
        bins = np.abs(mean.frequency_hz - mean.frequency_hz[best]) * mean.seconds
        allowed &= bins > max(APART_BINS, LOOSE_BINS)
        weak = 2.0 * SINE_COST * mean.density / mean.seconds < (size / SKIRT_RATIO) ** 2
        allowed &= ~((bins < 2.0 * SKIRT_BINS) & weak)
        skirts += skirt((mean.frequency_hz - frequency) * mean.seconds, size, mean.seconds)
        allowed &= mean.density > SKIRT_ABOVE * skirts
    return found


def mean_lines(spectrum: MeanSpectrum, start_s: float, end_s: float) -> tuple[FittedLines, Mean | None]:
    """Find the lines of a long tone in the mean spectrum of its stretches.

    Arguments:
        spectrum: of all its stretches.
        start_s: where the tone begins.
        end_s: where it ends.

    Returns:
        The lines, the slowest first, without phases (what turns for an hour keeps none), and the mean that shows more
        of them: as it is, or in step with the speed.
    """
    empty = np.zeros(0)
    best: tuple[float, list[_Found], Mean | None] = (-1.0, [], None)
    for mean in spectrum.means():
        if not mean.count:
            continue
        found = find_in_mean(mean)
        total = sum(one.size**2 for one in found)
        if total > 1.02 * best[0]:
            best = total, found, mean
    kept = sorted((one for one in best[1] if one.size > one.doubt), key=lambda one: one.frequency_hz)
    lines = tuple(
        Line(one.frequency_hz, 100.0 * one.size, 100.0 * one.doubt, one.frequency_doubt_hz, one.alarm) for one in kept
    )
    frequency = np.array([one.frequency_hz for one in kept])
    nothing = np.zeros(len(kept))
    return FittedLines(lines, frequency if len(kept) else empty, nothing, nothing, start_s, end_s, nothing), best[2]


__all__ = ["Mean", "MeanSpectrum", "background", "find_in_mean", "mean_lines", "skirt"]
