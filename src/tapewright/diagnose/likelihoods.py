"""What an answer or a reading says about one function of the machine: a likelihood for each word it can take."""

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.combinations import Combinations, combine, combine_together
from tapewright.diagnose.expectation import Expected
from tapewright.diagnose.expected import OF_A_PASS, expected
from tapewright.diagnose.measured import Asked, asked, split
from tapewright.diagnose.network import Network, with_functions
from tapewright.diagnose.network import network as of_machine
from tapewright.diagnose.projection import chances, project
from tapewright.faults.behaviours import MOVING
from tapewright.faults.signs import Sign
from tapewright.machine.parts import Machine, part_names, shaft, sound
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.findings import BudgetItem
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading

Array = NDArray[np.float64]

SAYS_NOTHING: Final = 0.01
"""A likelihood whose largest and smallest values differ by less than this share is left out."""
IN_DETAIL: Final = {"response_treble_db": "spacing_um"}
"""A reading, and the one that says the same in more detail."""
MISTAKEN: Final = {"microphone": 0.01, "film": 0.02, "film of a wind": 0.05}
"""The sense that took a reading -> no state is held to be less likely than this share of the
likeliest: it may be another motor's, or another of the rates that look alike on film. Of 121 rates and times of winds
in simulated minutes, seeds for tuning, 113 were as the machine's were."""
SURE_LEAST: Final = 0.01
"""No recording is surer than this of what it hears; trade judgement."""


def checked_evidence(network: Network, evidence: Evidence) -> None:
    """See that every sign and every reading named is one this machine has.

    Raises:
        InputAtFaultError: a Problem for each that is not, with the nearest that is.
    """
    problems = []
    for number, observation in enumerate(evidence.signs):
        if observation.id not in network.signs:
            near = difflib.get_close_matches(observation.id, network.signs, n=1, cutoff=0.5)
            do = f"Did you mean {near[0]!r}?" if near else "`tapewright signs` lists the signs of this machine."
            where, found = f"evidence, signs[{number}].id", f"{observation.id!r} is no sign of this machine."
            problems.append(Problem(where, found, do))
    named = [asked(network.machine, name, "evidence, readings") for name in evidence.readings]
    problems += [one for one in named if isinstance(one, Problem)]
    if problems:
        raise InputAtFaultError(problems)


def of_answer(sign: Sign, words: tuple[str, ...], *, present: bool, sure: float = 1.0) -> Array:
    """Say how likely an answer is for each word of the sign's node.

    Arguments:
        sign: what was asked.
        words: the words of its node, in the order wanted.
        present: the answer.
        sure: 1 for certain; at 0 the answer says nothing.
    """
    chance = np.array([sign.chance(word) for word in words])
    said = chance if present else 1.0 - chance
    return sure * said + (1.0 - sure) * 0.5


def of_observations(network: Network, observations: Iterable[Observation]) -> dict[str, Array]:
    """Multiply what every answer says, node by node; `None` answers say nothing."""
    likelihoods: dict[str, Array] = {}
    for observation in observations:
        sign = network.signs[observation.id]
        if sign.aside and sign.node not in {**network.words, **network.constants} and sign.node not in network.told:
            raise ValueError(f"{sign.id} is told, and the network was not asked to speak of it (`speaking_of`)")
        if observation.present is None or sign.node not in network.words:
            continue
        said = of_answer(sign, network.words[sign.node], present=observation.present, sure=observation.sure)
        likelihoods[sign.node] = likelihoods.get(sign.node, np.ones(len(said))) * said
    return likelihoods


def of_readings(network: Network, readings: Mapping[str, Reading]) -> dict[str, Array]:
    """Say what measurements tell of functions and of parts; what could not be measured says nothing.

    Arguments:
        network: the machine's belief network.
        readings: by the names of `measured`, in the units of those names.

    Returns:
        By function, for each of its words; by "part:NAME", for each of the part's states.

    Raises:
        InputAtFaultError: a Problem for each name that does not fit this machine.

    >>> from tapewright.diagnose.network import network
    >>> from tapewright.machine.library import shipped
    >>> said = of_readings(network(shipped("four_track")), {"supply_voltage_v": Reading(6.0, "V", 0.2)})
    >>> net = network(shipped("four_track"))
    >>> net.words["feed:power_supply"][said["feed:power_supply"].argmax()]
    'low'
    """
    here = counted(readings)
    of_pass = {name: one for name, one in here.items() if split(name)[0] in OF_A_PASS and one.value is not None}
    alone = (spoken_by(network, name, reading) for name, reading in here.items() if name not in of_pass)
    return together(*alone, *_of_a_pass(network, of_pass))


