"""Orders of summing that took long to find, shipped for the largest machines.

A search of a few seconds happens on a good order or does not; a long one finds better ones, and what it finds holds for
the same machine everywhere. An order is only a way of working: followed or not, the sums are the same. It is followed
where it costs about what it did when it was found, so one that no longer fits a changed description does no harm.
`benchmarks/find_orders.py` finds them and writes the file.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

from tapewright.diagnose.ordering import Order, given_order
from tapewright.diagnose.relations import Relation

FILE: Final = "known_orders.json"
ALIKE: Final = 0.9
"""Share of a network's variables that an order names, from which it is tried; signs that were told add a few."""
DEARER: Final = 2.5
"""How many times what it cost when it was found an order may cost."""


@dataclass(frozen=True, slots=True)
class KnownOrder:
    """One order.

    Arguments:
        pairs: what it cost when it was found (`ordering.Order`).
        variables: in the order in which they are summed out.
    """

    pairs: int
    variables: tuple[str, ...]


@cache
def known_orders() -> Mapping[str, KnownOrder]:
    """Give the orders that are shipped, by the machine they were found for."""
    told = json.loads(resources.files("tapewright.diagnose").joinpath(FILE).read_text("utf-8"))
    return {name: KnownOrder(one["pairs"], tuple(one["variables"])) for name, one in told.items()}


def known_order(relations: Sequence[Relation], sizes: Mapping[str, int]) -> Order | None:
    """Follow a shipped order where one fits; None where none does.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
    """
    best: Order | None = None
    for known in known_orders().values():
        variables = fitted(known.variables, relations)
        if variables is not None:
            most = DEARER * known.pairs if best is None else float(best.pairs)
            best = given_order(relations, sizes, variables, most) or best
    return best


def fitted(variables: Sequence[str], relations: Sequence[Relation]) -> list[str] | None:
    """Give an order for a network that is nearly the one it was found for; None where it is another.

    What the order does not name is summed out before the first of what it stands in a relation with.

    Arguments:
        variables: in order.
        relations: which combinations each factor allows.

    >>> import numpy as np
    >>> pair = lambda *names: Relation(names, np.zeros((2, 1), dtype=np.int16))
    >>> many = [pair(f"n{i}", f"n{i + 1}") for i in range(20)]
    >>> fitted([f"n{i}" for i in range(21)], [*many, pair("n7", "new")])[6:9]
    ['n6', 'new', 'n7']
    >>> fitted(["n3", "n4"], many) is None
    True
    """
    here = {name for relation in relations for name in relation.variables}
    found = [name for name in variables if name in here]
    if len(found) < ALIKE * len(here) or len(found) < ALIKE * len(variables):
        return None
    place = {name: float(number) for number, name in enumerate(found)}
    for name in sorted(here - set(found)):
        beside = {v for relation in relations if name in relation.variables for v in relation.variables}
        place[name] = min((place[one] for one in beside if one in place), default=float(len(found))) - 0.5
    return sorted(place, key=lambda name: (place[name], name))
