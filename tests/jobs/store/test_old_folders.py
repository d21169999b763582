"""Folders of earlier versions are read as they were written, or refused with the reason."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.bench_job import Skip
from tapewright.jobs.store.nouns import NoSuchJobError
from tapewright.jobs.store.old_folders import JOB_FILE, job_folder, read_job, recording_path
from tapewright.words.evidence import Observation
from tapewright.words.problem import InputAtFaultError
from tests.jobs.store.old_folders import begun, keep_job, with_recording

MACHINE = "one_motor_portable"
STEPS = st.lists(
    st.one_of(
        st.builds(Observation, id=st.sampled_from("abc"), present=st.sampled_from([True, False, None])),
        st.builds(Skip, id=st.sampled_from("abc")),
    ),
    max_size=8,
).map(tuple)


@given(STEPS, st.text(max_size=30), st.one_of(st.none(), st.floats(0, 100)), st.booleans())
def test_a_job_comes_back_as_it_was(
    tmp_path_factory: pytest.TempPathFactory,
    steps: tuple[Observation | Skip, ...],
    complaint: str,
    age: float | None,
    away: bool,
) -> None:
    home = tmp_path_factory.mktemp("home")
    job = replace(begun(MACHINE, "", age), steps=steps, complaint=complaint, away=away)
    kept = keep_job(home, job)
    back = read_job(home, job.id)
    assert back == kept
    assert (back.created, back.changed) == (kept.created, kept.changed)
    assert back.changed


def test_a_recording_is_found_where_it_lies(tmp_path: Path) -> None:
    job = with_recording(tmp_path, begun(MACHINE), b"\x00sound", "side a.wav", 3150.0)
    (one,) = read_job(tmp_path, job.id).recordings
    assert recording_path(tmp_path, job, one).read_bytes() == b"\x00sound"


@pytest.mark.parametrize(
    "job_id", ["", "..", "../x", "0123456789abcde", "0123456789ABCDEF", "0123456789abcdef/", "x" * 16]
)
def test_only_an_id_becomes_a_path(tmp_path: Path, job_id: str) -> None:
    with pytest.raises(NoSuchJobError):
        job_folder(tmp_path, job_id)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not whole"),
        ("[]", "schema"),
        ('{"schema": 2}', "schema 2"),
        ('{"schema": 1}', "lacks"),
        ("\udcff", "cannot be read"),
        ("[" * 100_000, "not whole"),
    ],
)
def test_a_damaged_job_is_said_to_be_and_left(tmp_path: Path, text: str, says: str) -> None:
    job = keep_job(tmp_path, begun(MACHINE))
    path = job_folder(tmp_path, job.id) / JOB_FILE
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(InputAtFaultError) as refused:
        read_job(tmp_path, job.id)
    assert says in refused.value.problems[0].found
    assert path.read_bytes() == text.encode("utf-8", "surrogateescape")


@pytest.mark.parametrize(
    "spoilt",
    [
        {"steps": [{"id": "a"}]},
        {"steps": [{"id": 3, "skipped": True}]},
        {"steps": None},
        {"recordings": [{"file": "../../x", "called": "x", "size_bytes": 1, "tone_hz": None}]},
        {"complaint": 7},
        {"age_years": "old"},
    ],
)
def test_a_job_that_somebody_spoilt_is_said_to_be(tmp_path: Path, spoilt: dict[str, object]) -> None:
    job = keep_job(tmp_path, begun(MACHINE))
    path = job_folder(tmp_path, job.id) / JOB_FILE
    path.write_text(json.dumps(json.loads(path.read_text("utf-8")) | spoilt), "utf-8")
    with pytest.raises(InputAtFaultError):
        read_job(tmp_path, job.id)
