"""Where a shop stands: what its jobs have taught, and how well what was predicted came true."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.diagnose.calibration import (
    Bin,
    Murphy,
    bias_with_doubt,
    brier_with_doubt,
    count_with_interval,
    log_score,
    murphy_corrected,
    reliability_table,
)
from tapewright.diagnose.closed_jobs import NOT_LOOKED_AT, SOUND, ClosedJob, Knowledge
from tapewright.diagnose.learnt import LearntRate, LearntSense, learnt_rates, learnt_senses
from tapewright.words.estimate import Estimate

ENOUGH_JOBS: Final = 100
"""With fewer jobs than this the intervals are given and no table by chance: its bins would be a game of dice."""


@dataclass(frozen=True, slots=True)
class Track:
    """How well one kind of prediction came true.

    Arguments:
        what: "parts": whether a part that was looked at is out of order; "answers": whether a sign is noticed.
        count: predictions.
        jobs: jobs they come from.
        said: mean of what was predicted.
        came_true: share that came true.
        bias: said less came true, with the half-width of its 95 % interval.
        brier: mean square, 0 best, with the half-width of its 95 % interval.
        log_score: mean of minus the logarithm of the chance given to what happened.
        murphy: the Brier score of the predictions rounded to tenths in its three parts, freed of the bias of few cases.
        bins: how often predictions of about the same chance came true; empty with fewer than `ENOUGH_JOBS` jobs.
    """

    what: str
    count: int
    jobs: int
    said: float
    came_true: float
    bias: Estimate
    brier: Estimate
    log_score: float
    murphy: Murphy
    bins: tuple[Bin, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """What a shop has learnt.

    Arguments:
        jobs: how many were closed.
        layouts: layout -> jobs.
        tallies: how many older counts were put in.
        rates: of every part that was ever looked at.
        senses: how well people notice.
        leading_right: of the jobs whose cure is known, in how many the leading suspect was among what cured; None when
            there are none. `Bin.predicted` is the mean share that it was given.
        tracks: how well predictions came true; those without a case are left out.
    """

    jobs: int
    layouts: dict[str, int]
    tallies: int
    rates: tuple[LearntRate, ...]
    senses: tuple[LearntSense, ...]
    leading_right: Bin | None
    tracks: tuple[Track, ...]


def standing(knowledge: Knowledge) -> Standing:
    """Work out where a shop stands."""
    layouts: dict[str, int] = {}
    for job in knowledge.jobs:
        layouts[job.layout] = layouts.get(job.layout, 0) + 1
    tracks = [_track("parts", parts_said(knowledge.jobs)), _track("answers", answers_said(knowledge.jobs))]
    return Standing(
        jobs=len(knowledge.jobs),
        layouts=dict(sorted(layouts.items())),
        tallies=len(knowledge.tallies),
        rates=learnt_rates(knowledge),
        senses=learnt_senses(knowledge),
        leading_right=_leading_right(knowledge.jobs),
        tracks=tuple(track for track in tracks if track is not None),
    )


Case = tuple[float, bool, str]
"""What was predicted, whether it came true, and the id of the job."""


def parts_said(jobs: Sequence[ClosedJob]) -> list[Case]:
    """List for every part that was looked at how likely it was said to be out of order just before, and whether."""
    return [
        (one.said, one.found != SOUND, job.id)
        for job in jobs
        for one in job.parts
        if one.said is not None and one.found != NOT_LOOKED_AT
    ]


def answers_said(jobs: Sequence[ClosedJob]) -> list[Case]:
    """List for every answer how likely "yes" was said to be just before, and whether it was."""
    return [(one.said, one.noticed, job.id) for job in jobs for one in job.answers]


def _leading_right(jobs: Sequence[ClosedJob]) -> Bin | None:
    told = [(job.leading_share, job.leading in job.cured) for job in jobs if job.leading and job.cured]
    return count_with_interval(told) if told else None


def _track(what: str, cases: Sequence[Case]) -> Track | None:
    if not cases:
        return None
    said, so, jobs = [case[0] for case in cases], [case[1] for case in cases], [case[2] for case in cases]
    many = len(set(jobs)) >= ENOUGH_JOBS
    return Track(
        what=what,
        count=len(cases),
        jobs=len(set(jobs)),
        said=sum(said) / len(said),
        came_true=sum(so) / len(so),
        bias=bias_with_doubt(said, so, jobs),
        brier=brier_with_doubt(said, so, jobs),
        log_score=log_score(said, so),
        murphy=murphy_corrected([round(chance, 1) for chance in said], so),
        bins=reliability_table(said, so) if many else (),
    )
