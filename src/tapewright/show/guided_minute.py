"""The steps of a guided minute as a page's script leads through them."""

from typing import Any, Final

from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine

BY_HAND: Final = ("off", "switch_on", "idle", "close_tray", "cassette_in", "open_tray")
"""Steps that take a person as long as they take: the page waits until it is told. All else is one key, by countdown."""


def steps_told(machine: Machine) -> list[dict[str, Any]]:
    """Give the steps of a machine's minute as plain data.

    >>> from tapewright.machine.library import shipped
    >>> [one["mode"] for one in steps_told(shipped("four_track")) if not one["by_hand"]][:2]
    ['play', 'stop']
    """
    return [
        {
            "mode": step.mode, "says": step.says, "lasts_s": step.lasts_s, "cautions": list(step.cautions),
            "by_hand": step.mode in BY_HAND,
        }
        for step in minute_steps(machine)
    ]  # fmt: skip
