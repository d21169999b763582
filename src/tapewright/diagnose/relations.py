"""Which combinations of words can occur together: tables of which only what is possible is kept.

The functions of a mechanism are certain, so of all combinations of their words few can ever occur: what a shaft does in
play and in rewind hangs on the same motor. Where a full table counts them all, a relation lists those that can.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]
Values = NDArray[np.int16]
Places = NDArray[np.intp]

_ROOM: Final = 2**62
"""Combinations are numbered in 64 bits."""


@dataclass(frozen=True, slots=True, eq=False)
class Relation:
    """The combinations that can occur.

    Arguments:
        variables: names.
        values: the value of each variable in each combination, shape (variables, combinations).
    """

    variables: tuple[str, ...]
    values: Values

    @property
    def count(self) -> int:
        """How many combinations there are."""
        return int(self.values.shape[1])


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """Two relations brought together, or one with variables summed out.

    Arguments:
        relation: what is left, each combination once.
        left: for each pair of combinations that agree, which one of the first, shape (pairs,).
        right: which one of the second; None where there is no second.
        into: which combination of the result they add to.
    """

    relation: Relation
    left: Places
    right: Places | None
    into: Places


def relation_of(variables: tuple[str, ...], table: Array) -> tuple[Relation, Array]:
    """Give the combinations that a table allows, and their weights, shape (combinations,).

    Arguments:
        variables: one name per axis.
        table: shape (size of each variable).

    >>> relation_of(("a", "b"), np.array([[1.0, 0.0], [0.0, 0.5]]))[0].values.tolist()
    [[0, 1], [0, 1]]
    """
    places = np.nonzero(table)
    return Relation(variables, np.array(places, dtype=np.int16).reshape(len(places), -1)), table[places]


def _agreeing(left: Relation, right: Relation, sizes: Mapping[str, int]) -> tuple[Places, Numbers, Numbers]:
    """Give an order of the second's combinations, and for each of the first from where and how many of them agree."""
    shared = [name for name in left.variables if name in right.variables]
    columns = np.concatenate([_columns(left, shared), _columns(right, shared)], axis=1)
    keys = _numbered(columns, [sizes[name] for name in shared])
    order = np.argsort(keys[left.count :], kind="stable")
    theirs = keys[left.count :][order]
    first = np.searchsorted(theirs, keys[: left.count], "left")
    return order, first, np.searchsorted(theirs, keys[: left.count], "right") - first


def joined(
    left: Relation, right: Relation, kept: Collection[str], sizes: Mapping[str, int], most: float = math.inf
) -> Joined | int:
    """Join two relations and sum out what is not kept.

    Arguments:
        left: a relation.
        right: another one.
        kept: variables that something else still speaks of.
        sizes: number of values of each variable.
        most: pairs of combinations beyond which it is not done.

    Returns:
        The join; or, where it would be too large, the number of its pairs.
    """
    order, first, counts = _agreeing(left, right, sizes)
    total = int(counts.sum())
    if total > most:
        return total
    ours = np.repeat(np.arange(left.count), counts)
    start = np.repeat(first - np.concatenate(([0], np.cumsum(counts)[:-1])), counts)
    theirs = order[np.arange(total) + start]
    from_left = [name for name in left.variables if name in kept]
    from_right = [name for name in right.variables if name in kept and name not in left.variables]
    columns = np.concatenate([_columns(left, from_left)[:, ours], _columns(right, from_right)[:, theirs]])
    relation, into = _distinct((*from_left, *from_right), columns, sizes)
    return Joined(relation, ours, theirs, into)


def summed(relation: Relation, kept: Collection[str], sizes: Mapping[str, int]) -> Joined:
    """Sum out what is not kept of one relation."""
    names = [name for name in relation.variables if name in kept]
    left, into = _distinct(tuple(names), _columns(relation, names), sizes)
    return Joined(left, np.arange(relation.count), None, into)


def _columns(relation: Relation, names: Sequence[str]) -> Values:
    return relation.values[[relation.variables.index(name) for name in names]]


def _distinct(names: tuple[str, ...], columns: Values, sizes: Mapping[str, int]) -> tuple[Relation, Places]:
    keys = _numbered(columns, [sizes[name] for name in names])
    _, first, into = np.unique(keys, return_index=True, return_inverse=True)
    return Relation(names, columns[:, first]), into


def _numbered(columns: Values, sizes: Sequence[int]) -> Numbers:
    """Give equal combinations equal numbers, and others others."""
    keys = np.zeros(columns.shape[1], dtype=np.int64)
    most = 1
    for column, size in zip(columns, sizes, strict=True):
        if most * size >= _ROOM:
            distinct, keys = np.unique(keys, return_inverse=True)
            most = len(distinct)
        keys = keys * size + column
        most *= size
    return keys
