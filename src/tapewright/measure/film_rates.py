"""Turns per second out of angles: the slope over frame times by least squares, with its doubt."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.measure.film_aliases import OPEN, Turned, why_open
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import HubName, ReelRate

Floats = NDArray[np.float64]

WINDOW_S: Final = 0.2
HOP_S: Final = 0.05
LEAST_IN_WINDOW: Final = 4
SURE: Final = 1.96
WOBBLE_TURNS: Final = 0.1 / 360.0
"""What a law fitted to a short film hides of a centre that is a little off or of a near camera; own choice."""
CLOCK: Final = 1e-4
"""How far a phone's clock may be off, ratio; own choice."""
TURNS_HZ: Final = 0.02
"""What is slower stands."""
JUMPS: Final = 0.06
"""Share of the usual rate by which it must change within a window to count as another course; as for shortfalls."""
LAW_S: Final = (1.5, 8.0)
"""A shorter stretch hides its slow scatter in the law fitted to it; a longer one is no parabola any more."""


@dataclass(frozen=True, slots=True, eq=False)
class RateCourse:
    """One hub's rate on the common times.

    Arguments:
        name: of the hub.
        times_s: middles of the windows, shape (n,).
        rate_hz: shape (n,), signed.
        doubt_hz: half-widths of the 95 % intervals, shape (n,).
        turns: angle at the middles, shape (n,).
    """

    name: HubName
    times_s: Floats
    rate_hz: Floats
    doubt_hz: Floats
    turns: Floats

    @property
    def usual_hz(self) -> float:
        """Give the size of the rate while it turns, the median; 0 when it never does."""
        turning = np.abs(self.rate_hz) > TURNS_HZ
        return float(np.median(np.abs(self.rate_hz[turning]))) if turning.sum() > 3 else 0.0

    def as_rate(self) -> ReelRate:
        """Give it as the noun that travels."""
        values = (tuple(float(v) for v in one) for one in (self.times_s, self.rate_hz, self.doubt_hz))
        times, rates, doubts = values
        return ReelRate(self.name, times, rates, doubts)


def rate_deviation_hz(sigma_turns: float, frames: int, frame_s: float) -> float:
    """Give the standard deviation of a rate fitted to evenly spaced angles: s sqrt(12/(K (K² - 1)))/dt, least squares.

    Arguments:
        sigma_turns: standard deviation of one angle.
        frames: how many, K.
        frame_s: time from one to the next.

    >>> round(1e6 * rate_deviation_hz(0.05 / 360.0, 300, 1.0 / 30.0), 1)
    2.8
    """
    return float(sigma_turns * np.sqrt(12.0 / (frames * (frames**2 - 1.0))) / frame_s)


def rate_course(turned: Turned) -> RateCourse:
    """Give the rate over time: a straight line through the angles of each window.

    The doubt is the larger of what the pictures' noise allows and what the angles scatter about their lines; a rate's
    standard deviation is that of an angle times the root of 12/(K (K² - 1)) over the frame time (least squares).

    Arguments:
        turned: the hub's unwrapped angles.
    """
    times, turns = turned.times_s, turned.turns
    frame_s = float(np.median(np.diff(times)))
    half = max(0.5 * WINDOW_S, 0.5 * (LEAST_IN_WINDOW - 1) * frame_s) + 1e-9
    middles = np.arange(times[0] + half, times[-1] - half + 1e-9, max(HOP_S, 0.5 * frame_s)).round(6)
    if not len(middles):
        middles = np.array([0.5 * (times[0] + times[-1])])
    rows = []
    for middle in middles:
        first, last = np.searchsorted(times, [middle - half, middle + half])
        first, last = max(0, min(first, len(times) - LEAST_IN_WINDOW)), max(last, first + LEAST_IN_WINDOW)
        t, y = times[first:last] - middle, turns[first:last]
        about = t - t.mean()
        squares = float(about @ about)
        slope = float(about @ y) / squares
        left = y - y.mean() - slope * about
        own = float(np.mean(turned.sigma_turns[first:last] ** 2))
        rows.append((slope, y.mean() - slope * t.mean(), squares, float(left @ left) / max(1, len(t) - 2), own))
    slope, at, squares, scatter, own = np.array(rows).T
    smooth = _running_median(scatter, 41)
    variance = np.maximum(np.maximum(smooth, own), 0.5 * scatter)
    return RateCourse(turned.name, middles, slope, SURE * np.sqrt(variance / squares), at)


def _running_median(values: Floats, width: int) -> Floats:
    return np.asarray(ndimage.median_filter(values, size=min(width, len(values)), mode="nearest"), dtype=np.float64)


