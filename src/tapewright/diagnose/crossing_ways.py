"""How to go through a plan for rows: what of that hangs on the plan alone, laid down once (`crossing`)."""

from collections.abc import Collection, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from tapewright.diagnose.contraction import Plan, Products, leading_to
from tapewright.diagnose.relations import Array, Places

FAR: Final = 1e60
"""Two tables that are not yet scaled may be multiplied: 64 bits hold up to 1e308."""
ONE_JOIN: Final = 10_000
"""Even a join of nothing takes as long as so many products."""
ROUNDS: Final = 3
"""How often it is thought over where to read each variable off."""
LARGE: Final = 1500
"""Products from which a sparse matrix is quicker than a gather."""


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One table of the plan: as things stand, and for some rows.

    Arguments:
        base: shape (combinations,).
        held: shape (combinations, rows); None where no row is.
    """

    base: Array
    held: Array | None


@dataclass(frozen=True, slots=True, eq=False)
class _Through:
    """How the rows of one table go through a join, the other table as it stands.

    Arguments:
        entries: entry of the table in each product, products of one sum side by side, shape (products,).
        starts: where each sum starts, shape (sums,); None where each is of one product.
        matrix: the same as a sparse matrix of ones, where there is so much of it that this is quicker.
    """

    entries: Places
    starts: Places | None
    matrix: Any

    def of(self, held: Array, weights: Array | None) -> Array:
        """Multiply with the other table's entries, product by product, and sum; None for a sum alone."""
        if self.matrix is not None:
            return np.asarray((self.matrix if weights is None else weighted(self.matrix, weights)) @ held)
        chosen = held.take(self.entries, 0)
        if weights is not None:
            chosen *= weights[:, None]
        return chosen if self.starts is None else np.add.reduceat(chosen, self.starts)


def weighted(matrix: Any, weights: Array) -> Any:
    """Give a sparse matrix of ones with something else in it."""
    found = copy(matrix)
    found.data = weights
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Join:
    """One direction of a join; `first` and `second` say how the rows of the two go through, None where none do."""

    products: Products
    starts: Places | None
    first: _Through | None
    second: _Through | None

    def of(self, one: Column, other: Column | None) -> Column:
        """Multiply two tables whose rows are different ones: each row of the one with the other as it stands."""
        base = ours = one.base.take(self.products.first)
        theirs = held = None
        if other is not None and self.products.second is not None:
            theirs = other.base.take(self.products.second)
            base = ours * theirs
        if self.starts is not None:
            base = np.add.reduceat(base, self.starts)
        if self.first is not None and one.held is not None:
            held = self.first.of(one.held, theirs)
        if self.second is not None and other is not None and other.held is not None:
            more = self.second.of(other.held, ours)
            held = more if held is None else np.concatenate((held, more), axis=1)
        if 1.0 / FAR < base @ base < FAR:
            return Column(base, held)
        # A row never has more than things as they stand.
        top = float(base.max()) or 1.0
        return Column(base / top, None if held is None else held / top)


def _join(products: Products, first: int, second: int) -> Join:
    """Lay down one direction of a join, for as many rows of the one table and of the other."""
    starts = None if len(products.starts) == len(products.first) else products.starts
    shared = (products.starts, products.pointers, starts)
    return Join(
        products,
        starts,
        _through(products.first, products.sizes[0], first, *shared) if first else None,
        _through(products.second, products.sizes[1], second, *shared)
        if second and products.second is not None
        else None,
    )


def _through(
    entries: Places, width: int, rows: int, sums: Places, pointers: NDArray[np.int32], starts: Places | None
) -> _Through:
    if len(entries) * rows <= LARGE:
        return _Through(entries, starts, None)
    return _Through(entries, starts, _ones(entries, pointers, len(sums), width))


def _ones(entries: Places, pointers: NDArray[np.int32], count: int, width: int) -> Any:
    return csr_array((np.ones(len(entries)), entries.astype(np.int32), pointers), shape=(count, width))


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """Where wanted variables are read off.

    Arguments:
        column: of the plan.
        values: which of the values of all wanted variables are read there, shape (values,).
        entries: the combinations of each value side by side.
        matrix: what sums them.
    """

    column: int
    values: Places
    entries: Places
    matrix: Any


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """What of the work hangs on the plan alone.

    Arguments:
        up: each join upwards.
        left, right: of joins, by number, the ways down that are needed.
        inside: for each column, the rows in it, shape (rows,).
        outside: for each column that is needed, the rows around it, shape (rows,).
        readings: where what is wanted is read off.
    """

    up: tuple[Join, ...]
    left: Mapping[int, Join]
    right: Mapping[int, Join]
    inside: tuple[Places, ...]
    outside: Mapping[int, Places]
    readings: tuple[Reading, ...]


