"""Reel-borne lines of a long tone, followed from one end of the tape to the other.

A reel's rate falls or rises by half over a side. The radius of a pack obeys r² = r0² ± v h t/pi (closed form of our
own), so 1/f² is a straight line over time, whatever the hub: two numbers, the rates at the two ends, hold all of it.
The tone is cut into minutes; each has its spectrum, taken for several slowings so that a reel is not smeared within the
minute; along every such line the power is summed, and the line that holds most is the reel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, stats

from tapewright.measure.averaged import skirt
from tapewright.measure.drifting import MOST_SLOWING_PER_S, warped
from tapewright.measure.line_spectrum import LEAST_PCT
from tapewright.words.signal import Line, Trace

MINUTE_S: Final = 60.0
MOST_MINUTES: Final = 90
"""Of a longer tone so many minutes are taken, evenly: no side of a cassette is longer."""
BAND_HZ: Final = (0.15, 3.1)
"""From the fullest pack at half speed to a bare hub's second harmonic at double speed."""
TURNS_TOP_HZ: Final = 1.6
"""No hub of a cassette turns faster in play, at double speed: what is faster is a harmonic."""
PADDED: Final = 4
PATH_STEP_BINS: Final = 0.75
SLOWINGS: Final = 13
LAST_STEP: Final = 0.1
"""Of the first step: how finely the two ends are told."""
LEAST_MOVED_BINS: Final = 2.0
"""A line that moves by less than this from end to end is a steady one, and found as such."""
MOST_REELS: Final = 4
FALSE_ALARM: Final = 0.003
BACKGROUNDS_HZ: Final = (0.25, 0.12)
"""Half-widths of the running medians of which the larger is a minute's background: noise may have an edge."""
BACKGROUND_VALUES: Final = 8.0
"""So many independent values the background of one minute is worth."""
MOST_OF_A_MINUTE: Final = 40.0
BESIDE_BINS: Final = 2.5
STEADY_LOSES: Final = 0.5
"""Share of a path's power that a steady line or a single minute may hold; more, and it is that."""
SINE_COST: Final = 1.234
SKIRTS_LARGER: Final = 1.5
"""In single minutes a line may be so much larger than in the mean."""


@dataclass(frozen=True, slots=True)
class Reel:
    """A reel-borne line.

    Arguments:
        line: its rate half way through, size (root of the mean square of all minutes, as a peak), doubts.
        slowing_per_s: relative loss of rate per second half way through; negative for a pack that shrinks.
        ends_hz: its rate at the beginning and at the end.
        slowing_doubt_per_s: half-width of the 95 % interval of the slowing.
    """

    line: Line
    slowing_per_s: float
    ends_hz: tuple[float, float]
    slowing_doubt_per_s: float


@dataclass(frozen=True, slots=True, eq=False)
class _Minutes:
    """Spectra over what is no reel, (minute, slowing, frequency); the noise, (minute, frequency); skirts beside it."""

    power: NDArray[np.float32]
    background: NDArray[np.float64]
    beside: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    slowings: NDArray[np.float64]
    middle_s: NDArray[np.float64]
    seconds: float
    ends_s: tuple[float, float]

    @property
    def shares(self) -> NDArray[np.float64]:
        """Give how far along the tone each minute stands, 0 to 1."""
        whole_s = self.middle_s[-1] - self.middle_s[0]
        return np.asarray((self.middle_s - self.middle_s[0]) / whole_s, dtype=np.float64)


