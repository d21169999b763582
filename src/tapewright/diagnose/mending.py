"""What it costs to mend one thing after another until a complaint is gone, for many states at once.

Each time the thing with the best chance of ending it per minute comes next (chance over cost); cases are weighed
together, so that what one repair left undone speaks for the next. What lies inside is weighed as a group against what
lies outside, since the opening is paid once.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]

LONGEST: Final = 14
"""Repairs in a row that are thought through; what is left after them is handed back."""
GROUPINGS: Final = 4
"""Rounds in which the best group of works inside is found; it hardly changes after three."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """Where the work stands.

    Arguments:
        weights: of the cases, shape (cases,); cases of one pattern lie together.
        yes: chance that each case says yes to each question, shape (cases, questions).
        starts: first case of each pattern, shape (patterns,).
        alone, jointly: as in `Cures`, 0 or 1, shape (patterns, works).
        work_minutes, work_inside: of each work, shape (works,).
        ask_minutes, ask_inside: of each question, shape (questions,).
        opened: whether the case lies open.
        opening: minutes to open and close it.
        give_up: minutes that a machine costs that goes back with its complaint.
    """

    weights: Array
    yes: Array
    starts: Codes
    alone: Array
    jointly: Array
    work_minutes: Array
    work_inside: Mask
    ask_minutes: Array
    ask_inside: Mask
    opened: bool
    opening: float
    give_up: float


def in_a_row(here: Bench, ways: Array, opened: Mask, done: Mask) -> Array:
    """Give the cost of mending one thing after another, for many states at once.

    Arguments:
        here: where the work stands.
        ways: weights of the patterns in each state, shape (states, patterns).
        opened: shape (states,).
        done: works done already, shape (states, works).

    Returns:
        Minutes times the state's weight, shape (states,).
    """
    if not len(here.work_minutes):
        return np.asarray(here.give_up * ways.sum(axis=1))
    ways, opened, done = ways.copy(), opened.copy(), done.copy()
    # A pattern that one work ends has none that must come together, and the other way round.
    both, ends, needs = here.alone + here.jointly, 1.0 - here.alone.T, np.ascontiguousarray(here.jointly.T)
    missing = np.where(here.jointly.any(axis=1), here.jointly.sum(axis=1) - done @ needs, 1.0)
    rows = np.arange(len(ways))
    spent: list[tuple[Array, Array]] = []
    for _ in range(LONGEST):
        mass = ways.sum(axis=1)
        if not (mass > 1e-9).any():
            break
        hope = (ways / np.maximum(missing, 1.0)) @ both
        hope[done] = 0.0
        work = _best_work(here, hope, opened)
        price = here.work_minutes[work] + here.opening * (here.work_inside[work] & ~opened)
        spent.append((mass, price))
        new = needs.take(work, 0)
        new[done[rows, work]] = 0.0  # where there is no hope any more
        missing -= new
        ways *= ends.take(work, 0)
        ways *= missing > 0.0
        done[rows, work] = True
        opened |= here.work_inside[work]
    to_go = here.give_up * ways.sum(axis=1)
    for mass, price in reversed(spent):
        to_go = np.minimum(here.give_up * mass, price * mass + to_go)
    return np.asarray(to_go)


def _best_work(here: Bench, hope: Array, opened: Mask) -> Codes:
    """Choose by chance over cost; with the case shut the things inside share the opening, as the best group of them."""
    rate = hope / here.work_minutes
    inside = np.flatnonzero(here.work_inside)
    best = np.asarray(rate.argmax(axis=1))
    if not len(inside) or opened.all():
        return best
    chance, minutes, own = hope[:, inside], here.work_minutes[inside], rate[:, inside]
    shared = np.zeros(len(hope))
    for _ in range(GROUPINGS):
        # The best group holds what is better than the group itself (W. Dinkelbach, Manage. Sci. 13(7), 1967).
        worth = own > shared[:, None]
        shared = (chance * worth).sum(axis=1) / (here.opening + worth @ minutes)
    outside = np.where(here.work_inside, -1.0, rate)
    shut = np.where(shared > outside.max(axis=1), inside[own.argmax(axis=1)], outside.argmax(axis=1))
    return np.asarray(np.where(opened, best, shut))
