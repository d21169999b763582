"""One machine on the bench as a value: what was answered, skipped and recorded."""

import re
from dataclasses import dataclass, field, replace
from typing import Final

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError, Problem

OLDEST_YEARS: Final = 100.0


@dataclass(frozen=True, slots=True)
class Skip:
    """A check that was passed over: not to be proposed again."""

    id: str


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """A recording that lies in the job's folder, byte for byte as it was given.

    Arguments:
        file: its name there, drawn at random.
        called: what the user calls it; words, never a path.
        size_bytes: its length.
        tone_hz: the frequency on the test tape; None for the usual one that is nearest.
    """

    file: str
    called: str
    size_bytes: int
    tone_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One machine on the bench.

    Arguments:
        id: drawn at random; names its folder.
        machine_id: a shipped machine; "" when `description` is given.
        description: the text of a description of the user's own; "" for a shipped machine.
        described_in: the name of the file that text came from, as words.
        complaint: the owner's words.
        age_years: age of rubber and grease; None when unknown.
        steps: answers and skips, in the order they were given.
        recordings: in the order they were added.
        away: whether the job is done and put away.
        created, changed: ISO 8601, UTC.
    """

    id: str
    machine_id: str
    description: str = ""
    described_in: str = ""
    complaint: str = ""
    age_years: float | None = None
    steps: tuple[Observation | Skip, ...] = ()
    recordings: tuple[KeptRecording, ...] = ()
    away: bool = False
    created: str = field(default="", compare=False)
    changed: str = field(default="", compare=False)


def answered(job: Job, sign: str, present: bool | None) -> Job:
    """Take an answer about a sign; a later answer to the same sign stands for the earlier one.

    >>> [o.present for o in evidence_of(answered(answered(Job("", "four_track"), "a", True), "a", False)).signs]
    [False]
    """
    step = Observation(sign, present)
    # A button touched twice in a hurry is one answer.
    return job if job.steps[-1:] == (step,) else replace(job, steps=(*job.steps, step))


def evidence_of(job: Job) -> Evidence:
    """Give what was answered as evidence: of each sign the latest answer."""
    latest = _latest(job)
    return Evidence(tuple(s for s in latest if isinstance(s, Observation)), {}, job.age_years)


def skipped_in(job: Job) -> tuple[str, ...]:
    """Give the checks that were passed over and not answered since."""
    return tuple(step.id for step in _latest(job) if isinstance(step, Skip))


def _latest(job: Job) -> list[Observation | Skip]:
    by_sign: dict[str, Observation | Skip] = {}
    for step in job.steps:
        by_sign.pop(step.id, None)
        by_sign[step.id] = step
    return list(by_sign.values())


def machine_of(job: Job) -> Machine:
    """Give the machine of a job.

    Raises:
        InputAtFaultError: when it no longer ships, or its description no longer reads.
    """
    if job.description:
        return read_machine_text(job.description, job.described_in)
    if job.machine_id not in shipped_ids():
        do = f"Begin a new job on one of: {', '.join(shipped_ids())}."
        raise InputAtFaultError(Problem("machine", f"{job.machine_id!r} does not ship with this version.", do))
    return shipped(job.machine_id)


def called_plainly(name: str) -> str:
    r"""Give what a user calls a file: without folders and what cannot be printed, of a length one can read.

    >>> called_plainly("C:\\tapes\\side a.wav"), called_plainly("../\x00")
    ('side a.wav', 'recording')
    """
    last = re.split(r"[/\\]", name)[-1]
    return "".join(c for c in last if c.isprintable())[:120].strip() or "recording"
