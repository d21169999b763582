"""The part of a network that some of its functions hang on, with no more told apart than is asked.

Functions that nobody asks of and that nothing asked of hangs on sum to one: they are left out. Words that what is asked
does not tell apart are one word, all the way back to the parts.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Plan, plan_of
from tapewright.diagnose.merging import merge_alike
from tapewright.diagnose.network import Network, sizes_of, states_alike, with_groups
from tapewright.diagnose.relations import relation_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pruned:
    """A network that answers a few questions only.

    Arguments:
        plan: how to sum it.
        words: for each function that is left, the places in the whole network of the words that are.
        priors: what enters at the parts, as the machine is now, without a past.
    """

    plan: Plan
    words: Mapping[str, Sequence[int]]
    priors: Mapping[str, Array]


def pruned(network: Network, apart: Mapping[str, Sequence[tuple[float | str, ...]]]) -> Pruned | None:
    """Leave out whatever does not matter; None when nothing is left.

    Arguments:
        network: the machine's belief network.
        apart: for each function that is asked about, what tells its words apart, one by one.
    """
    needed = set(apart)
    kept = []
    for factor in reversed(network.factors):  # what hangs on others comes after them
        if factor.variables[-1] in needed:
            needed.update(factor.variables)
            kept.append(factor)
    words = {factor.variables[-1]: network.words[factor.variables[-1]] for factor in kept}
    marks = {node: dict(zip(network.words[node], told, strict=True)) for node, told in apart.items()}
    merged = merge_alike(kept, words, marks)
    if not merged.factors:
        return None
    alike = {name: states_alike(merged.factors, name, len(known.states)) for name, known in network.parts.items()}
    inputs = [relation_of(factor.variables, factor.table) for factor in with_groups(merged.factors, alike)]
    plan = plan_of(inputs, sizes_of(merged.words, alike), [network.plan.order])
    places = {node: [network.words[node].index(word) for word in left] for node, left in merged.words.items()}
    priors = {
        f"part:{name}": np.array([network.prior(name)[list(group)].sum() for group in groups])
        for name, groups in alike.items()
    }
    return Pruned(plan, places, priors)