def slow_scatter_turns(course: RateCourse) -> float:
    """Give how far angles stray slowly about their law, standard deviation in turns; 0 where no stretch tells it.

    Wherever the hub runs evenly, its angle is a parabola over time, since the packs change slowly. What is left of it
    has a memory: by the sum of its autocorrelations only every so many-th value is its own (Priestley 1981, the
    variance of a mean of a stationary series), and each parabola takes three of those away.

    Arguments:
        course: a hub's rate over time.
    """
    left = [_about_parabola(course.turns[one]) for one in _even_stretches(course)]
    squares = sum(float(one @ one) for one in left)
    if squares <= 0.0:
        return 0.0
    count = sum(len(one) for one in left)
    memory = 1.0
    for lag in range(1, max(len(one) for one in left)):
        alike = sum(float(one[lag:] @ one[:-lag]) for one in left) / squares
        if alike <= 0.0:
            break
        memory += 2.0 * alike
    return float(np.sqrt(squares / max(count - 3.0 * memory * len(left), 0.25 * count)))


def _even_stretches(course: RateCourse) -> list[NDArray[np.intp]]:
    """Give the windows of each stretch in which the hub turns without a jump of its rate."""
    rate = course.rate_hz
    if len(rate) < 2:
        return []
    hop = float(course.times_s[1] - course.times_s[0])
    step = max(1, round(WINDOW_S / hop))
    even = np.abs(rate) > TURNS_HZ
    most = np.maximum(JUMPS * course.usual_hz, 3.0 * course.doubt_hz[step:])
    for at in np.flatnonzero(np.abs(rate[step:] - rate[:-step]) > most):
        even[at : at + step + 1] = False
    found: list[NDArray[np.intp]] = []
    for first, after in runs_of(even):
        whole = np.arange(first, after)
        pieces = np.array_split(whole, max(1, int(np.ceil(len(whole) * hop / LAW_S[1]))))
        found += [piece for piece in pieces if len(piece) * hop >= LAW_S[0]]
    return found


def _about_parabola(turns: Floats) -> Floats:
    at = np.linspace(-1.0, 1.0, len(turns))
    law = np.polynomial.legendre.legfit(at, turns, 2)
    return np.asarray(turns - np.polynomial.legendre.legval(at, law), dtype=np.float64)


def mean_rate(turned: Turned, course: RateCourse, tick_s: float) -> Reading:
    """Give the mean rate over the time it turned: the angle between its ends over the time between them.

    Arguments:
        turned: the hub's unwrapped angles.
        course: its rate over time.
        tick_s: the step of the film's time stamps.
    """
    if turned.lead < OPEN:
        return Reading(None, "Hz", why_not=why_open(turned))
    moving = np.flatnonzero(np.abs(course.rate_hz) > max(TURNS_HZ, 0.2 * course.usual_hz))
    if not len(moving):
        whole = float(turned.times_s[-1] - turned.times_s[0])
        doubt = SURE * np.sqrt(2.0) * float(np.median(turned.sigma_turns)) / whole + 1e-4
        return Reading(0.0, "Hz", float(doubt), method="angle over frame times", conditions="it stood all the time")
    first, last = int(moving[0]), int(moving[-1])
    if course.times_s[last] - course.times_s[first] < WINDOW_S:
        first, last = 0, len(course.times_s) - 1
    # The angle at a window's middle, by its own line: the mean is then that of exactly the stretch that is stated.
    begin, end = float(course.times_s[first]), float(course.times_s[last])
    seconds = end - begin
    if seconds <= 0.0:
        return Reading(None, "Hz", why_not=f"The {turned.name} hub turned too shortly for a mean rate.")
    rate = float(course.turns[last] - course.turns[first]) / seconds
    sigma = float(np.median(turned.sigma_turns))
    scatter = float(np.median(course.doubt_hz)) / SURE * WINDOW_S / np.sqrt(12.0 / 6.0)
    strays = max(sigma, scatter, slow_scatter_turns(course))
    ends = SURE * np.sqrt(2.0) * strays + 2.0 * WOBBLE_TURNS
    doubt = np.hypot(ends / seconds, abs(rate) * np.hypot(CLOCK, tick_s / seconds))
    return Reading(
        rate,
        "Hz",
        float(doubt),
        method="angle by polar correlation over the frames' own times",
        conditions=f"{begin:.2f} to {end:.2f} s; no slower or faster alias",
    )


__all__ = ["RateCourse", "mean_rate", "rate_course", "rate_deviation_hz", "slow_scatter_turns"]
