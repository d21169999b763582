"""A job on the bench, kept in a folder of its own: what was answered, skipped and recorded, every write whole.

A job is a value; whatever is done to it makes a new one, and `keep_job` writes that. Its answers are kept as the steps
in which they were given, so that undoing takes back the last one, whatever it was. No name that a user gives becomes
a path: jobs and recordings lie under names drawn at random, and the user's own name is kept as words.
"""

import json
import re
import secrets
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from tapewright.jobs.evidence_file import evidence_json, parse_evidence
from tapewright.jobs.examine import examine
from tapewright.jobs.home import bench_home as bench_home
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.record import Heard, Record
from tapewright.words.whole_file import write_whole

SCHEMA: Final = 1
JOB_FILE: Final = "job.json"
HALF_WRITTEN: Final = ".part"
LONGEST_COMPLAINT: Final = 4000
OLDEST_YEARS: Final = 100.0
UNTOUCHED_S: Final = 3600.0
"""A half-written file that has stood still for so long is on nobody's way any more."""
_ID: Final = re.compile(r"[0-9a-f]{16}")
_RECORDING: Final = re.compile(r"[0-9a-f]{16}\.sound")


class NoSuchJobError(LookupError):
    """There is no job of this id."""


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


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A job whose file cannot be read, with the reasons; what lies in its folder is left as it is."""

    id: str
    problems: tuple[Problem, ...]


# --- what can be done to a job ---------------------------------------------------------------------------------------


def begun(machine_id: str, complaint: str = "", age_years: float | None = None) -> Job:
    """Begin a job on a shipped machine.

    Raises:
        InputAtFaultError: for a machine that does not ship, or a complaint or age that cannot be meant.
    """
    problems = _at_fault(complaint, age_years)
    if machine_id not in shipped_ids():
        do = f"Choose one of: {', '.join(shipped_ids())}; or give a description of your own."
        problems.insert(0, Problem("machine", f"is {machine_id!r}, which does not ship.", do))
    if problems:
        raise InputAtFaultError(problems)
    return Job(secrets.token_hex(8), machine_id, complaint=complaint.strip(), age_years=age_years, created=_now())


def begun_on_own(text: str, called: str, complaint: str = "", age_years: float | None = None) -> Job:
    """Begin a job on a machine that the user describes.

    Arguments:
        text: the TOML text of the description; it is kept with the job.
        called: the file's name, for messages.
        complaint: the owner's words.
        age_years: age of rubber and grease.

    Raises:
        InputAtFaultError: with every mistake in the description, and the rest.
    """
    problems = _at_fault(complaint, age_years)
    try:
        read_machine_text(text, called)
    except InputAtFaultError as error:
        problems += error.problems
    if problems:
        raise InputAtFaultError(problems)
    return Job(secrets.token_hex(8), "", text, called, complaint.strip(), age_years, created=_now())


def _at_fault(complaint: str, age_years: float | None) -> list[Problem]:
    problems = []
    if len(complaint) > LONGEST_COMPLAINT:
        found = f"has {len(complaint)} characters."
        problems.append(Problem("the owner's words", found, f"Keep to {LONGEST_COMPLAINT}: what matters most first."))
    if age_years is not None and not 0.0 <= age_years <= OLDEST_YEARS:
        problems.append(Problem("age", f"is {age_years:g} years.", f"Give 0 to {OLDEST_YEARS:g}, or leave it empty."))
    return problems


def answered(job: Job, sign: str, present: bool | None) -> Job:
    """Take an answer about a sign; a later answer to the same sign stands for the earlier one.

    >>> [o.present for o in evidence_of(answered(answered(Job("", "four_track"), "a", True), "a", False)).signs]
    [False]
    """
    step = Observation(sign, present)
    # A button touched twice in a hurry is one answer.
    return job if job.steps[-1:] == (step,) else replace(job, steps=(*job.steps, step))


def skipped(job: Job, sign: str) -> Job:
    """Pass a check over."""
    return replace(job, steps=(*job.steps, Skip(sign)))


def undone(job: Job) -> Job:
    """Take the last answer or skip back; what it replaced stands again."""
    return replace(job, steps=job.steps[:-1])


def without_sign(job: Job, sign: str) -> Job:
    """Take back all that was said about a sign."""
    return replace(job, steps=tuple(step for step in job.steps if step.id != sign))


def put_away(job: Job, *, away: bool) -> Job:
    """Put a job away once it is done, or take it out again."""
    return replace(job, away=away)


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


def findings(job: Job, machine: Machine, heard: Sequence[Heard] = ()) -> Record:
    """Examine a job whose recordings have been measured already: what `examine` would say, without measuring anew.

    Arguments:
        job: as kept.
        machine: the job's.
        heard: what its recordings say, channel by channel.

    Raises:
        InputAtFaultError: for answers about signs that the machine does not have.
    """
    return examine(machine, evidence_of(job), complaint=job.complaint, skipped=skipped_in(job), heard=heard)


# --- where jobs lie --------------------------------------------------------------------------------------------------


def job_folder(home: Path, job_id: str) -> Path:
    """Give the folder of a job.

    Raises:
        NoSuchJobError: for what is no id of a job; nothing else ever becomes part of a path.
    """
    if not _ID.fullmatch(job_id):
        raise NoSuchJobError(job_id)
    return home / "jobs" / job_id


def recording_path(home: Path, job: Job, recording: KeptRecording) -> Path:
    """Give where a recording of a job lies."""
    return job_folder(home, job.id) / recording.file


def keep_job(home: Path, job: Job) -> Job:
    """Write a job, whole or not at all, and give it with the time of its change.

    Raises:
        InputAtFaultError: when it cannot be written.
    """
    job = replace(job, changed=_now())
    write_whole(job_folder(home, job.id) / JOB_FILE, json.dumps(_job_json(job), ensure_ascii=False, indent=2) + "\n")
    return job


def kept_jobs(home: Path) -> list[Job | Unreadable]:
    """List the jobs, the one last changed first, those that cannot be read last."""
    folder = home / "jobs"
    ids = [at.name for at in folder.iterdir() if (at / JOB_FILE).is_file()] if folder.is_dir() else []
    found: list[Job | Unreadable] = []
    for job_id in filter(_ID.fullmatch, ids):
        try:
            found.append(read_job(home, job_id))
        except InputAtFaultError as error:
            found.append(Unreadable(job_id, error.problems))
    return sorted(found, key=lambda one: one.changed if isinstance(one, Job) else "", reverse=True)


def read_job(home: Path, job_id: str) -> Job:
    """Read a job.

    Raises:
        NoSuchJobError: when there is none of this id.
        InputAtFaultError: when its file cannot be read, with the reason.
    """
    path = job_folder(home, job_id) / JOB_FILE
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise NoSuchJobError(job_id) from None
    except (OSError, UnicodeDecodeError) as error:
        raise _damaged(path, f"cannot be read: {error}.") from None
    try:
        found = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        raise _damaged(path, f"is not whole: {error}.") from None
    if not isinstance(found, dict) or found.get("schema") != SCHEMA:
        schema = found.get("schema") if isinstance(found, dict) else None
        raise _damaged(path, f"has schema {schema!r}, and this version knows {SCHEMA}.")
    try:
        return _job(found, job_id)
    except InputAtFaultError as error:
        raise _damaged(path, str(error.problems[0])) from None
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise _damaged(path, f"lacks something or holds something else: {error}.") from None


def _damaged(path: Path, found: str) -> InputAtFaultError:
    do = "The recordings beside it are untouched. Put the file back from a copy, or begin the job anew."
    return InputAtFaultError(Problem(str(path), found, do))


def _job_json(job: Job) -> dict[str, Any]:
    steps: list[dict[str, Any]] = []
    for step in job.steps:
        said = {"id": step.id, "skipped": True} if isinstance(step, Skip) else None
        steps.append(said or evidence_json(Evidence((step,)))["signs"][0])  # type: ignore[arg-type]
    plainly = asdict(job) | {"steps": steps, "recordings": [asdict(one) for one in job.recordings]}
    return {"schema": SCHEMA} | plainly


def _job(found: dict[str, Any], job_id: str) -> Job:
    age = found["age_years"]
    words = {
        key: _words(found[key])
        for key in ("machine_id", "description", "described_in", "complaint", "created", "changed")
    }
    return Job(
        id=job_id,
        age_years=None if age is None else float(age),
        steps=tuple(_step(row) for row in found["steps"]),
        recordings=tuple(_recording(row) for row in found["recordings"]),
        away=found["away"] is True,
        **words,
    )


def _step(row: dict[str, Any]) -> Observation | Skip:
    if row.get("skipped") is True:
        return Skip(_words(row["id"]))
    return parse_evidence(json.dumps({"signs": [row]}), "steps").signs[0]


def _recording(row: dict[str, Any]) -> KeptRecording:
    if not _RECORDING.fullmatch(row["file"]):
        raise ValueError(f"{row['file']!r} is no recording's name")
    tone = row["tone_hz"]
    return KeptRecording(
        row["file"], _words(row["called"]), int(row["size_bytes"]), None if tone is None else float(tone)
    )


def _words(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} where words belong")
    return value


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")


# --- recordings ------------------------------------------------------------------------------------------------------


def place_for_recording(home: Path, job: Job) -> Path:
    """Give a new place in the job's folder for a recording on its way; it counts once `with_recording` has it."""
    return job_folder(home, job.id) / f".{secrets.token_hex(8)}.sound{HALF_WRITTEN}"


