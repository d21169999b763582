"""Steady lines in the speed: found against the local background, sized by least squares on the phase.

The fit weighs the first and last 5 s of the stretch less (all of a short one): slow wander, an unsteady line and the
two ends then leak little into their neighbours; what that costs in precision the doubts say.

Found one after another, the strongest first, each time with all lines fitted again together (so that a strong line's
skirts neither hide nor feign a weak one). A line counts when noise alone would have shown one as strong anywhere in
the spectrum in less than one recording in a hundred.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal, stats

from tapewright.measure.drifting import GAIN, rate_ratio, strongest_drifting, warped
from tapewright.measure.drifting import TOP_HZ as REELS_BELOW_HZ
from tapewright.measure.follow import Followed
from tapewright.measure.trend import straight_line
from tapewright.words.signal import Line, Trace

FALSE_ALARM: Final = 0.01
"""Chance, over the whole spectrum, that noise alone shows a line."""
TRIALS_PER_BIN: Final = 10.0
"""Independent trials per Fourier bin when the strongest peak between bins is taken as well: by simulation, so that
noise alone shows a line in one recording in a hundred (3 to 60 s long)."""
MOST_LINES: Final = 30
LONGEST_S: Final = 180.0
"""No rotor keeps its phase for longer; the best stretch of this length is taken from a longer recording."""
TOP_HZ: Final = 200.0
LEAST_CYCLES: Final = 3.0
"""A line slower than three turns in the stretch cannot be told from drift."""
BACKGROUND_SHARE: Final = 0.35
BACKGROUND_BINS: Final = (12.0, 30.0)
"""Half-width of the local background: a share of the frequency, within these bins, so that a slope counts little."""
MEDIAN_COST: Final = 2.5
"""A median of exponential values is as uncertain as a mean over so many times fewer: 1/ln²2 = 2.08, and a fifth more
since neighbouring values are alike; by the same simulation."""
SINE_COST: Final = 1.234
"""Noise bandwidth of a half-sine taper, bins: pi²/8."""
SLOPE_S: Final = 5.0
"""Slope of the fit's taper: a turn and a half of the slowest reel."""
MOST_DRIFTING: Final = 4
"""Two reels and a harmonic of each."""
LEAST_DRIFTING_S: Final = 15.0
"""In less a reel's rate changes by less than can be told."""
MOST_PIECES: Final = 20
APART_BINS: Final = 1.75
"""Two lines nearer than this, in bins of the whole stretch, are not told apart: they are one unsteady line."""
TOGETHER_BINS: Final = 1.5
"""Two lines that drift nearer than this while they are fitted together are taken for one unsteady line."""
SKIRT_BINS: Final = 5.0
SKIRT_RATIO: Final = 30.0
"""What stands so near a line and is so much weaker is the line's own unsteadiness."""
AT_ONCE: Final = 6
AT_ONCE_RATIO: Final = 0.05
LEAST_PCT: Final = 0.0005
"""Smaller than any part makes: rounding in the file, not the machine."""


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
    """

    lines: tuple[Line, ...]
    frequency_hz: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    start_s: float
    end_s: float
    slowing_per_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def speed(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the speed deviation that the lines make together at these times, same shape, ratio."""
        summed = np.zeros(len(times_s))
        middle_s = (self.start_s + self.end_s) / 2.0
        slowings = self.slowing_per_s if len(self.slowing_per_s) else np.zeros(len(self.frequency_hz))
        for frequency, cosine, sine, slowing in zip(self.frequency_hz, self.cosine, self.sine, slowings, strict=True):
            turn = 2.0 * np.pi * frequency * (middle_s + warped(times_s - middle_s, float(slowing)))
            summed += cosine * np.cos(turn) + sine * np.sin(turn)
        return summed


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """The part of a recording that lines are sought in.

    Arguments:
        times_s: shape (n,), from its middle.
        lag_s: phase as time: integral of the speed deviation, nan in dropouts.
        speed: speed deviation, zero where there is none.
        weight: taper times mask, for the spectrum.
        base: columns for offset, mean and drift, one offset for each piece, shape (n, m).
        good: where `lag_s` holds.
    """

    times_s: NDArray[np.float64]
    lag_s: NDArray[np.float64]
    speed: NDArray[np.float64]
    weight: NDArray[np.float64]
    base: NDArray[np.float64]
    good: NDArray[np.bool_]
    rate_hz: float
    middle_s: float

    @property
    def seconds(self) -> float:
        return float(np.count_nonzero(self.weight)) / self.rate_hz


