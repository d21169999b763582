"""What may be wrong, case by case: whole machines, each with every part in one of its states, and how likely each is.

The beliefs give each part its chance; what it takes to end a complaint hangs on all parts together, and so does what is
left of it after a repair. So machines are drawn, part by part from the beliefs, and each is weighed by how likely it is
beforehand and how well it fits all that was noticed, before a repair and after it (importance sampling; a machine keeps
what was not mended, and of what was renewed the old part is drawn beside the new one). Where the parts have few states
together, every case is listed instead, and nothing is drawn.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Factor
from tapewright.diagnose.distinct import distinct_rows
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.lookup import Functions, functions_of
from tapewright.diagnose.network import Network
from tapewright.diagnose.repairs import Work, works
from tapewright.faults.signs import Sign
from tapewright.machine.parts import Machine

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]

DRAWN: Final = 2500
"""Cases drawn at once."""
ENOUGH: Final = 250.0
"""Cases of equal weight that the drawn ones must be worth, or they are drawn anew from what they taught."""
MOST_DRAWS: Final = 6
OF_BEFOREHAND: Final = 0.04
"""Share of the draws that follow the base rates, so that nothing possible is left out."""
SHOWS: Final = 0.5
"""A word shows a complaint when what was noticed fits it at least half as well as it fits the best word."""


@dataclass(frozen=True, slots=True, eq=False)
class Workings:
    """A network's functions as tables to look up, and its mending.

    Arguments:
        network: whose they are.
        parts: names, in the order of the columns of a case.
        works: all pieces of work.
        mends: for each part, the work that mends each of its states, -1 for sound, shape (states,).
        functions: each after what it hangs on.
    """

    network: Network
    parts: tuple[str, ...]
    works: tuple[Work, ...]
    mends: tuple[Codes, ...]
    functions: Functions


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """What was noticed between one repair and the next.

    Arguments:
        mended: numbers of the works done before it.
        said: what the answers say, node by node, shape (words,).
    """

    mended: frozenset[int]
    said: Mapping[str, Array]


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Whole machines as they stand now, repairs done, and how likely each is.

    Arguments:
        states: each part's state as it was before any repair, shape (cases, parts).
        now: the same after the repairs, shape (cases, parts).
        weights: sum to one, shape (cases,).
    """

    states: Codes
    now: Codes
    weights: Array


Complaint = Mapping[str, Mask]
"""Node -> which of its words show the complaint, shape (words,)."""


def workings(network: Network) -> Workings:
    """Make a network ready for going through it case by case."""
    states = tuple((name, tuple(kind for kind, _ in known.states[1:])) for name, known in network.parts.items())
    # A machine as it is after repairs has the factors of the machine itself: nothing is worked out again.
    return Workings(network, tuple(network.parts), *_mending(network.factors, network.machine, states))


@lru_cache(maxsize=32)
def _mending(
    factors: tuple[Factor, ...], machine: Machine, states: tuple[tuple[str, tuple[str, ...]], ...]
) -> tuple[tuple[Work, ...], tuple[Codes, ...], Functions]:
    listed: list[Work] = []
    mends = []
    for name, kinds in states:
        own = works(machine, name, kinds)
        number = {kind: len(listed) + i for i, work in enumerate(own) for kind in work.kinds}
        mends.append(np.array([-1, *(number[kind] for kind in kinds)], dtype=np.intp))
        listed += own
    return tuple(listed), tuple(mends), functions_of(factors, {f"part:{name}" for name, _ in states})


def words_of(inner: Workings, states: Codes, nodes: Collection[str]) -> dict[str, Codes]:
    """Work out which word nodes take, case by case.

    Arguments:
        inner: from `workings`.
        states: shape (cases, parts).
        nodes: which are wanted.

    Returns:
        For each node, the number of its word, shape (cases,).
    """
    return inner.functions.words(
        {f"part:{name}": states[:, i] for i, name in enumerate(inner.parts)}, nodes, len(states)
    )


