"""The reasons: from a fault along its chain of effects to the signs, in words, for and against.

The chain is read off the same graph that the beliefs come from: put the fault in, see which functions change, and
follow them from the sign back to the part.
"""

from collections.abc import Mapping, Sequence
from functools import cache

from tapewright.diagnose.network import Network
from tapewright.diagnose.phrases import phrase
from tapewright.faults.applied import Fault, applied, fault_kind
from tapewright.faults.graph import Node, evaluate
from tapewright.faults.mechanism import Mechanism
from tapewright.faults.signs import Sign
from tapewright.machine.parts import Machine, sound, spoken
from tapewright.words.evidence import Observation

SHOWS = 0.5
"""A sign counts as shown when it would be noticed more often than not."""
MOST_REASONS = 5


def reasons(network: Network, part: str, kind: str, observations: Sequence[Observation]) -> tuple[str, ...]:
    """Say why a fault fits the evidence, and what speaks against it.

    Arguments:
        network: the machine's belief network.
        part: the part that is out of order.
        kind: how; its worst degree is taken.
        observations: what was noticed, and what was looked for and not there.
    """
    without = _values(network.mechanism, sound(network.machine))
    with_fault = _values(network.mechanism, _worn(network, part, kind))
    speaks_for, against = [], []
    for observation in observations:
        sign = network.signs.get(observation.id)
        if sign is None or observation.present is None:
            continue
        before, after = sign.chance(without[sign.node]), sign.chance(with_fault[sign.node])
        if observation.present and after >= SHOWS > before:
            speaks_for.append(_chain(network, part, kind, sign, without, with_fault))
        elif not observation.present and after >= SHOWS > before:
            against.append(f"Against: “{sign.says}” would then be there, and was looked for in vain.")
    return tuple((speaks_for + against)[:MOST_REASONS])


def _worn(network: Network, part: str, kind: str) -> Machine:
    severities = fault_kind(network.machine, part, kind).severities
    return applied(sound(network.machine), [Fault(part, kind, max(severities))])


@cache
def _values(mechanism: Mechanism, machine: Machine) -> Mapping[str, str]:
    return evaluate(mechanism.nodes, {one.name: one.read(machine) for one in mechanism.conditions})


def _chain(
    network: Network, part: str, kind: str, sign: Sign, without: Mapping[str, str], with_fault: Mapping[str, str]
) -> str:
    says = fault_kind(network.machine, part, kind).says
    changed = {name for name, value in with_fault.items() if value != without[name]}
    way = [name for name in _way(network, sign.node, part, changed) if name.partition(":")[2] != part]
    links = [phrase(network.machine, name, with_fault[name]) for name in way]
    spoken_links = [link for link in links if link]
    steps = list(dict.fromkeys([f"the {spoken(network.machine, part)} is {says}", *spoken_links]))
    return f"For “{sign.says}”: {' → '.join(steps)}."


def _way(network: Network, node: str, part: str, changed: set[str]) -> list[str]:
    """Follow the changed functions from a sign's node back to the part's own condition; give them outward."""
    parents = _parents(network.mechanism.nodes)
    way, here = [node], node
    while here in parents:
        changing = [p for p in parents[here] if p in changed]
        if not changing:
            break
        # The branch that reaches back to the part is the one to tell.
        here = max(changing, key=lambda name: _reaches(parents, name, part))
        way.append(here)
    return way[::-1]


def _parents(nodes: Sequence[Node]) -> dict[str, tuple[str, ...]]:
    return {node.name: node.parents for node in nodes}


def _reaches(parents: Mapping[str, tuple[str, ...]], name: str, part: str) -> bool:
    if name not in parents:
        return name.partition(":")[2] == part
    return any(_reaches(parents, parent, part) for parent in parents[name])
