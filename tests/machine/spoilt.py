"""Descriptions to spoil: a shipped machine's text, and one change at a time."""

from importlib.resources import files

from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.words.problem import InputAtFaultError, Problem


def text_of(machine_id: str) -> str:
    return (files("tapewright.machine") / "library" / f"{machine_id}.toml").read_text(encoding="utf-8")


def changed(text: str, *changes: tuple[str, str]) -> str:
    """The text with each old passage replaced where it stands first; every passage must be there."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def machine_with(machine_id: str, *changes: tuple[str, str]) -> Machine:
    return read_machine_text(changed(text_of(machine_id), *changes), "mine.toml")


def problems_with(machine_id: str, *changes: tuple[str, str]) -> tuple[Problem, ...]:
    return problems_in(changed(text_of(machine_id), *changes))


def problems_in(text: str) -> tuple[Problem, ...]:
    try:
        read_machine_text(text, "mine.toml")
    except InputAtFaultError as error:
        return error.problems
    return ()
