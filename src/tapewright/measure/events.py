"""What happens to the speed once, and is no line: a dip, a snatch, a belt that sticks and slips, a short stall.

Lines and slow drift are fitted and taken out, piece by piece and so that an event does not pull the fit. What is left
is held against raised cosines of several lengths; how far each usually reaches, in its own surroundings, comes from the
median, which a few events do not move. An event counts when noise alone would have shown one as strong, of any length,
anywhere, in less than one recording in a hundred.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal, stats

from tapewright.words.signal import Line, SpeedEvent, Trace

FALSE_ALARM: Final = 0.01
"""Chance, over the whole recording and all lengths, that noise alone shows an event."""
RATE_HZ: Final = 150.0
"""What is shorter than a few hundredths of a second, the tone's own noise has drowned."""
LENGTHS_S: Final = tuple(0.04 * 2.0 ** (step / 2.0) for step in range(13))
"""Full lengths of the raised cosines, 0.04 to 2.56 s; at half depth an event lasts half as long."""
PIECE_S: Final = 30.0
"""Lines keep phase and size within this well enough."""
AROUND_S: Final = 60.0
"""How far the surroundings reach whose scatter an event is held against."""
SETTLES_S: Final = 0.1
"""Beside a dropout the phase is less sure."""
TRIALS: Final = 2.0
"""Independent trials per length of time; by simulation, so that noise shows an event in one recording in a hundred."""
MEDIAN_COST: Final = 2.72
"""A median of sizes is as uncertain as a mean of squares over so many times fewer values: 1 / 0.3675 (normal law)."""
USUAL: Final = 2.0
FAR: Final = 15.0
"""Sigmas below which nothing counts, and beyond which p is no number that can be held."""
ROUNDS: Final = 4
CLIPPED: Final = 3.0
SLIPS: Final = 4
"""So many dips ..."""
SOON_S: Final = 6.0
"""... with no more than this from one to the next are stick-slip; a bench habit, from memory."""
STALL_PCT: Final = 10.0
SHAPE: Final = 0.12
"""An event is no raised cosine of just these lengths; by trial of other lengths and of flat dips."""
MOST: Final = 50
Values = NDArray[np.float64]


