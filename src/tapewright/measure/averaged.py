"""The mean spectrum of a long tone's stretches, and the steady lines that stand out of it.

Each stretch gives a spectrum; what is kept is their mean and how much they scatter. A line that a single stretch hides
in noise stands out of the mean of many, since the background of a mean of K spectra is K times as even. Where the speed
drifts, the spectra are also laid over each other in step with the speed: what turns with the tape stays in its place.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, stats

from tapewright.measure.line_spectrum import (
    APART_BINS,
    FALSE_ALARM,
    LEAST_CYCLES,
    LEAST_PCT,
    SINE_COST,
    SKIRT_BINS,
    TOP_HZ,
    TRIALS_PER_BIN,
)
from tapewright.measure.lines import MOST_LINES, SKIRT_RATIO, FittedLines
from tapewright.words.signal import Line

PADDED: Final = 2
"""Points of the spectrum per bin."""
LOBE_BINS: Final = 1.5
"""Half-width of a line's lobe: the first null of a half-sine taper."""
LOBE_POINTS: Final = 2 * round(LOBE_BINS * PADDED) + 1
LOBE_COST: Final = 1.65
"""Variance of a size summed over the lobe, over that of the best fit; by simulation, like the next."""
MATCHED_COST: Final = 1.45
"""The same of a size fitted to a steady line's lobe."""
CENTRE_COST: Final = 1.25
"""Doubt of a lobe's centre over that of the best fit of a frequency; by simulation."""
LOOSE_BINS: Final = 4.0
"""A line wanders by up to so much from stretch to stretch and is still one line."""
NARROW_BINS: Final = 8.0
"""A line has to stand above the plain median so near to it as well: where the noise has an edge, the other is off."""
WHITENED_OCTAVE: Final = 0.25
LOCAL_BINS: Final = 24.0
"""Half-width of the local background."""
MEDIAN_COST: Final = 2.0
"""A median over neighbours is as uncertain as a mean over so many times fewer."""
SKIRT_ABOVE: Final = 4.0
"""What stands less than so far above the skirt of a stronger line, in power, is the skirt."""
PASSING: Final = 1.15
"""What scatters more than this from stretch to stretch, over its mean, stands in fewer than half of them."""
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
        taper = _taper(len(values))
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


@lru_cache(maxsize=4)
def _taper(count: int) -> NDArray[np.float64]:
    return np.asarray(np.sin(np.pi * (np.arange(count) + 0.5) / count), dtype=np.float64)


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
    lasting: bool


def skirt(bins: NDArray[np.float64], size: float, seconds: float) -> NDArray[np.float64]:
    """Give the envelope of a line's skirt through a half-sine taper, power per hertz: it falls as 1/x⁴.

    Arguments:
        bins: distance from the line, turns in the stretch, any shape.
        size: of the line, ratio.
        seconds: length of the stretch.
    """
    fall = 1.0 / (4.0 * np.maximum(np.abs(bins), 1.0) ** 2 - 1.0) ** 2
    return np.asarray(size**2 / 2.0 * seconds / SINE_COST * np.minimum(1.0, SKIRT_ABOVE * fall), dtype=np.float64)


