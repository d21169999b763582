"""What closed jobs teach: base rates by layout and part, and how well each sign is noticed; shrunk, and censored.

A base rate starts as the catalogue's, worth `RATE_WEIGHT` jobs (a Dirichlet prior), and a part counts only in jobs
where it was looked at: a job ends with the first repair that cures, so what was not looked at is unknown, not sound. A
sign starts with the usual hit and false rates of its sense, worth `SIGN_WEIGHT` answers each (Beta priors; D. J.
Spiegelhalter and S. L. Lauritzen, Networks 20, 1990, for counts on top of an equivalent sample).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tapewright.diagnose.network import Network, PartStates
from tapewright.faults.signs import Sign

RATE_WEIGHT: Final = 12.0
"""Jobs that the catalogue's judgement counts for."""
SIGN_WEIGHT: Final = 30.0
"""Answers that the usual rates of a sense count for."""
SHOWS: Final = 0.5


@dataclass(frozen=True, slots=True)
class ClosedJob:
    """What one finished job says for certain.

    Arguments:
        layout: the kind of transport.
        bad: part -> the kind it was found to have.
        sound: parts that were looked at and found sound.
        answers: (sign id, whether it should have shown with the parts found bad, whether it was noticed).
        predicted: (part, chance of being out of order as last predicted, whether it was), for calibration.
    """

    layout: str
    bad: Mapping[str, str]
    sound: tuple[str, ...] = ()
    answers: tuple[tuple[str, bool, bool], ...] = ()
    predicted: tuple[tuple[str, float, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Counts:
    """How often something was so, of how many times it could be told."""

    so: int = 0
    of: int = 0

    def plus(self, so: bool) -> "Counts":
        """Give the counts with one more case."""
        return Counts(self.so + so, self.of + 1)


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What a shop has learnt so far.

    Arguments:
        kinds: (layout, part, kind) -> how often the part was found so.
        looked_at: (layout, part) -> how often it was looked at.
        hits: (layout, sign) -> noticed when it should have shown.
        false_alarms: (layout, sign) -> noticed when it should not.
        predicted: (chance, came true), for calibration.
    """

    kinds: Mapping[tuple[str, str, str], int]
    looked_at: Mapping[tuple[str, str], int]
    hits: Mapping[tuple[str, str], Counts]
    false_alarms: Mapping[tuple[str, str], Counts]
    predicted: tuple[tuple[float, bool], ...] = ()


NOTHING: Final = Knowledge({}, {}, {}, {})


def learnt(jobs: Sequence[ClosedJob], before: Knowledge = NOTHING) -> Knowledge:
    """Add what closed jobs teach to what was known.

    Arguments:
        jobs: each is counted once; handing the same job in twice counts it twice.
        before: what was known already.
    """
    kinds, looked_at = dict(before.kinds), dict(before.looked_at)
    hits, false_alarms = dict(before.hits), dict(before.false_alarms)
    predicted = list(before.predicted)
    for job in jobs:
        for part, kind in job.bad.items():
            key = (job.layout, part, kind)
            kinds[key] = kinds.get(key, 0) + 1
        for part in (*job.bad, *(name for name in job.sound if name not in job.bad)):
            looked_at[job.layout, part] = looked_at.get((job.layout, part), 0) + 1
        for sign, should_show, noticed in job.answers:
            counted = hits if should_show else false_alarms
            counted[job.layout, sign] = counted.get((job.layout, sign), Counts()).plus(noticed)
        predicted += [(chance, came_true) for _, chance, came_true in job.predicted]
    return Knowledge(kinds, looked_at, hits, false_alarms, tuple(predicted))


def with_knowledge(network: Network, knowledge: Knowledge) -> Network:
    """Give the network with base rates and signs as far as the shop's own jobs have moved them."""
    layout = network.machine.layout
    parts = {name: _taught_part(known, knowledge, layout) for name, known in network.parts.items()}
    signs = {name: _taught_sign(sign, knowledge, layout) for name, sign in network.signs.items()}
    return replace(network, parts=parts, signs=signs)


def _taught_part(known: PartStates, knowledge: Knowledge, layout: str) -> PartStates:
    """Move a part's base rates: the mean of the Dirichlet that counts and judgement make together."""
    seen = knowledge.looked_at.get((layout, known.part), 0)
    if not seen:
        return known
    by_kind: dict[str, float] = {}
    for (kind, _), chance in zip(known.states, known.prior, strict=True):
        by_kind[kind] = by_kind.get(kind, 0.0) + chance
    counts = {kind: knowledge.kinds.get((layout, known.part, kind), 0) for kind in by_kind if kind != "sound"}
    moved = dirichlet_mean(by_kind, RATE_WEIGHT, {**counts, "sound": seen - sum(counts.values())})
    states = zip(known.states, known.prior, strict=True)
    return replace(known, prior=tuple(chance / by_kind[kind] * moved[kind] for (kind, _), chance in states))


def dirichlet_mean(before: Mapping[str, float], weight: float, counts: Mapping[str, int]) -> dict[str, float]:
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


def _taught_sign(sign: Sign, knowledge: Knowledge, layout: str) -> Sign:
    hits = knowledge.hits.get((layout, sign.id), Counts())
    alarms = knowledge.false_alarms.get((layout, sign.id), Counts())
    if not hits.of and not alarms.of:
        return sign
    usual_hit = max(sign.notice.values())
    hit = (SIGN_WEIGHT * usual_hit + hits.so) / (SIGN_WEIGHT + hits.of)
    false_rate = (SIGN_WEIGHT * sign.false_rate + alarms.so) / (SIGN_WEIGHT + alarms.of)
    span = usual_hit - sign.false_rate
    notice = {w: false_rate + (c - sign.false_rate) / span * (hit - false_rate) for w, c in sign.notice.items()}
    return replace(sign, notice=notice, false_rate=false_rate)