def find_events(trace: Trace, lines: Sequence[Line] = ()) -> tuple[SpeedEvent, ...]:
    """List what happens to the speed once, in the order of time; at most fifty, the plainest.

    Arguments:
        trace: speed deviation, a ratio; nan where it was masked.
        lines: steady lines in it, which are no events.

    >>> times = np.arange(0.0, 20.0, 0.005)
    >>> speed = 1e-4 * np.random.default_rng(1).standard_normal(len(times)) - 0.01 * np.exp(-((times - 7.0) / 0.1) ** 2)
    >>> [(round(one.time_s, 1), one.kind) for one in find_events(Trace(speed, 200.0))]
    [(7.0, 'dip')]
    """
    factor = max(1, int(trace.rate_hz // RATE_HZ))
    values = _thinned(trace.values, factor)
    rate_hz = trace.rate_hz / factor
    if np.count_nonzero(np.isfinite(values)) < 2.0 * rate_hz:
        return ()
    left = _without_lines(values, rate_hz, lines)
    begins_s = trace.start_s + 0.5 * (factor - 1) / trace.rate_hz
    return _kinds(_picked(left, rate_hz, begins_s))


def _thinned(values: Values, factor: int) -> Values:
    """Give means of so many values at a time; nan where one of them is none."""
    if factor == 1:
        return values
    count = len(values) // factor
    return np.asarray(values[: count * factor].reshape(count, factor).mean(axis=1), dtype=np.float64)


# --- what is steady ---------------------------------------------------------------------------------------------------


def _without_lines(values: Values, rate_hz: float, lines: Sequence[Line]) -> Values:
    """Take lines, mean and drift out, piece by piece; nan stays nan.

    Pieces overlap by half and hand over to each other little by little: an edge between them would look like an event.
    """
    shown = [line.frequency_hz for line in lines if line.frequency_hz < 0.45 * rate_hz]
    halves = max(2, round(2.0 * len(values) / (PIECE_S * rate_hz)))
    edges = np.linspace(0, len(values), halves + 1).astype(int)
    steady, weights = np.zeros(len(values)), np.zeros(len(values))
    for first, middle, last in zip(edges, edges[1:], edges[2:], strict=False):
        weight = np.ones(last - first)
        if first > 0:
            weight[: middle - first] = np.linspace(0.0, 1.0, middle - first)
        if last < len(values):
            weight[middle - first :] = np.linspace(1.0, 0.0, last - middle)
        steady[first:last] += weight * _steady(values[first:last], rate_hz, shown)
        weights[first:last] += weight
    return values - steady / np.maximum(weights, 1e-9)


def _steady(values: Values, rate_hz: float, frequencies_hz: Sequence[float]) -> Values:
    """Fit a curve of the second order and all lines, what stands far out held back a little more in each round."""
    times = np.arange(len(values)) / rate_hz
    there = np.isfinite(values)
    even = np.linspace(-1.0, 1.0, len(values))
    # In a piece a line needs two turns of its own to be told from the curve.
    turns = [2.0 * np.pi * hertz * times for hertz in frequencies_hz if hertz * times[-1] > 2.0]
    columns = [np.ones_like(even), even, even**2, *(wave for turn in turns for wave in (np.cos(turn), np.sin(turn)))]
    table = np.stack(columns, axis=1)
    held, known = table[there], values[there]
    if len(known) < 3 * table.shape[1]:
        return np.full(len(values), float(np.median(known)) if len(known) else 0.0)
    shown = known
    fitted = np.zeros(table.shape[1])
    normal = held.T @ held + 1e-6 * len(known) * np.eye(table.shape[1])
    for _ in range(ROUNDS):
        fitted = np.linalg.solve(normal, held.T @ shown)
        off = known - held @ fitted
        most = CLIPPED * 1.4826 * float(np.median(np.abs(off)))
        shown = held @ fitted + np.clip(off, -most, most)
    return np.asarray(table @ fitted)


# --- what stands out --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """What is left, held against one raised cosine.

    Arguments:
        length_s: its full length.
        sizes: how large it is at each time, a ratio, shape (n,).
        sigma: how far that usually reaches there.
        evidence: -ln p of noise alone, 0 where nothing can be said.
    """

    length_s: float
    sizes: Values
    sigma: Values
    evidence: Values


def _picked(left: Values, rate_hz: float, begins_s: float) -> list[SpeedEvent]:
    """Pick the plainest event of any length, leave its time out, and so on."""
    seconds = len(left) / rate_hz
    held = [_against(left, rate_hz, length_s) for length_s in LENGTHS_S if 5.0 * length_s < seconds]
    shapes = [one for one in held if one is not None]
    if not shapes:
        return []
    trials = sum(TRIALS * seconds / one.length_s for one in shapes)
    least = -float(np.log(-np.log1p(-FALSE_ALARM) / trials))
    standing = [
        np.where(one.evidence > least, np.abs(one.sizes) / np.maximum(one.sigma, 1e-300), 0.0) for one in shapes
    ]
    events: list[SpeedEvent] = []
    while len(events) < MOST:
        best = max(range(len(shapes)), key=lambda number: float(standing[number].max()))
        at = int(np.argmax(standing[best]))
        if standing[best][at] <= 0.0:
            break
        alarm = float(-np.expm1(-trials * np.exp(-shapes[best].evidence[at])))
        fits, at, size = _best_fit(left, shapes, best, at, rate_hz)
        depth = 100.0 * size
        doubt = float(np.hypot(196.0 * fits.sigma[at], SHAPE * depth))
        if abs(depth) > doubt:
            events.append(SpeedEvent(begins_s + at / rate_hz, fits.length_s / 2.0, depth, doubt, alarm, ""))
        for one, other in zip(shapes, standing, strict=True):
            # A shape that reaches into this event sees it again, its own lobes beside it too.
            reach = int((fits.length_s + one.length_s) * rate_hz)
            other[max(0, at - reach) : at + reach + 1] = 0.0
    return sorted(events, key=lambda event: event.time_s)


def _best_fit(left: Values, shapes: Sequence[_Shape], best: int, at: int, rate_hz: float) -> tuple[_Shape, int, float]:
    """Choose the length and the time that take most power out of what is left there, and give the size that does."""
    sign = float(np.sign(shapes[best].sizes[at]))
    found = (0.0, shapes[best], at, float(shapes[best].sizes[at]))
    for one in shapes:
        shape = _raised(one.length_s, rate_hz)
        near = int(0.25 * min(one.length_s, shapes[best].length_s) * rate_hz) + 1
        half = len(shape) // 2
        for place in range(max(half, at - near), min(len(left) - half, at + near + 1)):
            held = left[place - half : place - half + len(shape)]
            if len(held) == len(shape) and np.isfinite(held).all():
                size = float(held @ shape) / float(shape @ shape)
                power = size**2 * float(shape @ shape)
                if sign * size > 0.0 and power > found[0]:
                    found = (power, one, place, size)
    return found[1:]


def _raised(length_s: float, rate_hz: float) -> Values:
    """Give a raised cosine of an odd number of values; one more step at either end it reaches nothing."""
    count = 2 * max(1, round((length_s * rate_hz - 2.0) / 2.0)) + 1
    return np.asarray(np.hanning(count + 2)[1:-1])


def _against(left: Values, rate_hz: float, length_s: float) -> _Shape | None:
    """Hold what is left against one raised cosine; None where too little of it was there.

    The shape has its own mean over twice its length taken out, so that slow wander counts little.
    """
    raised = _raised(length_s, rate_hz)
    count = len(raised)
    shape = np.zeros(2 * count + 1)
    shape[(count + 1) // 2 : (count + 1) // 2 + count] = raised
    lowered = shape - shape.mean()
    energy = float(lowered @ shape)
    there = np.isfinite(left)
    sizes = signal.oaconvolve(np.where(there, left, 0.0), lowered[::-1], mode="same") / energy
    near = count + int(SETTLES_S * rate_hz)
    missing = ndimage.binary_dilation(~there, iterations=near) if not there.all() else ~there
    missing[:count] = missing[len(missing) - count :] = True
    if np.count_nonzero(~missing) < 4 * count:
        return None
    sigma, values = _scatter(sizes, ~missing, rate_hz, length_s)
    ratio = np.where(missing, 0.0, np.abs(sizes) / np.maximum(sigma, 1e-300))
    ratio[sigma <= 0.0] = 0.0
    return _Shape(length_s, sizes, sigma, _evidence(ratio, values))


def _evidence(ratio: Values, values: Values) -> Values:
    """Give -ln p of Student's law, two-sided, 0 for what is quite usual; far out by the law's own tail."""
    evidence = np.zeros(len(ratio))
    odd = np.flatnonzero(ratio > USUAL)
    near, count = np.minimum(ratio[odd], FAR), values[odd]
    beyond = (count + 1.0) / 2.0 * np.log((1.0 + ratio[odd] ** 2 / count) / (1.0 + near**2 / count))
    evidence[odd] = beyond - stats.t.logsf(near, count) - np.log(2.0)
    return evidence


def _scatter(sizes: Values, held: NDArray[np.bool_], rate_hz: float, length_s: float) -> tuple[Values, Values]:
    """Give one sigma of the sizes in their surroundings, and how many independent values that rests on."""
    blocks = max(1, round(len(sizes) / (AROUND_S * rate_hz)))
    edges = np.linspace(0, len(sizes), blocks + 1).astype(int)
    sigma, values = np.zeros(len(sizes)), np.ones(len(sizes))
    for first, last in pairwise(edges):
        inside = np.abs(sizes[first:last][held[first:last]])
        if len(inside):
            sigma[first:last] = 1.4826 * float(np.median(inside))
            values[first:last] = max(1.0, len(inside) / rate_hz / length_s / MEDIAN_COST)
    return sigma, values


def _kinds(events: Sequence[SpeedEvent]) -> tuple[SpeedEvent, ...]:
    """Name each event: fast or slow, deep, or one of several dips soon after one another."""
    dips = [event for event in events if event.depth_pct < 0.0]
    slipping: set[float] = set()
    run: list[float] = []
    for event in [*dips, None]:
        if event is not None and run and event.time_s - run[-1] <= SOON_S:
            run.append(event.time_s)
            continue
        slipping |= set(run) if len(run) >= SLIPS else set()
        run = [event.time_s] if event is not None else []
    named = []
    for event in events:
        kind = "dip" if event.depth_pct < 0.0 else "snatch"
        if event.depth_pct < -STALL_PCT:
            kind = "stall"
        elif event.time_s in slipping:
            kind = "stick-slip"
        named.append(replace(event, kind=kind))
    return tuple(named)


__all__ = ["find_events"]
