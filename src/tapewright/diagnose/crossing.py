"""Chances of two variables together, for many pairs at once and exactly.

One variable of each pair is held at each of its values in turn: a row. A row changes only what lies on its own side of
each join, so every join is summed for the rows on the far side of it only, and all rows go through together. That is
the second derivative of the sum by the inputs of the two variables (A. Darwiche, J. ACM 50(3), 2003).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.diagnose.contraction import Plan, Products, by_value, entering, leading_to
from tapewright.diagnose.relations import Array, Places

FAR: Final = 1e60
"""Two tables that are not yet scaled may be multiplied: 64 bits hold up to 1e308."""


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """One table of the plan: as things stand, and for some rows.

    Arguments:
        base: shape (combinations, 1).
        held: shape (combinations, rows).
        rows: which rows these are.
    """

    base: Array
    held: Array
    rows: Places

    def scaled(self) -> "_Column":
        """Bring the largest entry to one where it has strayed; a row never has more than things as they stand."""
        top = self.base.max()
        return self if top <= 0 or 1.0 / FAR < top < FAR else _Column(self.base / top, self.held / top, self.rows)


def together(
    plan: Plan, said: Mapping[str, Array], held: Sequence[str], wanted: Collection[str]
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Work out chances of pairs of variables.

    Arguments:
        plan: from `plan_for`.
        said: what enters at each variable, shape (values,).
        held: variables whose values are rows, one after the other.
        wanted: variables whose chances are asked for in every row.

    Returns:
        The chances of each held variable, shape (values,); and for each wanted variable the chances of its values in
        every row, shape (rows, values), zero in rows that are impossible.
    """
    firsts = dict(zip(held, np.cumsum([0, *(plan.sizes[name] for name in held)]), strict=False))
    count = sum(plan.sizes[name] for name in held)
    above = _upwards(plan, said, firsts)
    around = _downwards(plan, above, {plan.hosts[name] for name in (*held, *wanted)})
    chances = {name: _alone(plan, name, above, around) for name in held}
    crossed = {name: _in_rows(plan, name, above, around, count) for name in wanted}
    return chances, crossed


def _upwards(plan: Plan, said: Mapping[str, Array], firsts: Mapping[str, int]) -> list[_Column]:
    nothing = np.zeros(0, dtype=np.intp)
    columns = [_Column(base, np.zeros((len(base), 0)), nothing) for base in entering(plan, said)]
    for name, first in firsts.items():
        leaf, places = plan.hosts[name], plan.at(name)
        mask = places[:, None] == np.arange(plan.sizes[name])
        before = columns[leaf]
        rows = np.concatenate([before.rows, first + np.arange(plan.sizes[name])])
        columns[leaf] = _Column(before.base, np.concatenate([before.held, before.base * mask], axis=1), rows)
    for joint in plan.joints:
        left = columns[joint.left]
        columns.append(_product(joint.up, left, None if joint.right is None else columns[joint.right]))
    return columns


def _product(products: Products, left: _Column, right: _Column | None) -> _Column:
    """Multiply two tables whose rows are different ones: each row of the one with the other as it stands."""
    if right is None:
        return _Column(products.of(left.base, left.base), products.of(left.held, left.base), left.rows).scaled()
    base = products.of(left.base, right.base)
    held = [products.of(left.held, right.base)] if len(left.rows) else []
    held += [products.of(left.base, right.held)] if len(right.rows) else []
    together = np.concatenate(held, axis=1) if held else np.zeros((len(base), 0))
    return _Column(base, together, np.concatenate([left.rows, right.rows])).scaled()


def _downwards(plan: Plan, above: Sequence[_Column], wanted: Collection[int]) -> dict[int, _Column]:
    needed, first = leading_to(plan, wanted), len(plan.leaves)
    around = {len(above) - 1: _Column(np.ones((1, 1)), np.zeros((1, 0)), np.zeros(0, dtype=np.intp))}
    for number in range(len(plan.joints) - 1, -1, -1):
        if first + number not in needed:
            continue
        outer, joint = around.pop(first + number), plan.joints[number]
        if joint.left in needed:
            beside = None if joint.right is None else above[joint.right]
            around[joint.left] = _product(joint.to_left, outer, beside)
        if joint.right in needed and joint.right is not None and joint.to_right is not None:
            around[joint.right] = _product(joint.to_right, outer, above[joint.left])
    return around


def _alone(plan: Plan, name: str, above: Sequence[_Column], around: Mapping[int, _Column]) -> Array:
    leaf = plan.hosts[name]
    chances = by_value(plan.at(name), plan.sizes[name], above[leaf].base * around[leaf].base)[:, 0]
    return np.asarray(chances / max(chances.sum(), 1e-300))


def _in_rows(plan: Plan, name: str, above: Sequence[_Column], around: Mapping[int, _Column], count: int) -> Array:
    """Gather a variable's chances from the rows outside its leaf and from those in it."""
    leaf, places, size = plan.hosts[name], plan.at(name), plan.sizes[name]
    inner, outer = above[leaf], around[leaf]
    chances = np.zeros((count, size))
    chances[outer.rows] = by_value(places, size, inner.base * outer.held).T
    chances[inner.rows] = by_value(places, size, inner.held * outer.base).T
    total = chances.sum(axis=1, keepdims=True)
    return np.asarray(chances / np.where(total > 0, total, 1.0))
