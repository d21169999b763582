"""The graph of a machine's functions while it is being drawn."""

from dataclasses import dataclass, field

from tapewright.faults.conditions import Condition
from tapewright.faults.graph import Node
from tapewright.machine.parts import Machine


@dataclass(slots=True)
class Sheet:
    """What has been drawn so far: every condition and every node once, parents before what hangs on them.

    Arguments:
        machine: the machine, with nothing wrong anywhere.
    """

    machine: Machine
    conditions: dict[str, Condition] = field(default_factory=dict)
    nodes: dict[str, Node] = field(default_factory=dict)

    def condition(self, condition: Condition) -> str:
        """Draw a condition unless it is there already, and give its name."""
        self.conditions.setdefault(condition.name, condition)
        return condition.name

    def node(self, node: Node) -> str:
        """Draw a node unless it is there already, and give its name."""
        self.nodes.setdefault(node.name, node)
        return node.name

    def has(self, name: str) -> bool:
        """Tell whether a node is drawn."""
        return name in self.nodes
