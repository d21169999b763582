"""What closed jobs teach: base rates by layout and by kind of part, and how well each sign is noticed.

Everything is shrunk. A part's rates begin as the catalogue's, worth `POOL_WEIGHT` jobs, and are moved by what was seen
of the same kind of part elsewhere; that in turn is worth `RATE_WEIGHT` jobs against what was seen of this part in this
layout (Dirichlet priors; what is pooled leaves the part itself out, so that nothing counts twice). A sign begins with
the usual rates of its sense, worth `SENSE_WEIGHT` answers, moved by the other signs of that sense, and that is worth
`SIGN_WEIGHT` answers against its own (Beta priors). D. J. Spiegelhalter and S. L. Lauritzen, Networks 20, 1990, for
counts on top of an equivalent sample.

What was not looked at is shared out over its states by what the evidence says of it (expectation and maximization: A.
P. Dempster, N. M. Laird and D. B. Rubin, J. R. Stat. Soc. B 39, 1977). Leaving it out would overrate every part that is
looked at when it is suspected; taking it for sound would underrate it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.closed_jobs import NOT_LOOKED_AT, SOUND, AnswerGiven, Knowledge, PartFound
from tapewright.diagnose.network import Network, PartStates
from tapewright.faults.catalogue import homes
from tapewright.faults.signs import SENSES, Sign
from tapewright.machine.parts import Machine

Array = NDArray[np.float64]

POOL_WEIGHT: Final = 12.0
"""Jobs that the catalogue's judgement counts for, against what was seen of such parts elsewhere."""
RATE_WEIGHT: Final = 12.0
"""Jobs that what was seen elsewhere counts for, against what was seen of this part in this layout."""
SENSE_WEIGHT: Final = 30.0
"""Answers that the usual rates of a sense count for, against those of other signs of that sense."""
SIGN_WEIGHT: Final = 30.0
"""Answers that the rates of its sense count for, against a sign's own."""
SETTLED: Final = 0.1
"""An answer counts where what was found leaves no more doubt than this whether the sign should have shown."""
LEAST_GAP: Final = 0.02
"""A sign always shows rather more often when it should than when it should not."""
MOST_ROUNDS: Final = 300


def part_kind(machine: Machine, name: str) -> str:
    """Name what is pooled over layouts: the kinds of home that a part counts in.

    >>> from tapewright.machine.library import shipped
    >>> "speed_belt" in part_kind(shipped("four_track"), "capstan_belt").split(" + ")
    True
    """
    return " + ".join(sorted(homes(machine, name)))


def sense_of(sign: Sign) -> str:
    """Name the sense a sign is noticed by; "" where its rates are those of none."""
    most = max(sign.notice.values(), default=0.0)
    fitting = {
        sense: noticed - most
        for sense, (noticed, mistaken) in SENSES.items()
        if mistaken == sign.false_rate and noticed >= most - 1e-9
    }
    return min(fitting, key=lambda sense: fitting[sense], default="")


# --- parts ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """One part as one job, or a number of jobs alike, left it."""

    layout: str
    part: str
    seen: PartFound
    times: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Rows of one kind of part as arrays.

    Arguments:
        own: which of them are of which (layout, part).
        before: chances by the catalogue, shape (cases, kinds); nan where only the part in hand can tell.
        weights: how likely what is known of each case is with each kind, shape (cases, kinds).
        times: how often each case was met, shape (cases,).
    """

    own: Mapping[tuple[str, str], NDArray[np.int64]]
    before: Array
    weights: Array
    times: Array


class Rows:
    """All rows, by kind of part, laid out once for each list of kinds."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.by_home: dict[str, list[Row]] = {}
        self._laid: dict[tuple[str, ...], Cases] = {}
        for job in knowledge.jobs:
            for seen in job.parts:
                self.by_home.setdefault(seen.part_kind, []).append(Row(job.layout, seen.part, seen))
        for tally in knowledge.tallies:
            for kind, times in (*tally.found.items(), (SOUND, tally.sound)):
                row = Row(tally.layout, tally.part, PartFound(tally.part, tally.part_kind, kind), times)
                self.by_home.setdefault(tally.part_kind, []).append(row)

    def laid_out(self, home: str, kinds: Sequence[str]) -> Cases:
        """Give the rows of one kind of part for a list of kinds of fault."""
        key = (home, *kinds)
        if key not in self._laid:
            self._laid[key] = _laid_out(self.by_home.get(home, ()), kinds)
        return self._laid[key]


