"""Evidence before and after repairs: what was believed goes on, what was renewed starts sound.

Each set of renewed parts makes a round. What one round leaves of each part is what the next begins with; the parts
renewed in between begin as new ones. The parts are taken one by one for that: what links them within a round is not
carried over, which is an approximation (`decisions/0011`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, posterior
from tapewright.diagnose.likelihoods import of_observations, together
from tapewright.diagnose.network import Network
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
        network: with what was left of earlier rounds as its base rates.
        observations: of this round.
        likelihoods: what this round's observations say, node by node.
        renewed: parts renewed before it.
    """

    network: Network
    observations: tuple[Observation, ...]
    likelihoods: Mapping[str, Array]
    renewed: frozenset[str]


def latest_round(network: Network, evidence: Evidence) -> Round:
    """Go through the rounds of repair and give the last.

    Raises:
        InputAtFaultError: for a renewed part that the machine does not have.
    """
    known = part_names(network.machine)
    wrong = sorted({name for o in evidence.signs for name in o.after if name not in known})
    if wrong:
        where = "evidence, signs[].after"
        raise InputAtFaultError([Problem(where, f"names {name!r}.", f"Parts: {', '.join(known)}.") for name in wrong])
    sets = list(dict.fromkeys(frozenset(o.after) for o in evidence.signs)) or [frozenset()]
    for i, renewed in enumerate(sets):
        now = [o for o in evidence.signs if frozenset(o.after) == renewed]
        said = of_observations(network, now)
        if i == len(sets) - 1:
            return Round(network, tuple(now), said, renewed)
        network = _carried_over(network, posterior(network, said), sets[i + 1] - renewed)
    raise AssertionError("there is always a last round")


def _carried_over(network: Network, found: Posterior, renewed: frozenset[str]) -> Network:
    parts = {}
    for name, known in network.parts.items():
        states = [float(p) for p in found.states[name][0]]
        parts[name] = replace(known, prior=tuple(_new_part(states) if name in renewed else states))
    return replace(network, parts=parts)


def _new_part(states: Sequence[float]) -> list[float]:
    return [1.0 - NEW_PART_BAD, *[NEW_PART_BAD / (len(states) - 1)] * (len(states) - 1)]


def with_more(latest: Round, *likelihoods: Mapping[str, Array]) -> dict[str, Array]:
    """Add what readings and recordings say to what was noticed in the latest round."""
    return together(latest.likelihoods, *likelihoods)
