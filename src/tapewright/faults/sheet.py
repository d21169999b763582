"""The graph of a machine's functions while it is being drawn."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field

from tapewright.faults.conditions import Condition, sound_margins
from tapewright.faults.graph import Node
from tapewright.machine.forces import Margin
from tapewright.machine.parts import Machine


@dataclass(slots=True)
class Sheet:
    """What has been drawn so far: every condition and every node once, parents before what hangs on them.

    Arguments:
        machine: the machine, with nothing wrong anywhere.
        conditions, nodes: by name, in the order in which they were drawn.
        alike: the first node of each kind of work on the same parents.
        stands_for: nodes that say the same as another, and that other one.
        margins: what the couplings at work in a mode have in hand, at the moment that is drawn.
    """

    machine: Machine
    margins: Callable[[Machine, str], Mapping[str, Margin]] = sound_margins
    conditions: dict[str, Condition] = field(default_factory=dict)
    nodes: dict[str, Node] = field(default_factory=dict)
    alike: dict[Hashable, str] = field(default_factory=dict)
    stands_for: dict[str, str] = field(default_factory=dict)

    def condition(self, condition: Condition) -> str:
        """Draw a condition unless it is there already, and give its name."""
        self.conditions.setdefault(condition.name, condition)
        return condition.name

    def node(self, node: Node) -> str:
        """Draw a node unless it is there already, and give its name; it hangs on what stands for its parents."""
        if node.name not in self.nodes:
            parents = tuple(self.stands_for.get(parent, parent) for parent in node.parents)
            self.nodes[node.name] = Node(node.name, parents, node.function, node.topic)
        return node.name

    def same_as(self, name: str, other: str, topic: str) -> str:
        """Draw a node that always says what another says; whatever hangs on it hangs on that other one."""
        self.stands_for.setdefault(name, self.stands_for.get(other, other))
        return self.node(Node(name, (other,), str, topic))

    def node_once(self, node: Node, works_as: Hashable) -> str:
        """Draw a node, or one that says the same as an earlier one with the same parents that works the same way."""
        parents = tuple(self.stands_for.get(parent, parent) for parent in node.parents)
        first = self.alike.setdefault((parents, works_as), node.name)
        return self.node(node) if first == node.name else self.same_as(node.name, first, node.topic)

    def any_of(self, stem: str, at: str, parents: Iterable[str], function: Callable[..., str]) -> str:
        """Draw whether any of many is so, asked link by link: a table of all at once would be out of hand."""
        asked = list(dict.fromkeys(parents))
        so_far = self.node(Node(f"any:{stem}/0@{at}", tuple(asked[:1]), function, ""))
        for number, parent in enumerate(asked[1:], 1):
            so_far = self.node(Node(f"any:{stem}/{number}@{at}", (so_far, parent), function, ""))
        return self.node(Node(f"{stem}@{at}", (so_far,), str, ""))

    def has(self, name: str) -> bool:
        """Tell whether a node is drawn."""
        return name in self.nodes