def _laid_out(rows: Sequence[Row], kinds: Sequence[str]) -> Cases:
    """Lay rows out; those that say nothing, or name a kind that is not here, are left out."""
    own: dict[tuple[str, str], list[int]] = {}
    before, weights = [], []
    times: list[float] = []
    for row in rows:
        seen = row.seen
        if row.times and (seen.speaks if seen.found == NOT_LOOKED_AT else seen.found in kinds):
            own.setdefault((row.layout, row.part), []).append(len(times))
            before.append(_with_sound(seen.before, kinds) if seen.before else [math.nan] * len(kinds))
            looked = seen.found != NOT_LOOKED_AT
            weights.append([float(k == seen.found) if looked else seen.speaks.get(k, 1.0) for k in kinds])
            times.append(row.times)
    shape = len(times), len(kinds)
    numbers = {key: np.array(some) for key, some in own.items()}
    return Cases(numbers, np.array(before).reshape(shape), np.array(weights).reshape(shape), np.array(times))


def _with_sound(before: Mapping[str, float], kinds: Sequence[str]) -> list[float]:
    return [max(1.0 - math.fsum(before.values()), 0.0) if kind == SOUND else before.get(kind, 0.0) for kind in kinds]


def dirichlet_mean(before: Mapping[str, float], weight: float, counts: Mapping[str, float]) -> dict[str, float]:
    """Give the chances that judgement and counts make together: the mean of a Dirichlet; of a Beta where two can be.

    Arguments:
        before: chance of each kind by judgement; they sum to one.
        weight: cases that the judgement counts for.
        counts: how often each kind was found since.

    >>> dirichlet_mean({"slack": 0.5, "snapped": 0.3, "sound": 0.2}, 10.0, {"slack": 4, "sound": 1})
    {'slack': 0.6, 'snapped': 0.2, 'sound': 0.2}
    """
    total = weight + sum(counts.values())
    return {kind: (weight * chance + counts.get(kind, 0)) / total for kind, chance in before.items()}


def _factors(base: Mapping[str, float], before: Array, weights: Array, times: Array, worth: float) -> Array:
    """Give by what each kind is seen more often than the catalogue expects, shrunk towards 1.

    The judgement adds `worth` cases that went as expected: (worth x base + seen) / (worth x base + expected). Where the
    catalogue expects the same of every case, as on machines of one age, this is `dirichlet_mean` exactly.

    Arguments:
        base: chance of each kind, "sound" among them.
        before: chance of each kind in each case, shape (cases, kinds).
        weights: how likely what is known of each case is with each kind, shape (cases, kinds).
        times: how often each case was met, shape (cases,).
        worth: cases that the base counts for.
    """
    prior = worth * np.array(list(base.values()))
    expected = prior + times @ before
    factors = np.ones(len(base))
    for _ in range(MOST_ROUNDS):
        shared = before * factors * weights
        shared /= shared.sum(axis=1, keepdims=True)
        moved = np.where(expected > 0, (prior + times @ shared) / np.where(expected > 0, expected, 1.0), 1.0)
        if np.max(np.abs(moved - factors)) < 1e-7:
            break
        factors = moved
    return factors


def moved_by(base: Mapping[str, float], layout: str, name: str, cases: Cases) -> dict[str, float]:
    """Move a part's rates, first by what was seen elsewhere, then by what was seen of it."""
    chances, factors = np.array(list(base.values())), np.ones(len(base))
    before = np.where(np.isnan(cases.before), chances, cases.before)
    own = np.zeros(len(cases.times), dtype=bool)
    own[cases.own.get((layout, name), np.array([], dtype=np.int64))] = True
    for some, worth in ((~own, POOL_WEIGHT), (own, RATE_WEIGHT)):
        moved = before[some] * factors
        # What is found although no kind here could have it says nothing that could be counted.
        possible = (moved * cases.weights[some]).sum(axis=1) > 0
        if possible.any():
            moved = moved[possible] / moved[possible].sum(axis=1, keepdims=True)
            now = dict(zip(base, chances, strict=True))
            step = _factors(now, moved, cases.weights[some][possible], cases.times[some][possible], worth)
            chances = chances * step / (chances @ step)
            factors = factors * step
    return {kind: float(chance) for kind, chance in zip(base, chances, strict=True)}


