"""Steady lines in the speed: found against the local background, sized by least squares on the phase.

Found one after another, the strongest first, each time with all lines fitted again together (so that a strong line's
skirts neither hide nor feign a weak one). A line counts when noise alone would have shown one as strong anywhere in
the spectrum in less than one recording in a hundred.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.drifting import GAIN, strongest_drifting, warped
from tapewright.measure.drifting import TOP_HZ as REELS_BELOW_HZ
from tapewright.measure.follow import Followed
from tapewright.measure.line_fit import NOTHING, Fitted, Stretch, fit, fit_taper, left_over, stretch_of
from tapewright.measure.line_spectrum import (
    APART_BINS,
    BACKGROUND_BINS,
    BACKGROUND_SHARE,
    FALSE_ALARM,
    LEAST_PCT,
    MEDIAN_COST,
    SINE_COST,
    SKIRT_BINS,
    TRIALS_PER_BIN,
    Spectrum,
    false_alarm,
    next_lines,
    spectrum_of,
)
from tapewright.measure.near_lines import SEPARABLE_TURNS, crowding, split, turns_apart
from tapewright.words.signal import Line, Trace

MOST_LINES: Final = 30
OWN_BINS: Final = 1.5
"""So far on either side a fitted line has taken the noise with it."""
LEAST_FREE: Final = 0.3
"""Share of the local background that has to lie beside all lines; with less the running median is taken as it is."""
MOST_DRIFTING: Final = 4
"""Two reels and a harmonic of each."""
LEAST_DRIFTING_S: Final = 15.0
"""In less a reel's rate changes by less than can be told."""
BEND_COST: Final = float(np.sqrt(180.0))
"""Doubt of a fitted phase's bend, times T², over that of the phase itself: least squares in white noise."""
TOGETHER_BINS: Final = 1.5
"""Two lines that drift nearer than this while they are fitted together are taken for one unsteady line."""
SKIRT_RATIO: Final = 30.0
"""What stands so near a line and is so much weaker is the line's own unsteadiness."""


