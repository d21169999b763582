"""When something turned and at what rate: the likeliest course through rates and silence, frame by frame.

A hidden Markov model: silent, or turning at one of many rates that change little from frame to frame; decoded by the
rule of Viterbi (1967). What one rotor's comb explains is taken out before the next is looked for.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_comb import comb_evidence, orders_within, rate_grid
from tapewright.measure.mechanism_frames import Array, Single
from tapewright.words.mechanism_heard import RateExpected

OVERLAP: Final = 0.4
"""Frames overlap, so each says less than if it stood alone: hop over frame, and what the window adds."""
STAYS_S: Final = 5.0
"""How long something usually runs or stands."""
MOVES: Final = 4
"""By how many rates of the grid the rate may change from one frame to the next."""
MOVE_COST: Final = 0.35
NOT_ASKED: Final = 0.1
"""How likely a rotor turns in a mode in which it should stand, or at another mode's rate, against what is expected."""
RESOLVED: Final = 6.0
"""Rates of the grid that a frame cannot tell apart."""
NEAR: Final = 0.2
"""Spread of a sound motor's rate about the one described, as a share of what is looked for; trade judgement."""
STRANGE: Final = 0.1
"""What each frame costs in which a rotor turns that should stand, nats."""
ANOTHER_RATE: Final = 0.4
"""The same where it should turn at quite another rate."""
EXPECTED: Final = 3.0
"""Density, per unit of the rate's logarithm, from which a rate counts as the rotor's own: it is known to a third."""
NEARLY_ALL: Final = 0.8
"""Share of what speaks for a comb that has to lie at multiples of another rotor's rate for it to be the other's."""
SHORTEST_FRAMES: Final = 3
MOST_RUNS: Final = 60


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One rotor turning without a break.

    Arguments:
        name: the rotor's.
        first, last: frames, both in it.
        rates_hz: one for each of those frames.
        orders: multiples that were looked at.
        span_hz: lowest and highest rate that was looked for.
        usual: how much likelier this rate is beforehand than one drawn from all that were looked for.
    """

    name: str
    first: int
    last: int
    rates_hz: Array
    orders: tuple[float, ...]
    span_hz: tuple[float, float]
    usual: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class _Lane:
    """One range of rates of one rotor, and in which modes it is expected."""

    rates: Array
    orders: tuple[float, ...]
    modes: frozenset[str]
    likely: Array


def lanes(expected: Sequence[RateExpected], bin_hz: float, highest_hz: float) -> list[_Lane]:
    """Put together ranges of one rotor that are nearly alike, and lay a grid of rates over each.

    Arguments:
        expected: all of one rotor.
        bin_hz: of the spectra.
        highest_hz: of the spectra.
    """
    groups: list[list[RateExpected]] = []
    for one in sorted(expected, key=lambda e: e.rate_hz):
        if groups and one.rate_hz <= 1.2 * groups[-1][0].rate_hz and one.comb == groups[-1][0].comb:
            groups[-1].append(one)
        else:
            groups.append([one])
    found = []
    for group in groups:
        low, high = min(e.low_hz for e in group), max(e.high_hz for e in group)
        orders = orders_within(group[0].comb, group[0].rate_hz, highest_hz / 1.3)
        if orders:
            modes = frozenset(e.mode for e in group)
            grid = rate_grid(low, high, orders, bin_hz)
            found.append(_Lane(grid, orders, modes, _likely(grid, group)))
    return found


def _likely(grid: Array, group: Sequence[RateExpected]) -> Array:
    """Give the chance of each rate before anything is heard: mostly near what is usual, the rest anywhere."""
    near = np.zeros(len(grid))
    for one in group:
        spread = NEAR * min(math.log(one.high_hz / one.rate_hz), math.log(one.rate_hz / one.low_hz))
        near += np.exp(-0.5 * (np.log(grid / one.rate_hz) / max(spread, 1e-3)) ** 2)
    return np.asarray(0.7 * near / max(float(near.sum()), 1e-12) + 0.3 / len(grid))


def decoded(
    said: Single,
    rows: Sequence[_Lane],
    modes: Sequence[str],
    bin_hz: float,
    hop_s: float,
    taken: NDArray[np.bool_] | None = None,
) -> tuple[NDArray[np.intp], Array, Array]:
    """Find the likeliest course of one rotor.

    Arguments:
        said: evidence in every bin of every frame.
        rows: its ranges of rates.
        modes: the mode of each frame; "" where nobody said.
        bin_hz: distance of two bins.
        hop_s: from frame to frame.
        taken: frames in which it is known to turn already, and not looked for again.

    Returns:
        The state of each frame, 0 for silent and else 1 and the rate's place; all rates; and how much better than
        silence each frame of the course is, in nats.
    """
    # A file of one frame has nothing that overlaps.
    alone = max(OVERLAP, 1.0 / len(said))
    gain = alone * np.concatenate([comb_evidence(said, row.rates, row.orders, bin_hz) for row in rows], axis=1)
    gain -= _strange(rows, modes)
    if taken is not None:
        gain[taken] = -20.0
    rates = np.concatenate([row.rates for row in rows])
    entering = _entering(rows, modes, hop_s)
    edge = np.zeros(len(rates), dtype=bool)
    edge[np.cumsum([0, *(len(row.rates) for row in rows)])[:-1]] = True
    leave, stay = np.log(hop_s / STAYS_S), np.log1p(-hop_s / STAYS_S)
    # What turns when the recording begins may have begun at any time before.
    entering[0] += np.log(0.5 * STAYS_S / hop_s)
    on = entering[0] + gain[0]
    off = 0.0
    back = np.zeros((len(gain), len(rates)), dtype=np.int8)
    from_rate = np.full(len(gain), -1, dtype=np.intp)
    for frame in range(1, len(gain)):
        best, step = _moved(on, edge)
        best += stay
        enter = off + entering[frame]
        came_in = enter > best
        back[frame] = np.where(came_in, MOVES + 1, step)
        loudest = int(np.argmax(on))
        if on[loudest] + leave > off + stay:
            from_rate[frame] = loudest
            off = on[loudest] + leave
        else:
            off = off + stay
        on = np.where(came_in, enter, best) + gain[frame]
    course = _traced(on, off, back, from_rate)
    along = np.where(course > 0, gain[np.arange(len(gain)), np.maximum(course - 1, 0)], 0.0)
    begins = np.flatnonzero((course > 0) & (np.concatenate([[0], course[:-1]]) == 0))
    along[begins] += entering[begins, course[begins] - 1]
    return course, rates, along


def _entering(rows: Sequence[_Lane], modes: Sequence[str], hop_s: float) -> Array:
    """Give the log chance of beginning to turn at each rate, for each frame."""
    begins = np.log(hop_s / STAYS_S)
    known = {mode: k for k, mode in enumerate(dict.fromkeys(modes))}
    table = np.empty((len(known), sum(len(row.rates) for row in rows)))
    for mode, k in known.items():
        pieces = []
        for row in rows:
            usual = not mode or mode in row.modes or "" in row.modes
            pieces.append(np.log((1.0 if usual else NOT_ASKED) * RESOLVED * row.likely))
        table[k] = begins + np.concatenate(pieces)
    return table[[known[mode] for mode in modes]]


def _strange(rows: Sequence[_Lane], modes: Sequence[str]) -> Array:
    """Give what it costs to turn in each frame, range by range of rates, shape (frames, rates)."""
    cost = np.zeros((len(modes), sum(len(row.rates) for row in rows)))
    for mode in dict.fromkeys(modes):
        here = [k for k, one in enumerate(modes) if one == mode]
        elsewhere = ANOTHER_RATE if any(mode in row.modes for row in rows) else STRANGE
        costs = [0.0 if not mode or mode in row.modes or "" in row.modes else elsewhere for row in rows]
        cost[here] = np.repeat(costs, [len(row.rates) for row in rows])
    return cost


def _moved(on: Array, edge: NDArray[np.bool_]) -> tuple[Array, NDArray[np.int8]]:
    """Give the best way to each rate from the rates near it one frame before, and by how many places it came."""
    best, step = on.copy(), np.zeros(len(on), dtype=np.int8)
    walls = np.cumsum(edge)
    for places in range(1, MOVES + 1):
        cost = MOVE_COST * places
        for sign in (1, -1):
            moved = np.full(len(on), -np.inf)
            if sign > 0:
                same = walls[places:] == walls[:-places]
                moved[places:] = np.where(same, on[:-places] - cost, -np.inf)
            else:
                same = walls[places:] == walls[:-places]
                moved[:-places] = np.where(same, on[places:] - cost, -np.inf)
            better = moved > best
            best[better] = moved[better]
            step[better] = sign * places
    return best, step


def _traced(on: Array, off: float, back: NDArray[np.int8], from_rate: NDArray[np.intp]) -> NDArray[np.intp]:
    course = np.zeros(len(back), dtype=np.intp)
    state = 0 if off >= on.max() else 1 + int(np.argmax(on))
    for frame in range(len(back) - 1, -1, -1):
        course[frame] = state
        if state == 0:
            state = 0 if from_rate[frame] < 0 else 1 + int(from_rate[frame])
        else:
            step = int(back[frame, state - 1])
            state = 0 if step == MOVES + 1 or frame == 0 else state - step
    return course


def find_runs(
    said: Single,
    expected: Mapping[str, Sequence[RateExpected]],
    modes: Sequence[str],
    bin_hz: float,
    hop_s: float,
) -> tuple[list[Run], Single]:
    """Find every run of every rotor, the plainest first; what it explains no other has to.

    Arguments:
        said: evidence in every bin of every frame.
        expected: by rotor.
        modes: the mode of each frame.
        bin_hz: distance of two bins.
        hop_s: from frame to frame.

    Returns:
        The runs; and the evidence with all that they explain taken out.
    """
    highest = (said.shape[1] - 1) * bin_hz
    rows = {name: lanes(list(each), bin_hz, highest) for name, each in expected.items()}
    rows = {name: each for name, each in rows.items() if each}
    taken = {name: np.zeros(len(said), dtype=bool) for name in rows}
    left = said.copy()
    waiting: dict[str, list[_Offer]] = {}
    found: list[Run] = []

    def worth(offer: _Offer) -> float:
        # Where two rotors' ranges hold one comb, it is the one's that is due there, and whose usual rate it is.
        fits = 0.8 + 0.2 * min(offer.narrow / EXPECTED, 1.0)
        return offer.gain * fits * (0.3 + 0.7 * _due(offer.run, offer.run.name, rows, modes))

    while len(found) < MOST_RUNS:
        for name in rows.keys() - waiting.keys():
            course, rates, along = decoded(left, rows[name], modes, bin_hz, hop_s, taken[name])
            waiting[name] = _offers(name, course, rates, along, rows[name])
        offers = [offer for each in waiting.values() for offer in each]
        if not offers:
            break
        # A comb that is heard at even multiples alone may be another rotor's at twice the rate: that one goes first.
        ranked = sorted(offers, key=lambda offer: (-worth(offer), offer.run.name, offer.run.first))
        better = (
            offer for offer in ranked
            if not _another_fits(left, offer.run, rows, modes, bin_hz) and not _another_is_due(offer.run, rows, modes)
        )  # fmt: skip
        best = next(better, ranked[0]).run
        found.append(best)
        take_out(left, best, bin_hz)
        taken[best.name][best.first : best.last + 1] = True
        waiting[best.name] = [offer for offer in waiting[best.name] if offer.run is not best]
        # Whoever had hoped for the same stretch of time has to look again.
        for name in [n for n, each in waiting.items() if any(_meet(offer.run, best) for offer in each)]:
            del waiting[name]
    return found, left


@dataclass(frozen=True, slots=True, eq=False)
class _Offer:
    """A run that one rotor's course has in it.

    Arguments:
        run: it.
        gain: how much better than silence it is, nats.
        narrow: how likely the rotor turns at just this rate, per unit of the rate's logarithm.
    """

    run: Run
    gain: float
    narrow: float


def _meet(one: Run, other: Run) -> bool:
    return one.first <= other.last and other.first <= one.last


def _offers(name: str, course: NDArray[np.intp], rates: Array, along: Array, rows: Sequence[_Lane]) -> list[_Offer]:
    turning = np.concatenate([[0], (course > 0).astype(int), [0]])
    changes = np.flatnonzero(np.diff(turning))
    found = []
    for first, after in zip(changes[::2], changes[1::2], strict=True):
        gain = float(along[first:after].sum())
        if after - first < min(SHORTEST_FRAMES, len(course)) or gain <= 0.0:
            continue
        here = rates[course[first:after] - 1]
        middle = float(np.median(here))
        row = next((r for r in rows if r.rates[0] <= middle <= r.rates[-1]), rows[0])
        span = (float(row.rates[0]), float(row.rates[-1]))
        near = int(np.clip(np.searchsorted(row.rates, middle), 0, len(row.rates) - 1))
        usual = float(row.likely[near]) * len(row.rates)
        narrow = usual / math.log(span[1] / span[0]) if span[1] > span[0] else usual
        found.append(_Offer(Run(name, int(first), int(after) - 1, here, row.orders, span, usual), gain, narrow))
    return found


def _another_fits(
    said: Single, run: Run, rows: Mapping[str, Sequence[_Lane]], modes: Sequence[str], bin_hz: float
) -> bool:
    """Say whether nearly all that is heard of a run lies at multiples of a rate that another rotor is due to have."""
    spoken = {order: max(0.0, mean_along(said, run, order, bin_hz)) for order in run.orders}
    total, middle = sum(spoken.values()), float(np.median(run.rates_hz))
    for shared in range(2, round(max(run.orders)) // 2 + 1):
        fitting = sum(size for order, size in spoken.items() if round(order) % shared == 0)
        if fitting < NEARLY_ALL * total or not total:
            continue
        rate = middle * shared
        for other, lanes_of in rows.items():
            there = any(row.rates[0] <= rate <= row.rates[-1] for row in lanes_of)
            faster = Run(other, run.first, run.last, run.rates_hz * shared, run.orders, run.span_hz)
            if other != run.name and there and _due(faster, other, rows, modes) > 0.2:
                return True
    return False


def _due(run: Run, name: str, rows: Mapping[str, Sequence[_Lane]], modes: Sequence[str]) -> float:
    """Give the share of a run's frames in which a rotor is expected to turn at about the run's rate."""
    here = modes[run.first : run.last + 1]
    rate = float(np.median(run.rates_hz))
    fitting = [row for row in rows[name] if row.rates[0] <= rate <= row.rates[-1]]
    return sum(not mode or any(mode in row.modes for row in fitting) for mode in here) / len(here)


def _another_is_due(run: Run, rows: Mapping[str, Sequence[_Lane]], modes: Sequence[str]) -> bool:
    """Say whether a run falls where its rotor should stand, and another should turn at about that rate."""
    own = _due(run, run.name, rows, modes)
    return own < 0.5 and any(_due(run, other, rows, modes) > max(0.2, own) for other in rows if other != run.name)


def mean_along(said: Single, run: Run, order: float, bin_hz: float) -> float:
    """Give the mean evidence of one multiple of a run's rate, while it ran."""
    at = np.minimum(np.rint(order * run.rates_hz / bin_hz).astype(int), said.shape[1] - 1)
    return float(np.mean(said[np.arange(run.first, run.last + 1), at]))


def take_out(said: Single, run: Run, bin_hz: float, width_hz: float = 6.0) -> None:
    """Silence the evidence at every whole multiple of a run's rate, in place, while it ran."""
    bins = said.shape[1]
    reach = max(1, round(width_hz / bin_hz))
    spacing = float(np.median(run.rates_hz))
    # A slow rotor's multiples lie so close that all would go, and a mesh has none between: then those looked at alone.
    dense = spacing <= 2.5 * width_hz or 1.0 not in run.orders
    orders = np.array(run.orders) if dense else np.arange(1, int(bins * bin_hz / spacing) + 1)
    for k, rate in enumerate(run.rates_hz):
        middle = np.rint(orders * rate / bin_hz).astype(int)
        for shift in range(-reach, reach + 1):
            at = middle + shift
            said[run.first + k, at[(at >= 0) & (at < bins)]] = 0.0
