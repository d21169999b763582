"""What every part has to do with every function: the chance of each word, as things stand and had the part been sound.

A hypothetical answer speaks to one function; what it would do to the belief in every part follows from these chances
alone. So they are worked out once, with each part held sound in turn (and with it what looks alike to the rest of the
machine), and all candidate checks are weighed from the result.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, group_of, grouped, posterior
from tapewright.diagnose.crossing import together
from tapewright.diagnose.network import Network

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Chances of all parts and all observed functions together.

    Arguments:
        parts: names.
        sound: chance that each part is sound given the evidence, shape (parts,).
        places: for each function, where its words are among those of all.
        chances: of the words of all functions given the evidence, one function after the other, shape (words of all,).
        had_it_been: the same had each part been sound, shape (words of all, parts).
        if_sound: for each function, the place of its word on a machine with nothing wrong.
    """

    parts: tuple[str, ...]
    sound: Array
    places: Mapping[str, slice]
    chances: Array
    had_it_been: Array
    if_sound: Mapping[str, int]


def pairs(
    network: Network,
    likelihoods: Mapping[str, Array],
    now: Posterior | None = None,
    nodes: Sequence[str] | None = None,
) -> Pairs:
    """Work out the chances of all parts and functions together, exactly.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence so far says, node by node, shape (words,).
        now: what is believed by these likelihoods, where that is worked out already.
        nodes: the functions that are wanted; None for all that are observed. The way to them is laid down anew for
            others than before.
    """
    now = posterior(network, likelihoods, with_words=False) if now is None else now
    nodes = network.observed if nodes is None else nodes
    prior = {name: network.prior(name) * likelihoods.get(f"part:{name}", 1.0) for name in network.parts}
    entering = {f"part:{name}": grouped(network, name, one) for name, one in prior.items()}
    earlier = {} if network.past is None else network.past.said
    held = {}
    for name in network.parts:
        if f"part:{name}" in network.plan.hosts:
            alike = np.arange(len(network.alike[name])) == group_of(network, name)[0]
            held[f"part:{name}"] = alike, float(grouped(network, name, now.states[name][0]) @ alike)
    chances, crossed = together(network.plan, {**earlier, **likelihoods, **entering}, held, nodes)
    # A part that the functions do not hang on changes nothing.
    rows = {name: crossed[:, i] for i, name in enumerate(held)}
    had_it_been = np.stack([rows.get(f"part:{name}", chances) for name in network.parts], axis=1)
    ends = np.cumsum([len(network.words[node]) for node in nodes])
    places = {n: slice(int(end) - len(network.words[n]), int(end)) for n, end in zip(nodes, ends, strict=True)}
    sound = np.array([now.states[name][0, 0] for name in network.parts])
    if_sound = {node: network.words[node].index(network.sound_words[node]) for node in nodes}
    return Pairs(tuple(network.parts), sound, places, chances, had_it_been, if_sound)


def after(found: Pairs, speaks: Any) -> tuple[Array, Array]:
    """Say what answers would do, many at once.

    Arguments:
        found: chances of parts and functions together.
        speaks: how likely each answer is for each word, 0 for those of functions it is not about, shape (answers,
            words of all), an array or a sparse one.

    Returns:
        The chance of each answer, shape (answers,); and that each part is sound after it, shape (answers, parts).
    """
    likely = np.maximum(speaks @ found.chances, 1e-300)
    return likely, np.asarray(found.sound * (speaks @ found.had_it_been) / likely[:, None])
