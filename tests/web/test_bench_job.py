"""A job is kept whole, comes back as it was, and gives the findings that the command line gives."""

import json
import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.bench_job import (
    HALF_WRITTEN,
    JOB_FILE,
    UNTOUCHED_S,
    Job,
    NoSuchJobError,
    Skip,
    Unreadable,
    answered,
    begun,
    begun_on_own,
    bench_home,
    called_plainly,
    evidence_of,
    findings,
    job_folder,
    keep_job,
    kept_jobs,
    machine_of,
    place_for_recording,
    put_away,
    read_job,
    recording_path,
    skipped,
    skipped_in,
    swept,
    undone,
    with_recording,
    without_recording,
    without_sign,
)
from tapewright.jobs.examine import examine, hear_all
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation
from tapewright.words.problem import InputAtFaultError
from tests.web.visitor import tone_with_flutter

MACHINE = "one_motor_portable"
STEPS = st.lists(
    st.one_of(
        st.builds(Observation, id=st.sampled_from("abc"), present=st.sampled_from([True, False, None])),
        st.builds(Skip, id=st.sampled_from("abc")),
    ),
    max_size=8,
).map(tuple)


def said(job: Job) -> list[tuple[str, bool | None]]:
    return [(o.id, o.present) for o in evidence_of(job).signs]


def test_undo_takes_back_whatever_was_last() -> None:
    job = answered(skipped(answered(answered(begun(MACHINE), "a", True), "b", False), "c"), "a", False)
    assert said(job) == [("b", False), ("a", False)]
    assert said(undone(job)) == [("a", True), ("b", False)]
    assert skipped_in(undone(job)) == ("c",)
    assert skipped_in(undone(undone(job))) == ()
    assert undone(begun(MACHINE)).steps == ()


def test_an_answer_after_a_skip_stands_and_a_double_touch_is_one_answer() -> None:
    job = answered(skipped(begun(MACHINE), "a"), "a", None)
    assert (said(job), skipped_in(job)) == ([("a", None)], ())
    assert answered(job, "a", None) == job
    assert without_sign(job, "a").steps == ()


@given(STEPS, st.text(max_size=30), st.one_of(st.none(), st.floats(0, 100)), st.booleans())
def test_a_job_comes_back_as_it_was(
    tmp_path_factory: pytest.TempPathFactory,
    steps: tuple[Observation | Skip, ...],
    complaint: str,
    age: float | None,
    away: bool,
) -> None:
    home = tmp_path_factory.mktemp("home")
    job = put_away(replace(begun(MACHINE, "", age), steps=steps, complaint=complaint), away=away)
    kept = keep_job(home, job)
    back = read_job(home, job.id)
    assert back == kept
    assert (back.created, back.changed) == (kept.created, kept.changed)
    assert back.changed


def test_a_recording_is_kept_byte_for_byte_under_a_name_of_ours(tmp_path: Path) -> None:
    job = keep_job(tmp_path, begun(MACHINE))
    arrived = place_for_recording(tmp_path, job)
    arrived.write_bytes(b"\x00sound")
    job = with_recording(tmp_path, job, arrived, "../../etc/passwd.wav", 3150.0)
    (one,) = job.recordings
    assert one.called == "passwd.wav"
    assert "passwd" not in one.file
    assert recording_path(tmp_path, job, one).read_bytes() == b"\x00sound"
    assert read_job(tmp_path, job.id).recordings == (one,)
    assert without_recording(tmp_path, job, one.file).recordings == ()
    assert [path.name for path in job_folder(tmp_path, job.id).iterdir()] == [JOB_FILE]


@pytest.mark.parametrize(
    "job_id", ["", "..", "../x", "0123456789abcde", "0123456789ABCDEF", "0123456789abcdef/", "x" * 16]
)
def test_only_an_id_becomes_a_path(tmp_path: Path, job_id: str) -> None:
    with pytest.raises(NoSuchJobError):
        job_folder(tmp_path, job_id)


