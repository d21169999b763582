"""How often a guided minute alone puts the part at fault first: evidence drawn with an ear and eye of known quality.

Every single fault is put in, in every degree. Each yes or no of the minute is drawn as a detector of the stated quality
would give it; readings come without error, with the doubt that they claim. The machine, the faults and the senses are
simulated: this measures what the evidence can tell, not how well a telephone hears.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import posterior, shares
from tapewright.diagnose.likelihoods import of_answer, spoken_by
from tapewright.diagnose.network import Network, network, speaking_of
from tapewright.faults.applied import Fault, applied
from tapewright.jobs.guided_minute import Given, Impression, given, impressions, is_reported
from tapewright.machine.parts import Machine, sound
from tapewright.words.reading import Reading

Array = NDArray[np.float64]

HITS: Final = 0.95
"""How often what is there is found: what the detectors aim at."""
FALSE_ALARMS: Final = 0.02
"""How often what is not there is found all the same."""
SENSES: Final = ("sound", "film")
AT_ONCE: Final = 24
"""Machines whose beliefs are asked together: more of them want gigabytes, and take longer each."""


@dataclass(frozen=True, slots=True)
class Scored:
    """How one fault fared.

    Arguments:
        fault: part, kind, degree.
        first: share of the draws in which its part leads.
        among_three: share in which it is among the first three.
    """

    fault: Fault
    first: float
    among_three: float


def scored(
    machine: Machine,
    faults: Sequence[Fault],
    *,
    draws: int = 4,
    seed: int = 1,
    senses: Sequence[str] = SENSES,
    hits: float = HITS,
    false_alarms: float = FALSE_ALARMS,
    as_detected: bool = False,
) -> tuple[Scored, ...]:
    """Score single faults of a machine.

    Arguments:
        machine: as described.
        faults: to put in, one at a time.
        draws: guided minutes of each.
        seed: the same minutes each time.
        senses: "sound", "film" or both.
        hits: how often what is there is found.
        false_alarms: how often what is not there is found.
        as_detected: only what the detectors of this version report, not all that ear and eye could get.
    """
    ideal = sound(machine)
    wanted = tuple(o for o in impressions(ideal) if o.sense in senses and (is_reported(o) or not as_detected))
    places = _places(ideal, wanted, faults, draws, seed, hits, false_alarms)
    return tuple(
        Scored(fault, float((own == 1).mean()), float((own <= 3).mean()))
        for fault, own in zip(faults, places, strict=True)
    )


def suspected_though_sound(machine: Machine, *, draws: int = 50, seed: int = 1) -> float:
    """Give how often a machine with nothing wrong gets a suspect ahead of "none of these"."""
    ideal = sound(machine)
    wanted = impressions(ideal)
    net = _speaking(ideal, wanted)
    given_now = [given(ideal, wanted)] * draws
    found = shares(
        net, posterior(net, said_of(net, wanted, given_now, np.random.default_rng(seed), HITS, FALSE_ALARMS))
    )
    return float((found.share.max(axis=1) > found.none_of_these).mean())


def _places(
    ideal: Machine,
    wanted: tuple[Impression, ...],
    faults: Sequence[Fault],
    draws: int,
    seed: int,
    hits: float,
    false: float,
) -> NDArray[np.intp]:
    """Give the place of the part at fault among the suspects, from 1, shape (faults, draws)."""
    net = _speaking(ideal, wanted)
    given_each = [now for fault in faults for now in [given(applied(ideal, [fault]), wanted)] * draws]
    said = said_of(net, wanted, given_each, np.random.default_rng(seed), hits, false)
    return places_of(net, said, [fault.part for fault in faults for _ in range(draws)]).reshape(len(faults), draws)


def places_of(net: Network, said: Mapping[str, Array], parts: Sequence[str]) -> NDArray[np.intp]:
    """Give the place of a part among the suspects of each machine, from 1; a tie is no lead.

    Arguments:
        net: the machine's belief network.
        said: likelihoods of each machine's evidence, shape (machines, words) each.
        parts: one for each machine.
    """
    places: list[int] = []
    for first in range(0, len(parts), AT_ONCE):
        own = parts[first : first + AT_ONCE]
        rows = {name: one[first : first + AT_ONCE] for name, one in said.items()}
        found = shares(net, posterior(net, rows, with_words=False))
        mine = found.share[np.arange(len(own)), [found.parts.index(part) for part in own]]
        places += (found.share >= mine[:, None] - 1e-9).sum(axis=1).tolist()
    return np.array(places, dtype=np.intp)


def _speaking(machine: Machine, wanted: Sequence[Impression]) -> Network:
    return speaking_of(network(machine), [one.name for one in wanted if one.sign is not None])


def said_of(
    net: Network,
    wanted: Sequence[Impression],
    machines: Sequence[Sequence[Given]],
    random: np.random.Generator,
    hits: float,
    false: float,
) -> dict[str, Array]:
    """Draw what a minute gives of some machines, and multiply what it says, node by node, shape (machines, words).

    Arguments:
        net: speaks of the signs among the impressions.
        wanted: from `impressions`.
        machines: what each of them gives, from `given`.
        random: draws the senses' mistakes.
        hits: how often what is there is found.
        false: how often what is not there is found.
    """
    said: dict[str, Array] = {}
    for number, one in enumerate(wanted):
        column = [given_all[number] for given_all in machines]
        if one.reading is not None:
            each = [_of_reading(net, one, now.value) for now in column]
        else:
            yes = random.random(len(column)) < [false + (hits - false) * now.chance for now in column]
            each = [_of_answer(net, one, bool(answer), hits, false) for answer in yes]
        for place in dict.fromkeys(place for own in each for place in own):
            size = next(len(own[place]) for own in each if place in own)
            rows = np.stack([own.get(place, np.ones(size)) for own in each])
            said[place] = said.get(place, np.ones((1, size))) * rows
    return said


def _of_answer(net: Network, one: Impression, yes: bool, hits: float, false: float) -> dict[str, Array]:
    if one.sign is not None:
        if one.node not in net.words:
            return {}
        return {one.node: of_answer(one.sign, net.words[one.node], present=yes)}
    return dict(_spoken(net, one.name, hits if yes else false, 0.0))


def _of_reading(net: Network, one: Impression, value: float) -> dict[str, Array]:
    if math.isnan(value):
        return {}
    doubt = one.doubt * abs(value) if one.relative else one.doubt
    return dict(_spoken(net, one.name, round(value, 6), max(round(doubt, 6), 1e-6)))


_KNOWN: dict[tuple[str, str, float, float], dict[str, Array]] = {}


def _spoken(net: Network, name: str, value: float, doubt: float) -> dict[str, Array]:
    key = (net.machine.id, name, value, doubt)
    if key not in _KNOWN:
        _KNOWN[key] = spoken_by(net, name, Reading(value, "", doubt))
    return _KNOWN[key]
