"""Exact sums over a network of factors: every wanted marginal at once, for many cases in one batch.

Relations are joined pair by pair in an order that is searched once (`ordering`, `kept_orders`); what each join adds to
what is laid down in lists, so that a sum is a run of gathered products. A second pass, backwards along the same joins,
gives what surrounds each of the factors, and so every marginal. This is reverse-mode differentiation of the sum, in
which the derivative by an input is the marginal without that input (A. Darwiche, "A differential approach to inference
in Bayesian networks", J. ACM 50(3), 2003); keeping only combinations that can occur makes it an arithmetic circuit, as
M. Chavira and A. Darwiche have it for networks that are mostly certain (Artificial Intelligence 172(6-7), 2008).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from tapewright.diagnose.kept_orders import kept_cheapest, kept_order
from tapewright.diagnose.ordering import Order
from tapewright.diagnose.relations import Array, Places, Relation, in_order, relation_of

LARGE: Final = 3000
"""Products from which a sparse matrix is quicker than a gather."""


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """A table over some variables.

    Arguments:
        variables: one name per axis.
        table: shape (size of each variable).
    """

    variables: tuple[str, ...]
    table: Array


@dataclass(frozen=True, slots=True, eq=False)
class Products:
    """Sums of products of an entry of one column and an entry of another.

    Arguments:
        first: entry of the first column in each product, products of one sum side by side, shape (products,).
        second: entry of the second; None where the first is only summed.
        starts: where each sum starts, shape (sums,).
        pointers: the same with the end, for a sparse matrix, shape (sums + 1,).
        sizes: lengths of the two columns.
    """

    first: Places
    second: Places | None
    starts: Places
    pointers: NDArray[np.int32]
    sizes: tuple[int, int]

    def of(self, first: Array, second: Array) -> Array:
        """Work the sums out.

        Arguments:
            first: shape (entries, cases), or one case for all.
            second: likewise.
        """
        if self.second is None:
            chosen = first.take(self.first, 0)
            return chosen if len(self.starts) == len(chosen) else np.add.reduceat(chosen, self.starts)
        if second.shape[1] == 1 and len(self.first) * first.shape[1] > LARGE:
            return self._times(self.first, second.take(self.second), self.sizes[0], first)
        if first.shape[1] == 1 and len(self.first) * second.shape[1] > LARGE:
            return self._times(self.second, first.take(self.first), self.sizes[1], second)
        product = first.take(self.first, 0) * second.take(self.second, 0)
        return product if len(self.starts) == len(product) else np.add.reduceat(product, self.starts)

    def _times(self, columns: Places, entries: Array, width: int, cases: Array) -> Array:
        matrix: Any = csr_array((entries, columns.astype(np.int32), self.pointers), shape=(len(self.starts), width))
        return np.asarray(matrix @ cases)


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """One join of the plan, in its three directions.

    Arguments:
        left: number of a column: leaves first, then joins.
        right: number of the other; None for a sum.
        up: what the join gives, from left and right.
        to_left: what surrounds the left one, from what surrounds the join, and the right one.
        to_right: what surrounds the right one, from what surrounds the join, and the left one.
    """

    left: int
    right: int | None
    up: Products
    to_left: Products
    to_right: Products | None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """How to sum a network: everything but the numbers.

    Arguments:
        order: in which the variables are summed out.
        sizes: number of values of each variable.
        leaves: the combinations of each factor that can occur together with all others.
        weights: of these, shape (combinations,).
        joints: in order.
        hosts: for each variable, the leaf at which its input enters and its marginal is read.
        columns: the combinations of every column, leaves first, then joins.
    """

    order: tuple[str, ...]
    sizes: Mapping[str, int]
    leaves: tuple[Relation, ...]
    weights: tuple[Array, ...]
    joints: tuple[Joint, ...]
    hosts: Mapping[str, int]
    columns: tuple[Relation, ...]

    def at(self, name: str) -> Places:
        """Give the value of a variable in each combination of its leaf."""
        leaf = self.leaves[self.hosts[name]]
        return np.asarray(leaf.values[leaf.variables.index(name)])


def plan_for(factors: Sequence[Factor], sizes: Mapping[str, int], order: Sequence[str] | None = None) -> Plan:
    """Lay down how to sum a network of factors.

    Arguments:
        factors: tables; a variable enters at the first whose last variable it is, or else at the first that has it.
        sizes: number of values of each variable.
        order: of the variables, where it is known; None to search for one.

    Raises:
        ValueError: when the factors allow no combination at all.
    """
    return plan_of(
        [relation_of(factor.variables, factor.table) for factor in factors], sizes, [] if order is None else [order]
    )


def plan_of(
    inputs: Sequence[tuple[Relation, Array]], sizes: Mapping[str, int], orders: Sequence[Sequence[str]] = ()
) -> Plan:
    """Lay down how to sum relations: `plan_for` for tables of which only what is possible is given.

    Arguments:
        inputs: relations, and the weights of their combinations.
        sizes: number of values of each variable.
        orders: of the variables, where good ones are known; the cheapest is taken.

    Raises:
        ValueError: when they allow no combination at all.
    """
    relations = [relation for relation, _ in inputs]
    steps = kept_cheapest(relations, sizes, orders) if orders else kept_order(relations, sizes)
    columns, weights, joints = _possible(inputs, steps)
    if not all(len(weight) for weight in weights):
        raise ValueError("these factors allow no combination at all")
    hosts: dict[str, int] = {}
    for number, relation in enumerate(relations):
        for name in relation.variables:
            hosts.setdefault(name, number)
    for number, relation in reversed([*enumerate(relations)]):
        if relation.variables:
            hosts[relation.variables[-1]] = number
    leaves = tuple(columns[: len(relations)])
    return Plan(steps.variables, dict(sizes), leaves, tuple(weights), tuple(joints), hosts, tuple(columns))


def _possible(found: Sequence[tuple[Relation, Array]], order: Order) -> tuple[list[Relation], list[Array], list[Joint]]:
    """Drop the combinations that fit with nothing elsewhere, from the last join backwards, and lay the joins down."""
    columns = [*(relation for relation, _ in found), *(step.join.relation for step in order.steps)]
    alive = [np.zeros(column.count, dtype=bool) for column in columns]
    alive[-1][:] = True
    joints = []
    for number in range(len(order.steps) - 1, -1, -1):
        step, here = order.steps[number], alive[len(found) + number]
        fits = here[step.join.into]
        into = _renumbered(here)[step.join.into[fits]]
        left = _kept(alive[step.left], step.join.left[fits])
        right = None
        if step.right is not None and step.join.right is not None:
            right = _kept(alive[step.right], step.join.right[fits])
        count, lefts = int(here.sum()), int(alive[step.left].sum())
        rights = 0 if step.right is None else int(alive[step.right].sum())
        up = _products(into, left, right, count, (lefts, rights))
        to_left = _products(left, into, right, lefts, (count, rights))
        to_right = None if right is None else _products(right, into, left, rights, (count, lefts))
        joints.append(Joint(step.left, step.right, up, to_left, to_right))
    left_over = [
        one if kept.all() else Relation(one.variables, one.values[:, kept])
        for one, kept in zip(columns, alive, strict=True)
    ]
    return left_over, [weight[alive[i]] for i, (_, weight) in enumerate(found)], joints[::-1]


def _kept(alive: NDArray[np.bool_], used: Places) -> Places:
    """Mark what is used of a table, and number it anew."""
    alive[used] = True
    return _renumbered(alive)[used]


def _renumbered(alive: NDArray[np.bool_]) -> Places:
    return np.cumsum(alive) - 1


def _products(into: Places, first: Places, second: Places | None, count: int, sizes: tuple[int, int]) -> Products:
    order = in_order(into, count)
    pointers = np.concatenate([[0], np.cumsum(np.bincount(into, minlength=count))])
    chosen = None if second is None else second[order]
    return Products(first[order], chosen, pointers[:-1], pointers.astype(np.int32), sizes)


def largest_table(plan: Plan) -> int:
    """Give the number of combinations in the largest table that a plan needs: what exactness costs."""
    return max((len(joint.up.starts) for joint in plan.joints), default=1)


def products(plan: Plan) -> int:
    """Give the number of products in one sum: what it costs in time."""
    return sum(len(joint.up.first) for joint in plan.joints)


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """What a contraction gives.

    Arguments:
        log_total: natural logarithm of the total, shape (batch,); -inf where nothing is possible.
        marginals: for each variable asked for, the chance of its values, shape (batch, values); zero where nothing is
            possible.
    """

    log_total: Array
    marginals: Mapping[str, Array]


def contract(plan: Plan, said: Mapping[str, Array], wanted: Collection[str] = ()) -> Sums:
    """Sum a network, and everything around each wanted variable.

    Arguments:
        plan: from `plan_for`.
        said: what enters at each variable: priors, likelihoods; shape (values,) or (batch, values).
        wanted: variables whose chances are asked for.
    """
    values, logs = _forwards(plan, said)
    batch = max(value.shape[1] for value in values)
    with np.errstate(divide="ignore"):
        log_total = np.broadcast_to(np.log(values[-1][0]) + logs, (batch,))
    around = _backwards(plan, values, {plan.hosts[name] for name in wanted})
    marginals = {}
    for name in wanted:
        leaf = plan.hosts[name]
        weight = values[leaf] * around[leaf]
        chances = by_value(plan.at(name), plan.sizes[name], weight).T
        total = chances.sum(axis=1, keepdims=True)
        marginals[name] = np.broadcast_to(chances / np.where(total > 0, total, 1.0), (batch, plan.sizes[name]))
    return Sums(np.array(log_total), marginals)


def by_value(places: Places, size: int, weight: Array) -> Array:
    """Sum weights by the value of a variable, shape (values, cases)."""
    if weight.shape[1] == 1:
        return np.asarray(np.bincount(places, weight[:, 0], size), dtype=float)[:, None]
    return np.asarray((np.arange(size)[:, None] == places).astype(float) @ weight)


def entering(plan: Plan, said: Mapping[str, Array]) -> list[Array]:
    """Give every leaf's entries with what enters there, shape (combinations, cases)."""
    entries = [weight[:, None] for weight in plan.weights]
    for name, given in said.items():
        if name in plan.hosts:
            leaf = plan.hosts[name]
            entries[leaf] = entries[leaf] * np.atleast_2d(given).T[plan.at(name)]
    return entries


