"""Questions to a belief network of any kind, given as factors: chances, joint chances, and what one thing tells.

The network of a machine keeps its own plan; this is for networks that come from elsewhere, such as published ones, and
works the plan out at each call.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Factor, contract, plan_for

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """What a network says of each of its variables.

    Arguments:
        of: for each variable, the chance of each of its values, shape (values,).
        evidence: the chance of the evidence; the sum over everything.
    """

    of: Mapping[str, Array]
    evidence: float


def chances(factors: Sequence[Factor], evidence: Mapping[str, Array] | None = None) -> Chances:
    """Work out the chance of every value of every variable, exactly.

    Arguments:
        factors: the tables whose product the network is.
        evidence: for some variables, how likely what was seen is for each value, shape (values,).

    >>> rain = Factor(("rain",), np.array([0.8, 0.2]))
    >>> wet = Factor(("rain", "wet"), np.array([[0.9, 0.1], [0.0, 1.0]]))
    >>> chances([rain, wet], {"wet": np.array([0.0, 1.0])}).of["rain"].round(4).tolist()
    [0.2857, 0.7143]
    """
    sizes = _sizes(factors)
    sums = contract(plan_for(factors, sizes), evidence or {}, list(sizes))
    return Chances({name: sums.marginals[name][0] for name in sizes}, float(np.exp(sums.log_total[0])))


def joint(factors: Sequence[Factor], names: Sequence[str], evidence: Mapping[str, Array] | None = None) -> Array:
    """Give the chance of each combination of values of some variables together with the evidence.

    Arguments:
        factors: the tables whose product the network is.
        names: the variables, one per axis of the answer.
        evidence: as for `chances`.

    Returns:
        A table of one axis per name; its sum is the chance of the evidence.
    """
    sizes, said = _sizes(factors), evidence or {}
    shape = tuple(sizes[name] for name in names)
    held = np.indices(shape).reshape(len(names), -1)
    entering: dict[str, Array] = {name: np.eye(size)[at] for name, size, at in zip(names, shape, held, strict=True)}
    for name, table in said.items():
        entering[name] = entering[name] * table if name in entering else table
    return np.exp(contract(plan_for(factors, sizes), entering).log_total).reshape(shape)


def information_bits(table: Array, first: int = 1) -> float:
    """Give what the last axes of a joint table tell of the first ones: their mutual information, bits.

    Arguments:
        table: joint chances; need not sum to one.
        first: how many axes belong to what is asked about; the others to what tells.

    >>> information_bits(np.array([[0.5, 0.0], [0.0, 0.5]]))
    1.0
    """
    given = table.reshape(int(np.prod(table.shape[:first])), -1) / table.sum()
    apart = np.outer(given.sum(axis=1), given.sum(axis=0))
    there = given > 0
    return float(np.sum(given[there] * np.log2(given[there] / apart[there])))


def doubt_bits(table: Array) -> float:
    """Give the doubt left in a joint table: its entropy, bits.

    >>> doubt_bits(np.array([0.5, 0.25, 0.25]))
    1.5
    """
    given = table[table > 0] / table.sum()
    return float(-np.sum(given * np.log2(given)))


def _sizes(factors: Sequence[Factor]) -> dict[str, int]:
    return {name: size for factor in factors for name, size in zip(factor.variables, factor.table.shape, strict=True)}