@lru_cache(maxsize=16)
def route_of(plan: Plan, held: tuple[str, ...], wanted: tuple[str, ...]) -> Route:
    """Lay down how to go through a plan for one row of each variable that is held, towards those that are wanted.

    Arguments:
        plan: from `contraction.plan_for`.
        held: variables.
        wanted: variables.
    """
    inside = [np.zeros(0, dtype=np.intp) for _ in plan.leaves]
    for row, name in enumerate(held):
        inside[plan.hosts[name]] = np.append(inside[plan.hosts[name]], row)
    for joint in plan.joints:
        inside.append(np.concatenate([inside[one] for one in (joint.left, joint.right) if one is not None]))
    places = _read_at(plan, wanted, [len(rows) for rows in inside], len(held))
    needed = leading_to(plan, places)
    # Rows are only taken upwards as far as something beside their way needs them.
    taken = _rows_needed(plan, needed, places)
    up, left, right = [], dict[int, Join](), dict[int, Join]()
    outside = {len(inside) - 1: np.zeros(0, dtype=np.intp)}
    for number in range(len(plan.joints) - 1, -1, -1):
        joint, here = plan.joints[number], len(plan.leaves) + number
        one, other = inside[joint.left], inside[-1][:0] if joint.right is None else inside[joint.right]
        up.append(_join(joint.up, len(one) * taken[here], len(other) * taken[here]))
        if joint.left in needed:
            left[number] = _join(joint.to_left, len(outside[here]), len(other))
            outside[joint.left] = np.concatenate([outside[here], other])
        if joint.right in needed and joint.right is not None and joint.to_right is not None:
            right[number] = _join(joint.to_right, len(outside[here]), len(one))
            outside[joint.right] = np.concatenate([outside[here], one])
    readings = tuple(_reading(plan, wanted, column, names) for column, names in places.items())
    return Route(tuple(up[::-1]), left, right, tuple(inside), outside, readings)


def _read_at(plan: Plan, wanted: Sequence[str], inside: Sequence[int], count: int) -> dict[int, list[str]]:
    """Choose for each wanted variable a column that has it, where it is cheap to come by.

    A variable's chances can be read off any column that has it. What it costs to get there from above is counted in
    products times rows; ways that another variable needs anyhow cost nothing more.
    """
    parent, price = dict[int, int](), dict[int, float]()
    for number, joint in enumerate(plan.joints):
        here, products = len(plan.leaves) + number, len(joint.up.first)
        for own, other in ((joint.left, joint.right), (joint.right, joint.left)):
            if own is not None:
                parent[own] = here
                rows = count - inside[here] + (0 if other is None else inside[other])
                price[own] = ONE_JOIN + products * rows
    having: dict[str, list[int]] = {name: [] for name in wanted}
    for number, column in enumerate(plan.columns):
        for name in column.variables:
            if name in having:
                having[name].append(number)

    def way(column: int) -> list[int]:
        found = []
        while column in parent:
            found.append(column)
            column = parent[column]
        return found

    ways = {column: way(column) for columns in having.values() for column in columns}
    uses = dict.fromkeys(price, 0)
    chosen: dict[str, int] = {}
    for _ in range(ROUNDS):
        for name in wanted:
            for one in ways[chosen[name]] if name in chosen else ():
                uses[one] -= 1
            chosen[name] = min(
                having[name],
                key=lambda column: (
                    plan.columns[column].count * count + sum(price[one] for one in ways[column] if not uses[one]),
                    column,
                ),
            )
            for one in ways[chosen[name]]:
                uses[one] += 1
    places: dict[int, list[str]] = {}
    for name in wanted:
        places.setdefault(chosen[name], []).append(name)
    return places


def _reading(plan: Plan, wanted: Sequence[str], column: int, names: Sequence[str]) -> Reading:
    ends = np.cumsum([plan.sizes[name] for name in wanted])
    firsts = {name: int(end) - plan.sizes[name] for name, end in zip(wanted, ends, strict=True)}
    there = plan.columns[column]
    own = [there.values[there.variables.index(name)].astype(np.intp) for name in names]
    values = np.concatenate([firsts[name] + np.arange(plan.sizes[name]) for name in names])
    entries = np.concatenate([np.argsort(places, kind="stable") for places in own])
    counts = np.concatenate(
        [np.bincount(places, minlength=plan.sizes[n]) for n, places in zip(names, own, strict=True)]
    )
    pointers = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    return Reading(column, values, entries, _ones(entries, pointers, len(values), there.count))


def _rows_needed(plan: Plan, needed: Collection[int], read: Collection[int]) -> tuple[bool, ...]:
    """Say which columns must have their rows: those read, those beside a way down, and what these are made of."""
    rows = [False] * len(plan.columns)
    for number in range(len(plan.joints) - 1, -1, -1):
        joint, here = plan.joints[number], len(plan.leaves) + number
        rows[joint.left] = rows[here] or joint.right in needed or joint.left in read
        if joint.right is not None:
            rows[joint.right] = rows[here] or joint.left in needed or joint.right in read
    return tuple(rows)
