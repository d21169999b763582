"""Start and check the description of a machine."""

import json
from pathlib import Path
from typing import Any

from tapewright.machine.load import read_machine
from tapewright.machine.remarks import remarks
from tapewright.machine.schema import json_schema
from tapewright.machine.starter import complete_text, layouts, starter_text
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import write_whole

Done = tuple[Any, str]
"""Plain data for scripts, and text for people."""


def list_layouts() -> Done:
    """List the layouts that ship, with how to recognise each."""
    found = layouts()
    text = "\n".join(f"{one.id}\n    {one.says}\n    machines: {one.machine}, {one.machine}_starter" for one in found)
    return {"layouts": plain(found)}, text


def new(layout: str, out: Path | None, machine_id: str = "", *, complete: bool = False) -> Done:
    """Write a starter of a layout, or the complete invented machine.

    Arguments:
        layout: a layout's name, or the id of its machine.
        out: the file to write; None to print it. A file that is there already is left alone.
        machine_id: id of the new machine; the file's name where none is given.
        complete: the complete machine instead of a starter.

    Raises:
        InputAtFaultError: for a layout that does not ship, or a file that is there already.
    """
    named = machine_id or (out.stem if out is not None else "")
    text = complete_text(layout) if complete else starter_text(layout, named)
    if out is None:
        return {"toml": text}, text
    if out.exists():
        raise InputAtFaultError(Problem(str(out), "is there already.", "Give another name, so that nothing is lost."))
    write_whole(out, text)
    return {"written": str(out)}, f"Written: {out}. Fill in what you know, then: tapewright machine check {out}"


def check(path: str) -> Done:
    """Read a description; every mistake in it comes back at once, and what looks doubtful is remarked on.

    Raises:
        InputAtFaultError: with a Problem for each mistake.
    """
    machine = read_machine(path)
    sized = sum(rotor.diameter is not None for rotor in machine.rotors.values())
    parts = f"{len(machine.rotors)} rotors ({sized} measured), {len(machine.couplings)} couplings"
    text = f"{path} is in order: {parts}, {len(machine.sensors)} sensors, {len(machine.modes)} modes."
    doubtful = remarks(machine)
    text += "".join(f"\nDoubtful: {one}" for one in doubtful)
    return {"machine": machine.id, "problems": [], "remarks": plain(doubtful)}, text


def schema(out: Path | None) -> Done:
    """Give the JSON Schema of descriptions, for editors that complete and check while one types."""
    found = json_schema()
    text = json.dumps(found, indent=2, ensure_ascii=False)
    if out is None:
        return found, text
    write_whole(out, text + "\n")
    return {"written": str(out)}, f"Written: {out}"
