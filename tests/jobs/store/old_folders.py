"""Folders as earlier versions wrote them, for the tests that take them over."""

import json
import secrets
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tapewright.jobs.bench_job import Job, KeptRecording, Skip
from tapewright.jobs.evidence_file import evidence_json
from tapewright.jobs.store.old_folders import JOB_FILE, SCHEMA, job_folder
from tapewright.words.evidence import Evidence
from tapewright.words.whole_file import write_whole


def begun(machine_id: str, complaint: str = "", age_years: float | None = None) -> Job:
    return Job(secrets.token_hex(8), machine_id, complaint=complaint, age_years=age_years, created=_now())


def keep_job(home: Path, job: Job) -> Job:
    """Write a job as earlier versions did."""
    job = replace(job, changed=_now())
    write_whole(job_folder(home, job.id) / JOB_FILE, json.dumps(_job_json(job), ensure_ascii=False, indent=2) + "\n")
    return job


def with_recording(home: Path, job: Job, content: bytes, called: str, tone_hz: float | None = None) -> Job:
    """Add a recording as earlier versions did."""
    added = KeptRecording(f"{secrets.token_hex(8)}.sound", called, len(content), tone_hz)
    folder = job_folder(home, job.id)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / added.file).write_bytes(content)
    return keep_job(home, replace(job, recordings=(*job.recordings, added)))


def _job_json(job: Job) -> dict[str, Any]:
    steps: list[dict[str, Any]] = []
    for step in job.steps:
        said = {"id": step.id, "skipped": True} if isinstance(step, Skip) else None
        steps.append(said or evidence_json(Evidence((step,)))["signs"][0])  # type: ignore[arg-type]
    plainly = asdict(job) | {"steps": steps, "recordings": [asdict(one) for one in job.recordings]}
    return {"schema": SCHEMA} | plainly


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")