def _lobe(bins: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give a steady line's power so many bins beside its middle, over that in its middle: (cos(pi x)/(1 - 4 x²))²."""
    apart = 1.0 - 4.0 * bins**2
    near = np.abs(apart) < 1e-6
    return np.asarray(np.where(near, np.pi / 4.0, np.cos(np.pi * bins) / np.where(near, 1.0, apart)) ** 2)


def _size(mean: Mean, local: NDArray[np.float64], best: int) -> tuple[float, float, float, bool]:
    """Give size, doubt and frequency of the line at a peak, and whether it keeps its place: from the power in its lobe.

    The sum over the lobe holds all of the line's power, also where it wanders a little between stretches. A steady
    line's lobe has a known shape; where fitting that gives the same, the fit is taken, since it is surer. What the
    noise adds in the mean is the background's own share and is taken out. The doubt is what noise does in theory,
    sqrt(c S/T) of all stretches together, unless the stretches scatter more than that by chance.
    """
    step = float(mean.frequency_hz[1])
    reach = LOBE_POINTS // 2
    lobe = slice(max(1, best - reach), min(len(local), best + reach + 1))
    over = mean.density[lobe] - local[lobe]
    at = mean.frequency_hz[lobe]
    held = np.maximum(over, 0.0)
    frequency = float(held @ at / held.sum()) if held.sum() > 0.0 else float(mean.frequency_hz[best])
    shape = _lobe((at - frequency) * mean.seconds)
    of_density = 2.0 * SINE_COST / mean.seconds
    summed, matched = float(over.sum() / shape.sum()), float(over @ shape / (shape @ shape))
    one = float(local[best]) / (mean.seconds * mean.share)
    size, fit = (float(np.sqrt(max(of_density * power, 1e-300))) for power in (summed, matched))
    steady = abs(size - fit) < float(np.sqrt(one / mean.count))
    size, cost = (fit, MATCHED_COST) if steady else (size, LOBE_COST)
    theory = float(np.sqrt((cost * one + 2.0 * LOBE_BINS * (one / size) ** 2) / mean.count))
    seen = float(mean.scatter[best]) * LOBE_POINTS * step / size / float(np.sqrt(mean.count))
    freedom = max(mean.count - 1, 1)
    by_chance = float(np.sqrt(stats.chi2.ppf(0.98, freedom) / freedom))
    if mean.count >= 4 and seen > by_chance * theory:
        return size, float(stats.t.ppf(0.975, freedom)) * seen, frequency, steady
    return size, 1.96 * theory, frequency, steady


def _first_peak(mean: Mean, local: NDArray[np.float64], allowed: NDArray[np.bool_]) -> tuple[int, float]:
    """Find what stands highest above the background among the allowed places, and its -ln p."""
    ratio = np.where(allowed, mean.density / local, 0.0)
    best = int(np.argmax(ratio))
    values = 2.0 * LOCAL_BINS / (SINE_COST * MEDIAN_COST) * mean.count
    evidence = -float(stats.f.logsf(max(ratio[best], 1e-9), 2 * mean.count, 2.0 * values))
    return best, evidence


def _lasts(mean: Mean, best: int) -> bool:
    """Say whether a line stands in most stretches: noise scatters by its mean, a line in one of K by sqrt(K) times."""
    lobe = slice(max(0, best - LOBE_POINTS // 2), best + LOBE_POINTS // 2 + 1)
    return mean.count < 4 or float(mean.scatter[best]) < PASSING * float(mean.density[lobe].mean())


def find_in_mean(mean: Mean) -> list[_Found]:
    """Find the lines of a mean spectrum, the strongest first."""
    if mean.count < 1 or not len(mean.density):
        return []
    local = background(mean)
    near = ndimage.median_filter(mean.density, size=int(2 * NARROW_BINS * PADDED) | 1, mode="reflect")
    asked = np.maximum(local, near / float(stats.gamma.ppf(0.5, mean.count) / mean.count))
    allowed = mean.frequency_hz > LEAST_CYCLES / mean.seconds
    allowed &= mean.density * 2.0 * SINE_COST / mean.seconds > (LEAST_PCT / 100.0) ** 2
    trials = TRIALS_PER_BIN * mean.seconds * TOP_HZ
    found: list[_Found] = []
    skirts = np.zeros(len(local))
    while len(found) < 2 * MOST_LINES and allowed.any():
        best, evidence = _first_peak(mean, asked, allowed)
        alarm = float(-np.expm1(trials * np.log1p(-min(np.exp(-evidence), 1.0 - 1e-12))))
        if alarm >= FALSE_ALARM:
            break
        size, doubt, frequency, steady = _size(mean, local, best)
        apart = CENTRE_COST * float(np.sqrt(3.0)) / (np.pi * mean.seconds * size) * doubt
        found.append(_Found(frequency, size, doubt, apart, alarm, _lasts(mean, best)))
        bins = np.abs(mean.frequency_hz - mean.frequency_hz[best]) * mean.seconds
        allowed &= bins > (APART_BINS if steady else LOOSE_BINS)
        weak = 2.0 * SINE_COST * mean.density / mean.seconds < (size / SKIRT_RATIO) ** 2
        allowed &= ~((bins < 2.0 * SKIRT_BINS) & weak)
        skirts += skirt((mean.frequency_hz - frequency) * mean.seconds, size, mean.seconds)
        allowed &= mean.density > SKIRT_ABOVE * skirts
    return found


@dataclass(frozen=True, slots=True, eq=False)
class MeanLines:
    """What stands out of a long tone's mean spectrum.

    Arguments:
        lasting: lines that stand in most stretches, the slowest first; without phases, which nothing keeps so long.
        passing: lines that stand in few of them; a reel's that moves on, or a part that binds for a while.
        mean: the mean that shows more of them: as it is, or in step with the speed; None without a single stretch.
    """

    lasting: FittedLines
    passing: tuple[Line, ...]
    mean: Mean | None


def _line(found: _Found) -> Line:
    return Line(
        found.frequency_hz, 100.0 * found.size, 100.0 * found.doubt, found.frequency_doubt_hz, float(found.alarm)
    )


def mean_lines(spectrum: MeanSpectrum, start_s: float, end_s: float) -> MeanLines:
    """Find the lines of a long tone in the mean spectrum of its stretches.

    Arguments:
        spectrum: of all its stretches.
        start_s: where the tone begins.
        end_s: where it ends.
    """
    best: tuple[float, list[_Found], Mean | None] = (-1.0, [], None)
    for mean in spectrum.means():
        if not mean.count:
            continue
        found = find_in_mean(mean)
        total = sum(one.size**2 for one in found if one.lasting)
        if total > 1.02 * best[0]:
            best = total, found, mean
    kept = sorted((one for one in best[1] if one.size > one.doubt), key=lambda one: one.frequency_hz)
    lines = tuple(_line(one) for one in kept if one.lasting)
    frequency, nothing = np.array([line.frequency_hz for line in lines], dtype=np.float64), np.zeros(len(lines))
    lasting = FittedLines(lines, frequency, nothing, nothing, start_s, end_s, nothing)
    return MeanLines(lasting, tuple(_line(one) for one in kept if not one.lasting), best[2])


__all__ = ["Mean", "MeanLines", "MeanSpectrum", "background", "find_in_mean", "mean_lines", "skirt"]
