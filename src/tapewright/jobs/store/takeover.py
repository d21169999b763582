"""Jobs of earlier versions, a folder each: taken over into the database once, and left in their folders as they are.

Every answer becomes a step of its own, so that undo goes on where it stood. Recordings are copied, and so is `job.json`
itself: whatever it holds is kept to the letter.
"""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Engine, insert, select

from tapewright.jobs.bench_job import Job, Skip
from tapewright.jobs.store import files
from tapewright.jobs.store.database import lock, reading, writing
from tapewright.jobs.store.history import Piece, Said, add_step, begin, bring_after
from tapewright.jobs.store.models import JOB, TAKEN
from tapewright.jobs.store.nouns import (
    Answer,
    Attached,
    FileKind,
    Item,
    NoSuchJobError,
    Note,
    Owner,
    Particulars,
    Status,
)
from tapewright.jobs.store.old_folders import JOB_FILE, job_folder, read_job, recording_path
from tapewright.jobs.store.steps import Steps, name_files, next_ticket
from tapewright.jobs.store.values import checked, plain_of
from tapewright.words.problem import InputAtFaultError, Problem

HOW: Final = "taken over"
NO_CHARACTER: Final = "\ufffd"


def take_over(engine: Engine, home: Path, folder: Path) -> list[Problem]:
    """Take over every job's folder that has not been taken over yet; tells of those that cannot be read.

    Arguments:
        engine: the database.
        home: the folder that earlier versions kept jobs in.
        folder: the folder of the store's files.
    """
    old = home / "jobs"
    found = sorted(at.name for at in old.iterdir() if (at / JOB_FILE).is_file()) if old.is_dir() else []
    if not found:
        return []
    with reading(engine) as connection:
        known = set(connection.execute(select(TAKEN.c.id)).scalars())
    problems, jobs = list[Problem](), list[Job]()
    for job_id in found:
        if job_id in known:
            continue
        try:
            jobs.append(read_job(home, job_id))
        except NoSuchJobError:
            continue  # a folder that is nobody's job
        except InputAtFaultError as error:
            problems += error.problems
    for job in sorted(jobs, key=lambda one: one.created):
        try:
            problems += _taken(engine, home, folder, job)
        except InputAtFaultError as error:
            where = str(job_folder(home, job.id) / JOB_FILE)
            problems += [
                Problem(where, f"was not taken over: {one.where} {one.found}", one.do) for one in error.problems
            ]
    return problems


def _taken(engine: Engine, home: Path, folder: Path, job: Job) -> list[Problem]:
    items, problems = _files_of(home, folder, job)
    created, changed = (_moment(text) for text in (job.created or job.changed, job.changed or job.created))
    with writing(engine) as connection:
        lock(connection, "opening")
        there = connection.execute(select(JOB.c.id).where(JOB.c.id == job.id)).first()
        if there is not None or connection.execute(select(TAKEN.c.id).where(TAKEN.c.id == job.id)).first() is not None:
            return []  # by another program, a moment ago
        begin(connection, job.id, next_ticket(connection, created.year), created)
        first = [
            Piece("job", job.id, "add", checked("job", plain_of(_particulars(job)))),
            Piece("owner", job.id, "add", checked("owner", plain_of(Owner(owner_id=job.id)))),
        ]
        done = [(first, created)]
        done += [(_pieces(job.id, [_answer(step)]), changed) for step in job.steps]
        done += [(_pieces(job.id, [item]), changed) for item in items]
        for pieces, at in done:
            name_files(connection, folder, job.id, pieces)
            add_step(connection, job.id, pieces, Said("", HOW, at), bring=False)
        for pieces, _ in done:
            for piece in pieces:
                bring_after(connection, job.id, piece.entity, piece.entity_id)
        connection.execute(insert(TAKEN).values(id=job.id, at=datetime.now(UTC)))
    return problems


def _files_of(home: Path, folder: Path, job: Job) -> tuple[list[Item], list[Problem]]:
    """Copy what lies in a job's folder into the store."""
    items, problems = list[Item](), list[Problem]()
    for one in job.recordings:
        path = recording_path(home, job, one)
        try:
            with path.open("rb") as source:
                stored = files.put(folder, files.blocks_of(source), one.called)
        except OSError as error:
            found = f"could not be taken over into the job store: {error.strerror or error}."
            problems.append(Problem(str(path), found, "Add the recording to the job anew."))
            items.append(Note(f"The recording {_clean(one.called)!r} was not there when the job was taken over."))
            continue
        called, kind = _clean(one.called), FileKind.RECORDING
        items.append(Attached(stored.sha256, stored.size_bytes, called, kind, one.tone_hz or None))
    with (job_folder(home, job.id) / JOB_FILE).open("rb") as source:
        stored = files.put(folder, files.blocks_of(source), JOB_FILE)
    note = "The job as an earlier version kept it."
    items.append(Attached(stored.sha256, stored.size_bytes, JOB_FILE, FileKind.DOCUMENT, note=note, personal=True))
    return items, problems


def _particulars(job: Job) -> Particulars:
    return Particulars(
        machine_id=_clean(job.machine_id),
        description=_clean(job.description),
        described_in=_clean(job.described_in),
        complaint=_clean(job.complaint),
        age_years=job.age_years,
        status=Status.AWAY if job.away else Status.LOOKED_AT,
    )


def _answer(step: object) -> Answer:
    if isinstance(step, Skip):
        return Answer(_clean(step.id), skipped=True)
    said = plain_of(step)
    when, cassette, after = _clean(said["when"]), _clean(said["cassette"]), tuple(map(_clean, said["after"]))
    return Answer(_clean(said["id"]), said["present"], said["sure"], when, cassette, after)


def _pieces(job_id: str, items: list[Item]) -> list[Piece]:
    gathered = Steps(job_id)
    for item in items:
        gathered.add(item)
    return gathered.pieces


def _clean(words: str) -> str:
    """Put a sign in the place of what no database takes; `job.json` itself is kept beside it."""
    return "".join(NO_CHARACTER if c == "\x00" or "\ud800" <= c <= "\udfff" else c for c in words)


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return datetime.now(UTC)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
