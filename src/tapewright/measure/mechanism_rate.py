"""The rate of something that was heard turning, finer than the grid it was found on; and how much it wavers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.mechanism_frames import Array, Frames
from tapewright.measure.mechanism_runs import Run
from tapewright.measure.weighted import weighted_median
from tapewright.words.reading import Reading

HEARD_ABOVE: Final = 4.0
"""A line counts where the median of its power is so far above the background."""
LEAST_FRAMES: Final = 3
CLOCK_PCT: Final = 0.02
"""How far a phone's clock may be off, percent; from memory, far below what a rate's reading needs."""
ALONE: Final = 4
"""Frames from one to the next that shares no sound with it."""


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The rate of a run, frame by frame.

    Arguments:
        rates_hz: shape (frames,); nan where no line was plain.
        doubt_hz: half-width of the 95 % interval of each, by what noise does to lines of this strength.
        heard: multiples that sound.
        level_db: level of them together, dB against full scale.
    """

    rates_hz: Array
    doubt_hz: Array
    heard: tuple[float, ...]
    level_db: float


def course_of(frames: Frames, run: Run, frame_s: float) -> Course:
    """Follow the lines of a run from frame to frame.

    Arguments:
        frames: of the whole recording.
        run: where and at which multiples.
        frame_s: length of a frame, seconds.

    A line's place comes from a parabola through the logarithms of three bins; all lines of a frame are put together by
    what each is worth: the bound of Cramér and Rao for a line in noise falls with its order and its strength.
    """
    at, strong = _peaks_near(frames, run)
    heard = np.median(strong, axis=1) > HEARD_ABOVE
    if not heard.any():
        heard[int(np.argmax(np.median(strong, axis=1)))] = True
    orders = np.array(run.orders)[heard]
    single = at[heard] / orders[:, None]
    # sd of a line's frequency: sqrt(6 / SNR) / (pi T), SNR that of the line's bin (Rife and Boorstyn 1974).
    each = np.sqrt(6.0 / np.maximum(strong[heard], 1.0)) / (np.pi * frame_s) / orders[:, None]
    middle = weighted_median(single.T, 1.0 / each.T)
    good = (strong[heard] > HEARD_ABOVE) & (np.abs(single - middle) < 4.0 * each + 1e-3 * middle)
    weights = np.where(good, 1.0 / each**2, 0.0)
    total = weights.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        rates = np.where(total > 0, np.nansum(weights * single, axis=0) / total, np.nan)
        doubt = np.where(total > 0, 1.96 / np.sqrt(total), np.nan)
    power = [_line_power(frames, run, order) for order in orders]
    level = 10.0 * np.log10(max(float(np.sum(power)), 1e-15))
    return Course(rates, doubt, tuple(float(one) for one in orders), level)


def _peaks_near(frames: Frames, run: Run, reach_hz: float = 2.5) -> tuple[Array, Array]:
    """Give the frequency and the strength of the highest bin near each multiple, shape (orders, frames).

    The frequency is nan, and the strength nought, where a multiple lies outside the spectra.
    """
    bins = frames.power.shape[1]
    middle = np.rint(np.outer(run.orders, run.rates_hz) / frames.bin_hz).astype(np.intp)
    reach = max(2, round(reach_hz / frames.bin_hz))
    rows = np.arange(run.first, run.last + 1)
    near = middle[:, :, None] + np.arange(-reach, reach + 1)
    inside = (near >= 1) & (near < bins - 1)
    power = np.where(inside, frames.power[rows[:, None], np.clip(near, 0, bins - 1)], -1.0)
    peak = np.clip(near[..., 0] + np.argmax(power, axis=2), 1, bins - 2)
    left, top, right = (
        np.log(np.maximum(frames.power[rows, peak + shift].astype(np.float64), 1e-20)) for shift in (-1, 0, 1)
    )
    curved = left - 2.0 * top + right
    shift = np.where(curved < 0.0, 0.5 * (left - right) / np.where(curved < 0.0, curved, -1.0), 0.0)
    there = np.count_nonzero(inside, axis=2) >= 3
    strong = np.where(there, frames.power[rows, peak] / frames.background[rows, peak], 0.0)
    return np.where(there, (peak + np.clip(shift, -0.5, 0.5)) * frames.bin_hz, np.nan), strong.astype(np.float64)


