"""The belief network that a machine's own functions imply.

Every part is an independent cause with a few states: sound, or out of order in one of its ways and degrees. Conditions
are read off the part in that state; the functions of the mechanism hang on the conditions. All of it is exact and
deterministic; doubt enters by the base rates and by how well people notice (`likelihoods`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Factor, Plan, plan_for
from tapewright.diagnose.merging import merge_alike
from tapewright.faults.applied import imperfections_of, with_imperfections
from tapewright.faults.catalogue import PossibleFault, possible_faults
from tapewright.faults.graph import Node, ancestors, evaluate, reachable
from tapewright.faults.mechanism import Mechanism, mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.machine.parts import Machine, part_names, sound

SOUND_STATE = ("sound", 0.0)
READ_DIRECTLY = ("tape@play",)
"""Nodes that measurements speak to as well as signs: none of their words may be merged."""
READ_AT: Final = ("lifts@", "sways_with:")
"""Functions that readings of tracks are about, where there are any: several parts may bring them about."""


@dataclass(frozen=True, slots=True)
class PartStates:
    """The states of one part.

    Arguments:
        part: its name.
        states: (kind, severity); the first is `SOUND_STATE`.
        prior: probability of each state.
    """

    part: str
    states: tuple[tuple[str, float], ...]
    prior: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Past:
    """What is known of a machine as it was before parts of it were renewed (`lives`).

    Arguments:
        priors: chances of the states of every part as it is now, before any evidence.
        said: what enters at what was otherwise then: base rates of parts, and what was noticed.
        log_evidence: log probability of what was noticed then.
        old: of each renewed part, chances of the states of the old one, before any evidence and by what was noticed
            then, shape (states,) each.
        stood: for each time then, which of the renewed parts were still the old ones, and what was noticed, node by
            node, shape (words,).
    """

    priors: Mapping[str, tuple[float, ...]]
    said: Mapping[str, NDArray[np.float64]]
    log_evidence: float
    old: Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]] = field(default_factory=dict)
    stood: tuple[tuple[frozenset[str], Mapping[str, NDArray[np.float64]]], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Factors over part states and functions, and the plan to sum them.

    Arguments:
        machine: whose network it is.
        mechanism: the graph it was made from.
        parts: every part that can fail, by name.
        words: the values of each function or condition that is a variable, in the order of its axis.
        constants: functions that cannot vary, with their one value.
        sound_words: the value of every function on a machine with nothing wrong.
        factors: the tables that link them; every one is a function, ones and zeros.
        observed: functions that some sign or reading is about: each has a leaf for what evidence says of it.
        signs: by id.
        alike: for each part, its states in groups that the rest of the machine cannot tell apart.
        told: functions that join much of the machine at once and were asked for (`speaking_of`).
        plan: how to sum it; a part's variable there, "part:belt", has a value for each of those groups.
        past: what is known of the machine as it was before repairs; `parts` then says what that leaves of each part.
    """

    machine: Machine
    mechanism: Mechanism
    parts: Mapping[str, PartStates]
    words: Mapping[str, tuple[str, ...]]
    constants: Mapping[str, str]
    sound_words: Mapping[str, str]
    factors: tuple[Factor, ...]
    observed: tuple[str, ...]
    signs: Mapping[str, Sign]
    alike: Mapping[str, tuple[tuple[int, ...], ...]]
    plan: Plan
    told: frozenset[str] = frozenset()
    past: Past | None = None

    def prior(self, name: str) -> NDArray[np.float64]:
        """Give the chances of a part's states before any evidence, of whatever time, shape (states,)."""
        return np.array(self.parts[name].prior if self.past is None else self.past.priors[name])


def part_states(machine: Machine, age_years: float | None = None, equal_rate: float | None = None) -> list[PartStates]:
    """List the states of every part that can fail, with their probabilities before any evidence.

    Arguments:
        machine: as described.
        age_years: age of rubber and grease; None for the age the base rates are meant for.
        equal_rate: when given, every part is out of order with this probability, shared out over its kinds in
            proportion to their base rates.
    """
    by_part: dict[str, list[PossibleFault]] = {name: [] for name in part_names(machine)}
    for possible in possible_faults(machine, age_years):
        by_part[possible.part].append(possible)
    found = []
    for name, possibles in by_part.items():
        if possibles:
            rates = _exclusive([one.base_rate for one in possibles], equal_rate)
            states, prior = [SOUND_STATE], [1.0 - sum(rates)]
            for one, rate in zip(possibles, rates, strict=True):
                for severity in one.fault.severities:
                    states.append((one.fault.kind, severity))
                    prior.append(rate / len(one.fault.severities))
            found.append(PartStates(name, tuple(states), tuple(prior)))
    return found


