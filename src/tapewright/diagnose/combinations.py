"""The states a machine can be in, one fault or several at a time: the word of each function, the reading of each.

The words are read off the network's own tables, for thousands of states at once. A reading is worked out on the machine
with each single fault; what several faults do together is composed from that.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.expectation import Expected
from tapewright.diagnose.network import SOUND_STATE, Network
from tapewright.faults.applied import fault_kind, imperfections_of, with_imperfections
from tapewright.machine.parts import Machine, sound

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MOST: Final = 2500
"""Combinations that are listed: none, one, two faults and so on at a time, as far as there is room."""
DRAWN: Final = 4000
"""Combinations drawn beside them, with as many faults at a time as the base rates bring."""
NEGLIGIBLE: Final = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Combinations:
    """States of the parts that matter to one reading, with what follows from each.

    Arguments:
        parts: the parts that matter, by name.
        states: number of each part's state, shape (combinations, parts); the first row is all sound. A state that makes
            no difference to the reading counts as sound.
        nodes: functions whose words go with the reading.
        words: number of each function's word, shape (combinations, nodes).
        values: the reading, shape (combinations,); nan where none can be taken.
        sound: the reading of the sound machine.
        counts: for each part, the state that each of its states counts as, shape (states,).
        offered: how often a combination was listed or is drawn on average, shape (combinations,).
        scatter: variance that each adds to the reading, shape (combinations,).
    """

    parts: tuple[str, ...]
    states: Index
    nodes: tuple[str, ...]
    words: Index
    values: Array
    sound: float
    counts: tuple[Index, ...]
    offered: Array
    scatter: Array

    def weights(self, chances: Mapping[str, Array]) -> Array:
        """Give how likely each combination is, sum one, where the states of each part have these chances.

        What is both listed and drawn is weighed for both (the balance heuristic of E. Veach and L. Guibas, "Optimally
        combining sampling techniques for Monte Carlo rendering", SIGGRAPH 1995).
        """
        weight = _product(self.counts, self.states, [chances[name] for name in self.parts]) / self.offered
        return np.asarray(weight / max(float(weight.sum()), 1e-300))


def words_of(network: Network, states: Mapping[str, Index], nodes: Sequence[str]) -> Index:
    """Read the words of functions off the network's tables.

    Arguments:
        network: the machine's belief network.
        states: for each part, the number of its state in every case, shape (cases,); parts left out are sound.
        nodes: functions that are variables of the network.

    Returns:
        Number of each function's word, shape (cases, nodes).
    """
    cases = len(next(iter(states.values())))
    if not nodes:
        return np.zeros((cases, 0), dtype=np.int64)
    known: dict[str, Index] = {f"part:{name}": np.zeros(cases, dtype=np.int64) for name in network.parts}
    known |= {f"part:{name}": chosen for name, chosen in states.items()}
    waiting = list(network.factors)
    while waiting:
        left = []
        for factor in waiting:
            *given, own = factor.variables
            if all(name in known for name in given):
                known[own] = factor.table[tuple(known[name] for name in given)].argmax(axis=-1)
            else:
                left.append(factor)
        if len(left) == len(waiting):
            raise ValueError("functions that hang on each other in a ring")
        waiting = left
    return np.stack([known[node] for node in nodes], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Singles:
    """What each single fault does to a reading.

    Arguments:
        parts: the parts that matter.
        row: (part, number of its state) -> row of the single fault.
        values: the reading with each single fault, shape (1 + faults,); the sound machine first.
        effects: the same on the scale on which several add.
        matters: whether a fault changes the reading or a word that goes with it, shape (1 + faults,).
        read: functions whose words are looked at.
        scatter: variance that each adds to the reading, shape (1 + faults,).
    """

    parts: tuple[str, ...]
    row: Mapping[tuple[str, int], int]
    values: Array
    effects: Array
    matters: NDArray[np.bool_]
    read: tuple[str, ...]
    scatter: Array


def singles(network: Network, what: Expected) -> Singles:
    """Work a reading out on the machine with every single fault.

    Arguments:
        network: the machine's belief network.
        what: how the reading hangs on the machine.
    """
    ideal = sound(network.machine)
    named = (*what.nodes, *(node for node, _ in (*what.by_word, *what.as_single)))
    read = tuple(dict.fromkeys(node for node in named if node in network.words))
    faults = [(name, i) for name in network.parts for i in range(1, len(network.parts[name].states))]
    chosen = {name: np.array([0, *(i if part == name else 0 for part, i in faults)]) for name in network.parts}
    words = words_of(network, chosen, read)
    at_rest = what.value(ideal)
    values = np.array([at_rest, *(_single(network, ideal, what, name, i) for name, i in faults)])
    scatter = np.array([0.0, *(_scattered(network, ideal, what, name, i) for name, i in faults)])
    moved = _moved(values, at_rest, what) | (scatter > NEGLIGIBLE * what.spread**2)
    matters = moved | (words != words[0]).any(axis=1)
    parts = tuple(dict.fromkeys(name for (name, _), one in zip(faults, matters[1:], strict=True) if one))
    row = {pair: number for number, pair in enumerate(faults, start=1)}
    return Singles(parts, row, values, _effects(values, at_rest, what), matters, read, scatter)


def combine(network: Network, what: Expected) -> Combinations:
    """List the states that matter to a reading, with its value in each.

    Arguments:
        network: the machine's belief network.
        what: how the reading hangs on the machine.
    """
    return combine_together(network, [what])[0]


def combine_together(network: Network, whats: Sequence[Expected]) -> tuple[Combinations, ...]:
    """List the states that matter to any of several readings, with the value of each reading in each.

    Arguments:
        network: the machine's belief network.
        whats: how each reading hangs on the machine.

    Returns:
        One for each reading, all of the same parts and states.
    """
    each = [singles(network, what) for what in whats]
    matters = np.any([alone.matters for alone in each], axis=0)
    parts = tuple(name for name in network.parts if any(name in alone.parts for alone in each))
    if len(each) == 1:
        parts = each[0].parts
    each = [replace(alone, matters=matters, parts=parts) for alone in each]
    alone = each[0]
    choices = [[i for i in range(1, len(network.parts[name].states)) if matters[alone.row[name, i]]] for name in parts]
    listed, at_once = _states(choices)
    if at_once == len(parts):
        return tuple(in_states(network, what, one, listed) for what, one in zip(whats, each, strict=True))
    counts = _counts(network, alone)
    prior = [np.array(network.parts[name].prior) for name in alone.parts]
    random = np.random.default_rng(1)
    drawn = [counted[random.choice(len(p), DRAWN, p=p / p.sum())] for counted, p in zip(counts, prior, strict=True)]
    states = np.concatenate([listed, np.stack(drawn, axis=1)])
    offered = DRAWN * _product(counts, states, prior) + ((states > 0).sum(axis=1) <= at_once)
    return tuple(
        replace(in_states(network, what, one, states), offered=offered) for what, one in zip(whats, each, strict=True)
    )


def _counts(network: Network, alone: Singles) -> tuple[Index, ...]:
    """Say for each part which state each of its states counts as: itself, or sound."""
    found = []
    for name in alone.parts:
        states = range(1, len(network.parts[name].states))
        found.append(np.array([0, *(i if alone.matters[alone.row[name, i]] else 0 for i in states)]))
    return tuple(found)


def _product(counts: Sequence[Index], states: Index, chances: Sequence[Array]) -> Array:
    """Multiply the chances of the states in each combination."""
    total = np.ones(len(states))
    for column, (counted, chance) in enumerate(zip(counts, chances, strict=True)):
        total = total * np.bincount(counted, chance, len(counted))[states[:, column]]
    return total


def in_states(network: Network, what: Expected, alone: Singles, states: Index) -> Combinations:
    """Compose a reading in given states of the parts that matter, shape (cases, parts)."""
    rows = np.zeros_like(states)
    for column, name in enumerate(alone.parts):
        table = np.array([0, *(alone.row[name, i] for i in range(1, len(network.parts[name].states)))])
        rows[:, column] = table[states[:, column]]
    chosen = {name: states[:, k] for k, name in enumerate(alone.parts)} or {"": np.zeros(len(states), dtype=np.int64)}
    words = words_of(network, chosen, alone.read)
    at_rest = float(alone.values[0])
    composed = _composed(alone.effects[rows].sum(axis=1), at_rest, what)
    if np.isfinite(at_rest):
        # What alone leaves nothing to read leaves nothing with others beside it, unless a word says otherwise.
        composed = np.where(np.isnan(alone.values)[rows].any(axis=1), np.nan, composed)
    composed = _by_word(network, what, alone, words, composed, rows)
    # Words that are merged away, and functions that cannot vary, tell nothing.
    nodes = tuple(node for node in what.nodes if node in alone.read)
    own = [alone.read.index(node) for node in nodes]
    counts = _counts(network, alone)
    scatter = alone.scatter[rows].sum(axis=1)
    offered = np.ones(len(states))
    return Combinations(alone.parts, states, nodes, words[:, own], composed, at_rest, counts, offered, scatter)


def _scattered(network: Network, ideal: Machine, what: Expected, name: str, state: int) -> float:
    """Give the variance that one fault adds to a reading."""
    if what.scatter is None or (what.parts and name not in what.parts):
        return 0.0
    return what.scatter(_with(network, ideal, name, state)) ** 2


def _single(network: Network, ideal: Machine, what: Expected, name: str, state: int) -> float:
    if what.parts and name not in what.parts:
        return what.value(ideal)
    return what.value(_with(network, ideal, name, state))


def _with(network: Network, ideal: Machine, name: str, state: int) -> Machine:
    kind, severity = network.parts[name].states[state]
    assert (kind, severity) != SOUND_STATE
    return _with_fault(ideal, name, kind, severity)


@lru_cache(maxsize=512)  # every reading asks of the same faults, and what follows from each is kept by the machine
def _with_fault(ideal: Machine, name: str, kind: str, severity: float) -> Machine:
    return with_imperfections(ideal, name, imperfections_of(fault_kind(ideal, name, kind), severity))


def _moved(values: Array, at_rest: float, what: Expected) -> NDArray[np.bool_]:
    scale = what.spread if what.composed == "sum" else what.spread * max(abs(at_rest), 1e-12)
    if not np.isfinite(at_rest):
        return np.isfinite(values)
    return ~(np.abs(values - at_rest) <= NEGLIGIBLE * scale)


def _effects(values: Array, at_rest: float, what: Expected) -> Array:
    """Give what each single fault does, on the scale on which several add; what cannot be read is no effect."""
    with np.errstate(divide="ignore", invalid="ignore"):
        if what.composed == "sum":
            found = values - at_rest
        elif what.composed == "squares":
            found = values**2 - at_rest**2
        else:
            found = np.log(np.maximum(values, 1e-9 * at_rest) / at_rest)
    return np.where(np.isfinite(found), found, 0.0)


def _composed(effect: Array, at_rest: float, what: Expected) -> Array:
    if what.composed == "sum":
        return at_rest + effect
    if what.composed == "squares":
        return np.sqrt(np.maximum(at_rest**2 + effect, 0.0))
    found = at_rest * np.exp(np.clip(effect, -60.0, 60.0))
    return np.where(found < 1e-6 * abs(at_rest), 0.0, np.minimum(found, what.most))


def _states(choices: Sequence[Sequence[int]]) -> tuple[Index, int]:
    """List combinations with none, one, two faults and so on, as long as there is room; and how many faults that is."""
    n = len(choices)
    rows = [np.zeros((1, n), dtype=np.int64)]
    at_once = 0
    while at_once < n:
        found = []
        for which in combinations(range(n), at_once + 1):
            for picked in product(*(choices[k] for k in which)):
                row = [0] * n
                for k, state in zip(which, picked, strict=True):
                    row[k] = state
                found.append(row)
            if at_once and sum(map(len, rows)) + len(found) > MOST:
                return np.concatenate(rows), at_once
        rows.append(np.array(found, dtype=np.int64).reshape(-1, n))
        at_once += 1
    return np.concatenate(rows), at_once


def _by_word(network: Network, what: Expected, alone: Singles, words: Index, composed: Array, rows: Index) -> Array:
    """Put in what a word brings about whatever else is wrong; of two things that end a mode the sooner does."""
    found = composed.copy()
    place = {node: k for k, node in enumerate(alone.read)}
    for node, word in what.as_single:
        if node in place and word in network.words[node]:
            here = words[:, place[node]] == network.words[node].index(word)
            one = (rows > 0).sum(axis=1) == 1
            own = alone.values[rows[here & one].sum(axis=1)]
            known = own[np.isfinite(own)]
            found[here] = np.median(known) if len(known) else np.nan
    taken = np.zeros(len(found), dtype=bool)
    for (node, word), value in what.by_word.items():
        if node in place and word in network.words[node]:
            here = words[:, place[node]] == network.words[node].index(word)
            found[here] = np.where(taken[here], np.fmin(found[here], value), value)
            taken |= here
    return found
