"""The tray that a motor moves in and out with the cassette, and what waits for it.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from collections.abc import Callable
from functools import partial

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.bringing_in import told_in, tray_switches
from tapewright.faults.graph import Node
from tapewright.faults.heard import draw_lid
from tapewright.faults.sheet import Sheet
from tapewright.faults.turning import draw_strength, margin_of
from tapewright.machine.asked import TRAY_GLIDES
from tapewright.machine.parts import TRAY_MODES, Mode, shaft
from tapewright.machine.reel_drive import chain_to

CLOSING, OPENING = TRAY_MODES


def draw_tray(sheet: Sheet, mode: Mode) -> None:
    """How far the tray goes in a mode that moves it, and what its switch then tells the logic.

    On most of its way a fraction is asked of its drive of what pressing the cassette down asks.

    Arguments:
        sheet: with what turns in the mode.
        mode: any mode.
    """
    machine = sheet.machine
    if mode.name not in TRAY_MODES or not machine.lid.moved_by:
        return
    presses = 1.0 / TRAY_GLIDES if mode.name == CLOSING else 1.0
    gliding = next((f"turns:{shaft(machine, name)}@{mode.name}" for name in mode.motors), "")
    found = chain_to(machine, mode.name, machine.lid.moved_by)
    for step in found[1] if found else ():
        coupling, driven = machine.couplings[step.coupling], shaft(machine, step.driven)
        function = partial(does.pass_on, sound_margin=margin_of(sheet, coupling, mode) * presses)
        parents = (gliding, draw_strength(sheet, mode, coupling, driven))
        gliding = sheet.node(Node(f"glides:{driven}@{mode.name}", parents, function, driven))
    _draw_arrival(sheet, mode, gliding)


def _draw_arrival(sheet: Sheet, mode: Mode, gliding: str) -> None:
    machine = sheet.machine
    pressing = f"turns:{shaft(machine, machine.lid.moved_by)}@{mode.name}"
    parents = (gliding, pressing, sheet.condition(conditions.step(machine.lid.name)))
    tray = sheet.node(Node(f"tray@{mode.name}", parents, tray_goes, machine.lid.name))
    if mode.name == CLOSING:
        for switch in tray_switches(machine)[:1]:
            contact = sheet.condition(conditions.contact(switch))
            told = sheet.node(Node(told_in(switch), (tray, contact), tray_told, switch))
            returns = Node(f"returns@{mode.name}", (tray, told), tray_returns, machine.lid.name)
            sheet.node(returns)
            sheet.node(Node(f"pushed@{mode.name}", (tray, contact), does.helped, machine.lid.name))


def draw_closing_first(sheet: Sheet, mode: Mode, draw_mode: Callable[[Sheet, Mode], None]) -> None:
    """The tray goes in before anything else: every other mode may wait for it."""
    closing = sheet.machine.modes.get(CLOSING)
    if closing is not None and mode is not closing and not sheet.has(f"tray@{CLOSING}"):
        draw_mode(sheet, closing)


def draw_way_out(sheet: Sheet) -> None:
    """Whether lid or tray lets the cassette out; heads that are still up hold the cassette."""
    lid, tray = sheet.machine.lid, f"tray@{OPENING}"
    if not lid.moved_by:
        draw_lid(sheet)
        sheet.condition(conditions.latch(lid.name))
        return
    sheet.condition(conditions.drag(lid.name))
    base = ("head_base@stop",) if sheet.has("head_base@stop") else ()
    sheet.node(Node(f"lid@{OPENING}", (tray, *base), tray_opens, lid.name))


# --- how motion becomes travel ----------------------------------------------------------------------------------------


def tray_goes(gliding: str, pressing: str, step: str = "in") -> str:
    """Say whether a tray gets to the end of its way: arrives, late, part, stays, at_times.

    Going in, its last millimetres press the cassette down: a drive that glides well may fail there, always or now and
    then. One that jerks all the way gets there late.

    Arguments:
        gliding: how the wheel turns that moves it, on the way.
        pressing: the same at the end of the way.
        step: whether it stands in step with that wheel.
    """
    if gliding in ("still", "loose"):
        return "stays"
    if "weak" in (gliding, pressing) or pressing in ("still", "loose") or step == "out":
        return "part"
    if "at_times" in (gliding, pressing) or (pressing == "uneven" and gliding != "uneven"):
        return "at_times"
    return "late" if pressing in ("uneven", "slow") else "arrives"


def tray_told(tray: str, contact: str) -> str:
    """Say what the logic knows of a tray that should be in, in the words of a contact: good, at_times, dead."""
    if tray in ("stays", "part") or contact == "dead":
        return "dead"
    return "at_times" if "at_times" in (tray, contact) else "good"


def tray_returns(tray: str, told: str) -> str:
    """Say whether a tray that went in comes out again by itself, since it is not reported to be in."""
    if tray == "stays":
        return "no"
    return {"dead": "yes", "at_times": "at_times"}.get(told, "no")


def tray_opens(tray: str, head_base: str = "arrives") -> str:
    """Say whether a tray lets the cassette out: opens, late, part, stuck, at_times; heads that are up hold it."""
    if tray == "stays" or head_base in ("stays", "part"):
        return "stuck"
    return "at_times" if "at_times" in (tray, head_base) else {"arrives": "opens"}.get(tray, tray)
