"""Who may come to the bench: kept, read back, refused with a sentence; the password itself is kept nowhere."""

import json
import os
import stat
from pathlib import Path

import argon2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapewright.jobs import people
from tapewright.jobs.people import PEOPLE_FILE, Role, let_in, plain_name, read_people, remove_person, set_person
from tapewright.words.problem import InputAtFaultError

PASSWORD = "seven invented tape reels"


LITTLE_WORK = argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@pytest.fixture
def little_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(people, "_HASHER", LITTLE_WORK)
    monkeypatch.setattr(people, "_of_nobody", lambda: LITTLE_WORK.hash("nobody's"))


def test_somebody_comes_in_by_name_and_password(tmp_path: Path) -> None:
    assert read_people(tmp_path) == ()
    ana = set_person(tmp_path, " Ana  Two ", Role.BENCH, PASSWORD)
    assert (ana.name, ana.role) == ("Ana Two", Role.BENCH)
    assert read_people(tmp_path) == (ana,)
    assert let_in((ana,), "ana two", PASSWORD) == ana
    assert let_in((ana,), "Ana Two", PASSWORD + "x") is None
    assert let_in((ana,), "Bo", PASSWORD) is None
    assert let_in((), "", "") is None


def test_what_is_kept_is_made_with_the_memory_and_passes_that_the_standard_recommends(tmp_path: Path) -> None:
    """RFC 9106, section 4, second recommended option: argon2id, 3 passes, 2**16 KiB, salt of 128 bits, tag of 256."""
    kept = argon2.extract_parameters(set_person(tmp_path, "Ana", Role.BENCH, PASSWORD).password_hash)
    assert (kept.type, kept.version) == (argon2.Type.ID, 19)
    assert (kept.time_cost, kept.memory_cost, kept.salt_len, kept.hash_len) == (3, 2**16, 16, 32)


@pytest.mark.usefixtures("little_work")
def test_the_same_password_is_kept_differently_each_time_and_by_its_owner_alone(tmp_path: Path) -> None:
    first = set_person(tmp_path, "Ana", Role.BENCH, PASSWORD)
    second = set_person(tmp_path, "Bo", Role.COUNTER, PASSWORD)
    assert first.password_hash != second.password_hash
    assert PASSWORD not in (tmp_path / PEOPLE_FILE).read_text("utf-8")
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / PEOPLE_FILE).stat().st_mode) == 0o600


@pytest.mark.usefixtures("little_work")
def test_somebody_known_gets_another_role_and_password(tmp_path: Path) -> None:
    set_person(tmp_path, "Ana", Role.BENCH, PASSWORD)
    set_person(tmp_path, "ANA", Role.COUNTER, "another invented one")
    (only,) = read_people(tmp_path)
    assert (only.name, only.role) == ("ANA", Role.COUNTER)
    assert let_in((only,), "ana", PASSWORD) is None
    assert remove_person(tmp_path, "ana") == ()
    with pytest.raises(InputAtFaultError, match="nobody"):
        remove_person(tmp_path, "ana")


@pytest.mark.usefixtures("little_work")
def test_an_accent_typed_in_two_ways_is_one(tmp_path: Path) -> None:
    jose = set_person(tmp_path, "Jose\u0301", Role.BENCH, "na\u00efve tape reels")
    assert jose.name == "Jos\u00e9"
    assert let_in((jose,), "jos\u00e9", "nai\u0308ve tape reels") == jose


@pytest.mark.parametrize(
    ("name", "password", "where"),
    [("", PASSWORD, "NAME"), ("x" * 61, PASSWORD, "NAME"), ("<b>", PASSWORD, "NAME"), ("a\u202eb", PASSWORD, "NAME"),
     ("Ana", "short", "password"), ("Ana", "x" * 201, "password"), ("Ana", "aaaaaaaaaaaa", "password"),
     ("Invented Ana", "invented ana", "password")],
)  # fmt: skip
def test_what_will_not_do_is_said(tmp_path: Path, name: str, password: str, where: str) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        set_person(tmp_path, name, Role.BENCH, password)
    assert [problem.where for problem in caught.value.problems] == [where]
    assert not (tmp_path / PEOPLE_FILE).exists()


def test_both_mistakes_come_together(tmp_path: Path) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        set_person(tmp_path, "", Role.BENCH, "")
    assert len(caught.value.problems) == 2


ROW = {"name": "Ana", "role": "bench", "password": "$argon2id$v=19$x"}


@pytest.mark.parametrize(
    "found",
    ["", "{", [], {"schema": 2, "people": []}, {"schema": 1}, {"schema": 1, "people": [{}]}, {"schema": 1, "people": 7},
     {"schema": 1, "people": [ROW | {"role": "owner"}]}, {"schema": 1, "people": [ROW | {"password": ""}]},
     {"schema": 1, "people": [ROW, ROW]}, {"schema": 1, "people": [ROW | {"name": ""}]}],
)  # fmt: skip
def test_a_damaged_file_is_never_taken_for_nobody(tmp_path: Path, found: object) -> None:
    (tmp_path / PEOPLE_FILE).write_text(found if isinstance(found, str) else json.dumps(found), "utf-8")
    with pytest.raises(InputAtFaultError) as caught:
        read_people(tmp_path)
    assert PEOPLE_FILE in caught.value.problems[0].where
    with pytest.raises(InputAtFaultError):
        set_person(tmp_path, "Bo", Role.BENCH, PASSWORD)


@pytest.mark.usefixtures("little_work")
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=30), st.text(max_size=30))
def test_nobody_comes_in_by_a_guess(name: str, password: str) -> None:
    ana = people.Person("Ana", Role.BENCH, LITTLE_WORK.hash(PASSWORD))
    assert let_in((ana,), name, password) is None
    assert let_in((ana,), "Ana", password) is None
    assert let_in((ana,), name, PASSWORD) == (ana if plain_name(name).casefold() == "ana" else None)
