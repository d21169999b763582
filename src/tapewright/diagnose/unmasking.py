"""What may show once the present fault is mended, because that fault hides it: "one fix may uncover another"."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.cases import Stage, Workings, drawn_cases, mended, words_of, workings
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.network import Network
from tapewright.faults.signs import Sign

Array = NDArray[np.float64]
Codes = NDArray[np.intp]

LIKELY_FROM: Final = 0.2
"""A sign less likely than this after a repair is not spoken of."""
RISES_BY: Final = 0.1
"""Nor one that the repair makes hardly likelier."""
MOST_SHOWN: Final = 3


def unmasked(
    network: Network, likelihoods: Mapping[str, Array], steps: Sequence[tuple[str, tuple[str, ...]]]
) -> list[tuple[str, ...]]:
    """Say after each repair what may then be noticed that was hidden before it.

    Machines that fit the evidence are drawn, each is mended step by step, the rest of it left as it is, and what it
    would then show is set against what it showed before.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence says, node by node, shape (words,).
        steps: part, and the kinds of fault that are put right, in the order of work.

    Returns:
        For each step, sentences, the likeliest first.
    """
    inner = workings(network)
    found = posterior(network, likelihoods, with_words=False)
    cases = drawn_cases(inner, [Stage(frozenset(), likelihoods)], {}, [found.states[name][0] for name in inner.parts])
    if cases is None:
        return [() for _ in steps]
    outside = [sign for sign in network.signs.values() if _from_outside(network, sign)]
    done: set[int] = set()
    before = _shown(inner, cases.now, cases.weights, outside)
    said: list[tuple[str, ...]] = []
    for part, kinds in steps:
        done |= {i for i, work in enumerate(inner.works) if work.part == part and set(work.kinds) & set(kinds)}
        after = _shown(inner, mended(inner, cases.states, done), cases.weights, outside)
        said.append(_risen(outside, before, after))
        before = np.maximum(before, after)
    return said


def _from_outside(network: Network, sign: Sign) -> bool:
    """Whether a sign is noticed in a mode with the case shut, and is none of a working machine."""
    if sign.opens_case or sign.mode == "off" or sign.node not in network.words:
        return False
    return sign.chance(network.sound_words[sign.node]) < 0.5


def _shown(inner: Workings, states: Codes, weights: Array, signs: Sequence[Sign]) -> Array:
    words = words_of(inner, states, {sign.node for sign in signs})
    network = inner.network
    chances = [weights @ of_answer(s, network.words[s.node], present=True)[words[s.node]] for s in signs]
    return np.array(chances)


def _risen(signs: Sequence[Sign], before: Array, after: Array) -> tuple[str, ...]:
    """Name the signs that a repair makes likelier, the one that tells most of each function."""
    found: dict[str, str] = {}
    for i in np.argsort(before - after, kind="stable"):
        if after[i] >= LIKELY_FROM and after[i] - before[i] >= RISES_BY:
            found.setdefault(signs[i].node, signs[i].says)
    return tuple(found.values())[:MOST_SHOWN]
