"""A job as a value: the latest answer stands, and a file's name is words."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.bench_job import Job, Skip, answered, called_plainly, evidence_of, machine_of, skipped_in
from tapewright.jobs.home import bench_home
from tapewright.words.evidence import Observation
from tapewright.words.problem import InputAtFaultError

EMPTY = Job("0" * 16, "one_motor_portable")


def said(job: Job) -> list[tuple[str, bool | None]]:
    return [(o.id, o.present) for o in evidence_of(job).signs]


def test_the_latest_answer_stands_in_the_order_of_the_latest() -> None:
    job = answered(answered(answered(EMPTY, "a", True), "b", False), "a", False)
    assert said(job) == [("b", False), ("a", False)]


def test_an_answer_after_a_skip_stands_and_a_double_touch_is_one_answer() -> None:
    job = answered(replace(EMPTY, steps=(Skip("a"), Skip("b"))), "a", None)
    assert (said(job), skipped_in(job)) == ([("a", None)], ("b",))
    assert answered(job, "a", None) == job


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from([True, False, None])), max_size=8))
def test_of_each_sign_one_answer_is_left(steps: list[tuple[str, bool | None]]) -> None:
    job = replace(EMPTY, steps=tuple(Observation(sign, present) for sign, present in steps))
    assert dict(said(job)) == dict(steps)
    assert len(said(job)) == len(dict(steps))


@given(st.text(max_size=200))
def test_what_a_file_is_called_is_words_only(name: str) -> None:
    called = called_plainly(name)
    assert 0 < len(called) <= 120
    assert not set(called) & set("/\\\0\n")


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