def _best_start(good: NDArray[np.bool_], length: int) -> int:
    """Find where the stretch with the fewest dropouts begins; the earliest of equals."""
    if len(good) <= length:
        return 0
    held = np.concatenate([[0], np.cumsum(good)])
    return int(np.argmax(held[length:] - held[:-length]))


def _taper(count: int) -> NDArray[np.float64]:
    """Give half a turn of a sine: of the tapers whose skirts fall fast it wastes least."""
    return np.asarray(np.sin(np.pi * (np.arange(count) + 0.5) / count))


def _fit_taper(stretch: "_Stretch") -> NDArray[np.float64]:
    """Give the weights of the fit: level, with a cosine slope of up to 5 s at either end."""
    count = len(stretch.times_s)
    return np.asarray(signal.windows.tukey(count, min(1.0, 2.0 * SLOPE_S * stretch.rate_hz / count)), dtype=np.float64)


def _base(times_s: NDArray[np.float64], piece: NDArray[np.intp]) -> NDArray[np.float64]:
    half = max(float(np.abs(times_s).max()), 1e-9)
    columns = [times_s / half, (times_s / half) ** 2]
    columns += [(piece == number).astype(np.float64) for number in np.unique(piece)]
    return np.stack(columns, axis=1)


def _without_gaps(piece: NDArray[np.intp], good: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Give each gap to the piece whose end is nearer."""
    if good.all() or not good.any():
        return piece
    held = np.flatnonzero(good)
    return np.asarray(piece[np.interp(np.arange(len(piece)), held, held).round().astype(np.intp)])


def _stretch(tone: Followed, trace: Trace) -> _Stretch:
    offset = round((trace.start_s - tone.start_s) * tone.rate_hz)
    inside = slice(offset, offset + len(trace.values))
    phase, piece, speed = tone.phase_rad[inside], tone.piece[inside], trace.values
    length = int(LONGEST_S * tone.rate_hz)
    first = _best_start(np.isfinite(speed), length)
    phase, piece, speed = phase[first : first + length], piece[first : first + length], speed[first : first + length]
    times = np.arange(len(speed)) / tone.rate_hz
    middle = trace.start_s + first / tone.rate_hz + times[-1] / 2.0
    times = times - times[-1] / 2.0
    good, there = np.isfinite(phase), np.isfinite(speed)
    counts = np.bincount(piece[good] - piece.min())
    if len(counts) > MOST_PIECES:
        good &= np.isin(piece - piece.min(), np.argsort(counts)[-MOST_PIECES:])
    taper = _taper(len(speed))
    return _Stretch(
        times,
        phase / (2.0 * np.pi * tone.frequency_hz),
        np.where(there, speed - straight_line(speed, there), 0.0),
        np.where(there, taper, 0.0),
        _base(times, _without_gaps(piece, good)),
        good,
        tone.rate_hz,
        middle,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Spectrum:
    """Power of the residual speed as a density per hertz, its local background, and how well that is known.

    `values` is the number of independent values that the background is worth; `bins` that of the whole spectrum.
    """

    frequency_hz: NDArray[np.float64]
    power: NDArray[np.float64]
    density: NDArray[np.float64]
    values: NDArray[np.float64]
    bins: float

    @property
    def evidence(self) -> NDArray[np.float64]:
        """Give, as -ln p, how unlikely noise alone is to reach this at each frequency: the law is F(2, 2 values)."""
        return np.asarray(self.values * np.log1p(self.power / self.density / self.values))


def _spectrum(stretch: _Stretch, residual: NDArray[np.float64]) -> _Spectrum:
    weight = stretch.weight
    length = fft.next_fast_len(4 * len(residual), real=True)
    held = residual * weight
    held -= weight * (held.sum() / weight.sum())
    density = np.abs(fft.rfft(held, length)) ** 2 * (2.0 / (stretch.rate_hz * float(weight @ weight)))
    frequency = fft.rfftfreq(length, 1.0 / stretch.rate_hz)
    low = int(np.ceil(LEAST_CYCLES / stretch.seconds / frequency[1]))
    cut = slice(low, int(np.searchsorted(frequency, TOP_HZ)))
    density, frequency = density[cut], frequency[cut]
    half_hz = np.clip(
        BACKGROUND_SHARE * frequency, BACKGROUND_BINS[0] / stretch.seconds, BACKGROUND_BINS[1] / stretch.seconds
    )
    local = np.maximum(_background(frequency, density, half_hz), 1e-300)
    values = 2.0 * half_hz * stretch.seconds / (SINE_COST * MEDIAN_COST)
    return _Spectrum(frequency, density, local, values, len(residual) * TOP_HZ / stretch.rate_hz)


def _background(
    frequency: NDArray[np.float64], density: NDArray[np.float64], half_hz: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the running median over a window whose width follows the frequency: on an axis where all are as wide."""
    axis = np.concatenate([[0.0], np.cumsum(0.5 * (1.0 / half_hz[1:] + 1.0 / half_hz[:-1]) * np.diff(frequency))])
    even = np.arange(0.0, axis[-1], 1.0 / 30.0)
    if len(even) < 3:
        return np.full(len(density), float(np.median(density)) / np.log(2.0))
    medians = ndimage.median_filter(np.interp(even, axis, density), size=min(61, len(even) | 1), mode="nearest")
    return np.asarray(np.interp(axis, even, ndimage.uniform_filter1d(medians, 15)) / np.log(2.0), dtype=np.float64)


def _false_alarm(evidence: float, trials: float) -> float:
    """Give the chance that noise alone shows as much evidence anywhere among so many trials."""
    return float(-np.expm1(trials * np.log1p(-min(float(np.exp(-evidence)), 1.0 - 1e-12))))


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    """Lines as fitted: frequency in the middle, cosine and sine part of the speed, slowing; each shape (n,)."""

    frequency_hz: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    slowing_per_s: NDArray[np.float64]


_NONE: Final = _Fitted(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))


