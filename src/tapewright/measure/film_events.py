"""What the reels do and should not: hesitate, slip, stand, start, stop, and a take-up that lags behind what is given.

Each hub is held against its own smooth course (the packs change slowly), fitted so that short shortfalls do not count.
What both hubs do together is the drive or the tape's speed: they hesitate. What one does alone is that reel: it slips.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import ndtr

from tapewright.measure.film_rates import SURE, TURNS_HZ, RateCourse
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.reels_seen import ReelEvent

Floats = NDArray[np.float64]

STANDS_BELOW: Final = 0.08
"""Share of its usual rate below which a hub stands."""
SHORTFALL: Final = 0.06
"""Share of the rate that must be missing; own choice: an order below it the packs are not round."""
LEAST_S: Final = 0.15
LEAST_STAND_S: Final = 0.3
RAMP_S: Final = 1.0
"""So long a hub may take to its rate after a start and from it before a stop."""
ALIKE: Final = 0.5
"""Two shortfalls are one if the smaller has so much of the larger."""
LEAST_LOOP_M: Final = 3e-3
"""What a tape guide and a pack's elasticity take up; own choice."""
END_S: Final = 0.3
"""So near the film's ends nothing begins or ends for sure."""


@dataclass(frozen=True, slots=True, eq=False)
class Against:
    """One hub against its own smooth course, on the common times.

    Arguments:
        course: its rate.
        turns: where it turns, shape (n,).
        missing: share of the rate that is missing, shape (n,); 1 where it stands.
        noise: standard deviation of that, shape (n,).
    """

    course: RateCourse
    turns: NDArray[np.bool_]
    missing: Floats
    noise: Floats


def against_own(course: RateCourse) -> Against:
    """Hold a hub against its own smooth course.

    Arguments:
        course: its rate over time.
    """
    size = np.abs(course.rate_hz)
    usual = course.usual_hz
    turns = size > max(TURNS_HZ, STANDS_BELOW * usual) if usual else np.zeros(len(size), dtype=np.bool_)
    turns = _closed(turns, course.times_s, 0.12)
    missing = np.ones(len(size))
    noise = np.full(len(size), 0.01)
    for first, last in runs_of(turns):
        usually = _smooth(size[first:last], course.times_s[first:last])
        missing[first:last] = 1.0 - size[first:last] / usually
        noise[first:last] = course.doubt_hz[first:last] / SURE / usually
    if not usual:
        missing[:] = 0.0
    return Against(course, turns, missing, np.maximum(noise, 0.002))


def _smooth(size: Floats, times_s: Floats) -> Floats:
    """Fit the logarithm of the rate by a low polynomial that short shortfalls do not pull (Tukey's biweight)."""
    seconds = float(times_s[-1] - times_s[0])
    order = 0 if seconds < 2.0 else 1 if seconds < 8.0 else 2 if seconds < 30.0 else 3
    at = np.linspace(-1.0, 1.0, len(times_s)) if len(times_s) > 1 else np.zeros(1)
    value = np.log(np.maximum(size, 1e-6))
    weight = (value >= np.median(value) - 0.02).astype(np.float64)
    # Ramps at the ends are no part of the course.
    fit = np.full(len(value), float(np.median(value)))
    for _ in range(12):
        if weight.sum() > order + 3:
            fit = np.polynomial.legendre.legval(at, np.polynomial.legendre.legfit(at, value, order, w=np.sqrt(weight)))
        left = value - fit
        spread = max(1.4826 * float(np.median(np.abs(left))), 0.004)
        weight = np.clip(1.0 - (left / (5.0 * spread)) ** 2, 0.0, None) ** 2
    return np.asarray(np.exp(fit), dtype=np.float64)


def _closed(mask: NDArray[np.bool_], times_s: Floats, gap_s: float) -> NDArray[np.bool_]:
    """Fill gaps that are shorter than this."""
    filled = mask.copy()
    hop = float(times_s[1] - times_s[0]) if len(times_s) > 1 else 1.0
    for first, last in runs_of(~mask):
        if first > 0 and last < len(mask) and (last - first) * hop < gap_s:
            filled[first:last] = True
    return filled


def reel_events(
    courses: Sequence[RateCourse], takes_up: str = "", tape_m_per_s: float | None = None
) -> tuple[ReelEvent, ...]:
    """Find what the reels do besides turning evenly.

    Arguments:
        courses: one or two hubs, on the same times.
        takes_up: the hub that takes up; "" when it is not known, and then nothing is said of a loop.
        tape_m_per_s: how fast the tape runs; None when it is not known, and then a loop is told by shares alone.
    """
    hubs = [against_own(course) for course in courses]
    found: list[ReelEvent] = []
    for hub in hubs:
        other = next((one for one in hubs if one is not hub), None)
        found += _standing(hub, other)
        found += _short(hub, other)
    found += _lagging(hubs, takes_up, tape_m_per_s)
    return tuple(sorted(found, key=lambda event: (event.start_s, event.name)))


