"""What a shop does with its knowledge: close a job into it, look at it, put other files to it, hand it on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tapewright.diagnose.closed_jobs import ClosedJob, Knowledge, merged
from tapewright.diagnose.shop_standing import Standing, standing
from tapewright.jobs.closing import close_job, job_id, parse_findings
from tapewright.jobs.knowledge import knowledge_place, read_knowledge, write_knowledge
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Closed:
    """A job that was closed.

    Arguments:
        job: as it is kept.
        how: "new", "put right" (it was there with other findings), or "known" (it was there just so).
        into: the file it is kept in.
        jobs: how many jobs that file holds now.
    """

    job: ClosedJob
    how: str
    into: Path
    jobs: int


def close_into(
    machine: Machine,
    evidence: Evidence,
    said: Sequence[tuple[str, str]],
    cured: Sequence[str] = (),
    name: str = "",
    into: Path | None = None,
) -> Closed:
    """Close a job and keep it; the same job again is put right, never counted twice.

    Arguments:
        machine: as described.
        evidence: all that was noticed and measured.
        said: ("--bad", "PART=KIND") or ("--sound", "PART"), in the order in which the parts were looked at.
        cured: parts whose mending cured the complaint.
        name: what the shop calls the job.
        into: the file of knowledge; None for the shop's own.

    Raises:
        InputAtFaultError: for names the machine does not have, and for a file that cannot be used.
    """
    path = into or knowledge_place()
    findings = parse_findings(machine, said, cured)
    before = read_knowledge(path) if path.exists() else Knowledge()
    known_as = job_id(machine, evidence, name)
    old = next((job for job in before.jobs if job.id == known_as), None)
    # A job that is put right is predicted again by what was known on its day, not by what came after.
    then = before if old is None else replace(before, jobs=tuple(j for j in before.jobs if j.closed <= old.closed))
    job = close_job(
        machine, evidence, findings, cured=cured, name=name, knowledge=then, closed=old.closed if old else None
    )
    if old is not None and _told(old) == _told(job):
        return Closed(old, "known", path, len(before.jobs))
    after = merged(before, Knowledge((job,)))
    write_knowledge(path, after)
    return Closed(job, "new" if old is None else "put right", path, len(after.jobs))


def _told(job: ClosedJob) -> tuple[object, ...]:
    """Give what people said of a job, without what was worked out."""
    return sorted(job.cured), sorted((one.part, one.found) for one in job.parts)


@dataclass(frozen=True, slots=True)
class Shop:
    """Where a shop stands, and the file that was looked at.

    Arguments:
        path: the file.
        standing: what was learnt.
        added: jobs that other files brought.
        written: the files that were written.
    """

    path: Path
    standing: Standing
    added: int
    written: tuple[Path, ...]


def look_at(path: Path | None = None, add: Sequence[Path] = (), out: Path | None = None) -> Shop:
    """Look at knowledge, put the jobs of other files to it, and hand all of it on in a file of its own.

    Arguments:
        path: the file of knowledge; None for the shop's own.
        add: other files, whose jobs are put to it; one that is there already is not counted again.
        out: where to write all of it; None for nowhere else.

    Raises:
        InputAtFaultError: for a file that cannot be used.
    """
    place = path or knowledge_place()
    own = Knowledge() if add and not place.exists() else read_knowledge(place)
    together = merged(own, *[read_knowledge(other) for other in add])
    written = []
    if add:
        write_knowledge(place, together)
        written.append(place)
    if out is not None:
        write_knowledge(out, together)
        written.append(out)
    return Shop(place, standing(together), len(together.jobs) - len(own.jobs), tuple(written))
