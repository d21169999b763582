"""Smallest sets of evidence that cannot hold together.

Every answer is taken at its word: a sign that was noticed leaves only those words of its node that could have shown it,
one that was looked for in vain only those that could have hidden it. A set clashes when no state of the machine, with
any number of faults, is left. The search asks for the smallest such sets only.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import contract, largest_table
from tapewright.diagnose.network import Network
from tapewright.diagnose.pruning import pruned
from tapewright.faults.signs import Sign
from tapewright.words.evidence import Observation
from tapewright.words.findings import Clash

SEEN_FROM: Final = 0.3
MISSED_TO: Final = 0.7
"""A word that shows a sign in fewer than three cases of ten does not explain that it was noticed; one that shows it in
more than seven does not explain that it was missed. What lies between is at peace with both."""
MOST_LOOKED_AT: Final = 24
LARGEST_SET: Final = 3
_IMPOSSIBLE: Final = -60.0
AT_ONCE: Final = 600_000
"""Numbers in the largest table of the sets that are summed at once: about what a processor's cache holds."""


def clashes(network: Network, observations: Sequence[Observation]) -> list[Clash]:
    """List the smallest sets, of up to three observations, that cannot hold together.

    A set of one is a sign that nothing in this description can bring about.

    Arguments:
        network: the machine's belief network.
        observations: the evidence; answers of "cannot tell" and of little certainty are passed over.
    """
    told = [o for o in observations if o.present is not None and o.sure >= 0.5][-MOST_LOOKED_AT:]
    if not told or not _impossible(network, [told])[0]:
        return []

    def clash(sets: Sequence[tuple[int, ...]]) -> list[bool]:
        return _impossible(network, [[told[i] for i in members] for members in sets])

    found = smallest_sets(len(told), LARGEST_SET, clash)
    return [_clash(network, [told[i] for i in members]) for members in found]


def smallest_sets(
    count: int, largest: int, holds: Callable[[Sequence[tuple[int, ...]]], Sequence[bool]]
) -> list[tuple[int, ...]]:
    """List the smallest sets for which something holds that holds for every larger set too once it holds for one.

    A clash is such a thing: more evidence does not mend it.

    Arguments:
        count: the sets are of numbers from 0 to one less.
        largest: size of the largest sets that are looked at.
        holds: tells for each of several sets whether it holds.

    >>> smallest_sets(4, 3, lambda sets: [3 in one or {0, 2} <= set(one) for one in sets])
    [(3,), (0, 2)]
    """
    found: list[tuple[int, ...]] = []
    for size in range(1, largest + 1):
        sets = [c for c in combinations(range(count), size) if not any(set(one) <= set(c) for one in found)]
        found += [members for members, verdict in zip(sets, holds(sets), strict=True) if verdict]
    return found


def _impossible(network: Network, sets: Sequence[Sequence[Observation]]) -> list[bool]:
    """Tell for each set whether no state of the machine is left, all in one batch."""
    verdicts = [any(not _allowed(network, o).any() for o in members) for members in sets]
    told = {o for members in sets for o in members if network.signs[o.id].node in network.words}
    asked = pruned(network, _told_apart(network, told))
    if not sets or asked is None:
        return verdicts
    logs: list[float] = []
    at_once = max(1, AT_ONCE // largest_table(asked.plan))
    for start in range(0, len(sets), at_once):
        some = sets[start : start + at_once]
        batch = {node: np.ones((len(some), len(places))) for node, places in asked.words.items()}
        for row, members in enumerate(some):
            for observation in members:
                node = network.signs[observation.id].node
                if node in batch:
                    batch[node][row] *= _allowed(network, observation)[list(asked.words[node])]
        logs += [
            float(log) for log in np.broadcast_to(contract(asked.plan, {**asked.priors, **batch}).log_total, len(some))
        ]
    return [verdict or log < _IMPOSSIBLE for verdict, log in zip(verdicts, logs, strict=True)]


def _told_apart(network: Network, told: Iterable[Observation]) -> dict[str, list[tuple[float, ...]]]:
    """Say of each word of a node which of the answers it is at peace with."""
    apart: dict[str, list[tuple[float, ...]]] = {}
    for observation in sorted(told, key=lambda o: o.id):
        node = network.signs[observation.id].node
        known = apart.setdefault(node, [()] * len(network.words[node]))
        allowed = _allowed(network, observation)
        apart[node] = [(*marks, float(one)) for marks, one in zip(known, allowed, strict=True)]
    return apart


def _allowed(network: Network, observation: Observation) -> NDArray[np.float64]:
    """Mark the words of a sign's node that are at peace with an answer; a node that cannot vary has one word."""
    sign: Sign = network.signs[observation.id]
    words = network.words.get(sign.node, (network.sound_words[sign.node],))
    chances = np.array([sign.chance(word) for word in words])
    return (chances >= SEEN_FROM if observation.present else chances <= MISSED_TO).astype(float)


def _clash(network: Network, members: Sequence[Observation]) -> Clash:
    verdict = {True: "was noticed", False: "was looked for and not there"}
    said = [f"“{network.signs[o.id].says}” {verdict[bool(o.present)]}" for o in members]
    if len(members) == 1:
        text = f"{said[0]}: nothing that this description holds brings that about. Look again, or mend the description."
    else:
        text = f"These cannot hold together: {'; '.join(said)}. Look again at one of them."
    return Clash(tuple(o.id for o in members), text)