def _of_a_pass(network: Network, readings: Mapping[str, Reading]) -> list[dict[str, Array]]:
    """Say what readings of one pass tell together: each explains the others away, as single likelihoods could not."""
    said = []
    for names in _about_the_same(network.machine, network.told, tuple(readings)):
        known = _states_together(network.machine, network.told, names)
        values = [readings[name] for name in names]
        likely = np.ones(len(known[0][1].values))
        for (hangs_on, found), one in zip(known, values, strict=True):
            likely = likely * chances(hangs_on, found, one.value or 0.0, one.doubt)
        said.append(_projected(network, _with_all_nodes([found for _, found in known]), likely))
    return said


def _with_all_nodes(found: Sequence[Combinations]) -> Combinations:
    """Put the words of every function that several readings go with into one table of the same states."""
    where = {node: (one, k) for one in found for k, node in enumerate(one.nodes)}
    if not where:
        return found[0]
    return replace(found[0], nodes=tuple(where), words=np.stack([one.words[:, k] for one, k in where.values()], axis=1))


@lru_cache(maxsize=64)
def _about_the_same(machine: Machine, told: frozenset[str], names: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """Part readings into groups that share no part that matters to them; those that tell nothing are left out."""
    known = {name: _states_of(machine, told, name) for name in names}
    parts = {name: frozenset(one[1].parts) for name, one in known.items() if one is not None}
    groups: list[tuple[list[str], frozenset[str]]] = []
    for name, own in parts.items():
        if not own:
            continue
        joined = [group for group in groups if group[1] & own]
        groups = [group for group in groups if not group[1] & own]
        members = [one for group in joined for one in group[0]]
        groups.append(([*members, name], own.union(*(group[1] for group in joined))))
    return tuple(tuple(members) for members, _ in groups)


@lru_cache(maxsize=64)
def _states_together(
    machine: Machine, told: frozenset[str], names: tuple[str, ...]
) -> tuple[tuple[Expected, Combinations], ...]:
    known = [found[0] for name in names if (found := _states_of(machine, told, name)) is not None]
    return tuple(zip(known, combine_together(with_functions(of_machine(machine), told), known), strict=True))


def counted(readings: Mapping[str, Reading]) -> dict[str, Reading]:
    """Leave out what another reading tells in more detail: one thing would count twice.

    >>> whole, one = Reading(-9.0, "dB", 0.2), Reading(0.8, "µm", 0.1)
    >>> list(counted({"response_treble_db": whole, "spacing_um": one}))
    ['spacing_um']
    """
    there = {split(name)[0] for name, reading in readings.items() if reading.value is not None}
    return {name: one for name, one in readings.items() if IN_DETAIL.get(split(name)[0]) not in there}


def spoken_by(network: Network, name: str, reading: Reading) -> dict[str, Array]:
    """Say what one measurement tells."""
    if reading.value is None:
        return {}
    what = asked(network.machine, name)
    if isinstance(what, Problem):
        raise InputAtFaultError(what)
    if what.quantity.stem in SURE_OF:
        return _of_surety(network, what, reading.value)
    known = states_of(network, name)
    if known is None:
        return {}
    hangs_on, found = known
    likely = chances(hangs_on, found, reading.value, reading.doubt)
    return _projected(network, found, np.maximum(likely, MISTAKEN.get(reading.by, 0.0) * likely.max()))


def _projected(network: Network, found: Combinations, likely: Array) -> dict[str, Array]:
    prior = {name: network.parts[name].prior for name in found.parts}
    words = {node: len(network.words[node]) for node in found.nodes}
    said = project(found, likely, prior, words)
    return {place: one for place, one in said.items() if np.ptp(one) > SAYS_NOTHING * one.max()}


def states_of(network: Network, name: str) -> tuple[Expected, Combinations] | None:
    """Give how a reading hangs on a machine and the states that matter to it; None where its description does not tell.

    What does not hang on base rates is worked out once for each machine and name.
    """
    return _states_of(network.machine, network.told, name)


def functions_of(machine: Machine, readings: Iterable[str]) -> frozenset[str]:
    """Name the functions that readings of a pass are about, for `network.with_functions`.

    Arguments:
        machine: as described.
        readings: their names.
    """
    of_pass = [asked(machine, name) for name in readings if split(name)[0] in OF_A_PASS]
    known = [expected(sound(machine), what) for what in of_pass if not isinstance(what, Problem)]
    return frozenset(node for one in known if one is not None for node in one.nodes)


@lru_cache(maxsize=256)
def _states_of(machine: Machine, told: frozenset[str], name: str) -> tuple[Expected, Combinations] | None:
    what = asked(machine, name)
    hangs_on = None if isinstance(what, Problem) else expected(sound(machine), what)
    if hangs_on is None:
        return None
    found = combine(with_functions(of_machine(machine), told), hangs_on)
    return (hangs_on, found) if np.isfinite(found.values).any() else None


SURE_OF: Final = {
    "squeal_sure": ("rubs", {"yes": 1.0, "at_times": 0.6}),
    "motor_runs_sure": ("turns", dict.fromkeys(MOVING, 1.0) | {"at_times": 0.5}),
}
"""Yes-or-no readings of a mechanism's sound: the function they are about, and how often a word of it is such a yes."""
SOUNDS: Final = {"normal": 1.0, "races": 1.0, "labours": 1.0, "at_times": 0.5}
"""The same of how a motor sounds: what a network speaks of where it has left out whether the motor turns."""


def _of_surety(network: Network, what: Asked, sure: float) -> dict[str, Array]:
    """Say what a recording tells that is so sure of a yes: nothing at one half."""
    about, yes = SURE_OF[what.quantity.stem]
    node = f"{about}:{shaft(network.machine, what.part)}@{what.mode}"
    if node not in network.words and about == "turns":
        # Whether it turns and how it sounds hang together; a network keeps the one that signs are about.
        node, yes = f"sounds:{what.part}@{what.mode}", SOUNDS
    if node not in network.words:
        return {}
    true = np.array([yes.get(word, 0.0) for word in network.words[node]])
    sure = min(max(sure, SURE_LEAST), 1.0 - SURE_LEAST)
    return {node: sure * true + (1.0 - sure) * (1.0 - true)}


@dataclass(frozen=True, slots=True, eq=False)
class _Made:
    """One line as what turns as one may have made it.

    Arguments:
        found: the states of its parts.
        likely: how likely a line of this size is in each state, shape (combinations,).
        probability: how likely it made the line, and no other part did.
        peak_pct: peak of the line, percent of speed.
    """

    found: Combinations
    likely: Array
    probability: float
    peak_pct: float


def of_budget(network: Network, budget: Iterable[BudgetItem]) -> dict[str, Array]:
    """Say what the lines of a flutter budget tell of parts' steadiness: the largest line of each counts.

    The size a part's line should have in each of its states follows from its run-out and its unsteadiness, and from
    what of them reaches the tape. A line speaks for every part that may have made it, rivals too; so far as another
    may have made it, it says nothing. Where the frequency tells two parts apart no better than how common such lines
    are, the line's size does.

    Arguments:
        network: the machine's belief network.
        budget: the lines with what may have made each.

    Returns:
        By function, for each of its words; by "part:NAME", for each of the part's states.
    """
    largest: dict[frozenset[str], _Made] = {}
    for item in budget:
        for group, made in _made_by(network, item).items():
            if group not in largest or _weight(made) > _weight(largest[group]):
                largest[group] = made
    said = []
    for one in largest.values():
        usual = _mean(network, one.found, one.likely)
        speaks = one.probability * one.likely + (1.0 - one.probability) * usual
        said.append(_projected(network, one.found, speaks))
    return together(*said)


def _made_by(network: Network, item: BudgetItem) -> dict[frozenset[str], _Made]:
    """Say what may have made a line: what sits on one shaft turns as one, and is one answer."""
    alike, apart = dict[frozenset[str], float](), dict[frozenset[str], float]()
    known = {}
    rivals = [(rival.part, rival.probability, rival.told_apart) for rival in item.rivals]
    for name, chance, told_apart in [(item.part, item.probability, False), *rivals]:
        here = states_of(network, f"line_pct:{name}") if name in part_names(network.machine) else None
        if here is not None:
            group, shares = here[0].parts, apart if told_apart else alike
            known[group] = here
            shares[group] = shares.get(group, 0.0) + chance
    likely = {group: chances(*here, item.peak_pct, item.doubt_pct) for group, here in known.items()}
    by_size = {group: share * _mean(network, known[group][1], likely[group]) for group, share in alike.items()}
    total = sum(by_size.values())
    if total > 0.0:
        alike = {group: sum(alike.values()) * one / total for group, one in by_size.items()}
    return {
        group: _Made(here[1], likely[group], min(alike.get(group, 0.0) + apart.get(group, 0.0), 1.0), item.peak_pct)
        for group, here in known.items()
    }


def _mean(network: Network, found: Combinations, likely: Array) -> float:
    return float(found.weights({name: np.array(network.parts[name].prior) for name in found.parts}) @ likely)


def _weight(made: _Made) -> float:
    return made.peak_pct * made.probability


def together(*likelihoods: Mapping[str, Array]) -> dict[str, Array]:
    """Multiply likelihoods from several sources, node by node."""
    product: dict[str, Array] = {}
    for one in likelihoods:
        for node, said in one.items():
            product[node] = product.get(node, np.ones(len(said))) * said
    return product
