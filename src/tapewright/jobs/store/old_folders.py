"""Jobs as earlier versions kept them: a folder each, with a `job.json` in it. They are read here, and never written."""

import json
import re
from pathlib import Path
from typing import Any, Final

from tapewright.jobs.bench_job import Job, KeptRecording, Skip
from tapewright.jobs.evidence_file import parse_evidence
from tapewright.jobs.store.nouns import NoSuchJobError
from tapewright.words.evidence import Observation
from tapewright.words.problem import InputAtFaultError, Problem

SCHEMA: Final = 1
JOB_FILE: Final = "job.json"
_ID: Final = re.compile(r"[0-9a-f]{16}")
_RECORDING: Final = re.compile(r"[0-9a-f]{16}\.sound")


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
