"""Exact sums over a network of factors: every wanted marginal at once, for many cases in one batch.

The factors are contracted pair by pair along a path that opt_einsum finds once; a second pass, backwards along the same
path, gives what surrounds each of the leaves, and so every marginal. This is reverse-mode differentiation of the sum,
in which the derivative by a leaf is the marginal without that leaf (A. Darwiche, "A differential approach to inference
in Bayesian networks", J. ACM 50(3), 2003).
"""

import math
import random
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import numpy as np
import opt_einsum
from numpy.typing import NDArray

Array = NDArray[np.float64]
Scope = Sequence[str]
SEARCH_REPEATS: Final = 8
LABELLINGS: Final = 5
"""Forty searches: on the shipped machines more find little that is cheaper (`benchmarks/diagnose_speed.py`)."""


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """A table over some variables.

    Arguments:
        variables: one name per axis.
        table: shape (size of each variable).
    """

    variables: tuple[str, ...]
    table: Array


@dataclass(frozen=True, slots=True)
class Path:
    """In which order to contract: step k joins tensors `pairs[k]`, and the result is tensor number `leaves + k`.

    Arguments:
        leaves: number of tensors one starts with.
        pairs: numbers of the two tensors joined at each step.
        variables: the variables of every tensor, leaves first, then results.
    """

    leaves: int
    pairs: tuple[tuple[int, int], ...]
    variables: tuple[tuple[str, ...], ...]


def find_path(scopes: Sequence[tuple[str, ...]], sizes: Mapping[str, int]) -> Path:
    """Find a good order of contraction down to a single number, the same one every time.

    Arguments:
        scopes: variables of each tensor.
        sizes: number of values of each variable.
    """
    found = [_as_path(scopes, _searched(scopes, sizes, labels)) for labels in range(LABELLINGS)]
    return min(found, key=lambda path: table_sum(path, sizes))


def _as_path(scopes: Sequence[tuple[str, ...]], steps: Sequence[tuple[int, ...]]) -> Path:
    """Number the tensors once and for all, where the search counts those that are left at each step."""
    present = list(range(len(scopes)))
    variables = list(scopes)
    pairs = []
    for step in steps:
        chosen = [present[position] for position in step]
        for position in sorted(step, reverse=True):
            del present[position]
        left = chosen[0]
        for right in chosen[1:]:
            needed = {name for number in present for name in variables[number]}
            needed |= {name for number in chosen[chosen.index(right) + 1 :] for name in variables[number]}
            joined = tuple(n for n in dict.fromkeys(variables[left] + variables[right]) if n in needed)
            pairs.append((left, right))
            variables.append(joined)
            left = len(variables) - 1
        present.append(left)
    return Path(len(scopes), tuple(pairs), tuple(variables))


def _searched(scopes: Sequence[tuple[str, ...]], sizes: Mapping[str, int], labels: int) -> list[tuple[int, ...]]:
    """Search for a cheap order: the best of several greedy ones with some chance in them.

    Numbers stand for names: sets of texts come in another order in every process, and the search would follow. It
    follows the numbering too, so that several numberings find several orders.
    """
    shuffled = list(range(len(sizes)))
    random.Random(labels).shuffle(shuffled)
    number = dict(zip(sizes, shuffled, strict=True))
    inputs = [frozenset(cast("tuple[Hashable, ...]", tuple(number[name] for name in scope))) for scope in scopes]
    search: Any = opt_einsum.path_random.RandomGreedy(max_repeats=SEARCH_REPEATS, minimize="size")
    return [tuple(step) for step in search(inputs, frozenset(), {number[name]: size for name, size in sizes.items()})]


def table_sum(path: Path, sizes: Mapping[str, int]) -> int:
    """Give the sizes of all tables of a path together: what one sum costs in time."""
    return sum(math.prod(sizes[name] for name in scope) for scope in path.variables)


def largest_table(path: Path, sizes: Mapping[str, int]) -> int:
    """Give the size of the largest table that a path needs: what exactness costs."""
    return max(math.prod(sizes[name] for name in scope) for scope in path.variables)


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """What a contraction gives.

    Arguments:
        log_total: natural logarithm of the total, shape (batch,); -inf where nothing is possible.
        around: for each leaf asked for, the sum of everything else, shape (batch, sizes of its variables); scaled
            freely in each case of the batch.
    """

    log_total: Array
    around: Mapping[int, Array]