def _turns(
    times_s: NDArray[np.float64], frequency_hz: NDArray[np.float64], slowing_per_s: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give each line's phase and its rate of turning at these times, rad and rad/s, shape (times, lines)."""
    turn, turning = np.outer(times_s, 2.0 * np.pi * frequency_hz), 2.0 * np.pi * frequency_hz[None, :]
    if slowing_per_s.any():
        turning = np.repeat(turning, len(times_s), axis=0)
        for line in np.flatnonzero(slowing_per_s):
            turn[:, line] = 2.0 * np.pi * frequency_hz[line] * warped(times_s, float(slowing_per_s[line]))
            turning[:, line] *= rate_ratio(times_s, float(slowing_per_s[line]))
    return turn, turning


def _solved(table: NDArray[np.float64], wanted: NDArray[np.float64], root: NDArray[np.float64]) -> NDArray[np.float64]:
    """Solve for the columns' shares by least squares, each row weighed by the square of its root weight."""
    table = table * root[:, None]
    scale = np.sqrt(np.einsum("ij,ij->j", table, table))
    scale[scale == 0.0] = 1.0
    table /= scale
    normal = table.T @ table
    normal[np.diag_indices_from(normal)] += 1e-12
    return np.asarray(np.linalg.solve(normal, table.T @ (root * wanted)) / scale, dtype=np.float64)


def _fit(
    stretch: _Stretch, frequency_hz: NDArray[np.float64], slowing_per_s: NDArray[np.float64], rounds: int
) -> _Fitted:
    """Fit all lines to the phase together, moving their frequencies (and slowings) a little in each round.

    Slow flutter moves the phase far more than a fast line does, and would leak into it through every gap. So from the
    second round on the gaps are filled with what was fitted, the rest running straight through them: what a gap leaks
    shrinks by its share of the time in each round (expectation and maximisation, Dempster, Laird and Rubin 1977).
    """
    times, good = stretch.times_s, stretch.good
    lag, root = np.where(good, stretch.lag_s, 0.0), np.sqrt(_fit_taper(stretch)) * good
    frequency, slowing, count = frequency_hz.copy(), slowing_per_s.copy(), len(frequency_hz)
    drifting = np.flatnonzero(slowing_per_s)
    most = 0.5 / stretch.seconds
    gaps = not good.all()
    cosine = sine = np.zeros(count)
    for step in range(rounds + 1 + gaps):
        turn, turning = _turns(times, frequency, slowing)
        cosines, sines = np.cos(turn), np.sin(turn)
        columns = [stretch.base, sines / turning, -cosines / turning]
        if step:
            moving = (cosine * cosines + sine * sines) / turning
            columns.append(times[:, None] * moving)
            columns.append((-0.5 * times**2)[:, None] * moving[:, drifting])
        table = np.concatenate(columns, axis=1)
        solved = _solved(table, lag, root)
        start = stretch.base.shape[1]
        cosine, sine = solved[start : start + count], solved[start + count : start + 2 * count]
        if gaps:
            drawn = table @ solved
            lag[~good] = drawn[~good] + np.interp(times[~good], times[good], (lag - drawn)[good])
            root = np.sqrt(_fit_taper(stretch))
        if step:
            moved = frequency + np.clip(solved[start + 2 * count : start + 3 * count] / (2.0 * np.pi), -most, most)
            bent = solved[start + 3 * count :] / (2.0 * np.pi * frequency[drifting])
            frequency = np.clip(moved, frequency_hz - most, frequency_hz + most)
            reach = 2.0 / (frequency[drifting] * stretch.seconds**2)
            slowing[drifting] = np.clip(
                slowing[drifting] + np.clip(bent, -reach, reach),
                slowing_per_s[drifting] - reach,
                slowing_per_s[drifting] + reach,
            )
    return _Fitted(frequency, cosine, sine, slowing)


def _residual(stretch: _Stretch, fitted: _Fitted) -> NDArray[np.float64]:
    left = stretch.speed.copy()
    for line in range(len(fitted.frequency_hz)):
        one = slice(line, line + 1)
        turn = _turns(stretch.times_s, fitted.frequency_hz[one], fitted.slowing_per_s[one])[0][:, 0]
        left -= fitted.cosine[line] * np.cos(turn) + fitted.sine[line] * np.sin(turn)
    there = stretch.weight > 0.0
    return np.where(there, left - straight_line(left, there), 0.0)


def _next_lines(spectrum: _Spectrum, known_hz: NDArray[np.float64], seconds: float) -> list[tuple[float, float]]:
    """Give the next lines worth fitting, strongest first, each with its false-alarm chance.

    Only those far from each other and not much weaker than the strongest are given at once; the others may be skirts.
    """
    evidence = spectrum.evidence
    evidence[spectrum.power * 3.0 / seconds < (LEAST_PCT / 100.0) ** 2] = 0.0
    for frequency in known_hz:
        evidence[np.abs(spectrum.frequency_hz - frequency) < APART_BINS / seconds] = 0.0
    found: list[tuple[float, float]] = []
    strongest = 0.0
    while len(found) < AT_ONCE and len(evidence):
        best = int(np.argmax(evidence))
        alarm = _false_alarm(float(evidence[best]), TRIALS_PER_BIN * spectrum.bins)
        ratio = float(spectrum.power[best] / spectrum.density[best])
        if alarm >= FALSE_ALARM or ratio < AT_ONCE_RATIO * strongest:
            break
        strongest = max(strongest, ratio)
        found.append((float(spectrum.frequency_hz[best]), alarm))
        evidence[np.abs(spectrum.frequency_hz - spectrum.frequency_hz[best]) < 2.0 * SKIRT_BINS / seconds] = 0.0
    return found


def _crowding(
    frequency_hz: NDArray[np.float64], times_s: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the factor by which the variance of each size grows through its nearest neighbour: 1/(1 - k²).

    k is the Fourier transform of the fit's taper at the distance of the two.
    """
    if len(frequency_hz) < 2:
        return np.ones(len(frequency_hz))
    apart = np.abs(frequency_hz[:, None] - frequency_hz[None, :]) + np.diag(np.full(len(frequency_hz), np.inf))
    shared = [abs(np.exp(2j * np.pi * distance * times_s) @ weight) / weight.sum() for distance in apart.min(axis=1)]
    return np.asarray(1.0 / (1.0 - np.minimum(np.array(shared), 0.9) ** 2), dtype=np.float64)


def _tangled(fitted: _Fitted, seconds: float) -> bool:
    """Say whether two fitted lines have run into each other, or one is a skirt of a far stronger one."""
    order = np.argsort(fitted.frequency_hz)
    apart = np.diff(fitted.frequency_hz[order]) * seconds
    size = np.hypot(fitted.cosine, fitted.sine)[order]
    uneven = np.abs(np.diff(np.log(np.maximum(size, 1e-30)))) > np.log(SKIRT_RATIO)
    return bool(np.any(apart < TOGETHER_BINS) or np.any(uneven & (apart < SKIRT_BINS)))


def _sought(stretch: _Stretch, known: _Fitted = _NONE) -> tuple[_Fitted, list[float]]:
    """Find lines a few at a time until nothing stands out, and fit them all together at the end.

    Arguments:
        stretch: where.
        known: drifting lines, to begin with.
    """
    fitted, slowing = known, known.slowing_per_s
    alarms = [0.0] * len(slowing)
    unsteady: list[float] = []
    while len(alarms) < MOST_LINES and len(unsteady) < MOST_LINES:
        spectrum = _spectrum(stretch, _residual(stretch, fitted))
        taken = np.append(fitted.frequency_hz, unsteady)
        found = _next_lines(spectrum, taken, stretch.seconds)[: MOST_LINES - len(alarms)]
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
        last = _fit(stretch, fitted.frequency_hz, fitted.slowing_per_s, 3)
        fitted = fitted if _tangled(last, stretch.seconds) else last
    return fitted, alarms


def _with(stretch: _Stretch, fitted: _Fitted, more_hz: list[float]) -> _Fitted:
    frequency, slowing = (
        np.append(fitted.frequency_hz, more_hz),
        np.append(fitted.slowing_per_s, np.zeros(len(more_hz))),
    )
    return _fit(stretch, frequency, slowing, 1)


def _drifting(stretch: _Stretch, steady: _Fitted) -> _Fitted:
    """Find the lines that slow down or speed up as a reel's do, beside the steady ones above the reels' rates."""
    spectrum = _spectrum(stretch, _residual(stretch, steady))
    least = (LEAST_PCT / 100.0) ** 2 * stretch.seconds / 3.0 / GAIN  # so that a line too small does not count
    fast = steady.frequency_hz > REELS_BELOW_HZ
    known = _Fitted(*(part[fast] for part in (steady.frequency_hz, steady.cosine, steady.sine, steady.slowing_per_s)))
    for _ in range(MOST_DRIFTING):
        found = strongest_drifting(
            _residual(stretch, known) * (stretch.weight > 0.0),
            stretch.times_s,
            stretch.rate_hz,
            lambda at: np.maximum(np.interp(at, spectrum.frequency_hz, spectrum.density), least),
        )
        if found is None:
            break
        tried = _fit(stretch, np.append(known.frequency_hz, found[0]), np.append(known.slowing_per_s, found[1]), 3)
        if _tangled(tried, stretch.seconds):
            break
        known = tried
    drifting = known.slowing_per_s != 0.0
    return _Fitted(*(part[drifting] for part in (known.frequency_hz, known.cosine, known.sine, known.slowing_per_s)))


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
    stretch = _stretch(tone, trace)
    fitted, alarms = _sought(stretch)
    reels = _drifting(stretch, fitted) if stretch.seconds > LEAST_DRIFTING_S else _NONE
    if len(reels.frequency_hz):
        fitted, alarms = _sought(stretch, reels)
    return _with_doubts(stretch, fitted, alarms)


def _with_doubts(stretch: _Stretch, fitted: _Fitted, alarms: list[float]) -> FittedLines:
    frequency, cosine, sine = fitted.frequency_hz, fitted.cosine, fitted.sine
    spectrum = _spectrum(stretch, _residual(stretch, fitted))
    size = np.hypot(cosine, sine)
    density = np.interp(frequency, spectrum.frequency_hz, spectrum.density)
    certain = stats.t.ppf(0.975, 2.0 * np.interp(frequency, spectrum.frequency_hz, spectrum.values))
    times, weight = stretch.times_s[stretch.good], _fit_taper(stretch)[stretch.good]
    powers = weight**2
    spread = density * stretch.rate_hz * powers.sum() / weight.sum() ** 2
    spread = certain * np.sqrt(spread * _crowding(frequency, times, weight))
    slope = float(np.sqrt(powers @ times**2) / (weight @ times**2) / np.sqrt(powers.sum()) * weight.sum())
    apart = spread * slope / (2.0 * np.pi * np.maximum(size, 1e-30))
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
    )