@dataclass(frozen=True, slots=True, eq=False)
class FittedLines:
    """Lines with their phases, as fitted to one stretch.

    Arguments:
        lines: sizes and doubts, the slowest first.
        frequency_hz: shape (n,), in the order of `lines`.
        cosine: part of the speed deviation in step with cos, shape (n,), ratio; time counts from the start of the file.
        sine: the same with sin.
        start_s: where the stretch begins.
        end_s: where it ends.
        slowing_per_s: relative loss of each line's frequency per second in the middle of the stretch, where its
            frequency is stated, shape (n,): a reel's; empty when all are steady.
        not_told_apart_hz: pairs of lines that one of them stands for, too near for the stretch.
        slowing_doubt_per_s: half-width of the 95 % interval of each slowing, shape (n,); 0 for a steady line.
    """

    lines: tuple[Line, ...]
    frequency_hz: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    start_s: float
    end_s: float
    slowing_per_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    not_told_apart_hz: tuple[tuple[float, float], ...] = ()
    slowing_doubt_per_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def speed(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the speed deviation that the lines make together at these times, same shape, ratio."""
        summed = np.zeros(len(times_s))
        middle_s = (self.start_s + self.end_s) / 2.0
        slowings = self.slowing_per_s if len(self.slowing_per_s) else np.zeros(len(self.frequency_hz))
        for frequency, cosine, sine, slowing in zip(self.frequency_hz, self.cosine, self.sine, slowings, strict=True):
            turn = 2.0 * np.pi * frequency * (middle_s + warped(times_s - middle_s, float(slowing)))
            summed += cosine * np.cos(turn) + sine * np.sin(turn)
        return summed


def _tangled(fitted: Fitted, seconds: float) -> bool:
    """Say whether two fitted lines have run into each other, or one is a skirt of a far stronger one."""
    order = np.argsort(fitted.frequency_hz)
    apart = np.diff(fitted.frequency_hz[order]) * seconds
    size = np.hypot(fitted.cosine, fitted.sine)[order]
    uneven = np.abs(np.diff(np.log(np.maximum(size, 1e-30)))) > np.log(SKIRT_RATIO)
    return bool(np.any(apart < TOGETHER_BINS) or np.any(uneven & (apart < SKIRT_BINS)))


def _sought(stretch: Stretch, known: Fitted = NOTHING) -> tuple[Fitted, list[float]]:
    """Find lines a few at a time until nothing stands out, and fit them all together at the end.

    Arguments:
        stretch: where.
        known: drifting lines, to begin with.
    """
    fitted, slowing = known, known.slowing_per_s
    alarms = [0.0] * len(slowing)
    unsteady: list[float] = []
    while len(alarms) < MOST_LINES and len(unsteady) < MOST_LINES:
        spectrum = spectrum_of(stretch, left_over(stretch, fitted))
        taken = np.append(fitted.frequency_hz, unsteady)
        found = next_lines(spectrum, taken, stretch.seconds)[: MOST_LINES - len(alarms)]
        if not found:
            break
        tried = _with(stretch, fitted, [frequency for frequency, _ in found])
        if len(found) > 1 and _tangled(tried, stretch.seconds):
            found = found[:1]
            tried = _with(stretch, fitted, [found[0][0]])
        if _tangled(tried, stretch.seconds):
            unsteady.append(found[0][0])
            continue
        fitted = tried
        alarms += [alarm for _, alarm in found]
    if alarms:
        last = fit(stretch, fitted.frequency_hz, fitted.slowing_per_s, 3)
        fitted = fitted if _tangled(last, stretch.seconds) else last
    return fitted, alarms


def _with(stretch: Stretch, fitted: Fitted, more_hz: list[float]) -> Fitted:
    frequency, slowing = (
        np.append(fitted.frequency_hz, more_hz),
        np.append(fitted.slowing_per_s, np.zeros(len(more_hz))),
    )
    return fit(stretch, frequency, slowing, 1)


def _drifting(stretch: Stretch, steady: Fitted) -> Fitted:
    """Find the lines that slow down or speed up as a reel's do, beside the steady ones above the reels' rates."""
    spectrum = spectrum_of(stretch, left_over(stretch, steady))
    least = (LEAST_PCT / 100.0) ** 2 * stretch.seconds / 3.0 / GAIN  # so that a line too small does not count
    fast = steady.frequency_hz > REELS_BELOW_HZ
    known = Fitted(*(part[fast] for part in (steady.frequency_hz, steady.cosine, steady.sine, steady.slowing_per_s)))
    for _ in range(MOST_DRIFTING):
        found = strongest_drifting(
            left_over(stretch, known) * (stretch.weight > 0.0),
            stretch.times_s,
            stretch.rate_hz,
            lambda at: np.maximum(np.interp(at, spectrum.frequency_hz, spectrum.density), least),
        )
        if found is None:
            break
        tried = fit(stretch, np.append(known.frequency_hz, found[0]), np.append(known.slowing_per_s, found[1]), 3)
        if _tangled(tried, stretch.seconds):
            break
        known = tried
    drifting = known.slowing_per_s != 0.0
    return Fitted(*(part[drifting] for part in (known.frequency_hz, known.cosine, known.sine, known.slowing_per_s)))


def find_lines(tone: Followed, trace: Trace) -> FittedLines:
    """Find the steady lines of a followed tone.

    Arguments:
        tone: from `followed`.
        trace: its speed deviation, from `speed_trace`.

    Returns:
        The lines, each with its size (peak, percent of speed), and their phases. A recording longer than 180 s is
        searched in its 180 s with the fewest dropouts.

    The doubt of a size is t·sqrt(S Σw² rate)/Σw from the local background density S and the weights w of the samples
    that were not masked (without a taper t·sqrt(S/T)); of a frequency t·sqrt(3 S/T)/(pi T a) in the same way. Both are
    least squares on a line in noise that is white nearby; t is Student's, since S itself is estimated.
    """
    empty = np.zeros(0)
    there = np.isfinite(trace.values)
    if np.count_nonzero(there) < trace.rate_hz:
        return FittedLines((), empty, empty, empty, trace.start_s, trace.start_s + len(there) / trace.rate_hz)
    stretch = stretch_of(tone, trace)
    fitted, alarms = _sought(stretch)
    reels = _drifting(stretch, fitted) if stretch.seconds > LEAST_DRIFTING_S else NOTHING
    if len(reels.frequency_hz):
        fitted, alarms = _sought(stretch, reels)
    fitted, alarms, near = _parted(stretch, fitted, alarms)
    return _with_doubts(stretch, fitted, alarms, near)


def _beside_lines(
    spectrum: Spectrum, frequency_hz: NDArray[np.float64], seconds: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the background's density at each line, and how many values it is worth, from what lies beside all lines.

    A fit takes the noise in a line's own bins with it: counted in, they would make the background look too low.
    """
    density = np.interp(frequency_hz, spectrum.frequency_hz, spectrum.density)
    values = np.interp(frequency_hz, spectrum.frequency_hz, spectrum.values)
    free = np.ones(len(spectrum.frequency_hz), dtype=bool)
    for at_hz in frequency_hz:
        free &= np.abs(spectrum.frequency_hz - at_hz) * seconds > OWN_BINS
    for line, at_hz in enumerate(frequency_hz):
        bins = np.clip(BACKGROUND_SHARE * at_hz * seconds, *BACKGROUND_BINS)
        near = np.abs(spectrum.frequency_hz - at_hz) * seconds < bins
        share = float(np.mean(free[near])) if near.any() else 0.0
        if share > LEAST_FREE:
            density[line] = float(np.median(spectrum.power[near & free])) / np.log(2.0)
            values[line] = np.count_nonzero(near & free) * seconds * float(np.diff(spectrum.frequency_hz[:2])[0])
            values[line] /= SINE_COST * MEDIAN_COST
    return density, values


@dataclass(frozen=True, slots=True)
class _Near:
    """Two lines that are not told apart: the one they were fitted as, the two, and what the one leaves, ratio."""

    as_one_hz: float
    two_hz: tuple[float, float]
    left: float


def _beside(spectrum: Spectrum, fitted: Fitted, line: int, seconds: float) -> tuple[float, float]:
    """Give the chance that noise alone leaves what stands within a line's own lobe, and its size, ratio."""
    near = np.flatnonzero(np.abs(spectrum.frequency_hz - fitted.frequency_hz[line]) * seconds < APART_BINS)
    if not len(near):
        return 1.0, 0.0
    best = near[int(np.argmax(spectrum.evidence[near]))]
    alarm = false_alarm(float(spectrum.evidence[best]), TRIALS_PER_BIN * 2.0 * APART_BINS)
    return alarm, float(np.sqrt(2.0 * SINE_COST * spectrum.power[best] / seconds))


def _parted(stretch: Stretch, fitted: Fitted, alarms: list[float]) -> tuple[Fitted, list[float], list[_Near]]:
    """Where more is left beside a steady line than noise leaves, take it for two: apart where they can be told apart.

    Two that slip by a whole turn against each other in the stretch, each larger than what is left, with nothing left
    beside them, are two lines. Else they stay one, which says what the two would be.
    """
    near: list[_Near] = []
    spectrum = spectrum_of(stretch, left_over(stretch, fitted))
    order = np.argsort(-np.hypot(fitted.cosine, fitted.sine))
    for at_hz in fitted.frequency_hz[order][fitted.slowing_per_s[order] == 0.0].tolist():
        line = int(np.argmin(np.abs(fitted.frequency_hz - at_hz)))
        alarm, left = _beside(spectrum, fitted, line, stretch.seconds)
        size = float(np.hypot(fitted.cosine[line], fitted.sine[line]))
        if alarm >= FALSE_ALARM or left < size / SKIRT_RATIO or len(alarms) >= MOST_LINES:
            continue
        two = split(stretch, fitted, line)
        after = spectrum_of(stretch, left_over(stretch, two))
        still = [_beside(after, two, each, stretch.seconds) for each in (-2, -1)]
        sizes = np.hypot(two.cosine[-2:], two.sine[-2:])
        clean = all(chance >= FALSE_ALARM for chance, _ in still) and sizes.min() > max(beside for _, beside in still)
        if clean and turns_apart(two, stretch.seconds) >= SEPARABLE_TURNS:
            alarms = [*(one for index, one in enumerate(alarms) if index != line), alarms[line], alarm]
            fitted, spectrum = two, after
        else:
            pair = (float(two.frequency_hz[-2:].min()), float(two.frequency_hz[-2:].max()))
            near.append(_Near(float(fitted.frequency_hz[line]), pair, left))
    return fitted, alarms, near


def _with_doubts(stretch: Stretch, fitted: Fitted, alarms: list[float], near: list[_Near]) -> FittedLines:
    frequency, cosine, sine = fitted.frequency_hz, fitted.cosine, fitted.sine
    spectrum = spectrum_of(stretch, left_over(stretch, fitted))
    size = np.hypot(cosine, sine)
    density, values = _beside_lines(spectrum, frequency, stretch.seconds)
    certain = stats.t.ppf(0.975, 2.0 * values)
    times, weight = stretch.times_s[stretch.good], fit_taper(stretch)[stretch.good]
    powers = weight**2
    spread = density * stretch.rate_hz * powers.sum() / weight.sum() ** 2
    sizes, rates = crowding(fitted, times, weight)
    alone = certain * np.sqrt(spread)
    spread = alone * np.sqrt(sizes)
    slope = float(np.sqrt(powers @ times**2) / (weight @ times**2) / np.sqrt(powers.sum()) * weight.sum())
    apart = alone * np.sqrt(rates) * slope / (2.0 * np.pi * np.maximum(size, 1e-30))
    # A phase's bend: sqrt(180) s/T² without a taper (closed form); the taper shortens T as it does for the frequency.
    shorter = slope * float(times[-1] - times[0]) / np.sqrt(12.0)
    bent = spread / np.maximum(size, 1e-30) * BEND_COST * (shorter / float(times[-1] - times[0])) ** 2
    bent /= np.pi * frequency
    for one in near:
        line = int(np.argmin(np.abs(frequency - one.as_one_hz)))
        spread[line] = np.hypot(spread[line], one.left)
        apart[line] = np.hypot(apart[line], (one.two_hz[1] - one.two_hz[0]) / 2.0)
    lines = [
        Line(float(f), 100.0 * float(a), 100.0 * float(s), float(w), alarm, float(b))
        for f, a, s, w, alarm, b in zip(frequency, size, spread, apart, alarms, fitted.slowing_per_s, strict=True)
    ]
    kept = [index for index in np.argsort(frequency) if lines[index].peak_pct > max(lines[index].doubt_pct, LEAST_PCT)]
    turn = 2.0 * np.pi * frequency * stretch.middle_s
    half = (stretch.times_s[-1] - stretch.times_s[0]) / 2.0
    return FittedLines(
        tuple(lines[index] for index in kept),
        frequency[kept],
        (cosine * np.cos(turn) - sine * np.sin(turn))[kept],
        (sine * np.cos(turn) + cosine * np.sin(turn))[kept],
        stretch.middle_s - half,
        stretch.middle_s + half,
        fitted.slowing_per_s[kept],
        tuple(one.two_hz for one in near),
        np.where(fitted.slowing_per_s != 0.0, bent, 0.0)[kept],
    )
