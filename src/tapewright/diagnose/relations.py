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
_FEW: Final = 2**16
"""So many numbers are sorted digit by digit."""
_THIN: Final = 8
"""Where there could be more numbers than this for each that there is, they are sorted; otherwise marked in a table."""


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
    keys, most = _numbered(columns, [sizes[name] for name in shared])
    ours, theirs = keys[: left.count], keys[left.count :]
    order = in_order(theirs, most)
    if most > _FEW:
        first = np.searchsorted(theirs[order], ours, "left")
        return order, first, np.searchsorted(theirs[order], ours, "right") - first
    counts = np.bincount(theirs, minlength=most)
    return order, (np.cumsum(counts) - counts)[ours], counts[ours]


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
    # What is kept of the two is numbered before it is paired: there is less of it.
    high, highs = _numbered(_columns(left, from_left), [sizes[name] for name in from_left])
    low, lows = _numbered(_columns(right, from_right), [sizes[name] for name in from_right])
    if highs * lows > _THIN * total:
        (high, highs), (low, lows) = _ranked(high), _ranked(low)
    some, into = _once(high[ours] * lows + low[theirs], highs * lows)
    values = np.concatenate([_columns(left, from_left)[:, ours[some]], _columns(right, from_right)[:, theirs[some]]])
    return Joined(Relation((*from_left, *from_right), values), ours, theirs, into)


def summed(relation: Relation, kept: Collection[str], sizes: Mapping[str, int]) -> Joined:
    """Sum out what is not kept of one relation."""
    names = [name for name in relation.variables if name in kept]
    columns = _columns(relation, names)
    some, into = _once(*_numbered(columns, [sizes[name] for name in names]))
    return Joined(Relation(tuple(names), columns[:, some]), np.arange(relation.count), None, into)


def in_order(numbers: Numbers | Places, most: int) -> Places:
    """Sort numbers below `most`, equal ones as they come; few are sorted digit by digit, which is much quicker."""
    return np.argsort(numbers.astype(np.uint16) if most <= _FEW else numbers, kind="stable")


def _columns(relation: Relation, names: Sequence[str]) -> Values:
    return relation.values[[relation.variables.index(name) for name in names]]


def _once(keys: Numbers, most: int) -> tuple[Places, Places]:
    """Give for each number that occurs, in order, one place that has it; and for each place which of them it has."""
    if most > _THIN * len(keys):
        _, some, into = np.unique(keys, return_index=True, return_inverse=True)
        return some, into
    occurs = np.zeros(most, dtype=bool)
    occurs[keys] = True
    number = np.cumsum(occurs) - 1
    into = number[keys]
    some = np.empty(int(number[-1]) + 1 if most else 0, dtype=np.intp)
    some[into] = np.arange(len(keys))
    return some, into


def _ranked(keys: Numbers) -> tuple[Numbers, int]:
    distinct, rank = np.unique(keys, return_inverse=True)
    return rank, len(distinct)


def _numbered(columns: Values, sizes: Sequence[int]) -> tuple[Numbers, int]:
    """Give equal combinations equal numbers, and others others, in their order; and how many numbers there could be."""
    keys = np.zeros(columns.shape[1], dtype=np.int64)
    most = 1
    for column, size in zip(columns, sizes, strict=True):
        if most * size >= _ROOM:
            keys, most = _ranked(keys)
        keys *= size
        keys += column
        most *= size
    return keys, most