def _standing(hub: Against, other: Against | None) -> list[ReelEvent]:
    """Find starts, stops, and where it stands while the other goes on or though it had turned."""
    times, name = hub.course.times_s, hub.course.name
    begin, end = times[0], times[-1]
    events = []
    for first, last in runs_of(~hub.turns):
        from_s, to_s = float(times[first]), float(times[last - 1])
        others = other is not None and bool(np.mean(other.turns[first:last]) > 0.6)
        after, before = first > 0, last < len(times)
        seconds = to_s - from_s
        sure = float(np.clip(0.55 + 0.4 * seconds / 0.5, 0.0, 0.98))
        if (others or (after and before)) and seconds >= LEAST_STAND_S:
            events.append(ReelEvent("stands", name, from_s, to_s, 1.0, sure))
        elif after and not before and end - from_s >= END_S:
            events.append(ReelEvent("stops", name, from_s, from_s, 1.0, sure))
        if before and not after and to_s - begin >= END_S - 0.2:
            events.append(ReelEvent("starts", name, to_s, to_s, 1.0, sure))
    return events


def _short(hub: Against, other: Against | None) -> list[ReelEvent]:
    """Find where less than its rate is turned, not counting the ways from and to a stand."""
    times = hub.course.times_s
    events = []
    for begin, stop in runs_of(hub.turns):
        threshold = np.maximum(SHORTFALL, 4.0 * hub.noise)
        short = _closed(hub.missing > threshold, times, LEAST_S)
        short[:begin], short[stop:] = False, False
        for first, last in runs_of(short):
            from_s, to_s = float(times[first]), float(times[last - 1])
            if to_s - from_s < LEAST_S or _is_ramp(hub, begin, stop, first, last):
                continue
            size = float(np.max(ndimage.uniform_filter1d(hub.missing[first:last], 3)))
            noise = float(np.median(hub.noise[first:last]))
            sure = float(ndtr((size - 0.5 * SHORTFALL) / (noise + 0.015)))
            same = _together(other, first, last, size)
            events.append(ReelEvent("hesitates" if same else "slips", hub.course.name, from_s, to_s, size, sure))
    return events


def _is_ramp(hub: Against, begin: int, stop: int, first: int, last: int) -> bool:
    """Say whether a shortfall is the way from or to a stand, or lies at the film's very end."""
    times = hub.course.times_s
    short = times[last - 1] - times[first] < RAMP_S
    return short and (first - begin <= 2 or stop - last <= 2)


def _together(other: Against | None, first: int, last: int, size: float) -> bool:
    if other is None:
        return False
    wide = slice(max(0, first - 2), last + 2)
    return bool(np.max(ndimage.uniform_filter1d(other.missing[wide], 3)) > ALIKE * size)


def _lagging(hubs: Sequence[Against], takes_up: str, tape_m_per_s: float | None) -> list[ReelEvent]:
    """Find where the take-up winds less than the other gives: the tape between them grows into a loop."""
    taker = next((one for one in hubs if one.course.name == takes_up), None)
    giver = next((one for one in hubs if one is not taker), None)
    if taker is None or giver is None or not giver.course.usual_hz:
        return []
    times = giver.course.times_s
    hop = float(times[1] - times[0]) if len(times) > 1 else 0.0
    given = np.where(giver.turns, 1.0 - giver.missing, 0.0)
    wound = np.where(taker.turns, 1.0 - taker.missing, 0.0)
    behind = given - wound
    noise = np.hypot(giver.noise, taker.noise)
    events = []
    for first, last in runs_of(_closed(behind > np.maximum(SHORTFALL, 4.0 * noise), times, LEAST_S)):
        left, whole = float(behind[first:last].sum() * hop), float(given[first:last].sum() * hop)
        share = float(np.clip(left / max(whole, 1e-9), 0.0, 1.0))
        long_enough = left * (tape_m_per_s or 0.047) > LEAST_LOOP_M
        if long_enough and times[last - 1] - times[first] >= LEAST_S:
            sure = float(ndtr((share - 0.5 * SHORTFALL) / (float(np.median(noise[first:last])) + 0.02)))
            events.append(
                ReelEvent("lags", taker.course.name, float(times[first]), float(times[last - 1]), share, sure)
            )
    return events


__all__ = ["Against", "against_own", "reel_events"]