def with_recording(home: Path, job: Job, arrived: Path, called: str, tone_hz: float | None = None) -> Job:
    """Add a recording that has arrived whole, and keep the job.

    Arguments:
        home: the folder jobs lie in.
        job: the job as it stands.
        arrived: from `place_for_recording`, written to its end.
        called: what the user calls it.
        tone_hz: the frequency on the test tape.
    """
    final = arrived.with_name(arrived.name.removeprefix(".").removesuffix(HALF_WRITTEN))
    added = KeptRecording(final.name, called_plainly(called), arrived.stat().st_size, tone_hz)
    arrived.replace(final)
    try:
        return keep_job(home, replace(job, recordings=(*job.recordings, added)))
    except BaseException:
        final.unlink(missing_ok=True)
        raise


def without_recording(home: Path, job: Job, file: str) -> Job:
    """Take a recording out of a job, keep the job, and then delete the copy; the user's own file is elsewhere."""
    gone = [one for one in job.recordings if one.file == file]
    job = keep_job(home, replace(job, recordings=tuple(one for one in job.recordings if one.file != file)))
    for one in gone:
        recording_path(home, job, one).unlink(missing_ok=True)
    return job


def called_plainly(name: str) -> str:
    r"""Give what a user calls a file: without folders and what cannot be printed, of a length one can read.

    >>> called_plainly("C:\\tapes\\side a.wav"), called_plainly("../\x00")
    ('side a.wav', 'recording')
    """
    last = re.split(r"[/\\]", name)[-1]
    return "".join(c for c in last if c.isprintable())[:120].strip() or "recording"


def swept(home: Path, now_s: float | None = None) -> int:
    """Delete what a crash left half written and nothing has touched for a while; tell how many files it was.

    Arguments:
        home: the folder jobs lie in.
        now_s: the time, seconds since 1970; None for the clock's.
    """
    before = (time.time() if now_s is None else now_s) - UNTOUCHED_S
    left = [path for path in home.glob(f"jobs/*/.*{HALF_WRITTEN}") if _ID.fullmatch(path.parent.name)]
    left = [path for path in left if path.is_file() and path.stat().st_mtime < before]
    for path in left:
        path.unlink(missing_ok=True)
    return len(left)