def hangs_on(inner: Workings, nodes: Collection[str]) -> list[int]:
    """Number the parts that nodes hang on."""
    needed = inner.functions.above(nodes)
    return [i for i, name in enumerate(inner.parts) if f"part:{name}" in needed]


def complaint_of(network: Network, likelihoods: Mapping[str, Array]) -> dict[str, Mask]:
    """Say what was found wrong: the nodes of which the evidence says that they are not as on a sound machine."""
    found = {}
    for node, said in likelihoods.items():
        if node not in network.words:
            continue  # what readings say of a part's own states is no function's
        shows = said >= SHOWS * said.max()
        if not shows[network.words[node].index(network.sound_words[node])]:
            found[node] = shows
    return found


def complaint_by(network: Network, sign: Sign) -> Complaint:
    """Give the words that show a sign.

    Arguments:
        network: the machine's belief network.
        sign: what the owner noticed.
    """
    said = of_answer(sign, network.words[sign.node], present=True)
    return {sign.node: said >= SHOWS * said.max()}


def may_be_asked(network: Network, sign: Sign) -> bool:
    """Tell whether a sign can vary, and is not one to be taken only when somebody tells of it.

    Arguments:
        network: the machine's belief network.
        sign: what would be asked.
    """
    return sign.node in network.words and not sign.aside


def owners_signs(network: Network) -> list[Sign]:
    """List what an owner may complain of: what a working machine does not show, seen in a mode, with the case shut."""
    outside = [s for s in network.signs.values() if not s.opens_case and s.mode != "off" and s.node in network.words]
    return [s for s in outside if not complaint_by(network, s)[s.node][_sound(network, s)]]


def _sound(network: Network, sign: Sign) -> int:
    return network.words[sign.node].index(network.sound_words[sign.node])


def showing(inner: Workings, states: Codes, complaint: Complaint) -> Mask:
    """Tell for each case whether any of the complaint shows, shape (cases,)."""
    return _shown(words_of(inner, states, complaint), complaint) if complaint else np.zeros(len(states), dtype=bool)


def _shown(words: Mapping[str, Codes], complaint: Complaint) -> Mask:
    return np.asarray(np.logical_or.reduce([shows.take(words[node]) for node, shows in complaint.items()]))


def mended(inner: Workings, states: Codes, done: Collection[int]) -> Codes:
    """Give the cases with works done: what they put right is sound, all else as it was."""
    after = states.copy()
    if not done:
        return after
    for i, own in enumerate(inner.mends):
        put_right = np.isin(own, list(done)) & (own >= 0)
        if put_right.any():
            after[put_right[states[:, i]], i] = 0
    return after


def every_case(inner: Workings, stages: Sequence[Stage], complaint: Complaint, may_fail: Collection[str]) -> Cases:
    """List every case of a machine in which only some parts may fail.

    Arguments:
        inner: from `workings`.
        stages: all that was noticed, repair by repair.
        complaint: what shows at every stage.
        may_fail: the parts that are not known to be sound.
    """
    free = [i for i, name in enumerate(inner.parts) if name in may_fail]
    sizes = [len(inner.mends[i]) for i in free]
    states = np.zeros((int(np.prod(sizes)), len(inner.parts)), dtype=np.intp)
    states[:, free] = np.indices(sizes).reshape(len(free), -1).T
    return _weighed(inner, states, np.zeros(len(states)), stages, complaint)


def drawn_cases(
    inner: Workings,
    stages: Sequence[Stage],
    complaint: Complaint,
    believed: Sequence[Array],
    seed: int = 1,
) -> Cases | None:
    """Draw cases from what is believed of each part, and weigh them by all that was noticed.

    Arguments:
        inner: from `workings`.
        stages: all that was noticed, repair by repair.
        complaint: what shows at every stage.
        believed: for each part, about how likely each of its states is, shape (states,).
        seed: the same draws each time.

    Returns:
        None when no case drawn fits.
    """
    random = np.random.default_rng(seed)
    best, worth = None, 0.0
    for _ in range(MOST_DRAWS):
        states, log_chance = _draw(inner, believed, random)
        logs = _of_the_past(inner, states, random) - log_chance
        found = _weighed(inner, states, logs, stages, complaint)
        if not len(found.weights):
            believed = [(old + 1.0 / len(old)) / 2.0 for old in believed]
            continue
        now_worth = 1.0 / float(found.weights @ found.weights)
        if now_worth > worth:
            best, worth = found, now_worth
        if worth >= ENOUGH:
            break
        # What the first draws found says where to draw the next.
        believed = [(old + new) / 2.0 for old, new in zip(believed, believed_of(inner, best or found), strict=True)]
    return best


