"""The machines and starters that ship. All of them are invented."""

from functools import cache
from importlib.resources import files

from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine


def shipped_ids() -> tuple[str, ...]:
    """List the ids of the shipped machines and starters, sorted."""
    return tuple(
        sorted(entry.name.removesuffix(".toml") for entry in files(__name__).iterdir() if entry.name.endswith(".toml"))
    )


@cache
def shipped(machine_id: str) -> Machine:
    """Give a shipped machine.

    Raises:
        InputAtFaultError: when the shipped text itself is wrong.
        FileNotFoundError: when no shipped machine has this id.
    """
    name = f"{machine_id}.toml"
    return read_machine_text((files(__name__) / name).read_text(encoding="utf-8"), source=name)