@given(st.text(max_size=200))
def test_what_a_file_is_called_is_words_only(name: str) -> None:
    called = called_plainly(name)
    assert 0 < len(called) <= 120
    assert not set(called) & set("/\\\0\n")


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
def test_a_damaged_job_is_said_to_be_and_the_others_stay(tmp_path: Path, text: str, says: str) -> None:
    good, bad = keep_job(tmp_path, begun(MACHINE)), keep_job(tmp_path, begun(MACHINE))
    path = job_folder(tmp_path, bad.id) / JOB_FILE
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    first, second = kept_jobs(tmp_path)
    assert first == good
    assert isinstance(second, Unreadable)
    assert says in second.problems[0].found
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


def test_only_what_is_half_written_and_stands_still_is_swept(tmp_path: Path) -> None:
    job = keep_job(tmp_path, begun(MACHINE))
    folder = job_folder(tmp_path, job.id)
    (folder / f".old.sound{HALF_WRITTEN}").write_bytes(b"x")
    (folder / "whole.sound").write_bytes(b"x")
    assert swept(tmp_path) == 0, "it may be on its way"
    (folder / f".new.sound{HALF_WRITTEN}").write_bytes(b"x")
    os.utime(folder / f".new.sound{HALF_WRITTEN}", (time.time() + 9e5,) * 2)
    assert swept(tmp_path, time.time() + UNTOUCHED_S + 5.0) == 1
    assert sorted(path.name for path in folder.iterdir()) == [f".new.sound{HALF_WRITTEN}", JOB_FILE, "whole.sound"]


def test_half_written_files_are_not_taken_for_jobs(tmp_path: Path) -> None:
    job = keep_job(tmp_path, begun(MACHINE))
    folder = job_folder(tmp_path, job.id)
    (folder / f".{JOB_FILE}.x{HALF_WRITTEN}").write_text('{"schema": 1, "comp', "utf-8")
    empty = folder.with_name("0" * 16)
    empty.mkdir()
    (empty / f".{JOB_FILE}.x{HALF_WRITTEN}").write_text("", "utf-8")
    assert kept_jobs(tmp_path) == [job]


def test_mistakes_come_together() -> None:
    with pytest.raises(InputAtFaultError) as caught:
        begun("no such", "x" * 5000, 1000.0)
    assert [problem.where for problem in caught.value.problems] == ["machine", "the owner's words", "age"]
    with pytest.raises(InputAtFaultError) as caught:
        begun_on_own("schema = 1\nrotors = 3", "mine.toml", age_years=-1.0)
    assert caught.value.problems[0].where == "age"
    assert len(caught.value.problems) > 1


def test_a_machine_that_no_longer_ships_is_a_mistake_and_no_crash() -> None:
    with pytest.raises(InputAtFaultError):
        machine_of(Job("0" * 16, "gone"))


def test_jobs_lie_where_the_system_keeps_data(tmp_path: Path) -> None:
    assert bench_home(tmp_path) == tmp_path
    assert bench_home(environment={"TAPEWRIGHT_DATA": str(tmp_path)}) == tmp_path
    named = {"win32": "LOCALAPPDATA"}.get(sys.platform, "XDG_DATA_HOME")
    if sys.platform != "darwin":
        assert bench_home(environment={named: str(tmp_path)}) == tmp_path / "tapewright"
        assert bench_home(environment={named: ""}).name == "tapewright"


def test_findings_of_a_measured_job_are_those_of_the_pipeline(tmp_path: Path) -> None:
    """Two roads that must meet: measuring first and examining then, and `examine` with the file."""
    path = tone_with_flutter(tmp_path / "a.wav", flutter_hz=7.52)
    machine = shipped(MACHINE)
    job = skipped(answered(replace(begun(MACHINE), complaint="slow"), "play_tape_uneven", True), "play_pack_loose")
    ours = findings(job, machine, hear_all(machine, [path]))
    theirs = examine(machine, evidence_of(job), [path], complaint="slow", skipped=skipped_in(job))
    assert [item for one in ours.heard for item in one.budget], "the recording must speak about a part"
    assert ours.beliefs == theirs.beliefs
    assert ours.none_of_these == theirs.none_of_these
    assert (ours.next_check, ours.plan, ours.clash) == (theirs.next_check, theirs.plan, theirs.clash)
    assert (ours.evidence, ours.notes) == (theirs.evidence, theirs.notes)
    assert [(a.id, a.present) for a in ours.answered] == [(a.id, a.present) for a in theirs.answered]
