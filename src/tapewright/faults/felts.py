"""What holds a reel back by a back-tension belt, and what is thrown where nothing does.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from collections.abc import Sequence
from functools import partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.conditions import GRIP_SHARE
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.faults.turning import draw_grip, margin_of
from tapewright.machine.back_tension import Drag
from tapewright.machine.parts import Mode, shaft

HELD_FROM: Final = 0.3
HARD_FROM: Final = 2.5
"""Shares of its torque below which a hold-back is as good as lost, and above which it strains tape and take-up: those
that a drag's own strength is put into words by."""


def draw_felt(sheet: Sheet, mode: Mode, felt: Drag) -> str:
    """How hard a drag holds the reel: as it is, where it rubs on the reel itself; else as its belt hands that on.

    Arguments:
        sheet: so far.
        mode: one in which the reel gives tape.
        felt: the drag as the reel feels it.
    """
    if not felt.way:
        return sheet.condition(conditions.hold_back(felt.drag.name))
    so_far = sheet.condition(conditions.felt(felt.drag.name))
    for step in reversed(felt.way):
        coupling = sheet.machine.couplings[step.coupling]
        parents = (so_far, draw_grip(sheet, coupling), sheet.condition(conditions.drag(coupling.name)))
        function = partial(held_through, sound_margin=margin_of(sheet, coupling, mode))
        name = f"through:{coupling.name}/{felt.drag.name}@{mode.name}"
        so_far = sheet.node(Node(name, parents, function, coupling.name))
    return so_far


def draw_held(sheet: Sheet, mode: Mode, held: str, felts: Sequence[Drag]) -> str:
    """Where a belt is among what holds a reel, let the hold-back be felt at the reel as well; give its node back."""
    if any(one.way for one in felts):
        sheet.same_as(f"holds:{shaft(sheet.machine, mode.gives)}@{mode.name}", held, mode.gives)
    return held


def draw_thrown(sheet: Sheet) -> None:
    """Whether tape is thrown on stopping where no brake stops a reel that a back-tension belt should hold."""
    machine = sheet.machine
    braked = any(coupling.kind == "brake" for coupling in machine.couplings.values())
    winding = [mode for mode in machine.modes.values() if mode.gives and not mode.at_capstan]
    held = [f"holds:{shaft(machine, mode.gives)}@{mode.name}" for mode in winding]
    held = [name for name in held if sheet.has(name)]
    if "stop" in machine.modes and held and not braked:
        sheet.node(Node("overruns@stop", tuple(held), does.overruns, "tape"))


def held_through(felt: str, grip: str, belt_drag: str, *, sound_margin: float) -> str:
    """Say how hard a drag holds a reel that hands its turning on by a belt: slack, right, hard.

    A belt hands on no more than it passes; one that is drum-tight loads both shafts and holds by itself.

    Arguments:
        felt: how hard the drag rubs where it is.
        grip: what the belt still passes of its torque.
        belt_drag: how the belt itself drags on its shafts.
        sound_margin: torque the sound belt passes, against what the sound drag asks.
    """
    passed = sound_margin * GRIP_SHARE[grip]
    if felt == "slack" or passed < HELD_FROM:
        return "slack"
    return "hard" if belt_drag != "free" or (felt == "hard" and passed > HARD_FROM) else "right"
