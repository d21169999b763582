"""What an answer or a reading says about one function of the machine: a likelihood for each word it can take."""

import difflib
import math
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.network import Network
from tapewright.faults.signs import Sign
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.findings import BudgetItem
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading

Array = NDArray[np.float64]

SPEED_WORDS: Final = {
    "slow": (-3.5, 2.5), "right": (0.0, 0.8), "fast": (2.5, 1.5), "uneven": (-0.5, 1.8), "races": (150.0, 80.0),
}  # fmt: skip
"""Mean speed error in percent, and its spread, of a tape that a technician would call so: trade judgement, from memory;
the acceptable mean error is 1.0 to 1.5 % (DIN 45500-4)."""
WEIGHTED_PEAK_WORDS: Final = {
    "right": 0.10, "fast": 0.12, "slow": 0.20, "uneven": 0.50, "races": 3.0,
}  # fmt: skip
"""Middle of the weighted peak flutter in percent of a tape one would call so; spread a factor 1.8. Limits: 0.1 % good,
0.2 % acceptable (DIN 45500-4), 0.25 to 0.3 % poor (from memory)."""
WEIGHTED_PEAK_SPREAD: Final = math.log(1.8)
STEADY_LINE_PCT: Final = 0.03
LUMPY_LINE_PCT: Final = 0.35
LINE_SPREAD: Final = math.log(2.6)
"""Peak size of the line a sound and a lumpy part put on the speed, and the spread of both, a factor; trade judgement,
from memory."""


def checked_evidence(network: Network, evidence: Evidence) -> None:
    """See that every sign named is one this machine has.

    Raises:
        InputAtFaultError: a Problem for each that is not, with the nearest that is.
    """
    problems = []
    for number, observation in enumerate(evidence.signs):
        if observation.id not in network.signs:
            near = difflib.get_close_matches(observation.id, network.signs, n=1, cutoff=0.5)
            do = f"Did you mean {near[0]!r}?" if near else "`tapewright signs` lists the signs of this machine."
            where, found = f"evidence, signs[{number}].id", f"{observation.id!r} is no sign of this machine."
            problems.append(Problem(where, found, do))
    if problems:
        raise InputAtFaultError(problems)


def of_answer(sign: Sign, words: tuple[str, ...], *, present: bool, sure: float = 1.0) -> Array:
    """Say how likely an answer is for each word of the sign's node.

    Arguments:
        sign: what was asked.
        words: the words of its node, in the order wanted.
        present: the answer.
        sure: 1 for certain; at 0 the answer says nothing.
    """
    chance = np.array([sign.chance(word) for word in words])
    said = chance if present else 1.0 - chance
    return sure * said + (1.0 - sure) * 0.5


def of_observations(network: Network, observations: Iterable[Observation]) -> dict[str, Array]:
    """Multiply what every answer says, node by node; `None` answers say nothing."""
    likelihoods: dict[str, Array] = {}
    for observation in observations:
        sign = network.signs[observation.id]
        if observation.present is None or sign.node in network.constants:
            continue
        if sign.node not in network.words:
            raise ValueError(f"{sign.id} is told, and the network was not asked to speak of it (`speaking_of`)")
        said = of_answer(sign, network.words[sign.node], present=observation.present, sure=observation.sure)
        likelihoods[sign.node] = likelihoods.get(sign.node, np.ones(len(said))) * said
    return likelihoods


def of_readings(network: Network, readings: Mapping[str, Reading]) -> dict[str, Array]:
    """Say what speed and flutter readings in play tell of the tape's motion."""
    words = network.words.get("tape@play")
    if words is None:
        return {}
    total = np.zeros(len(words))
    speed, peak = readings.get("speed_error_pct"), readings.get("weighted_peak_pct")
    if speed is not None and speed.value is not None:
        total += [_speed_log(word, speed.value, speed.doubt or 0.0) for word in words]
    if peak is not None and peak.value is not None and peak.value > 0:
        total += [_peak_log(word, peak.value) for word in words]
    return {"tape@play": np.exp(total - total.max())} if total.any() else {}


def _speed_log(word: str, error_pct: float, doubt_pct: float) -> float:
    """A tape whose speed was measured moved; how far off it was tells slow from right from fast."""
    if word not in SPEED_WORDS:
        return math.log(1e-4)
    middle, spread = SPEED_WORDS[word]
    spread = math.hypot(spread, doubt_pct / 1.96)
    return max(-0.5 * ((error_pct - middle) / spread) ** 2 - math.log(spread), -12.0)


def _peak_log(word: str, peak_pct: float) -> float:
    if word not in WEIGHTED_PEAK_WORDS:
        return math.log(1e-4)
    return max(-0.5 * (math.log(peak_pct / WEIGHTED_PEAK_WORDS[word]) / WEIGHTED_PEAK_SPREAD) ** 2, -12.0)


def of_budget(network: Network, budget: Iterable[BudgetItem]) -> dict[str, Array]:
    """Say what the lines of a flutter budget tell of each part's steadiness: the largest line of each counts."""
    largest: dict[str, BudgetItem] = {}
    for item in budget:
        if item.part not in largest or item.peak_pct * item.probability > _weight(largest[item.part]):
            largest[item.part] = item
    likelihoods = {}
    for name, item in largest.items():
        words = network.words.get(f"steady:{name}")
        if words is not None:
            likelihoods[f"steady:{name}"] = np.array([_line_chance(word, item) for word in words])
    return likelihoods


def _weight(item: BudgetItem) -> float:
    return item.peak_pct * item.probability


def _line_chance(word: str, item: BudgetItem) -> float:
    middle = LUMPY_LINE_PCT if word == "lumpy" else STEADY_LINE_PCT
    apart = (math.log(max(item.peak_pct, 1e-4) / middle)) / LINE_SPREAD
    return item.probability * math.exp(-0.5 * min(apart * apart, 24.0)) + (1.0 - item.probability) * 0.5


def together(*likelihoods: Mapping[str, Array]) -> dict[str, Array]:
    """Multiply likelihoods from several sources, node by node."""
    product: dict[str, Array] = {}
    for one in likelihoods:
        for node, said in one.items():
            product[node] = product.get(node, np.ones(len(said))) * said
    return product