def _between(table: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give every row at these places between its values: the cubic through the four nearest."""
    low = np.clip(np.floor(at).astype(np.intp), 1, table.shape[1] - 3)
    x = at - low
    weights = (
        -x * (x - 1.0) * (x - 2.0) / 6.0,
        (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
        -(x + 1.0) * x * (x - 2.0) / 2.0,
        (x + 1.0) * x * (x - 1.0) / 6.0,
    )
    return np.asarray(sum(weight * table[:, low + step] for step, weight in zip((-1, 0, 1, 2), weights, strict=True)))


def _minutes(trace: Trace, steady: Sequence[Line]) -> _Minutes | None:
    """Take the spectra: each minute with its mean and trend out, for a row of slowings, over its own background.

    The skirts of steady lines, and what of them is smeared where a slowing is tried, count as background.
    """
    values, rate = trace.values, trace.rate_hz
    length = int(MINUTE_S * rate)
    count = len(values) // length
    if count < 4:
        return None
    table = values[: count * length].reshape(count, length)
    picked = np.unique(np.linspace(0, count - 1, min(count, MOST_MINUTES)).round().astype(np.intp))
    table, count = table[picked], len(picked)
    times = np.asarray((np.arange(length) - (length - 1) / 2.0) / rate, dtype=np.float64)
    flat = table - table.mean(axis=1, keepdims=True)
    flat -= np.outer((flat @ times) / (times @ times), times)
    taper = np.sin(np.pi * (np.arange(length) + 0.5) / length)
    padded = fft.next_fast_len(PADDED * length, real=True)
    frequency = fft.rfftfreq(padded, 1.0 / rate)
    inside = slice(int(np.searchsorted(frequency, BAND_HZ[0])), int(np.searchsorted(frequency, BAND_HZ[1])))
    slowings = np.linspace(-MOST_SLOWING_PER_S / 2.0, MOST_SLOWING_PER_S / 2.0, SLOWINGS)
    power = np.empty((count, SLOWINGS, inside.stop - inside.start), dtype=np.float32)
    for number, slowing in enumerate(slowings.tolist()):
        even = warped(times, slowing)
        wanted = np.linspace(even[0], even[-1], length)
        moved = _between(flat, (wanted * (1.0 + 0.5 * slowing * wanted) - times[0]) * rate)
        power[:, number] = np.abs(fft.rfft(moved * taper, padded, axis=1)[:, inside]) ** 2
    power *= np.float32(2.0 / (rate * float(taper @ taper)))
    widths = (int(2.0 * reach / frequency[1]) | 1 for reach in BACKGROUNDS_HZ)
    medians = [ndimage.median_filter(power[:, SLOWINGS // 2], size=(1, width), mode="reflect") for width in widths]
    local = np.maximum(np.maximum(*medians) / np.log(2.0), 1e-300)
    beside = np.zeros((SLOWINGS, inside.stop - inside.start))
    for line in steady:
        if line.frequency_hz < BAND_HZ[1] + 1.0:
            bins = np.abs(frequency[inside] - line.frequency_hz) * MINUTE_S
            smeared = np.abs(slowings) * line.frequency_hz * MINUTE_S**2 / 2.0
            size = SKIRTS_LARGER * line.peak_pct / 100.0
            beside += skirt(np.maximum(bins - smeared[:, None] - 0.5, 0.0), size, MINUTE_S)
    middle = np.asarray(trace.start_s + (picked + 0.5) * length / rate, dtype=np.float64)
    power /= local[:, None, :] + beside
    return _Minutes(
        power,
        local,
        beside,
        frequency[inside],
        slowings,
        middle,
        length / rate,
        (trace.start_s, trace.start_s + len(values) / rate),
    )


def _path(ends_hz: tuple[NDArray[np.float64], float], shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the rates at these shares of the way, shape (paths, shares): 1/f² runs straight from end to end."""
    first, last = ends_hz[0][:, None] ** -2.0, ends_hz[1] ** -2.0
    return np.asarray((first + (last - first) * shares) ** -0.5, dtype=np.float64)


def _along(held: _Minutes, first_hz: NDArray[np.float64], last_hz: float) -> NDArray[np.float64]:
    """Give the power over background along paths from each of the first rates to the last one, (paths, minutes)."""
    count, slowings, points = held.power.shape
    rate = _path((first_hz, last_hz), held.shares)
    whole_s = held.middle_s[-1] - held.middle_s[0]
    per_step = (last_hz**-2.0 - first_hz**-2.0) / (2.0 * whole_s * (held.slowings[1] - held.slowings[0]))
    nearest = np.rint(per_step[:, None] * rate**2 + (slowings - 1) / 2.0).astype(np.intp)
    at = np.rint((rate - held.frequency_hz[0]) / (held.frequency_hz[1] - held.frequency_hz[0])).astype(np.intp)
    inside = (at >= 0) & (at < points) & (nearest >= 0) & (nearest < slowings)
    index = (np.arange(count) * slowings + nearest) * points + at
    power = held.power.reshape(-1).take(index, mode="clip")
    return np.asarray(np.where(inside, power, 0.0), dtype=np.float64)


def _score(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give how much a path holds, (paths,): the mean power, no minute counting for more than 40 backgrounds.

    Among paths that hold so much everywhere, the mean logarithm decides.
    """
    return np.asarray((np.minimum(power, MOST_OF_A_MINUTE) + np.log1p(power)).mean(axis=1), dtype=np.float64)


def _best(held: _Minutes) -> tuple[float, float]:
    """Find the path that holds most: the rates at its two ends."""
    step = PATH_STEP_BINS / held.seconds
    ends = np.arange(BAND_HZ[0] + step, TURNS_TOP_HZ, step, dtype=np.float64)
    best = (0.0, 0.0, 0.0)
    for last in ends.tolist():
        first = ends[
            (np.abs(ends - last) * held.seconds >= LEAST_MOVED_BINS) & (ends / last > 0.4) & (ends / last < 2.5)
        ]
        power = _score(_along(held, first, last))
        at = int(np.argmax(power)) if len(power) else 0
        if len(power) and power[at] > best[0]:
            best = float(power[at]), float(first[at]), last
    for finer in (0.25, LAST_STEP):
        around = step * finer * np.arange(-4, 5)
        near = best
        for last in (near[2] + around).tolist():
            power = _score(_along(held, np.asarray(near[1] + around, dtype=np.float64), last))
            at = int(np.argmax(power))
            if power[at] > best[0]:
                best = float(power[at]), float(near[1] + around[at]), last
    return best[1], best[2]


def _hidden(held: _Minutes, rates_hz: NDArray[np.float64], size: float) -> None:
    """Count a found line along these rates, shape (minutes,), with its skirts among what is no reel."""
    whole_s = held.middle_s[-1] - held.middle_s[0]
    own = (rates_hz[-1] ** -2.0 - rates_hz[0] ** -2.0) / whole_s * rates_hz**2 / 2.0
    for number, (rate, slowing) in enumerate(zip(rates_hz.tolist(), own.tolist(), strict=True)):
        bins = np.abs(held.frequency_hz - rate) * held.seconds
        smeared = np.abs(held.slowings - slowing) * rate * held.seconds**2 / 2.0
        beside = skirt(np.maximum(bins - smeared[:, None] - 0.5, 0.0), SKIRTS_LARGER * size, held.seconds)
        before = held.background[number] + held.beside[SLOWINGS // 2]
        held.power[number] *= before / (before + beside)
        near = bins < BESIDE_BINS
        held.power[number][:, near] = np.minimum(held.power[number][:, near], 1.0)


def find_reels(trace: Trace, steady: Sequence[Line]) -> tuple[Reel, ...]:
    """Find the lines of a long tone whose rate changes as a reel's does.

    Arguments:
        trace: speed deviation of the whole tone, below 3 Hz, some ten values a second, no gaps.
        steady: the steady lines, which are no reels.

    Returns:
        At most four (two reels, a harmonic of each), the strongest first; none in less than four minutes.
    """
    held = _minutes(trace, steady)
    if held is None:
        return ()
    count = len(held.middle_s)
    needed = float(stats.f.isf(FALSE_ALARM / _trials(held), 2 * count, 2.0 * BACKGROUND_VALUES * count))
    found: list[Reel] = []
    while len(found) < MOST_REELS:
        first, last = _best(held)
        if not first:
            break
        rates = _path((np.array([first]), last), held.shares)[0]
        power = _along(held, np.array([first]), last)[0]
        if float(power.mean()) < needed or power.max() > STEADY_LOSES * power.sum():
            break
        kept = [_reel(held, rates, power)]
        _hidden(held, rates, kept[0].line.peak_pct / 100.0)
        if 2.0 * rates.max() < BAND_HZ[1]:
            kept += _second(held, 2.0 * rates)
        kept = [reel for reel in kept if reel.line.peak_pct > max(LEAST_PCT, reel.line.doubt_pct)]
        if not kept:
            break
        found += kept
    return tuple(found)


def _trials(held: _Minutes) -> float:
    """Give how many paths of their own there are: two ends, each anywhere in the band."""
    return float((2.0 * (TURNS_TOP_HZ - BAND_HZ[0]) * held.seconds) ** 2)


def _second(held: _Minutes, rates: NDArray[np.float64]) -> list[Reel]:
    """Look for a found reel's second harmonic where it has to be; nothing has to be searched, so less is asked."""
    power = _along(held, rates[:1], float(rates[-1]))[0]
    if float(power.mean()) < float(stats.gamma.isf(FALSE_ALARM, len(power)) / len(power)):
        return []
    reel = _reel(held, rates, power)
    _hidden(held, rates, reel.line.peak_pct / 100.0)
    return [reel]


def _reel(held: _Minutes, rates: NDArray[np.float64], power: NDArray[np.float64]) -> Reel:
    """Turn the power along a path into a size: what the background adds to the mean power is taken out."""
    count = len(rates)
    at = np.round((rates - held.frequency_hz[0]) / (held.frequency_hz[1] - held.frequency_hz[0])).astype(np.intp)
    at = np.clip(at, 0, len(held.frequency_hz) - 1)
    local, beside = held.background[np.arange(count), at], held.beside[SLOWINGS // 2, at]
    squares = 2.0 * SINE_COST / held.seconds * (power * (local + beside) - local)
    size = float(np.sqrt(max(float(squares.mean()), 1e-300)))
    own = 2.0 * SINE_COST / held.seconds * float(local.mean())
    theory = np.sqrt((own * size**2 * 2.0 + own**2) / count) / (2.0 * size)
    seen = float(squares.std(ddof=1)) / np.sqrt(count) / (2.0 * size)
    certain = float(stats.t.ppf(0.975, count - 1))
    doubt = certain * max(float(theory), seen)
    whole_s = held.middle_s[-1] - held.middle_s[0]
    bend = float(rates[-1] ** -2.0 - rates[0] ** -2.0) / float(whole_s)
    begin, end = ((rates[0] ** -2.0 + bend * (at - held.middle_s[0])) ** -0.5 for at in held.ends_s)
    middle = float(((begin**-2.0 + end**-2.0) / 2.0) ** -0.5)
    slowing = bend * middle**2 / 2.0
    doubt = float(doubt)
    apart = float(
        np.hypot(2.0 * np.sqrt(3.0) / (np.pi * held.seconds) * doubt / size, LAST_STEP * PATH_STEP_BINS / held.seconds)
    )
    evidence = float(stats.f.sf(float(power.mean()), 2 * count, 2.0 * BACKGROUND_VALUES * count))
    alarm = min(1.0, evidence * _trials(held))
    line = Line(middle, 100.0 * size, 100.0 * doubt, apart, alarm, slowing)
    # Both ends are told as finely as the middle: b = (1/f2² - 1/f1²) f²/2T, hence its doubt (closed form).
    unsure = float(np.sqrt(2.0)) * apart / (middle * float(whole_s))
    return Reel(line, slowing, (float(begin), float(end)), unsure)


__all__ = ["Reel", "find_reels"]
