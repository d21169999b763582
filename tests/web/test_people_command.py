"""`tapewright people` and what `tapewright bench` refuses, as they are typed."""

import getpass
import io
import json
import sys
from pathlib import Path
from typing import Any

import argon2
import pytest

from tapewright.cli import main
from tapewright.jobs import people
from tests.web.attacker import PASSWORD


@pytest.fixture(autouse=True)
def shop(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setattr(people, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    monkeypatch.setenv("TAPEWRIGHT_DATA", str(tmp_path))
    return tmp_path


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str, given: str = "") -> tuple[int, Any]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(given))
        with pytest.raises(SystemExit) as left:
            main([*words, "--json"])
        out = capsys.readouterr().out
        assert PASSWORD not in out
        return int(left.value.code or 0), json.loads(out)

    return run


def test_people_come_and_go(typed: Any, shop: Path) -> None:
    assert typed("people") == (0, {"file": str(shop / "people.json"), "people": []})
    code, said = typed("people", "add", "Bo", "--role", "counter", given=f"{PASSWORD}\n")
    assert (code, said["people"]) == (0, [{"name": "Bo", "role": "counter"}])
    typed("people", "add", "ana", "--role", "bench", given=PASSWORD)
    assert [one["name"] for one in typed("people", "list")[1]["people"]] == ["ana", "Bo"]
    assert [one["name"] for one in typed("people", "remove", "BO")[1]["people"]] == ["ana"]


@pytest.mark.parametrize(
    ("words", "where"),
    [(("add",), "people add"), (("remove",), "people remove"), (("add", "Ana"), "--role"), (("remove", "Ana"), "NAME"),
     (("add", "Ana", "--role", "bench"), "password")],
)  # fmt: skip
def test_what_is_missing_is_said(typed: Any, words: tuple[str, ...], where: str) -> None:
    code, said = typed("people", *words)
    assert (code, [problem["where"] for problem in said["problems"]]) == (2, [where])


def test_at_a_terminal_a_password_is_typed_twice_and_not_shown(
    typed: Any, monkeypatch: pytest.MonkeyPatch, shop: Path
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(io, "StringIO", Terminal)
    answers = iter([PASSWORD, PASSWORD + "x", PASSWORD, PASSWORD])
    monkeypatch.setattr(getpass, "getpass", lambda _asks: next(answers))
    code, said = typed("people", "add", "Ana", "--role", "bench")
    assert (code, said["problems"][0]["where"]) == (2, "password")
    assert not (shop / "people.json").exists()
    assert typed("people", "add", "Ana", "--role", "bench")[0] == 0


@pytest.mark.parametrize(
    ("words", "where"),
    [(("--host", "192.168.0.7"), ["--host", "--host"]), (("--host", "bench.example"), ["--host"]),
     (("--name", "a b"), ["--name"]), (("--key", "k.pem"), ["--certificate"]), (("--port", "0"), ["--port"])],
)  # fmt: skip
def test_the_bench_does_not_begin_where_strangers_could_come_in(
    typed: Any, words: tuple[str, ...], where: list[str]
) -> None:
    code, said = typed("bench", *words)
    assert (code, [problem["where"] for problem in said["problems"]]) == (2, where)
