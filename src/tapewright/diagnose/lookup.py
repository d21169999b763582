"""A network's functions as tables in a row: which word each takes in many whole machines at once."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Factor

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Function:
    """One function as a table in a row.

    Arguments:
        name: its own.
        parents: what it hangs on, each with how far apart in the table its words are.
        table: the number of its word for each combination of theirs, the last parent's words side by side.
    """

    name: str
    parents: tuple[tuple[str, int], ...]
    table: Codes


@dataclass(frozen=True, slots=True, eq=False)
class Functions:
    """All functions of a network, each after what it hangs on."""

    every: tuple[Function, ...]

    def above(self, nodes: Collection[str]) -> frozenset[str]:
        """Name some nodes and all that they hang on."""
        return _above(self, frozenset(nodes))

    def words(self, given: Mapping[str, Codes], nodes: Collection[str], count: int) -> dict[str, Codes]:
        """Work out which word nodes take, case by case.

        Arguments:
            given: of "part:NAME", the number of its state in each case, shape (cases,).
            nodes: which are wanted.
            count: how many cases there are.
        """
        needed = self.above(nodes)
        codes = {name: np.ascontiguousarray(states) for name, states in given.items() if name in needed}
        for one in self.every:
            if one.name in needed:
                place = np.zeros(count, dtype=np.intp) if not one.parents else None
                for parent, apart in one.parents:
                    there = codes[parent] if apart == 1 else codes[parent] * apart
                    place = there if place is None else place + there
                codes[one.name] = one.table.take(np.asarray(place))
        return {node: codes[node] for node in nodes}


def functions_of(factors: Sequence[Factor], ready: set[str]) -> Functions:
    """Bring functions into an order, each after what it hangs on.

    Arguments:
        factors: tables of ones and zeros, the function's own variable last.
        ready: the variables that hang on nothing.

    Raises:
        ValueError: for functions that hang on each other in a ring.
    """
    waiting = [(factor.variables[-1], factor.variables[:-1], factor.table) for factor in factors]
    found: list[Function] = []
    while waiting:
        now = [step for step in waiting if ready.issuperset(step[1])]
        if not now:
            raise ValueError("functions that hang on each other in a ring")
        found += [_in_a_row(*step) for step in now]
        ready = ready | {step[0] for step in now}
        waiting = [step for step in waiting if step[0] not in ready]
    return Functions(tuple(found))


def _in_a_row(name: str, parents: tuple[str, ...], table: Array) -> Function:
    apart = [int(np.prod(table.shape[i + 1 : -1], dtype=np.intp)) for i in range(len(parents))]
    return Function(name, tuple(zip(parents, apart, strict=True)), table.argmax(axis=-1).astype(np.intp).ravel())


@lru_cache(maxsize=256)
def _above(functions: Functions, nodes: frozenset[str]) -> frozenset[str]:
    needed = set(nodes)
    for one in reversed(functions.every):
        if one.name in needed:
            needed.update(parent for parent, _ in one.parents)
    return frozenset(needed)
