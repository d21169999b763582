"""What every part has to do with every function: the chance of each word, given each state of each part.

A hypothetical answer speaks to one function; what it would do to every belief follows from these chances alone. So the
network is summed once for every state of every part (states that look alike to the rest of the machine once only), and
all candidate checks are weighed from the result.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.contraction import largest_table
from tapewright.diagnose.network import Network

Array = NDArray[np.float64]

AT_ONCE: Final = 600_000
"""Numbers in the largest table of the cases that are summed at once: about what a processor's cache holds."""


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Chances of all parts and all observed functions together.

    Arguments:
        parts: names; every state of every part is a row.
        rows: for each part, which rows are its states, in their order.
        state: chance of each row given the evidence, shape (rows,).
        words: for each observed function, the chance of its words given the evidence and the row, shape (rows, words).
        if_sound: for each observed function, the place of its word on a machine with nothing wrong.
    """

    parts: tuple[str, ...]
    rows: Mapping[str, slice]
    state: Array
    words: Mapping[str, Array]
    if_sound: Mapping[str, int]


def pairs(network: Network, likelihoods: Mapping[str, Array]) -> Pairs:
    """Work out the chances of all parts and functions together, exactly.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence so far says, node by node, shape (words,).
    """
    kinds = [(name, group) for name in network.parts for group in _alike(network, name)]
    words, logs = _clamped(network, likelihoods, kinds)
    rows, state, index = {}, [], []
    start = 0
    for name, known in network.parts.items():
        count = len(known.states)
        rows[name] = slice(start, start + count)
        start += count
        own = [(k, group) for k, (part, group) in enumerate(kinds) if part == name]
        place = np.empty(count, dtype=np.int64)
        chance = np.zeros(count)
        for k, group in own:
            place[group] = k
            # States that look alike share what the evidence says of them in proportion to their base rates.
            prior = np.array([known.prior[i] for i in group])
            chance[group] = np.exp(logs[k]) * prior
        index.append(place)
        state.append(chance / chance.sum())
    order = np.concatenate(index)
    sound = {node: network.words[node].index(network.sound_words[node]) for node in network.observed}
    return Pairs(tuple(network.parts), rows, np.concatenate(state), {n: w[order] for n, w in words.items()}, sound)


def _alike(network: Network, name: str) -> list[list[int]]:
    """Group a part's states by what the rest of the machine sees of them."""
    tables = [f.table for f in network.factors if f.variables[0] == f"part:{name}"]
    groups: dict[bytes, list[int]] = {}
    for i in range(len(network.parts[name].states)):
        groups.setdefault(b"".join(np.ascontiguousarray(table[i]).tobytes() for table in tables), []).append(i)
    return list(groups.values())


def _clamped(
    network: Network, likelihoods: Mapping[str, Array], kinds: Sequence[tuple[str, list[int]]]
) -> tuple[dict[str, Array], Array]:
    """Sum the network with one part held in one kind of state, for every part and kind; logs are relative."""
    words: dict[str, list[Array]] = {node: [] for node in network.observed}
    logs = []
    sizes = {f"part:{name}": len(known.states) for name, known in network.parts.items()}
    sizes |= {name: len(values) for name, values in network.words.items()}
    step = max(1, min(48, AT_ONCE // largest_table(network.path, sizes)))
    for start in range(0, len(kinds), step):
        chunk = kinds[start : start + step]
        held = {name: np.tile(known.prior, (len(chunk), 1)) for name, known in network.parts.items()}
        for row, (name, group) in enumerate(chunk):
            known = network.parts[name].prior
            held[name][row] = 0.0
            held[name][row, group] = np.array([known[i] for i in group]) / sum(known[i] for i in group)
        found = posterior(network, likelihoods, priors=held)
        logs.append(found.log_evidence)
        for node, chance in found.words.items():
            words[node].append(chance)
    together = np.concatenate(logs)
    return {node: np.concatenate(chances) for node, chances in words.items()}, together - together.max()


def after(found: Pairs, node: str, said: Array) -> tuple[float, Array, float]:
    """Say what an answer about one function would do.

    Arguments:
        found: chances of parts and functions together.
        node: the function.
        said: how likely the answer is for each of its words, shape (words,).

    Returns:
        The chance of the answer; the chance of every row after it, shape (rows,); and the chance of the answer on a
        machine with nothing wrong.
    """
    likely = found.words[node] @ said
    first = found.rows[found.parts[0]]
    total = float(likely[first] @ found.state[first])
    return total, found.state * likely / total, float(said[found.if_sound[node]])
