"""The reasons: from a fault along its chain of effects to the signs, step by step and in words, for and against.

The chain is read off the same graph that the beliefs come from: put the fault in, see which functions change, and
follow them from the sign back to the part.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache

from tapewright.diagnose.network import Network
from tapewright.diagnose.phrases import phrase
from tapewright.faults.applied import Fault, applied, fault_kind
from tapewright.faults.graph import Node, evaluate
from tapewright.faults.mechanism import Mechanism
from tapewright.faults.signs import Sign
from tapewright.machine.parts import Machine, part_names, sound, spoken
from tapewright.words.evidence import Observation
from tapewright.words.findings import Chain, Link

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
    speaks_for = tuple(_sentence(chain) for chain in chains(network, part, kind, observations))
    would_show = (sign for sign, o in _shown_by(network, part, kind, observations) if not o.present)
    against = (f"Against: “{sign.says}” would then be there, and was looked for in vain." for sign in would_show)
    return (*speaks_for, *against)[:MOST_REASONS]


def chains(network: Network, part: str, kind: str, observations: Sequence[Observation]) -> tuple[Chain, ...]:
    """Follow a fault to each sign that was noticed and that it brings about.

    Arguments:
        network: the machine's belief network.
        part: the part that is out of order.
        kind: how; its worst degree is taken.
        observations: what was noticed; what was not is passed over.

    >>> from tapewright.diagnose.network import network
    >>> from tapewright.machine.library import shipped
    >>> told = [Observation("play_tape_races", True)]
    >>> (found,) = chains(network(shipped("four_track")), "capstan_belt", "missing", told)
    >>> [link.part for link in found.links]
    ['capstan_belt', 'flywheel', 'nip', 'tape']
    """
    seen = (sign for sign, o in _shown_by(network, part, kind, observations) if o.present)
    return tuple(_chain(network, part, kind, sign) for sign in seen)


def _shown_by(
    network: Network, part: str, kind: str, observations: Sequence[Observation]
) -> Iterator[tuple[Sign, Observation]]:
    """Give the answers about signs that this fault shows and a machine with nothing wrong does not."""
    without, with_fault = _before_and_after(network, part, kind)
    for observation in observations:
        sign = network.signs.get(observation.id)
        if sign is not None and observation.present is not None:
            before, after = sign.chance(without[sign.node]), sign.chance(with_fault[sign.node])
            if after >= SHOWS > before:
                yield sign, observation


def _before_and_after(network: Network, part: str, kind: str) -> tuple[Mapping[str, str], Mapping[str, str]]:
    graph = network.mechanism
    return _values(graph, sound(network.machine)), _values(graph, _worn(network, part, kind))


def _worn(network: Network, part: str, kind: str) -> Machine:
    severities = fault_kind(network.machine, part, kind).severities
    return applied(sound(network.machine), [Fault(part, kind, max(severities))])


@cache
def _values(mechanism: Mechanism, machine: Machine) -> Mapping[str, str]:
    return evaluate(mechanism.nodes, {one.name: one.read(machine) for one in mechanism.conditions})


def _chain(network: Network, part: str, kind: str, sign: Sign) -> Chain:
    without, with_fault = _before_and_after(network, part, kind)
    machine = network.machine
    changed = {name for name, value in with_fault.items() if value != without[name]}
    topics = _topics(network.mechanism)
    says = fault_kind(machine, part, kind).says
    links = [Link(part, "fault", f"the {spoken(machine, part)} {'' if says.startswith('gives ') else 'is '}{says}")]
    for name in _way(network, sign.node, part, changed):
        clause = phrase(machine, name, with_fault[name])
        about, _, subject = name.partition("@")[0].partition(":")
        own = subject == part and about != "permit"
        if clause and not own and clause not in {link.says for link in links}:
            links.append(Link(topics.get(name, ""), about, clause))
    return Chain(sign.id, sign.says, sign.mode, tuple(links))


def _sentence(chain: Chain) -> str:
    return f"For “{chain.says}”: {' → '.join(link.says for link in chain.links)}."


def _topics(graph: Mechanism) -> dict[str, str]:
    """Say what each condition and function is about: a part of the machine, the tape, or nothing that has a name."""
    known = {*part_names(graph.machine), "tape"}
    found = {one.name: one.part for one in graph.conditions} | {one.name: one.topic for one in graph.nodes}
    return {name: topic if topic in known else "" for name, topic in found.items()}


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