def _exclusive(rates: list[float], equal_rate: float | None) -> list[float]:
    """Share out the chance of being out of order so that a part is in one state; never certain beforehand."""
    total = sum(rates)
    if equal_rate is not None:
        return [rate / total * equal_rate for rate in rates]
    return [rate * min(1.0, 0.95 / total) for rate in rates]


def network(machine: Machine, age_years: float | None = None, equal_rate: float | None = None) -> Network:
    """Give the belief network of a machine; what does not hang on the age is worked out once."""
    net = _of_usual_age(machine, frozenset())
    if age_years is None and equal_rate is None:
        return net
    return replace(net, parts={states.part: states for states in part_states(machine, age_years, equal_rate)})


def speaking_of(net: Network, signs_told: Iterable[str]) -> Network:
    """Give a network that also speaks of signs that join much of the machine at once, where some were told.

    Such signs (a noise from no known place, a pitch that wavers in step with something) are taken when a person tells
    of them and are not proposed as checks; leaving their functions out keeps all other sums small.

    Arguments:
        net: the machine's network.
        signs_told: ids of signs; those the network does not know are passed over.
    """
    return with_functions(net, {net.signs[one].node for one in signs_told if one in net.signs and net.signs[one].aside})


def with_functions(net: Network, functions: Iterable[str]) -> Network:
    """Give a network that also speaks of some functions; what the machine does not have is passed over.

    Arguments:
        net: the machine's network.
        functions: by name: those of signs, and `READ_AT`.
    """
    drawn = {node.name for node in net.mechanism.nodes}
    wanted = frozenset(drawn.intersection(functions) - net.words.keys() - net.constants.keys())
    if not wanted:
        return net
    larger = _of_usual_age(net.machine, wanted | net.told)
    return replace(larger, parts=net.parts, signs=net.signs)


@cache
def _of_usual_age(machine: Machine, told: frozenset[str]) -> Network:
    return derive(machine, told)


def derive(machine: Machine, told: frozenset[str] = frozenset()) -> Network:
    """Derive the belief network of a machine from its description; `network` keeps what this gives.

    Arguments:
        machine: as described.
        told: functions that join much of the machine at once and are wanted all the same.
    """
    graph = mechanism(machine)
    parts = {states.part: states for states in part_states(machine)}
    answers = _condition_answers(graph, parts)
    domains = reachable(graph.nodes, {name: tuple(dict.fromkeys(words)) for name, words in answers.items()})
    constants = {name: words[0] for name, words in domains.items() if len(words) == 1}
    found = {sign.id: sign for sign in signs(graph)}
    spoken_of = [s for s in found.values() if s.node in told or not s.aside]
    observed = tuple(dict.fromkeys(s.node for s in spoken_of if s.node not in constants))
    steady = tuple(c.name for c in graph.conditions if c.about == "steady" and c.name not in constants)
    read = tuple(sorted(one for one in told if one.startswith(READ_AT) and one not in constants))
    steady = (*steady, *read)
    observed = tuple(dict.fromkeys(observed + steady))
    needed = ancestors(graph.nodes, observed) - set(constants)
    words = {name: domains[name] for name in domains if name in needed}
    factors = [*_condition_factors(graph, parts, answers, words), *function_factors(graph.nodes, words, constants)]
    merged = merge_alike(factors, words, _told_apart(spoken_of, words, steady))
    factors, words = merged.factors, merged.words
    observed = tuple(name for name in observed if name in words)
    at_rest = evaluate(graph.nodes, {name: given[0] for name, given in answers.items()})
    sound_words = {name: merged.stands_for.get((name, word), word) for name, word in at_rest.items()}
    alike = {name: states_alike(factors, name, len(known.states)) for name, known in parts.items()}
    plan = plan_for(with_groups(factors, alike), sizes_of(words, alike))
    return Network(
        graph.machine, graph, parts, words, constants, sound_words, tuple(factors), observed, found, alike, plan, told
    )