def _line_power(frames: Frames, run: Run, order: float) -> float:
    rows = np.arange(run.first, run.last + 1)
    at = np.minimum(np.rint(order * run.rates_hz / frames.bin_hz).astype(int), frames.power.shape[1] - 1)
    # A frame's window spreads a line's power; over noise of the same level it is its own.
    return max(0.0, float(np.median(frames.power[rows, at] - frames.background[rows, at])))


def rate_reading(course: Course, frame_s: float) -> tuple[Reading, Reading]:
    """Give the mean rate of a run and how much it wavers, in percent.

    Arguments:
        course: frame by frame.
        frame_s: length of a frame.

    The doubt is the larger of what the frames' own scatter leaves, as many counted as share no sound, and what noise
    does to lines of this strength.
    """
    good: NDArray[np.bool_] = np.isfinite(course.rates_hz)
    rates = course.rates_hz[good]
    if not len(rates):
        why = "Its lines are too faint to follow."
        return Reading(None, "Hz", why_not=why), Reading(None, "%", why_not=why)
    middle = float(np.median(rates))
    apart = 1.4826 * float(np.median(np.abs(rates - middle)))
    kept = np.abs(rates - middle) <= max(4.0 * apart, 3e-3 * middle)
    rates, noise = rates[kept], course.doubt_hz[good][kept]
    mean = float(np.mean(rates))
    alone = max(1.0, len(rates) / ALONE)
    by_noise = float(np.sqrt(np.mean(noise**2) / alone))
    scatter = float(np.std(rates, ddof=1)) if len(rates) > 2 else 0.0
    by_scatter = float(stats.t.ppf(0.975, max(1.0, alone - 1.0))) * scatter / np.sqrt(alone) if alone >= 2 else 0.0
    doubt = float(np.hypot(max(by_noise, by_scatter), CLOCK_PCT / 100.0 * mean))
    heard = ", ".join(f"{order:g}" for order in course.heard)
    rate = Reading(
        mean, "Hz", doubt, method="lines at multiples of one rate, frame by frame", conditions=f"heard at {heard} times"
    )
    return rate, _unsteady(rates, noise, mean, frame_s)


def another_rate(
    rate_hz: float | None, heard: tuple[float, ...], comb: set[float], usual_hz: Sequence[float]
) -> float | None:
    """Give another rate that the lines heard fit as well, and that is as near to what is usual; None where none is.

    Arguments:
        rate_hz: the rate found.
        heard: multiples of it that sound.
        comb: multiples at which the rotor may sound at all; further ones are multiples of the lowest.
        usual_hz: rates at which it usually turns.

    >>> another_rate(3.3, (9.0, 18.0), {3.0, 6.0, 9.0, 12.0, 18.0}, (4.9,))
    4.95
    >>> another_rate(40.0, (1.0, 2.0, 3.0), {1.0, 2.0, 3.0}, (41.0,)) is None
    True
    """
    if rate_hz is None or not usual_hz:
        return None

    def away(rate: float) -> float:
        return min(abs(math.log(rate / usual)) for usual in usual_hz)

    base, limit = min(comb), away(rate_hz) + 0.15
    for many in range(1, 41):
        rate = heard[0] * rate_hz / (many * base)
        if abs(rate / rate_hz - 1.0) < 0.02 or away(rate) > limit:
            continue
        places = [k * rate_hz / (rate * base) for k in heard]
        if all(abs(place - round(place)) < 0.01 * place for place in places):
            return round(rate, 6)
    return None


def _unsteady(rates: Array, noise: Array, mean: float, frame_s: float) -> Reading:
    if len(rates) < 2 * ALONE + 2:
        return Reading(None, "%", why_not="It ran too short for that: two seconds are needed.")
    line = np.polyval(np.polyfit(np.arange(len(rates)), rates, 1), np.arange(len(rates)))
    alone = len(rates) / ALONE
    variance = float(np.var(rates - line, ddof=2))
    own = max(0.0, variance - float(np.mean((noise / 1.96) ** 2)))
    doubt = 1.96 * np.sqrt(variance) / np.sqrt(2.0 * alone)
    return Reading(
        100.0 * float(np.sqrt(own)) / mean, "%", 100.0 * float(doubt) / mean,
        method="root mean square of the rate about a straight line, less what noise does",
        conditions=f"wavering slower than {0.5 / frame_s:.1f} a second",
    )  # fmt: skip
