"""What closed jobs have taught, set out to be shown: rates of parts, and how well each sense is relied on."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tapewright.diagnose.closed_jobs import NOT_LOOKED_AT, SOUND, Knowledge
from tapewright.diagnose.learning import RATE_WEIGHT, Answers, Row, Rows, moved_by
from tapewright.faults.signs import SENSES


@dataclass(frozen=True, slots=True)
class LearntRate:
    """How often one part of one layout is out of order: the catalogue's word and the shop's.

    Arguments:
        layout, part, part_kind: which.
        catalogue: chance that it is out of order, by the catalogue at the ages of the jobs.
        learnt: the same as learnt.
        low, high: 95 % interval of `learnt`: a Beta of as many cases as it rests on.
        bad: how often it was found out of order.
        looked_at: how often it was looked at.
        jobs: jobs that tell of it, looked at or not.
        kinds: kind -> chance as learnt.
    """

    layout: str
    part: str
    part_kind: str
    catalogue: float
    learnt: float
    low: float
    high: float
    bad: int
    looked_at: int
    jobs: int
    kinds: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class LearntSense:
    """How well a sense is relied on: noticed when it shows, and when it does not; usual and learnt."""

    sense: str
    usual_hit: float
    hit: float
    usual_false: float
    false_rate: float
    answers: int


def learnt_rates(knowledge: Knowledge) -> tuple[LearntRate, ...]:
    """List what was learnt of every part that was ever looked at, by layout and name."""
    from scipy.stats import beta  # slow to load, and only needed to show

    found = []
    all_rows = Rows(knowledge)
    for kind, rows in all_rows.by_home.items():
        own_rows: dict[tuple[str, str], list[Row]] = {}
        for row in rows:
            if row.part:
                own_rows.setdefault((row.layout, row.part), []).append(row)
        for (layout, name), own in own_rows.items():
            looked = [row for row in own if row.seen.found != NOT_LOOKED_AT]
            told = [row.seen.before for row in own if row.seen.before]
            if not looked or not told:
                continue
            base = _mean_before(told)
            moved = moved_by(base, layout, name, all_rows.laid_out(kind, list(base)))
            learnt, cases = 1.0 - moved[SOUND], RATE_WEIGHT + sum(row.times for row in looked)
            low, high = beta(cases * learnt, cases * (1.0 - learnt)).ppf([0.025, 0.975])
            bad = sum(round(row.times) for row in looked if row.seen.found != SOUND)
            counted = sum(round(row.times) for row in looked)
            kinds = {k: chance for k, chance in moved.items() if k != SOUND}
            found.append(
                LearntRate(
                    layout, name, kind, 1.0 - base[SOUND], learnt, float(low), float(high), bad, counted, len(own),
                    kinds,
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda one: (one.layout, one.part)))


def _mean_before(several: Sequence[Mapping[str, float]]) -> dict[str, float]:
    kinds = dict.fromkeys(kind for one in several for kind in one)
    bad = {kind: math.fsum(one.get(kind, 0.0) for one in several) / len(several) for kind in kinds}
    return {SOUND: max(1.0 - math.fsum(bad.values()), 0.0)} | bad


def learnt_senses(knowledge: Knowledge) -> tuple[LearntSense, ...]:
    """List what was learnt of every sense that an answer could be judged of."""
    answers = Answers(knowledge)
    counted = dict.fromkeys(SENSES, 0)
    for job in knowledge.jobs:
        for one in job.answers:
            if one.shows is not None and one.sense in counted:
                counted[one.sense] += 1
    return tuple(
        LearntSense(sense, SENSES[sense][0], answers.rates(sense)[0], SENSES[sense][1], answers.rates(sense)[1], count)
        for sense, count in counted.items()
        if count
    )
