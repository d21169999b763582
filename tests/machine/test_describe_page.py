"""The page on describing a machine: its steps are walked as a reader would, and its counts are counted."""

import copy
import doctest
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapewright.faults.catalogue import possible_faults
from tapewright.machine.limits import LIMIT_NAMES
from tapewright.machine.load import read_machine_text
from tapewright.machine.starter import layouts, starter_text
from tapewright.show.drawing import drawing
from tests.described import as_toml
from tests.machine.spoilt import problems_in

PAGE = Path(__file__).resolve().parents[2] / "docs" / "describe-your-machine.md"
TEXT = PAGE.read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL)


def blocks(kind: str) -> list[str]:
    return [body for found, body in BLOCKS if found == kind]


def merged(table: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    out = copy.deepcopy(table)
    for key, value in more.items():
        out[key] = merged(out.get(key, {}), value) if isinstance(value, dict) else value
    return out


def walked() -> tuple[dict[str, Any], list[str], int]:
    """The description at the end, the Problems met on the way, and how many of them after the first step."""
    table = tomllib.loads(starter_text("two_motor_idler_solenoid", "attic_deck"))
    met: list[str] = []
    for name in blocks("text")[0].split():
        group, _, one = name.partition(".")
        del table[group][one]
    met += told(table)
    first = len(met)
    for number, body in enumerate(blocks("toml")):
        table = merged(table, tomllib.loads(body))
        if number == 1:
            met += told(table)
            del table["rotors"]["flywheel"]["diameter"]
    return table, met, first


def told(table: dict[str, Any]) -> list[str]:
    return [str(problem).replace("mine.toml", "attic_deck.toml") for problem in problems_in(as_toml(table))]


def test_every_problem_the_page_shows_is_told_and_no_other() -> None:
    _, met, _ = walked()
    assert met == [line for body in blocks("problems") for line in body.splitlines()]


def test_the_described_deck_has_no_problem_and_a_drawing() -> None:
    table, _, _ = walked()
    assert told(table) == []
    machine = read_machine_text(as_toml(table), "attic_deck.toml")
    assert "idler tyre" in drawing(machine)


def test_the_finished_file_is_what_the_steps_lead_to() -> None:
    table, _, _ = walked()
    finished = read_machine_text(PAGE.with_name("attic_deck.toml").read_text(encoding="utf-8"), "attic_deck.toml")
    reached = read_machine_text(as_toml(table), "attic_deck.toml")
    assert replace(finished, title="") == replace(reached, title="")


def test_every_example_of_the_page_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(PAGE.parents[1])
    assert doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8").failed == 0


def test_the_counts_are_those_of_the_page() -> None:
    _, met, first = walked()
    typed = [line for body in blocks("toml") for line in body.splitlines() if not line.startswith("[")]
    values = [line.partition(" = ")[2] for line in typed]
    said = re.search(r"(\d+) tables taken out, (\d+) values typed, (\d+) characters in all, (\d+) Problems met", TEXT)
    assert said is not None
    keys = sum(len(value) for value in values)
    assert [int(one) for one in said.groups()] == [len(blocks("text")[0].split()), len(values), keys, len(met)]
    assert f"which {first} came from step 2" in TEXT.replace("\n", " ")


def test_every_layout_stands_on_the_page() -> None:
    assert {layout.id for layout in layouts()} <= set(re.findall(r"`(\w+)`", TEXT))


def test_the_parts_that_are_not_on_every_machine_can_be_added_as_shown() -> None:
    """Added to the finished deck both read without a Problem, and their faults are among those it can have."""
    table, _, _ = walked()
    for body in blocks("part"):
        table = merged(table, tomllib.loads(body))
    assert len(blocks("part")) == 2
    assert told(table) == []
    machine = read_machine_text(as_toml(table), "attic_deck.toml")
    possible = {(one.part, one.fault.kind) for one in possible_faults(machine)}
    assert {("back_tension_belt", "slack"), ("tray_belt", "missing"), ("lid", "jammed")} <= possible


def test_every_limit_stands_on_the_page_and_reads_without_a_problem() -> None:
    table, _, _ = walked()
    (body,) = blocks("limits")
    assert told(merged(table, tomllib.loads(body))) == []
    section = TEXT[TEXT.index("## What you accept") : TEXT.index("## What it took")]
    assert [name for name in LIMIT_NAMES if not re.search(rf"\b{name}\b", section)] == []
