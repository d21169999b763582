"""Who is at the bench: by name in passing where nobody has a password, by password as soon as somebody has one."""

from pathlib import Path

import argon2
import pytest

from tapewright.jobs import people
from tapewright.jobs.people import Role, remove_person, set_person
from tests.web.attacker import PASSWORD, sign_in
from tests.web.visitor import Visitor, seen


def who_of(visitor: Visitor, job: str) -> set[str]:
    return {step.who for step in visitor.store.history(job.removeprefix("/jobs/")) if step.number > 1}


def test_a_name_said_in_passing_stands_beside_what_is_done(bench: Visitor, job: str) -> None:
    assert "Who is at the bench?" in seen(bench.get("/").text)
    answer = bench.post("/who", {"who": "  Ana\u00a0\u00c9lise \n", "to": job})
    assert (answer.status_code, answer.headers["location"]) == (303, job)
    assert "At the bench: Ana \u00c9lise" in seen(bench.get("/").text)
    bench.say(job, "play_tape_races", "yes")
    bench.post(f"{job}/add", {"kind": "note", "what": "looked at"})
    assert who_of(bench, job) == {"Ana \u00c9lise"}
    bench.post("/who", {"who": ""})
    assert "Who is at the bench?" in seen(bench.get("/").text)


def test_who_signs_in_comes_to_the_page_that_was_asked_for(stranger: Visitor) -> None:
    asked = stranger.get("/arrive")
    assert (asked.status_code, asked.headers["location"]) == (303, "/sign-in?to=/arrive")
    page = stranger.get(asked.headers["location"]).text
    assert 'name="to" value="/arrive"' in page
    assert "foot" not in page.partition("</main>")[2], "nobody is at it yet"
    assert sign_in(stranger, to="/arrive").headers["location"] == "/arrive"
    assert "At the bench: Ana" in seen(stranger.get("/arrive").text)
    sign_in(stranger, "bo")
    assert "At the counter: Bo" in seen(stranger.get("/arrive").text)


def test_from_the_first_password_on_everybody_signs_in_and_after_the_last_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(people, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    with Visitor(tmp_path) as visitor:
        assert visitor.get("/").status_code == 200
        set_person(tmp_path, "Ana", Role.BENCH, PASSWORD)
        assert visitor.get("/").status_code == 303
        assert sign_in(visitor).status_code == 303
        assert visitor.get("/").status_code == 200
        remove_person(tmp_path, "Ana")
        assert visitor.get("/").status_code == 200


def test_what_is_typed_wrongly_is_said_on_the_same_page_without_the_password(stranger: Visitor) -> None:
    answer = sign_in(stranger, "Ana", "a wrong one")
    assert answer.status_code == 422
    assert 'value="Ana"' in answer.text
    assert "a wrong one" not in answer.text
    assert "name or password is not right." in seen(answer.text)


def test_a_page_left_open_past_its_session_says_so_and_loses_nothing_else(stranger: Visitor) -> None:
    answer = stranger.post("/jobs", {"machine": "four_track_starter", "complaint": "slow"})
    assert (answer.status_code, "Sign in first" in answer.text) == (401, True)
