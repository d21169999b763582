"""When something turned and at what rate: all runs of all rotors, the plainest first.

What one rotor's comb explains is taken out before the next is looked for.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_course import Lane, decoded, lanes
from tapewright.measure.mechanism_frames import Array, Single
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.mechanism_heard import RateExpected

EXPECTED: Final = 3.0
"""Density, per unit of the rate's logarithm, from which a rate counts as the rotor's own: it is known to a third."""
NEARLY_ALL: Final = 0.8
"""Share of what speaks for a comb that has to lie at multiples of another rotor's rate for it to be the other's."""
SHORTEST_FRAMES: Final = 3
MOST_RUNS: Final = 60
TORN_FRAMES: Final = 20
"""How far apart, or how far into one another, two pieces of one run may lie that was followed under two names."""
SAME_RATE: Final = 0.003
"""How far their rates may differ, as a share."""


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


def _offers(name: str, course: NDArray[np.intp], rates: Array, along: Array, rows: Sequence[Lane]) -> list[_Offer]:
    found = []
    for first, after in runs_of(course > 0):
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
        found.append(_Offer(Run(name, first, after - 1, here, row.orders, span, usual), gain, narrow))
    return found


def _another_fits(
    said: Single, run: Run, rows: Mapping[str, Sequence[Lane]], modes: Sequence[str], bin_hz: float
) -> bool:
    """Say whether nearly all that is heard of a run lies at multiples of a rate that another rotor is due to have."""
    spoken = {order: max(0.0, mean_along(said, run, order, bin_hz)) for order in run.orders}
    total, middle = sum(spoken.values()), float(np.median(run.rates_hz))
    own = _due(run, run.name, rows, modes)
    for shared in range(2, round(max(run.orders)) // 2 + 1):
        fitting = sum(size for order, size in spoken.items() if round(order) % shared == 0)
        if fitting < NEARLY_ALL * total or not total:
            continue
        rate = middle * shared
        for other, lanes_of in rows.items():
            there = any(row.rates[0] <= rate <= row.rates[-1] for row in lanes_of)
            faster = Run(other, run.first, run.last, run.rates_hz * shared, run.orders, run.span_hz)
            # A run may reach into a mode in which the other is due and its own rotor is not.
            if other != run.name and there and _due(faster, other, rows, modes) >= max(0.2, own):
                return True
    return False


def _due(run: Run, name: str, rows: Mapping[str, Sequence[Lane]], modes: Sequence[str]) -> float:
    """Give the share of a run's frames in which a rotor is expected to turn at about the run's rate."""
    here = modes[run.first : run.last + 1]
    rate = float(np.median(run.rates_hz))
    fitting = [row for row in rows[name] if row.rates[0] <= rate <= row.rates[-1]]
    return sum(not mode or any(mode in row.modes for row in fitting) for mode in here) / len(here)


def _another_is_due(run: Run, rows: Mapping[str, Sequence[Lane]], modes: Sequence[str]) -> bool:
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
    middle = np.rint(run.rates_hz[:, None] * orders / bin_hz).astype(np.intp)
    at = middle[:, :, None] + np.arange(-reach, reach + 1)
    frames = np.broadcast_to(np.arange(run.first, run.last + 1)[:, None, None], at.shape)
    inside = (at >= 0) & (at < bins)
    said[frames[inside], at[inside]] = 0.0


def joined(runs: Sequence[Run], gap_frames: int = 6) -> list[Run]:
    """Join runs of one rotor that a noise tore apart: near in time, at nearly the same rate."""
    found: list[Run] = []
    for run in sorted(runs, key=lambda one: (one.name, one.first)):
        last = found[-1] if found else None
        if last is None or last.name != run.name or run.first - last.last > gap_frames or not _alike(last, run):
            found.append(run)
        elif run.last > last.last:
            # Where they overlap the earlier one counts.
            later = run.rates_hz[max(0, last.last + 1 - run.first) :]
            between = np.linspace(last.rates_hz[-1], later[0], max(2, run.first - last.last + 1))[1:-1]
            rates = np.concatenate([last.rates_hz, between, later])
            found[-1] = replace(last, last=run.last, rates_hz=rates)
    return found


def _alike(one: Run, other: Run) -> bool:
    ends, begins = float(np.median(one.rates_hz[-5:])), float(np.median(other.rates_hz[:5]))
    return abs(begins / ends - 1.0) < 0.015


def untangled(runs: Sequence[Run], expected: Mapping[str, Sequence[RateExpected]]) -> list[Run]:
    """Give a rotor back what another took from it: a run at the very rate at which it ran just before or after.

    Two motors that sound alike are each followed where they are plainest; where one is worn and slow, its lines may
    lie in the other's range, and each is followed for a while under the other's name. A motor that runs does not jump
    to another rate while another jumps to its own.
    """
    found = list(runs)
    for at in sorted(range(len(found)), key=lambda k: found[k].first - found[k].last):
        taken = found[at]
        for owner in expected:
            if owner == taken.name or not _may_be(owner, taken, expected) or _continues(taken, taken.name, found):
                continue
            if not _continues(taken, owner, found) or _away(owner, taken, expected) > _away(
                taken.name, taken, expected
            ):
                continue
            # What runs under the owner's name meanwhile is the other's.
            theirs = [
                k for k, one in enumerate(found)
                if one.name == owner and _inside(one, taken) and _may_be(taken.name, one, expected)
            ]  # fmt: skip
            for k in theirs:
                found[k] = replace(found[k], name=taken.name)
            found[at] = replace(taken, name=owner)
            break
    return found


def _may_be(name: str, run: Run, expected: Mapping[str, Sequence[RateExpected]]) -> bool:
    """Say whether a run's rate and multiples are such as a rotor may have."""
    rate = float(np.median(run.rates_hz))
    return any(one.low_hz <= rate <= one.high_hz and set(run.orders) <= set(one.comb) for one in expected[name])


def _away(name: str, run: Run, expected: Mapping[str, Sequence[RateExpected]]) -> float:
    """Give how far a run's rate lies from the nearest at which a rotor usually turns, as a logarithm."""
    rate = float(np.median(run.rates_hz))
    return min(abs(math.log(rate / one.rate_hz)) for one in expected[name])


def _continues(run: Run, name: str, runs: Sequence[Run]) -> bool:
    """Say whether a rotor ran at a run's rate where the run begins, or where it ends."""
    return any(
        other.name == name and other is not run and (
            (_near(other.rates_hz[-1], run.rates_hz[0]) and abs(run.first - other.last) <= TORN_FRAMES)
            or (_near(other.rates_hz[0], run.rates_hz[-1]) and abs(other.first - run.last) <= TORN_FRAMES)
        ) for other in runs
    )  # fmt: skip


def _near(one: float, other: float) -> bool:
    return abs(one / other - 1.0) < SAME_RATE


def _inside(one: Run, other: Run) -> bool:
    """Say whether most of a run lies in the time of another."""
    both = min(one.last, other.last) - max(one.first, other.first) + 1
    return both > 0.5 * (one.last - one.first + 1)
