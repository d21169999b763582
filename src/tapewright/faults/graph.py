"""A graph of functions: what each thing does is worked out from what it hangs on.

One graph serves two masters. The engine evaluates it for one machine with its faults; the beliefs turn the same nodes
into the factors of a network. Neither can know a rule that the other does not.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import product

Value = str


@dataclass(frozen=True, slots=True)
class Node:
    """One thing the mechanism does, as a function of what it hangs on.

    Arguments:
        name: "turns:capstan@play" and the like.
        parents: names of conditions or other nodes, in the order the function takes them.
        function: gives the value, a word, from the parents' values.
        topic: the part or thing it is about, for sentences.
    """

    name: str
    parents: tuple[str, ...]
    function: Callable[..., Value]
    topic: str = ""


def evaluate(nodes: Iterable[Node], given: Mapping[str, Value]) -> dict[str, Value]:
    """Work out every node from the given values; nodes must come after their parents."""
    values = dict(given)
    for node in nodes:
        values[node.name] = node.function(*(values[parent] for parent in node.parents))
    return values


def reachable(nodes: Iterable[Node], given: Mapping[str, tuple[Value, ...]]) -> dict[str, tuple[Value, ...]]:
    """List the values each node can take at all, from the values that what it hangs on can take."""
    domains = dict(given)
    for node in nodes:
        seen: dict[Value, None] = {}
        for combination in product(*(domains[parent] for parent in node.parents)):
            seen.setdefault(node.function(*combination))
        domains[node.name] = tuple(seen)
    return domains


def ancestors(nodes: Iterable[Node], wanted: Iterable[str]) -> frozenset[str]:
    """Name everything the wanted nodes hang on, themselves included."""
    parents = {node.name: node.parents for node in nodes}
    found: set[str] = set()
    waiting = list(wanted)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += parents.get(name, ())
    return frozenset(found)