def contract(path: Path, tensors: Sequence[Array], wanted: Sequence[int]) -> Sums:
    """Sum a network of factors, and everything around each wanted leaf.

    Arguments:
        path: from `find_path` for these scopes.
        tensors: one per leaf; an extra first axis means one table per case of the batch, of a common length.
        wanted: numbers of the leaves whose surroundings are asked for.
    """
    values = [_with_batch(tensor, path.variables[number]) for number, tensor in enumerate(tensors)]
    logs = np.zeros(1)
    for k, (left, right) in enumerate(path.pairs):
        result = _join(values[left], path.variables[left], values[right], path.variables[right],
                       path.variables[path.leaves + k])  # fmt: skip
        scaled, scale = _rescaled(result)
        values.append(scaled)
        logs = logs + scale
    batch = max(len(value) for value in values)
    with np.errstate(divide="ignore"):
        log_total = np.broadcast_to(np.log(values[-1].reshape(len(values[-1]))) + logs, (batch,))
    return Sums(np.array(log_total), _backwards(path, values, frozenset(wanted)))


def _with_batch(tensor: Array, scope: tuple[str, ...]) -> Array:
    return tensor if tensor.ndim == len(scope) + 1 else tensor[None]


def _rescaled(value: Array) -> tuple[Array, Array]:
    """Keep every case near one, so that long products neither vanish nor overflow."""
    top = value.reshape(len(value), -1).max(axis=1)
    safe = np.where(top > 0, top, 1.0)
    return value / safe.reshape((-1,) + (1,) * (value.ndim - 1)), np.log(safe)


def _join(left: Array, left_scope: Scope, right: Array, right_scope: Scope, out: Scope) -> Array:
    """Multiply two tables, case by case, and sum out the shared variables that the result does not keep.

    It is done as a stack of matrix products: one block per value of the shared variables that stay.
    """
    both = [name for name in left_scope if name in right_scope and name in out]
    summed = [name for name in left_scope if name in right_scope and name not in out]
    left_only = [name for name in left_scope if name not in right_scope]
    right_only = [name for name in right_scope if name not in left_scope]
    left = _ordered(left, left_scope, both + left_only + summed)
    right = _ordered(right, right_scope, both + summed + right_only)
    n_both, n_left, n_right = len(both), len(left_only), len(right_only)
    kept, free_left = left.shape[1 : 1 + n_both], left.shape[1 + n_both : 1 + n_both + n_left]
    free_right = right.shape[right.ndim - n_right :] if n_right else ()
    inner = int(np.prod(left.shape[1 + n_both + n_left :], dtype=np.int64))
    blocks = int(np.prod(kept, dtype=np.int64))
    product = np.matmul(left.reshape(len(left), blocks, -1, inner), right.reshape(len(right), blocks, inner, -1))
    product = product.reshape((len(product), *kept, *free_left, *free_right))
    return _ordered(product, (*both, *left_only, *right_only), out)


def _ordered(table: Array, scope: Sequence[str], order: Sequence[str]) -> Array:
    """Bring a table's axes into an order, the batch staying first."""
    return np.transpose(table, (0, *(1 + list(scope).index(name) for name in order)))


def _backwards(path: Path, values: list[Array], wanted: frozenset[int]) -> dict[int, Array]:
    """Walk the path backwards; only towards the leaves that are asked for."""
    needed = set(wanted)
    for k, (left, right) in enumerate(path.pairs):
        if left in needed or right in needed:
            needed.add(path.leaves + k)
    around: dict[int, Array] = {path.leaves + len(path.pairs) - 1: np.ones((1,))}
    for k in range(len(path.pairs) - 1, -1, -1):
        here = path.leaves + k
        if here not in around:
            continue
        outer = around.pop(here)
        left, right = path.pairs[k]
        for child, sibling in ((left, right), (right, left)):
            if child in needed:
                table = _join(outer, path.variables[here], values[sibling], path.variables[sibling],
                              path.variables[child])  # fmt: skip
                around[child] = _rescaled(table)[0]
    return around