def states_alike(factors: Iterable[Factor], name: str, count: int) -> tuple[tuple[int, ...], ...]:
    """Group a part's states by what the rest of the machine sees of them."""
    tables = [factor.table for factor in factors if factor.variables[0] == f"part:{name}"]
    groups: dict[bytes, list[int]] = {}
    for i in range(count):
        groups.setdefault(b"".join(np.ascontiguousarray(table[i]).tobytes() for table in tables), []).append(i)
    return tuple(tuple(group) for group in groups.values())


def with_groups(factors: Iterable[Factor], alike: Mapping[str, tuple[tuple[int, ...], ...]]) -> list[Factor]:
    """Give the factors with one value for each group of a part's states that look alike."""
    grouped = []
    for factor in factors:
        first = factor.variables[0]
        if first.startswith("part:"):
            table = factor.table[[group[0] for group in alike[first.removeprefix("part:")]]]
            factor = Factor(factor.variables, table)
        grouped.append(factor)
    return grouped


def sizes_of(words: Mapping[str, tuple[str, ...]], alike: Mapping[str, tuple[tuple[int, ...], ...]]) -> dict[str, int]:
    """Give the number of values of each variable of a plan."""
    return {f"part:{name}": len(groups) for name, groups in alike.items()} | {n: len(w) for n, w in words.items()}


def _told_apart(
    found: Iterable[Sign], words: Mapping[str, tuple[str, ...]], steady: Iterable[str]
) -> dict[str, dict[str, tuple[float | str, ...]]]:
    """Say for each observed node what tells its words apart: the chances of its signs, and what readings name."""
    apart: dict[str, dict[str, tuple[float | str, ...]]] = {}
    for sign in found:
        if sign.node in words:
            known = apart.setdefault(sign.node, dict.fromkeys(words[sign.node], ()))
            apart[sign.node] = {word: (*told, sign.chance(word)) for word, told in known.items()}
    for name in (*steady, *READ_DIRECTLY):
        if name in words:
            known = apart.get(name, dict.fromkeys(words[name], ()))
            apart[name] = {word: (*told, word) for word, told in known.items()}
    return apart


def _condition_answers(graph: Mechanism, parts: Mapping[str, PartStates]) -> dict[str, tuple[str, ...]]:
    """Put every condition's question to its part in each of its states."""
    ideal = sound(graph.machine)
    kinds = {(p.part, p.fault.kind): p.fault for p in possible_faults(ideal)}
    worn = {
        name: [with_imperfections(ideal, name, imperfections_of(kinds[name, kind], s)) for kind, s in known.states[1:]]
        for name, known in parts.items()
    }
    return {
        condition.name: tuple(condition.read(machine) for machine in (ideal, *worn.get(condition.part, ())))
        for condition in graph.conditions
    }


def _condition_factors(
    graph: Mechanism,
    parts: Mapping[str, PartStates],
    answers: Mapping[str, tuple[str, ...]],
    words: Mapping[str, tuple[str, ...]],
) -> list[Factor]:
    factors = []
    for condition in graph.conditions:
        if condition.name in words and condition.part in parts:
            values = words[condition.name]
            table = np.array([[float(answer == value) for value in values] for answer in answers[condition.name]])
            factors.append(Factor((f"part:{condition.part}", condition.name), table))
    return factors


def function_factors(
    nodes: Iterable[Node], words: Mapping[str, tuple[str, ...]], constants: Mapping[str, str]
) -> list[Factor]:
    """Write functions as factors of ones and zeros, the function's own variable last.

    Arguments:
        nodes: functions; those without words are passed over.
        words: the values of each function, and of whatever it hangs on, in the order of its axis.
        constants: the one value of whatever cannot vary.
    """
    factors = []
    for node in nodes:
        if node.name not in words:
            continue
        varying = tuple(dict.fromkeys(parent for parent in node.parents if parent not in constants))
        factors.append(Factor((*varying, node.name), _function_table(node, varying, words, constants)))
    return factors


def _function_table(
    node: Node, varying: tuple[str, ...], words: Mapping[str, tuple[str, ...]], constants: Mapping[str, str]
) -> NDArray[np.float64]:
    values = words[node.name]
    table = np.zeros((*(len(words[parent]) for parent in varying), len(values)))
    for index in product(*(range(len(words[parent])) for parent in varying)):
        given = {parent: words[parent][i] for parent, i in zip(varying, index, strict=True)}
        answer = node.function(*(given.get(parent, constants.get(parent, "")) for parent in node.parents))
        table[(*index, values.index(answer))] = 1.0
    return table
