"""What every part has to do with every function: the chance of each word, given each state of each part.

A hypothetical answer speaks to one function; what it would do to every belief follows from these chances alone. So they
are worked out once, for every state of every part (states that look alike to the rest of the machine together), and
all candidate checks are weighed from the result.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import grouped
from tapewright.diagnose.crossing import together
from tapewright.diagnose.network import Network

Array = NDArray[np.float64]


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
    own = {name: network.prior(name) * likelihoods.get(f"part:{name}", 1.0) for name in network.parts}
    prior = {f"part:{name}": grouped(network, name, one) for name, one in own.items()}
    held = [name for name in prior if name in network.plan.hosts]
    earlier = {} if network.past is None else network.past.said
    chances, words = together(network.plan, {**earlier, **likelihoods, **prior}, held, network.observed)
    firsts = dict(zip(held, np.cumsum([0, *(len(chances[name]) for name in held)]), strict=False))
    rows, state, index, start = {}, [], [], 0
    for name, known in network.parts.items():
        rows[name] = slice(start, start + len(known.states))
        start += len(known.states)
        variable = f"part:{name}"
        place, chance = np.zeros(len(known.states), dtype=np.intp), own[name] / own[name].sum()
        for i, group in enumerate(network.alike[name]):
            place[list(group)] = firsts.get(variable, 0) + i
            if variable in chances:
                # States that look alike share what the evidence says of them in proportion to their base rates.
                chance[list(group)] = own[name][list(group)] * chances[variable][i] / max(prior[variable][i], 1e-300)
        index.append(place)
        state.append(chance)
    order = np.concatenate(index)
    sound = {node: network.words[node].index(network.sound_words[node]) for node in network.observed}
    return Pairs(tuple(network.parts), rows, np.concatenate(state), {n: w[order] for n, w in words.items()}, sound)


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