def _scaled(value: Array) -> tuple[Array, Array]:
    """Keep every case near one, so that long products neither vanish nor overflow."""
    top = value.max(axis=0)
    safe = np.where(top > 0, top, 1.0)
    return value / safe, np.log(safe)


def _forwards(plan: Plan, said: Mapping[str, Array]) -> tuple[list[Array], Array]:
    values = entering(plan, said)
    logs = np.zeros(1)
    for joint in plan.joints:
        right = values[joint.left if joint.right is None else joint.right]
        value, scale = _scaled(joint.up.of(values[joint.left], right))
        values.append(value)
        logs = logs + scale
    return values, logs


def _backwards(plan: Plan, values: Sequence[Array], wanted: Collection[int]) -> dict[int, Array]:
    """Walk the joins backwards; only towards the leaves that are asked for."""
    first = len(plan.leaves)
    needed = leading_to(plan, wanted)
    around: dict[int, Array] = {len(values) - 1: np.ones((1, 1))}
    for number in range(len(plan.joints) - 1, -1, -1):
        if first + number not in needed:
            continue
        outer, joint = around.pop(first + number), plan.joints[number]
        if joint.left in needed:
            beside = values[joint.left if joint.right is None else joint.right]
            around[joint.left] = _scaled(joint.to_left.of(outer, beside))[0]
        if joint.right in needed and joint.right is not None and joint.to_right is not None:
            around[joint.right] = _scaled(joint.to_right.of(outer, values[joint.left]))[0]
    return around


def leading_to(plan: Plan, wanted: Collection[int]) -> set[int]:
    """Name the columns on the way from the last join to some leaves."""
    needed = set(wanted)
    for number, joint in enumerate(plan.joints):
        if joint.left in needed or joint.right in needed:
            needed.add(len(plan.leaves) + number)
    return needed
