"""A machine with parts renewed, and the same machine as it was: one network for both.

What was not renewed is shared; a renewed part has two lives with nothing in common. A function that hangs on a renewed
part is there twice, as it works now and as it did before, as far as something was noticed of it then; all other
functions are one and the same, whenever they were noticed. So nothing is forgotten between one repair and the next:
that two suspects excluded each other goes on counting.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import grouped, spread
from tapewright.diagnose.contraction import Factor, Plan, contract, plan_of
from tapewright.diagnose.merging import merge_alike
from tapewright.diagnose.network import Network, PartStates, Past
from tapewright.diagnose.relations import Places, relation_of

Array = NDArray[np.float64]
Was = tuple[str, frozenset[str]]
"""A variable, and the renewed parts that were still the old ones when it took its value."""


@dataclass(frozen=True, slots=True, eq=False)
class Earlier:
    """What was noticed at one time in the past.

    Arguments:
        old: parts that have been renewed since.
        said: how likely it is for each word, node by node, shape (words,).
    """

    old: frozenset[str]
    said: Mapping[str, Array]


def with_past(network: Network, renewed: Mapping[str, PartStates], earlier: Sequence[Earlier]) -> Network:
    """Give the network of a machine as it is now, with what was noticed before its repairs.

    Its `parts` say what is left of each by what was noticed then of functions that have changed since: the base rates
    of what is noticed now.

    Arguments:
        network: the machine's, with the base rates of its parts before any repair.
        renewed: the renewed parts, with the chances of a new one.
        earlier: what was noticed at each time before; what it says of functions that have not changed is passed over.
    """
    above = parts_above(network.plan)
    was: dict[Was, Array] = {}
    for one in earlier:
        for node, chance in one.said.items():
            own = (node, one.old & above[node])
            if own[1]:
                was[own] = was.get(own, np.ones(len(chance))) * chance
    now = {**network.parts, **renewed}
    priors = {name: known.prior for name, known in now.items()}
    if not was:
        return replace(network, parts=now)
    both = _both(network.plan, frozenset((own, _told_apart(chance)) for own, chance in was.items()))
    said: dict[str, Array] = {}
    for own, chance in was.items():
        if _name(own) in both.stands:
            said[_name(own)] = chance[both.stands[_name(own)]]
    for name in renewed:
        before, chances = f"part:{name} before {name}", grouped(network, name, np.array(network.parts[name].prior))
        if before in both.falls:
            said[before] = np.asarray(np.bincount(both.falls[before], chances), dtype=float)
    old = {name: (np.array(network.parts[name].prior), np.array(network.parts[name].prior)) for name in renewed}
    past = Past(priors, said, 0.0, old, _stood(earlier))
    found = _believing(replace(network, parts=now, plan=both.plan), past, both)
    # What was noticed then may be impossible by what is known of the parts: it says nothing of them.
    return found or replace(network, parts=now)


def _stood(earlier: Sequence[Earlier]) -> tuple[tuple[frozenset[str], Mapping[str, Array]], ...]:
    """Put together what was noticed while the same parts were the old ones."""
    stood: dict[frozenset[str], dict[str, Array]] = {}
    for one in earlier:
        known = stood.setdefault(one.old, {})
        for node, chance in one.said.items():
            known[node] = known.get(node, np.ones(len(chance))) * chance
    return tuple(stood.items())


def _told_apart(chance: Array) -> tuple[int, ...]:
    """Number what was said of each word, equal numbers for equal chances."""
    return tuple(int(number) for number in np.unique(chance, return_inverse=True)[1])


def _believing(network: Network, past: Past, both: "_Both") -> Network | None:
    """Let the parts say what the past leaves of them; None where it cannot have been."""
    beforehand = {f"part:{name}": grouped(network, name, np.array(prior)) for name, prior in past.priors.items()}
    used = [name for name in network.parts if f"part:{name}" in network.plan.hosts]
    gone = {name: f"part:{name} before {name}" for name in past.old if f"part:{name} before {name}" in both.falls}
    sums = contract(network.plan, {**past.said, **beforehand}, [*(f"part:{name}" for name in used), *gone.values()])
    if not np.isfinite(sums.log_total[0]):
        return None
    parts = dict(network.parts)
    for name in used:
        states = spread(network, name, sums.marginals[f"part:{name}"], np.array(past.priors[name]))[0]
        parts[name] = replace(parts[name], prior=tuple(float(chance) for chance in states))
    old = dict(past.old)
    for name, before in gone.items():
        prior, falls = past.old[name][0], both.falls[before]
        share = sums.marginals[before][0] / np.maximum(past.said[before], 1e-300)
        groups = grouped(network, name, prior) * share[falls]
        old[name] = prior, spread(network, name, groups, prior)[0]
    return replace(network, parts=parts, past=replace(past, log_evidence=float(sums.log_total[0]), old=old))


def parts_above(plan: Plan) -> dict[str, frozenset[str]]:
    """Name the parts that each function of a machine's network hangs on."""
    above = {name: frozenset({name.removeprefix("part:")}) for name in plan.sizes if name.startswith("part:")}
    waiting = [leaf.variables for leaf in plan.leaves]
    while waiting:
        ready = [(*parents, name) for *parents, name in waiting if all(parent in above for parent in parents)]
        if not ready:
            raise ValueError("functions that hang on each other in a ring")
        above |= {name: frozenset[str]().union(*(above[parent] for parent in parents)) for *parents, name in ready}
        waiting = [names for names in waiting if names[-1] not in above]
    return above