def _draw(inner: Workings, believed: Sequence[Array], random: np.random.Generator) -> tuple[Codes, Array]:
    """Draw cases, each part in even strata of its own; give the log of the chance that each was drawn."""
    states = np.empty((DRAWN, len(inner.parts)), dtype=np.intp)
    log_chance = np.zeros(DRAWN)
    for i, name in enumerate(inner.parts):
        states[:, i], log_own = _drawn(believed[i], np.array(inner.network.parts[name].prior), random)
        log_chance += log_own
    return states, log_chance


def _drawn(believed: Array, prior: Array, random: np.random.Generator) -> tuple[Codes, Array]:
    """Draw one part's state in every case; give the log of the chance with which it was."""
    chance = (1.0 - OF_BEFOREHAND) * believed + OF_BEFOREHAND * prior
    chance /= chance.sum()
    even = (np.arange(DRAWN) + random.random(DRAWN)) / DRAWN
    states = np.minimum(np.searchsorted(np.cumsum(chance), random.permutation(even)), len(chance) - 1)
    return states, np.log(chance[states])


def _of_the_past(inner: Workings, states: Codes, random: np.random.Generator) -> Array:
    """Give the log of how likely each case makes what was noticed before parts were renewed, shape (cases,).

    What a renewed part was like then is drawn beside the case and weighed with it: so the parts that were not renewed
    hang together as that evidence has it.
    """
    past, logs = inner.network.past, np.zeros(len(states))
    if past is None:
        return logs
    place = {name: i for i, name in enumerate(inner.parts)}
    old = {}
    with np.errstate(divide="ignore"):
        for name, (prior, believed) in past.old.items():
            old[name], log_chance = _drawn(believed, prior, random)
            logs += np.log(prior).take(old[name]) - log_chance
        for renewed, said in past.stood:
            then = states.copy()
            for name in renewed & old.keys():
                then[:, place[name]] = old[name]
            words = words_of(inner, then, said)
            for node, chance in said.items():
                logs += np.log(chance).take(words[node])
    return logs


def _weighed(inner: Workings, states: Codes, logs: Array, stages: Sequence[Stage], complaint: Complaint) -> Cases:
    with np.errstate(divide="ignore"):
        for i, name in enumerate(inner.parts):
            logs = logs + np.log(inner.network.prior(name)).take(states[:, i])
        now = states
        for stage in stages:
            now = mended(inner, states, stage.mended)
            words = words_of(inner, now, {*stage.said, *complaint})
            for node, said in stage.said.items():
                logs = logs + np.log(said).take(words[node])
            if complaint:
                logs = np.where(_shown(words, complaint), logs, -np.inf)
    kept = np.isfinite(logs)
    if not kept.any():
        return Cases(states[:0], now[:0], logs[:0])
    weights = np.exp(logs[kept] - logs[kept].max())
    few, place = distinct_rows(states[kept])
    first = np.zeros(len(few), dtype=np.intp)
    first[place] = np.arange(len(weights))
    total = np.bincount(place, weights)
    return Cases(few, now[kept][first], total / total.sum())


def believed_of(inner: Workings, cases: Cases) -> list[Array]:
    """Give each part's chances of its states before any repair, from cases, shape (states,) each."""
    counts = [np.bincount(cases.states[:, i], cases.weights, len(own)) for i, own in enumerate(inner.mends)]
    return [np.asarray(count, dtype=np.float64) for count in counts]
