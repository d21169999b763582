"""Smallest sets of evidence that cannot well hold together.

The measure is the conflict of F. V. Jensen and others (1990, from memory): the logarithm of the product of the single
probabilities over the joint one. Evidence with a common cause gives a negative value; evidence that no state of the
machine brings together gives a large positive one.
"""

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network
from tapewright.words.evidence import Observation
from tapewright.words.findings import Clash

CLASHES_FROM: Final = math.log(12.0)
"""A set counts as a clash when it is twelve times less likely together than its members are apart."""
MOST_LOOKED_AT: Final = 24


def clashes(network: Network, observations: Sequence[Observation]) -> list[Clash]:
    """List the smallest sets, of two or three observations, that cannot well hold together.

    Arguments:
        network: the machine's belief network.
        observations: the evidence; answers of "cannot tell" are passed over.
    """
    told = [o for o in observations if o.present is not None and network.signs[o.id].node in network.words]
    told = told[-MOST_LOOKED_AT:]
    single = _log_chances(network, [(o,) for o in told])
    found: list[Clash] = []
    in_clash: list[frozenset[int]] = []
    for size in (2, 3):
        sets = [c for c in combinations(range(len(told)), size) if not any(one <= set(c) for one in in_clash)]
        joint = _log_chances(network, [tuple(told[i] for i in members) for members in sets])
        for members, log_joint in zip(sets, joint, strict=True):
            if sum(single[i] for i in members) - log_joint > CLASHES_FROM:
                in_clash.append(frozenset(members))
                found.append(_clash(network, [told[i] for i in members]))
    return found


def _log_chances(network: Network, sets: Sequence[Sequence[Observation]]) -> list[float]:
    """Give the log probability of each set, all in one batch."""
    if not sets:
        return []
    said = [of_observations(network, members) for members in sets]
    nodes = {node for one in said for node in one}
    batch = {node: np.stack([one.get(node, np.ones(len(network.words[node]))) for one in said]) for node in nodes}
    return [float(value) for value in posterior(network, batch, with_words=False).log_evidence]


def _clash(network: Network, members: Sequence[Observation]) -> Clash:
    verdict = {True: "was noticed", False: "was looked for and not there"}
    joined = "; ".join(f"“{network.signs[o.id].says}” {verdict[bool(o.present)]}" for o in members)
    return Clash(tuple(o.id for o in members), f"These cannot well hold together: {joined}. Look again at one.")
