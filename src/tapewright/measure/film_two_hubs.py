"""The courses of two hubs on one tape, together: through a falter both lose the same share of their rates.

One hub alone may seem to go on at a rate that looks the same while it falls by a whole step. What both seem to do then
is no course of two packs, whose ratio changes slowly. So the rates of both are chosen together, block by block.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_one_tape import PACKS_APART, TURNS_HZ

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

SPEEDS_UP_HZ_PER_S: Final = 10.0
"""How fast a hub gains rate from one block to the next before that counts against it; own choice."""
RATIO_CHANGES: Final = 0.03
"""Share by which the ratio of the rates may change from one block to the next; own choice."""
STANDS_HZ: Final = 0.02
WITHIN_STEP: Final = 0.25
"""Share of the step between rates that look the same within which the hubs may part as they like; own choice."""
MOST: Final = 10.0
"""What a change costs at most: a reel that slips alone changes the ratio at once."""
IMPOSSIBLE: Final = 500.0
FEW: Final = 400
"""So many pairs are held on to in a block: those that cost least."""


@dataclass(frozen=True, slots=True, eq=False)
class JointCourses:
    """For each pair of rates in one block, the best courses through all blocks.

    Arguments:
        costs: shape (pairs,).
        rates_hz: of both hubs, shape (pairs, 2, blocks).
    """

    costs: Floats
    rates_hz: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """The pairs of one block: rates (pairs, 2), what they cost, the logarithm of their ratio, nan where both stand."""

    rates_hz: Floats
    cost: Floats
    ratio: Floats


def joint_courses(
    rates_hz: tuple[Floats, Floats], costs: tuple[Floats, Floats], steps_hz: tuple[float, float], seconds: float,
    free: NDArray[np.bool_], anchor: int,
) -> JointCourses:  # fmt: skip
    """Give the best courses of two hubs for each pair of rates that they may have in one block (Bellman 1957).

    Arguments:
        rates_hz: those that each hub may have in each block, shape (blocks, rates) each.
        costs: what each costs, the same shapes.
        steps_hz: for each hub, by how much rates differ that look the same.
        seconds: a block lasts.
        free: from which block to the next the rates may change as they like, shape (blocks - 1,).
        anchor: the block whose pairs are told apart.
    """
    slow_hz = WITHIN_STEP * min(steps_hz)
    (one, other), (cost, others) = rates_hz, costs
    blocks = [_pairs(one[at], other[at], cost[at], others[at], slow_hz) for at in range(len(one))]
    here = blocks[anchor]
    total = here.cost.copy()
    courses = np.empty((len(here.cost), 2, len(blocks)))
    courses[:, :, anchor] = here.rates_hz
    for onward in (range(anchor, len(blocks) - 1), range(anchor, 0, -1)):
        way = onward.step
        ahead = np.zeros(len(blocks[onward[-1] + way if len(onward) else anchor].cost))
        follow: dict[int, Indices] = {}
        for at in reversed(onward):
            there = at + way
            first = min(at, there)
            change = _change(blocks[first], blocks[first + 1], min(steps_hz), seconds, free=bool(free[first]))
            onto = change if way > 0 else change.T
            onto = onto + (blocks[there].cost + ahead)[None, :]
            follow[at], ahead = np.asarray(onto.argmin(axis=1), dtype=np.intp), onto.min(axis=1)
        at_pair = np.arange(len(here.cost))
        for at in onward:
            at_pair = follow[at][at_pair]
            courses[:, :, at + way] = blocks[at + way].rates_hz[at_pair]
        total += ahead
    return JointCourses(total, courses)


def _pairs(one: Floats, other: Floats, cost: Floats, others: Floats, slow_hz: float) -> _Block:
    """Give the pairs that can be: the same way round, packs of one cassette; or one stands, or both are slow."""
    first, second = np.meshgrid(one, other, indexing="ij")
    both = (np.abs(first) > TURNS_HZ) & (np.abs(second) > TURNS_HZ)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(both, first / second, 1.0)
    can = (ratio > 1.0 / PACKS_APART) & (ratio < PACKS_APART)
    # In play a reel may slip by any share.
    can |= np.maximum(np.abs(first), np.abs(second)) < slow_hz
    total = np.where(can, cost[:, None] + others[None, :], np.inf)
    kept = np.argsort(total, axis=None, kind="stable")[: min(FEW, max(int((total < IMPOSSIBLE).sum()), 1))]
    rates = np.stack([first.ravel()[kept], second.ravel()[kept]], axis=1)
    sizes = np.abs(rates) + STANDS_HZ
    told = np.where(np.abs(rates).max(axis=1) > TURNS_HZ, np.log(sizes[:, 0] / sizes[:, 1]), np.nan)
    return _Block(rates, np.minimum(total.ravel()[kept], 1e6), told)


def _change(here: _Block, there: _Block, step_hz: float, seconds: float, *, free: bool) -> Floats:
    """Give what it costs to go over from each pair of a block to each of the next."""
    if free:
        return np.zeros((len(here.cost), len(there.cost)))
    change = there.rates_hz[None, :, :] - here.rates_hz[:, None, :]
    jump = np.log1p((change / (SPEEDS_UP_HZ_PER_S * seconds)) ** 2).sum(axis=2)
    apart = there.ratio[None, :] - here.ratio[:, None]
    bend = np.where(np.isnan(apart), 0.0, 0.5 * (apart / RATIO_CHANGES) ** 2)
    # A reel that slips in play changes the ratio by much and its rate by far less than a step.
    was = np.exp(np.nan_to_num(here.ratio))[:, None]
    one, other = there.rates_hz[None, :, 0], there.rates_hz[None, :, 1]
    beyond = np.minimum(np.abs(one - was * other), np.abs(other - one / was)) / (WITHIN_STEP * step_hz)
    return np.asarray(jump + np.minimum(bend, MOST) * np.minimum(beyond, 1.0) ** 2, dtype=np.float64)


__all__ = ["SPEEDS_UP_HZ_PER_S", "JointCourses", "joint_courses"]
