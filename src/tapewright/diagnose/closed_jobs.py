"""What a finished job says: what was found, what was not looked at, what was answered, and what had been predicted.

A job ends with the first repair that cures. What was not looked at by then is unknown, never sound: it is kept as
such, with how the evidence speaks for each way it may be out of order (`PartFound.speaks`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from tapewright.words.evidence import Evidence, Observation

SOUND: Final = "sound"
NOT_LOOKED_AT: Final = ""
SURE_ENOUGH: Final = 0.8
"""An answer given with less than this says little about how well people notice."""


@dataclass(frozen=True, slots=True)
class PartFound:
    """One part in one closed job.

    Arguments:
        part: its name.
        part_kind: the kinds of home it counts in, joined by " + "; what is pooled over layouts.
        found: the kind it was found to have, `SOUND`, or `NOT_LOOKED_AT`.
        before: chance of each kind by the catalogue, at the age of the machine; what is missing from one is "sound".
        speaks: of a part that was not looked at: how many times likelier all evidence is with it so than with it sound;
            once where a kind is not named.
        said: chance that it is out of order as predicted when it was about to be looked at; None when it never was.
        course: the same before each answer, in their order, and after the last.
    """

    part: str
    part_kind: str
    found: str
    before: Mapping[str, float] = field(default_factory=dict)
    speaks: Mapping[str, float] = field(default_factory=dict)
    said: float | None = None
    course: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class AnswerGiven:
    """One answer in one closed job.

    Arguments:
        sign: its id.
        sense: how it is noticed, a key of `faults.signs.SENSES`.
        noticed: the answer.
        said: chance of "yes" as predicted before the answer.
        shows: how surely the sign should have shown, by what was found and everything else that was answered; None
            when that leaves it open.
    """

    sign: str
    sense: str
    noticed: bool
    said: float
    shows: float | None = None


@dataclass(frozen=True, slots=True)
class ClosedJob:
    """One finished job.

    Arguments:
        id: made from the machine, the evidence and the name, so that no job is counted twice.
        layout: the kind of transport.
        machine: id of the description.
        closed: the day, ISO 8601.
        name: what the shop calls the job; may be empty.
        evidence: all that was noticed and measured.
        cured: parts whose mending cured the complaint; empty when that is not known.
        leading: the part that explained most before anything was opened; "" without evidence.
        leading_share: its share.
        parts: what was looked at, in that order, then the others that the evidence speaks of.
        answers: every answer that was plainly yes or no.
    """

    id: str
    layout: str
    machine: str = ""
    closed: str = ""
    name: str = ""
    evidence: Evidence = field(default_factory=Evidence)
    cured: tuple[str, ...] = ()
    leading: str = ""
    leading_share: float = 0.0
    parts: tuple[PartFound, ...] = ()
    answers: tuple[AnswerGiven, ...] = ()


@dataclass(frozen=True, slots=True)
class Tally:
    """What a shop counted before, on paper: no jobs, only how often a kind of part was found how.

    Arguments:
        id: a name for it, so that it is not counted twice.
        part_kind: as `PartFound.part_kind`.
        found: kind -> how often.
        sound: how often it was looked at and found sound.
        layout, part: given where it was counted on one part of one layout; else it counts as seen elsewhere.
    """

    id: str
    part_kind: str
    found: Mapping[str, int]
    sound: int = 0
    layout: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What a shop has seen: its closed jobs, and what it counted before."""

    jobs: tuple[ClosedJob, ...] = ()
    tallies: tuple[Tally, ...] = ()


def is_plain(answer: Observation) -> bool:
    """Tell whether an answer was yes or no, and sure enough to be held against a prediction."""
    return answer.present is not None and answer.sure >= SURE_ENOUGH


def merged(*several: Knowledge) -> Knowledge:
    """Put knowledge together, no job and no tally counted twice; of two with one id the one closed later stands.

    >>> once = Knowledge((ClosedJob("a", "one_motor_keys"),))
    >>> len(merged(once, once).jobs)
    1
    """
    jobs: dict[str, ClosedJob] = {}
    tallies: dict[str, Tally] = {}
    for one in several:
        for job in one.jobs:
            if job.id not in jobs or jobs[job.id].closed <= job.closed:
                jobs[job.id] = job
        tallies |= {tally.id: tally for tally in one.tallies}
    return Knowledge(tuple(jobs[key] for key in sorted(jobs)), tuple(tallies[key] for key in sorted(tallies)))


def without_job(knowledge: Knowledge, job_id: str) -> Knowledge:
    """Give knowledge as if one job had never been."""
    return replace(knowledge, jobs=tuple(job for job in knowledge.jobs if job.id != job_id))