def _name(was: Was) -> str:
    """Name a variable as it was; "part:belt" before the belt was renewed is "part:belt before belt"."""
    return f"{was[0]} before {' '.join(sorted(was[1]))}" if was[1] else was[0]


@dataclass(frozen=True, slots=True, eq=False)
class _Both:
    """A machine as it is and as it was.

    Arguments:
        plan: how to sum both together.
        stands: for each variable as it was, the values that are left once those that nothing told apart are one.
        falls: for each variable as it was, which of those each of its values falls to.
    """

    plan: Plan
    stands: Mapping[str, Places]
    falls: Mapping[str, Places]


@lru_cache(maxsize=16)  # one job asks many things of the same past in a row
def _both(plan: Plan, wanted: frozenset[tuple[Was, tuple[int, ...]]]) -> _Both:
    """Lay down how to sum a network together with functions as they were, and whatever these hang on."""
    copies, variables = _as_it_was(plan, [was for was, _ in wanted])
    words = {_name(was): tuple(str(value) for value in range(plan.sizes[was[0]])) for was in variables}
    apart = {_name(was): {str(value): (float(one),) for value, one in enumerate(told)} for was, told in wanted}
    merged = merge_alike(copies, words, apart)
    falls = {}
    for name, values in words.items():
        if name in merged.words:
            place = {value: number for number, value in enumerate(merged.words[name])}
            falls[name] = np.array([place[merged.stands_for.get((name, value), value)] for value in values])
    stands = {name: np.array([int(value) for value in merged.words[name]]) for name in falls}
    inputs = [*zip(plan.leaves, plan.weights, strict=True)]
    inputs += [relation_of(factor.variables, factor.table) for factor in merged.factors]
    sizes = {**plan.sizes, **{name: len(values) for name, values in merged.words.items()}}
    then = {name: [_name(was) for was in variables if was[0] == name] for name in plan.order}
    orders = [
        [each for name in plan.order for each in (*then[name], name)],
        [each for name in plan.order for each in (name, *then[name])],
    ]
    return _Both(plan_of(inputs, sizes, orders), stands, falls)


def _as_it_was(plan: Plan, wanted: Sequence[Was]) -> tuple[list[Factor], list[Was]]:
    """Copy functions as they were, with all that they hang on and that has changed; give what hangs on others first."""
    own = {leaf.variables[-1]: number for number, leaf in enumerate(plan.leaves)}
    above = parts_above(plan)
    copies, found, waiting = [], dict[Was, int](), sorted(wanted, key=_name)
    while waiting:
        was = waiting.pop()
        if was in found:
            continue
        found[was] = len(found)
        if was[0] in own:  # and not a part
            leaf, weights = plan.leaves[own[was[0]]], plan.weights[own[was[0]]]
            parents = [(name, was[1] & above[name]) for name in leaf.variables[:-1]]
            table = np.zeros(tuple(plan.sizes[name] for name in leaf.variables))
            table[tuple(leaf.values)] = weights
            copies.append(Factor((*(_name(parent) for parent in parents), _name(was)), table))
            waiting += [parent for parent in parents if parent[1]]
    depth = {name: number for number, name in enumerate(above)}
    return copies, sorted(found, key=lambda was: (-depth[was[0]], _name(was)))