def by_kind(known: PartStates, chances: Sequence[float]) -> dict[str, float]:
    """Add up the chances of a part's states, kind by kind, "sound" first."""
    added: dict[str, float] = {}
    for (kind, _), chance in zip(known.states, chances, strict=True):
        added[kind] = added.get(kind, 0.0) + float(chance)
    return added


def with_knowledge(network: Network, knowledge: Knowledge, *, rates: bool = True) -> Network:
    """Give the network with base rates and signs as far as the shop's own jobs have moved them.

    Arguments:
        network: of the machine on the bench.
        knowledge: what the shop has seen.
        rates: whether to move the base rates too, and not only how well signs are noticed.
    """
    rows, answers = Rows(knowledge), Answers(knowledge)
    parts = {name: _taught_part(network, known, rows) for name, known in network.parts.items()} if rates else {}
    signs = {name: answers.taught(sign) for name, sign in network.signs.items()}
    return replace(network, parts={**network.parts, **parts}, signs=signs)


def _taught_part(network: Network, known: PartStates, rows: Rows) -> PartStates:
    home = part_kind(network.machine, known.part)
    if home not in rows.by_home:
        return known
    base = by_kind(known, known.prior)
    moved = moved_by(base, network.machine.layout, known.part, rows.laid_out(home, list(base)))
    states = zip(known.states, known.prior, strict=True)
    return replace(known, prior=tuple(chance / base[kind] * moved[kind] for (kind, _), chance in states))


# --- signs ------------------------------------------------------------------------------------------------------------


class Answers:
    """The answers that can be judged, by sense, ready to be counted for one sign after another."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._by_sense: dict[str, list[AnswerGiven]] = {}
        for job in knowledge.jobs:
            for one in job.answers:
                if one.shows is not None and one.sense in SENSES:
                    self._by_sense.setdefault(one.sense, []).append(one)
        self._of_sense: dict[str, tuple[float, float]] = {}

    def rates(self, sense: str, sign: str = "") -> tuple[float, float]:
        """Give how often a sign is noticed when it shows, and when it does not; without a sign, of its whole sense."""
        given = self._by_sense.get(sense, [])
        own = [one for one in given if one.sign == sign]
        if not own:
            if sense not in self._of_sense:
                self._of_sense[sense] = _noticing(SENSES[sense], given, SENSE_WEIGHT)
            return self._of_sense[sense]
        others = _noticing(SENSES[sense], [one for one in given if one.sign != sign], SENSE_WEIGHT)
        return _noticing(others, own, SIGN_WEIGHT)

    def taught(self, sign: Sign) -> Sign:
        """Give a sign noticed as often as was learnt of it."""
        sense = sense_of(sign)
        if not self._by_sense.get(sense):
            return sign
        noticed, mistaken = SENSES[sense]
        hit, false_rate = self.rates(sense, sign.id)
        shares = {word: (chance - mistaken) / (noticed - mistaken) for word, chance in sign.notice.items()}
        notice = {word: false_rate + share * (hit - false_rate) for word, share in shares.items()}
        return replace(sign, notice=notice, false_rate=false_rate)


def _noticing(usual: tuple[float, float], answers: Sequence[AnswerGiven], worth: float) -> tuple[float, float]:
    """Count answers on top of usual rates; where it is not quite sure whether a sign showed, share the answer out."""
    if not answers:
        return usual
    shows = np.array([one.shows for one in answers], dtype=np.float64)
    noticed = np.array([one.noticed for one in answers], dtype=np.float64)
    hit, mistaken = usual
    for _ in range(MOST_ROUNDS):
        if_shown = shows * np.where(noticed > 0, hit, 1.0 - hit)
        if_not = (1.0 - shows) * np.where(noticed > 0, mistaken, 1.0 - mistaken)
        shown = if_shown / (if_shown + if_not)
        before = hit, mistaken
        hit = _beta_mean(usual[0], worth, noticed, shown)
        mistaken = _beta_mean(usual[1], worth, noticed, 1.0 - shown)
        if abs(hit - before[0]) + abs(mistaken - before[1]) < 1e-7:
            break
    return max(hit, mistaken + LEAST_GAP), mistaken


def _beta_mean(usual: float, worth: float, so: Array, weights: Array) -> float:
    counts = {"so": float(np.sum(so * weights)), "not": float(np.sum((1.0 - so) * weights))}
    return dirichlet_mean({"so": usual, "not": 1.0 - usual}, worth, counts)["so"]
