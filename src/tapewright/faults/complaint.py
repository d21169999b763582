"""What an owner tells beside what is wrong: how it came, what helps it on, what fell out.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign. How a fault comes on is said by the
catalogue, kind by kind; here the parts that a mode hangs on are asked link by link.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, two_moments
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.conditions import Condition
from tapewright.faults.graph import Node, ancestors
from tapewright.faults.sheet import Sheet
from tapewright.machine.parts import Machine, Mode

HOW_IT_CAME: Final[tuple[tuple[str, Callable[[str], Condition], str], ...]] = (
    ("sudden", conditions.broke, "break"),
    ("rested", conditions.rested, "rest"),
    ("handled", conditions.handled, "handling"),
)
"""The stem of a function, the question it puts to each part, and the way faults come on that it asks for."""
FAILS_IN: Final = ("tape", "loop", "stops", "head_base", "reported")
"""Functions of a mode in which an owner sees that it fails."""


def draw_complaint(sheet: Sheet, mode: Mode) -> None:
    """How trouble in a mode came on, and whether it takes several tries."""
    if not mode.takes_up:
        return
    asked = _behind(sheet, mode)
    for stem, question, way in HOW_IT_CAME:
        can = _coming_on(sheet.machine, way)
        parents = [sheet.condition(question(name)) for name in asked if name in can]
        if parents:
            sheet.any_of(stem, mode.name, parents, does.either)
    helped = [name for name in sheet.nodes if name.startswith("helped_on:") and name.endswith(f"@{mode.name}")]
    if helped and sheet.has(f"tape@{mode.name}"):
        tape = sheet.node(Node(f"by_tries@{mode.name}", (f"tape@{mode.name}",), two_moments.by_tries, "tape"))
        sheet.any_of("tries", mode.name, [tape, *helped], does.either)


def _behind(sheet: Sheet, mode: Mode) -> list[str]:
    """Name the parts that a mode hangs on, in the order in which the drawing came to them."""
    seen = [f"{stem}@{mode.name}" for stem in FAILS_IN if sheet.has(f"{stem}@{mode.name}")]
    behind = ancestors(sheet.nodes.values(), seen)
    return list(dict.fromkeys(one.part for one in sheet.conditions.values() if one.name in behind))


@lru_cache(maxsize=128)
def _coming_on(machine: Machine, way: str) -> frozenset[str]:
    return frozenset(one.part for one in possible_faults(machine) if one.fault.comes_on == way)


def draw_loose_pieces(sheet: Sheet) -> None:
    """Whether a spring, felt or piece of any part lies loose in the machine."""
    apart = [one.part for one in possible_faults(sheet.machine) if one.fault.changes.get("comes_apart")]
    parents = [sheet.condition(conditions.apart(name)) for name in dict.fromkeys(apart)]
    if parents:
        sheet.any_of("loose_piece", "off", parents, does.either)
