"""A description in TOML becomes a `Machine`, or the list of everything that is wrong with it.

The only file that knows TOML. What its tables hold is read by `described`.
"""

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from tapewright.machine.check import problems_of
from tapewright.machine.described import read_tables
from tapewright.machine.parts import Machine
from tapewright.machine.section import Desk, Section, did_you_mean
from tapewright.words.problem import InputAtFaultError, Problem

_LIBRARY: Final = files("tapewright.machine") / "library"
_LARGEST_BYTES: Final = 1_000_000


def read_machine(path_or_id: str) -> Machine:
    """Read a description from a file, or take a shipped one by its id.

    Arguments:
        path_or_id: the path of a TOML file, or the id of a shipped machine.

    Raises:
        InputAtFaultError: with every mistake in the description, or why there is none to read.

    >>> read_machine("four_track").tape.tracks
    4
    """
    if path_or_id in _shipped_ids():
        name = f"{path_or_id}.toml"
        return read_machine_text((_LIBRARY / name).read_text(encoding="utf-8"), source=name)
    return read_machine_text(_text_of(path_or_id), source=Path(path_or_id).name)


def read_machine_text(text: str, source: str) -> Machine:
    """Read a description from its text.

    Arguments:
        text: the TOML text.
        source: what to call it in messages, usually the file's name.

    Raises:
        InputAtFaultError: with every mistake in the description.
    """
    desk = Desk(source)
    machine = read_tables(Section(_parsed(text, source), "", desk), source)
    for at, found, do in problems_of(machine, whole=all(_is_of_a_size(problem) for problem in desk.problems)):
        desk.report(at, found, do)
    if desk.problems:
        raise InputAtFaultError(desk.problems)
    return machine


def _is_of_a_size(problem: Problem) -> bool:
    return re.search(r"_(mm|mm2|rpm|gf|n|gcm|mnm|um|s|pct|doubt)$", problem.where) is not None


def _shipped_ids() -> tuple[str, ...]:
    names = (entry.name for entry in _LIBRARY.iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in names))


def _text_of(path: str) -> str:
    try:
        file = Path(path)
        if not file.exists():
            ids = _shipped_ids()
            meant = did_you_mean(path, ids).removeprefix("Valid here:")
            do = f"{meant} " if meant.startswith("Did") else ""
            do += f"Shipped machines: {', '.join(ids)}."
            raise InputAtFaultError(Problem(path, "There is no such file and no shipped machine of this name.", do))
        if not file.is_file():
            raise InputAtFaultError(Problem(path, "This is not a file.", "Name the description itself, a .toml file."))
        with file.open("rb") as stream:
            raw = stream.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputAtFaultError(Problem(path, f"The file cannot be read: {reason}.", "Check its name.")) from error
    return _decoded(raw, path)


def _decoded(raw: bytes, path: str) -> str:
    if len(raw) > _LARGEST_BYTES:
        raise InputAtFaultError(
            Problem(path, "This is over 1 MB, far more than a description.", "Name the .toml file.")
        )
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputAtFaultError(Problem(path, "This text is saved as UTF-16.", "Save it as UTF-8."))
    if b"\0" in raw:
        raise InputAtFaultError(Problem(path, "This is not a text file.", "Name the description itself, a .toml file."))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"Line {line} holds a character that is not UTF-8."
        raise InputAtFaultError(Problem(path, found, "Save the file as UTF-8.")) from error


def _parsed(text: str, source: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise InputAtFaultError(Problem(source, "Brackets are nested far too deep.", "Count the brackets.")) from error
    except ValueError as error:
        raise InputAtFaultError(_syntax_problem(text, source, str(error))) from error


def _syntax_problem(text: str, source: str, message: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.splitlines() or [""]
    line, column = (int(place[1]), int(place[2])) if place else (len(lines), len(lines[-1]) + 1)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    shown = lines[min(line, len(lines)) - 1].strip()
    do = "Compare the line with its neighbours: a name, an equals sign, a value; texts in quotation marks."
    if re.search(r"=\s*[-+]?\d+,\d", shown):
        do = "Write numbers with a decimal point, not a comma."
    elif said.startswith(("Cannot overwrite", "Cannot declare")):
        said, do = "This stands here for the second time", "Keep one, or give it a name of its own."
    return Problem(f"{source}, line {line}, column {column}", f"{said}, in: {shown[:80]}", do)
