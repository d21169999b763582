"""Evidence before and after repairs: what was noticed of what has not changed holds, what was renewed starts as new.

Each set of renewed parts makes a round. What was noticed in any round counts in full for the machine as it stood then,
and all rounds share what was not renewed (`diagnose.lives`; `decisions/0011`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.likelihoods import of_observations, together
from tapewright.diagnose.lives import Earlier, parts_above, with_past
from tapewright.diagnose.network import Network, PartStates
from tapewright.machine.parts import part_names
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError, Problem

Array = NDArray[np.float64]

NEW_PART_BAD: Final = 0.02
"""Chance that a part just renewed is bad all the same; trade judgement, from memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """Where things stand after the latest repair.

    Arguments:
        network: of the machine as it is now; its base rates hold what earlier rounds left of each part.
        observations: what still holds: those of this round, and of earlier ones what no repair has touched.
        likelihoods: what these observations say, node by node.
        renewed: parts renewed before it.
        since: observations of this round alone.
    """

    network: Network
    observations: tuple[Observation, ...]
    likelihoods: Mapping[str, Array]
    renewed: frozenset[str]
    since: tuple[Observation, ...]


def latest_round(network: Network, evidence: Evidence) -> Round:
    """Take all rounds of repair together, and give the machine as it is after the last.

    Raises:
        InputAtFaultError: for a renewed part that the machine does not have.
    """
    known = part_names(network.machine)
    wrong = sorted({name for o in evidence.signs for name in o.after if name not in known})
    if wrong:
        where = "evidence, signs[].after"
        raise InputAtFaultError([Problem(where, f"names {name!r}.", f"Parts: {', '.join(known)}.") for name in wrong])
    stood = _renewed_by_then(evidence.signs)
    renewed = frozenset[str]().union(*stood.values())
    above = parts_above(network.plan)
    holds, earlier = [], []
    for one in evidence.signs:
        old = renewed - stood[frozenset(one.after)]
        if old & above.get(network.signs[one.id].node, frozenset()):
            earlier.append(Earlier(old, of_observations(network, [one])))
        else:
            holds.append(one)
    new = {name: _new_part(network.parts[name]) for name in renewed if name in network.parts}
    since = tuple(one for one in evidence.signs if stood[frozenset(one.after)] == renewed)
    now = with_past(network, new, earlier)
    return Round(now, tuple(holds), of_observations(network, holds), renewed, since)


def _renewed_by_then(signs: Sequence[Observation]) -> dict[frozenset[str], frozenset[str]]:
    """Say for each set of parts named in `after` which parts had been renewed.

    Sets that hold each other are taken at their word, in whatever order they come. Where some do not, each was named
    for itself, in the order of the repairs.
    """
    sets = list(dict.fromkeys(frozenset(one.after) for one in signs))
    by_size = sorted(sets, key=len)
    if all(smaller <= larger for smaller, larger in pairwise(by_size)):
        return {one: one for one in sets}
    return {one: frozenset[str]().union(*sets[: i + 1]) for i, one in enumerate(sets)}


def _new_part(known: PartStates) -> PartStates:
    bad = len(known.states) - 1
    return replace(known, prior=(1.0 - NEW_PART_BAD, *[NEW_PART_BAD / bad] * bad))


def with_more(latest: Round, *likelihoods: Mapping[str, Array]) -> dict[str, Array]:
    """Add what readings and recordings say to what still holds of what was noticed."""
    return together(latest.likelihoods, *likelihoods)
