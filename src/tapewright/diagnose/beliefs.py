"""How likely each part is out of order, and how much of the evidence that explains.

Two different questions. A belt of forty years is out of order more likely than not, whatever the complaint:
`out_of_order`. Whether it has to do with the complaint is a counterfactual: how much less likely the evidence would be,
had this part been sound: `explains_complaint`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import contract
from tapewright.diagnose.network import Network
from tapewright.words.findings import Belief

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is believed once evidence is in.

    Arguments:
        states: for each part, the probability of each of its states, shape (batch, states).
        words: for each observed node, the probability of each of its words, shape (batch, words).
        log_evidence: log probability of the evidence, given what was noticed before repairs, shape (batch,).
        log_if_sound: the same on a machine with nothing wrong, shape (batch,).
    """

    states: Mapping[str, Array]
    words: Mapping[str, Array]
    log_evidence: Array
    log_if_sound: Array


def posterior(
    network: Network,
    likelihoods: Mapping[str, Array],
    *,
    priors: Mapping[str, Array] | None = None,
    with_words: bool = True,
) -> Posterior:
    """Work out every part's states and every observed node's words, exactly.

    Arguments:
        network: the machine's belief network.
        likelihoods: for each node, shape (words,) or (batch, words); by "part:NAME" for the states of a part itself,
            shape (states,) or (batch, states).
        priors: for some parts, their states' probabilities beforehand, shape (batch, states), instead of the network's.
        with_words: whether the nodes' words are wanted too.
    """
    beforehand = {name: network.prior(name) for name in network.parts} | dict(priors or {})
    beforehand = {name: prior * likelihoods.get(f"part:{name}", 1.0) for name, prior in beforehand.items()}
    earlier = {} if network.past is None else network.past.said
    said = {
        **earlier,
        **likelihoods,
        **{f"part:{name}": grouped(network, name, prior) for name, prior in beforehand.items()},
    }
    used = [name for name in network.parts if f"part:{name}" in network.plan.hosts]
    sums = contract(network.plan, said, [*(f"part:{name}" for name in used), *(network.observed if with_words else ())])
    batch = len(sums.log_total)
    unused = {name: np.atleast_2d(prior) for name, prior in beforehand.items() if name not in used}
    states = {name: np.tile(p / p.sum(axis=1, keepdims=True), (batch // len(p), 1)) for name, p in unused.items()}
    states |= {name: spread(network, name, sums.marginals[f"part:{name}"], beforehand[name]) for name in used}
    states = {name: states[name] for name in network.parts}
    words = {node: sums.marginals[node] for node in network.observed} if with_words else {}
    alone = sum((np.log(p.sum(axis=1)) for p in unused.values()), np.zeros(1))
    log_evidence = sums.log_total + alone - (0.0 if network.past is None else network.past.log_evidence)
    return Posterior(states, words, log_evidence, _log_if_sound(network, likelihoods, batch))


def grouped(network: Network, name: str, prior: Array) -> Array:
    """Sum the chances of a part's states over those that look alike, shape (..., groups)."""
    return np.asarray(prior @ _members(network.alike[name])[1])


def group_of(network: Network, name: str) -> NDArray[np.intp]:
    """Number the group of each of a part's states, shape (states,)."""
    return _members(network.alike[name])[0]


def spread(network: Network, name: str, chances: Array, prior: Array) -> Array:
    """Share the chance of a group out among its states: what looks alike keeps the proportions it had beforehand."""
    group, members = _members(network.alike[name])
    whole = prior @ members
    ratio = np.atleast_2d(chances / np.where(whole > 0, whole, 1.0))
    return np.asarray(ratio.take(group, 1) * prior)


@lru_cache(maxsize=1024)
def _members(alike: tuple[tuple[int, ...], ...]) -> tuple[NDArray[np.intp], Array]:
    """Number the group of each state, and mark its members, shape (states,) and (states, groups)."""
    group = np.empty(sum(map(len, alike)), dtype=np.intp)
    for number, states in enumerate(alike):
        group[list(states)] = number
    return group, (group[:, None] == np.arange(len(alike))).astype(float)


def _log_if_sound(network: Network, likelihoods: Mapping[str, Array], batch: int) -> Array:
    """On a machine with nothing wrong every word is known, so the evidence's probability is one product."""
    total = np.zeros(batch)
    for node, said in likelihoods.items():
        word = 0 if node.startswith("part:") else network.words[node].index(network.sound_words[node])
        total = total + np.log(np.maximum(np.atleast_2d(said)[:, word], 1e-300))
    return total


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Who explains the evidence.

    Arguments:
        parts: names, in the order of the axis.
        share: shape (batch, parts): sums to one with `none_of_these`.
        none_of_these: shape (batch,).
    """

    parts: tuple[str, ...]
    share: Array
    none_of_these: Array


def shares(network: Network, found: Posterior) -> Shares:
    """Share the evidence out among the parts that would, if sound, make it less likely.

    With S the state "sound", P(evidence | S) / P(evidence) = P(S | evidence) / P(S): one minus this ratio is the share
    of the evidence that goes away with the part mended, since the parts are independent causes. "None of these" gets
    what a machine with nothing wrong would give the evidence.
    """
    names = tuple(network.parts)
    prior = np.array([network.parts[name].prior[0] for name in names])
    now = np.stack([found.states[name][:, 0] for name in names], axis=1)
    gone = np.clip(1.0 - now / prior, 0.0, 1.0)
    none = np.exp(np.minimum(found.log_if_sound - found.log_evidence, 0.0))
    total = gone.sum(axis=1) + none
    total = np.where(total > 0, total, 1.0)
    return Shares(names, gone / total[:, None], np.where(total > 0, none / total, 1.0))


def ranked(network: Network, found: Posterior) -> tuple[list[Belief], float]:
    """List the beliefs, the best explanation first; and the share of "none of these"."""
    shared = shares(network, found)
    beliefs = [_belief(network, found, name, float(shared.share[0, i])) for i, name in enumerate(shared.parts)]
    beliefs.sort(key=lambda belief: (-round(belief.explains_complaint, 6), -belief.out_of_order))
    return beliefs, float(shared.none_of_these[0])


def _belief(network: Network, found: Posterior, name: str, share: float) -> Belief:
    known = network.parts[name]
    now = found.states[name][0]
    kinds: dict[str, float] = {}
    risen: dict[str, float] = {}
    ratio = now[0] / known.prior[0]
    for (kind, _), before, after in zip(known.states[1:], known.prior[1:], now[1:], strict=True):
        kinds[kind] = kinds.get(kind, 0.0) + float(after)
        risen[kind] = risen.get(kind, 0.0) + float(after - before * ratio)
    leading = max(risen, key=lambda kind: (round(risen[kind], 9), kinds[kind]))
    listed = tuple(sorted(kinds.items(), key=lambda pair: -pair[1]))
    return Belief(name, leading, float(1.0 - now[0]), share, 1.0 - known.prior[0], listed)
