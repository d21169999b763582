"""Evidence that a description does not explain: said, so that nobody trusts beliefs that rest on nothing.

Three questions are put. Does anything described bring a measured value about? Is one answer or value far less likely
than it would be by itself, given all the others? Is all the evidence together far less likely than if it had nothing to
do with the machine? On machines that are as described, the second question finds something in at most `FALSE_ALARMS` of
cases: an answer whose chance is p comes about with the chance p. The third is a bet at fair odds against the
description, and so wins a hundredfold in at most one case of a hundred (Ville's inequality; V. Vovk and R. Wang,
"E-values: calibration, combination and applications", Ann. Statist. 49(3), 2021).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tapewright.diagnose.beliefs import Posterior, posterior
from tapewright.diagnose.combinations import Combinations
from tapewright.diagnose.expectation import Expected
from tapewright.diagnose.likelihoods import counted, of_answer, spoken_by, states_of, together
from tapewright.diagnose.network import Network
from tapewright.diagnose.projection import meter_of
from tapewright.words.evidence import Observation
from tapewright.words.findings import Clash
from tapewright.words.reading import Reading

Array = NDArray[np.float64]

FALSE_ALARMS: Final = 0.02
"""How often one answer among all may be called unexplained on a machine that is as described."""
BY_ITSELF: Final = 0.2
"""It must also be this much less likely than by itself: what brought the machine in is rare in any case."""
FAR_OUT: Final = 4.0
"""Standard deviations from everything that is described."""
ODDS: Final = 100.0
"""What a bet against the description must have won."""
FEWEST_FOR_A_BET: Final = 3
RANGE_OF_A_READING: Final = 100.0
"""A reading that has nothing to do with the machine lies anywhere within a factor of a hundred; trade judgement."""
MOST_SAID: Final = math.log(1e6)
"""Odds beyond this are said as more than a million: nothing that is put in is known so well."""
LEAST_SURE: Final = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class _Item:
    """One answer or one reading.

    Arguments:
        id: the sign's or the reading's.
        says: what it is, as a clause.
        likelihoods: what it says, by function or part.
        at_odds: log of its chance if it had nothing to do with the machine.
        reading: the reading with its states; None for an answer.
    """

    id: str
    says: str
    likelihoods: Mapping[str, Array]
    at_odds: float
    reading: tuple[Expected, Combinations, Reading] | None = None


def unexplained(
    network: Network, readings: Mapping[str, Reading], observations: Sequence[Observation]
) -> tuple[Clash, ...]:
    """Name the evidence that points to something the description does not hold.

    Arguments:
        network: the machine's belief network.
        readings: by name.
        observations: of one round of repair.

    Returns:
        One entry for each such answer or reading, or one for all of them together; the ids, and a sentence.

    >>> from tapewright.diagnose.network import network
    >>> from tapewright.machine.library import shipped
    >>> net = network(shipped("four_track"))
    >>> unexplained(net, {"supply_voltage_v": Reading(12.2, "V", 0.1)}, ())
    ()
    >>> unexplained(net, {"supply_voltage_v": Reading(31.0, "V", 0.5)}, ())[0].signs
    ('supply_voltage_v',)
    """
    items = [*_readings(network, readings), *_answers(network, observations)]
    far = [one for one in items if one.reading is not None and _far_out(*one.reading)]
    found = [_outside(one) for one in far]
    items = [one for one in items if one not in far]
    if len(items) < 2:
        return tuple(found)
    kept = _with_and_without(network, items)
    found += [_odd_one(one, chance) for one, chance in _odd_ones(network, items, kept)]
    if not found and len(items) >= FEWEST_FOR_A_BET:
        won = sum(one.at_odds for one in items) - float(kept.log_evidence[-1])
        if won > math.log(ODDS):
            found.append(_all_of_it(items, won))
    return tuple(found)


# --- what there is ----------------------------------------------------------------------------------------------------


def _readings(network: Network, readings: Mapping[str, Reading]) -> list[_Item]:
    found = []
    for name, reading in counted(readings).items():
        known = states_of(network, name) if reading.value is not None else None
        if known is None or reading.value is None:
            continue
        scale = 20.0 * known[0].spread
        if known[0].composed != "sum":
            scale = max(abs(reading.value), known[0].least) * math.log(RANGE_OF_A_READING)
        says = f"the reading {name} of {reading.value:g} {reading.unit}"
        found.append(_Item(name, says, spoken_by(network, name, reading), -math.log(scale), (*known, reading)))
    return found


def _answers(network: Network, observations: Sequence[Observation]) -> list[_Item]:
    found = []
    for one in observations:
        sign = network.signs.get(one.id)
        if sign is None or one.present is None or one.sure < LEAST_SURE or sign.node not in network.words:
            continue
        said = of_answer(sign, network.words[sign.node], present=one.present, sure=one.sure)
        verdict = "was noticed" if one.present else "was looked for and not there"
        found.append(_Item(one.id, f"that “{sign.says}” {verdict}", {sign.node: said}, math.log(0.5)))
    return found


# --- outside everything -----------------------------------------------------------------------------------------------


def _far_out(what: Expected, found: Combinations, reading: Reading) -> bool:
    assert reading.value is not None
    return float(np.min(np.abs(_apart(what, found, reading)), initial=math.inf)) > FAR_OUT


def _apart(what: Expected, found: Combinations, reading: Reading) -> Array:
    """Give how many standard deviations a reading lies above what each state that has one brings about."""
    assert reading.value is not None
    true = found.values[np.isfinite(found.values)]
    meter = meter_of(what, reading.doubt)
    if what.composed == "sum":
        scatter = found.scatter[np.isfinite(found.values)]
        return np.asarray((reading.value - true) / np.sqrt(what.spread**2 + meter**2 + scatter))
    spread = np.hypot(meter, what.spread * np.maximum(true, 0.0))
    above = np.maximum(reading.value, 1e-12) / np.maximum(true, 1e-12)
    # By the logarithm where machines alike scatter more than the meter does, else by the difference.
    by_log = np.log(above) / np.hypot(what.spread, meter / max(abs(reading.value), 1e-12))
    return np.where(true > 0, by_log, (reading.value - true) / np.maximum(spread, 1e-12))


def _outside(one: _Item) -> Clash:
    assert one.reading is not None
    found = one.reading[1]
    true = found.values[np.isfinite(found.values)]
    text = (
        f"Nothing that this description holds brings about {one.says}: it can explain {true.min():.3g} to "
        f"{true.max():.3g}. Measure again, mind the unit, or mend the description."
    )
    return Clash((one.id,), text)


# --- one against the others -------------------------------------------------------------------------------------------


def _with_and_without(network: Network, items: Sequence[_Item]) -> Posterior:
    """Sum the network, all in one batch: without each item, with each alone, with all of them."""
    n = len(items)
    rows = [[j for j in range(n) if j != i] for i in range(n)] + [[i] for i in range(n)] + [list(range(n))]
    said = [together(*(items[i].likelihoods for i in row)) for row in rows]
    places = dict.fromkeys(place for one in items for place in one.likelihoods)
    batch = {}
    for place in places:
        size = next(len(one.likelihoods[place]) for one in items if place in one.likelihoods)
        batch[place] = np.stack([one.get(place, np.ones(size)) for one in said])
    return posterior(network, batch)


def _odd_ones(network: Network, items: Sequence[_Item], kept: Posterior) -> list[tuple[_Item, float]]:
    n, odd = len(items), []
    most = FALSE_ALARMS / n
    for i, one in enumerate(items):
        if one.reading is None:
            given_the_rest = math.exp(min(0.0, float(kept.log_evidence[-1] - kept.log_evidence[i])))
            by_itself = math.exp(min(0.0, float(kept.log_evidence[n + i])))
        else:
            given_the_rest = _tail(network, one.reading, kept, i)
            by_itself = 1.0
        if given_the_rest < min(most, BY_ITSELF * by_itself):
            odd.append((one, given_the_rest))
    return odd


def _tail(network: Network, reading: tuple[Expected, Combinations, Reading], kept: Posterior, row: int) -> float:
    """Give the chance of a reading at least as far out as this one, given what the other evidence leaves likely."""
    what, found, taken = reading
    weight = found.weights({name: kept.states[name][row] for name in found.parts})
    for column, node in enumerate(found.nodes):
        if node not in kept.words:
            continue
        chance = kept.words[node][row]
        have = np.bincount(found.words[:, column], weight, len(chance))
        weight = weight * (chance / np.where(have > 0, have, 1.0))[found.words[:, column]]
    weight = weight / max(float(weight.sum()), 1e-300)
    can = np.isfinite(found.values)
    below = float(weight[can] @ ndtr(_apart(what, found, taken)))
    return 2.0 * min(below, float(weight[can].sum()) - below)


def _odd_one(one: _Item, chance: float) -> Clash:
    said = "less than one case in ten thousand" if chance < 1e-4 else f"{100 * chance:.2g} % of cases"
    text = (
        f"All other evidence leads to expect {one.says} in {said}. Look again at it and at the others; if all of them "
        "hold, there is something that this description does not hold."
    )
    return Clash((one.id,), text)


def _all_of_it(items: Sequence[_Item], won: float) -> Clash:
    times = f"about {math.exp(won):.0f} times" if won < MOST_SAID else "more than a million times"
    text = (
        f"The evidence as a whole is {times} likelier if it had nothing to do with "
        "this machine than by anything described here, with any number of faults. Check that the description is of "
        "this machine, and look again."
    )
    return Clash(tuple(one.id for one in items), text)
