"""The schema for editors and the reader of descriptions: they know the same keys, kinds and bounds."""

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest

from tapewright.machine.library import shipped_ids
from tapewright.machine.schema import ANY_NAME, MEANINGS, json_schema
from tests.described import as_toml, table_of
from tests.machine.spoilt import problems_in
from tests.machine.validator import broken

SCHEMA = json_schema()
FULL = {"rotors": "capstan_motor", "couplings": "capstan_belt", "sensors": "cassette_switch", "modes": "play"}


def keys(schema: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], dict[str, Any]]]:
    """Every key path of the schema, a star for a name the user gives, with what stands there."""
    inner = dict(schema.get("properties", {}))
    if isinstance(schema.get("additionalProperties"), dict) and "properties" not in schema:
        inner[ANY_NAME] = schema["additionalProperties"]
    for key, one in inner.items():
        yield (*path, key), one
        yield from keys(one, (*path, key))


LEAVES = [path for path, one in keys(SCHEMA) if one.get("type") != "object"]


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_shipped_description_obeys_the_schema(machine_id: str) -> None:
    assert list(broken(SCHEMA, table_of(machine_id))) == []


def test_every_key_has_a_meaning_and_every_meaning_a_key() -> None:
    paths = {".".join(path): one for path, one in keys(SCHEMA)}
    shares = {"modes.*.motors.*"}
    assert [path for path, one in paths.items() if not one.get("description") and path not in shares] == []
    assert set(MEANINGS) <= set(paths)


def at(path: tuple[str, ...]) -> tuple[str, ...]:
    """A real place for a key path."""
    names = {"solenoids": "lift_solenoid", "levers": "lift_lever"} | FULL
    before = ("", *path)
    return tuple(names[group] if part == ANY_NAME else part for group, part in zip(before, path, strict=False))


@pytest.mark.parametrize("path", [path for path in LEAVES if path[-1] != ANY_NAME], ids=".".join)
def test_both_refuse_what_a_key_cannot_hold_and_neither_calls_it_unknown(path: tuple[str, ...]) -> None:
    table = copy.deepcopy(table_of("two_motor_deck"))
    place = table
    *outer, key = at(path)
    for one in outer:
        place = place.setdefault(one, {})
    place[key] = [[["nonsense"]]]
    where = ".".join(at(path))
    assert any(found.startswith(where) for found in broken(SCHEMA, table))
    told = [problem for problem in problems_in(as_toml(table)) if problem.where == f"mine.toml, {where}"]
    if not key.endswith("_doubt"):
        assert told, where
    assert not any("not known here" in problem.found and "nonsense" not in problem.found for problem in told)


@pytest.mark.parametrize(
    "group", [(), ("machine",), ("tape",), ("rotors", "capstan"), ("modes", "play"), ("head_base",)]
)
def test_both_refuse_a_key_that_does_not_exist(group: tuple[str, ...]) -> None:
    table = copy.deepcopy(table_of("two_motor_deck"))
    place = table
    for one in group:
        place = place[one]
    place["colour"] = 3
    where = ".".join((*group, "colour"))
    assert where in list(broken(SCHEMA, table))
    assert any(problem.where == f"mine.toml, {where}" for problem in problems_in(as_toml(table)))


@pytest.mark.parametrize("path", [("machine", "id"), ("rotors", "capstan", "kind"), ("couplings", "nip", "path"),
                                  ("head_base", "lifted_by"), ("schema",)], ids=".".join)  # fmt: skip
def test_both_ask_for_what_cannot_be_left_out(path: tuple[str, ...]) -> None:
    table = copy.deepcopy(table_of("two_motor_deck"))
    place = table
    for one in path[:-1]:
        place = place[one]
    del place[path[-1]]
    assert any(found.endswith(path[-1]) for found in broken(SCHEMA, table))
    assert any(problem.where == f"mine.toml, {'.'.join(path)}" for problem in problems_in(as_toml(table)))


def test_a_size_of_another_kind_is_refused_by_both() -> None:
    table = copy.deepcopy(table_of("two_motor_deck"))
    table["rotors"]["flywheel"]["speed_rpm"] = 700
    assert list(broken(SCHEMA, table)) == ["rotors.flywheel.kind"]
    assert any(problem.where == "mine.toml, rotors.flywheel.speed_rpm" for problem in problems_in(as_toml(table)))


def test_it_is_plain_json() -> None:
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA
