"""Chances of two variables together, for many pairs at once and exactly.

One variable of each pair is held to some of its values: a row. A row changes only what lies on its own side of each
join, so every join is summed for the rows on the far side of it only, and all rows go through together. That is the
second derivative of the sum by the inputs of the two variables (A. Darwiche, J. ACM 50(3), 2003).

The row that is gone through is of the values wanted or of all others, whichever are less likely: the two add up to
things as they stand, and taking the smaller one off loses nothing but the last digit.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Plan, entering
from tapewright.diagnose.crossing_ways import Column, Route, route_of, weighted
from tapewright.diagnose.relations import Array

Mask = NDArray[np.bool_]


def together(
    plan: Plan, said: Mapping[str, Array], held: Mapping[str, tuple[Mask, float]], wanted: Sequence[str]
) -> tuple[Array, Array]:
    """Work out chances of pairs of variables.

    Arguments:
        plan: from `plan_for`.
        said: what enters at each variable, shape (values,).
        held: for each variable that is held, to which of its values, shape (values,), and how likely these are. With
            another chance the result is the same, to fewer digits.
        wanted: variables whose chances are asked for with each of those held in turn.

    Returns:
        The chances of the values of all wanted variables, one after the other, as things stand, shape (all their
        values,), and with each variable held, shape (all their values, held), zero where that is impossible.
    """
    route = route_of(plan, tuple(held), tuple(wanted))
    likely = np.array([chance > 0.5 for _, chance in held.values()], dtype=bool)
    rows = {name: values ^ flip for (name, (values, _)), flip in zip(held.items(), likely, strict=True)}
    above = _upwards(plan, route, said, rows)
    base, crossed = _read_off(plan, route, (len(held), wanted), above, _downwards(plan, route, above))
    crossed = np.where(likely, np.maximum(base[:, None] - crossed, 0.0), crossed)
    sizes = np.array([plan.sizes[name] for name in wanted], dtype=np.intp)
    every = np.concatenate([base[:, None], crossed], axis=1)
    total = np.add.reduceat(every, np.cumsum(sizes) - sizes, axis=0)
    every /= np.repeat(np.where(total > 0, total, 1.0), sizes, axis=0)
    return every[:, 0], every[:, 1:]


def _upwards(plan: Plan, route: Route, said: Mapping[str, Array], rows: Mapping[str, Mask]) -> list[Column]:
    columns = [Column(base[:, 0], None) for base in entering(plan, said)]
    for name, values in rows.items():
        leaf = plan.hosts[name]
        base, held = columns[leaf].base, columns[leaf].held
        own = (base * values.take(plan.at(name)))[:, None]
        columns[leaf] = Column(base, own if held is None else np.concatenate((held, own), axis=1))
    for joint, up in zip(plan.joints, route.up, strict=True):
        columns.append(up.of(columns[joint.left], None if joint.right is None else columns[joint.right]))
    return columns


def _downwards(plan: Plan, route: Route, above: Sequence[Column]) -> dict[int, Column]:
    around = {len(above) - 1: Column(np.ones(1), None)}
    for number in range(len(plan.joints) - 1, -1, -1):
        joint, outer = plan.joints[number], len(plan.leaves) + number
        if number in route.left:
            beside = None if joint.right is None else above[joint.right]
            around[joint.left] = route.left[number].of(around[outer], beside)
        if number in route.right and joint.right is not None:
            around[joint.right] = route.right[number].of(around[outer], above[joint.left])
    return around


def _read_off(
    plan: Plan, route: Route, shape: tuple[int, Sequence[str]], above: Sequence[Column], around: Mapping[int, Column]
) -> tuple[Array, Array]:
    """Read the wanted variables off as things stand, and in every row, of those outside a column and those in it."""
    count, wanted = shape
    total = sum(plan.sizes[name] for name in wanted)
    base, crossed = np.zeros(total), np.zeros((total, count))
    for reading in route.readings:
        inner, outer = above[reading.column], around[reading.column]
        base[reading.values] = reading.matrix @ (inner.base * outer.base)
        for table, beside, rows in (
            (outer.held, inner.base, route.outside[reading.column]),
            (inner.held, outer.base, route.inside[reading.column]),
        ):
            if table is not None:
                there = weighted(reading.matrix, beside.take(reading.entries)) @ table
                crossed[reading.values[:, None], rows] = there
    return base, crossed
