"""The functions of a machine, along its drives, in every mode: one graph, built from the description alone.

Nothing here knows a fault or a sign. Change the description (let the flywheel lift the head base, drive the take-up
from the flywheel, keep the capstan motor running) and the graph, and with it every belief, changes.
"""

from dataclasses import dataclass
from functools import partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, head_conditions
from tapewright.faults.bringing_in import (
    draw_overrunning,
    draw_permit,
    draw_pull,
)
from tapewright.faults.complaint import draw_complaint, draw_loose_pieces
from tapewright.faults.conditions import Condition
from tapewright.faults.drives import driven_by, engaged, worked_by_tape
from tapewright.faults.felts import draw_thrown
from tapewright.faults.graph import Node
from tapewright.faults.head_base import draw_head_base
from tapewright.faults.heard import (
    draw_cut_short,
    draw_heard,
    draw_keys,
    draw_recording,
    draw_running_out,
)
from tapewright.faults.moments import draw_moments
from tapewright.faults.sheet import Sheet
from tapewright.faults.tape_moved import draw_tape
from tapewright.faults.tracks_heard import draw_tracks
from tapewright.faults.tray import draw_closing_first, draw_tray, draw_way_out
from tapewright.faults.turning import (
    BEFORE,
    draw_ability,
    draw_drag,
    draw_motors,
    draw_strength,
    draw_turning,
    draw_unpowered,
    lifting_motors,
)
from tapewright.machine.couplings import holding_motors
from tapewright.machine.parts import (
    TURNING_SENSORS,
    Machine,
    Mode,
    Sensor,
    has_logic,
    shaft,
    sound,
)

HEARD_BEYOND: Final = 3
"""How many shafts, outward from a motor, can be heard to burden it; from memory."""


@dataclass(frozen=True, slots=True)
class Mechanism:
    """A machine's conditions (one part each) and the functions that hang on them, parents first."""

    machine: Machine
    conditions: tuple[Condition, ...]
    nodes: tuple[Node, ...]


def mechanism(machine: Machine) -> Mechanism:
    """Build the graph of a machine's functions from its description.

    Arguments:
        machine: its imperfections do not matter here; the sound machine's margins are used.
    """
    ideal = sound(machine)
    sheet = Sheet(ideal)
    for mode in modes_told_apart(ideal):
        _draw_mode(sheet, mode)
        draw_heard(sheet, mode)
        draw_tracks(sheet, mode)
        draw_complaint(sheet, mode)
    for mode in modes_told_apart(ideal):
        draw_moments(sheet, mode, _draw_mode)
    draw_way_out(sheet)
    draw_keys(sheet)
    draw_thrown(sheet)
    draw_recording(sheet)
    _draw_surfaces(sheet)
    draw_loose_pieces(sheet)
    return Mechanism(machine, tuple(sheet.conditions.values()), tuple(sheet.nodes.values()))


def modes_told_apart(machine: Machine) -> tuple[Mode, ...]:
    """Give the modes that differ in what they do mechanically; record is play with other electronics."""
    play = machine.modes.get("play")
    same = {"record"} if play is not None else set()
    return tuple(mode for mode in machine.modes.values() if mode.name not in same)


def _draw_mode(sheet: Sheet, mode: Mode) -> None:
    draw_closing_first(sheet, mode, _draw_mode)
    lifters = lifting_motors(sheet.machine, mode)
    draw_motors(sheet, mode, [name for name in mode.motors if name in lifters], waits=False)
    draw_turning(sheet, mode)
    draw_head_base(sheet, mode)
    draw_motors(sheet, mode, [name for name in mode.motors if name not in lifters], waits=True)
    draw_turning(sheet, mode)
    draw_unpowered(sheet, mode)
    draw_tray(sheet, mode)
    draw_tape(sheet, mode)
    draw_turning(sheet, mode)
    _draw_sounds(sheet, mode)
    _draw_stopping(sheet, mode)
    draw_cut_short(sheet, mode)
    draw_overrunning(sheet, mode)


# --- what is heard, what stops ---------------------------------------------------------------------------------------


def _draw_sounds(sheet: Sheet, mode: Mode) -> None:
    machine = sheet.machine
    before = machine.modes.get(BEFORE[mode.name])
    holding = holding_motors(machine, mode.name)
    fresh = [name for name in mode.motors if before is None or name not in before.motors]
    newly = [name for name in fresh if name not in holding]
    if not mode.takes_up:
        running = tuple(f"turns:{name}@{mode.name}" for name in newly)
        sheet.node(Node(f"starts@{mode.name}", running, does.starts))
    for solenoid in mode.solenoids:
        draw_pull(sheet, mode, solenoid)
    for name in mode.motors:
        if name in newly:
            _draw_motor_sound(sheet, mode, name)
        if any(s.ends == name for s in machine.sensors.values()) and sheet.has(f"reported@{mode.name}"):
            parents = (f"turns:{name}@{mode.name}", f"reported@{mode.name}")
            sheet.node(Node(f"runs_on:{name}@{mode.name}", parents, does.runs_on, name))
    _draw_squeal(sheet, mode)


def _draw_motor_sound(sheet: Sheet, mode: Mode, name: str) -> None:
    machine = sheet.machine
    first = list(driven_by(machine, mode, name))
    near = tuple(draw_strength(sheet, mode, coupling, driven) for coupling, driven in first)
    beyond = [driven for _, one in first for _, driven in driven_by(machine, mode, one)]
    further = tuple(draw_drag(sheet, one, mode) for one in dict.fromkeys(beyond[: max(0, HEARD_BEYOND - len(first))]))
    parents = (f"turns:{name}@{mode.name}", *near, *further)
    function = partial(_sounds, count=len(near))
    sheet.node(Node(f"sounds:{name}@{mode.name}", parents, function, name))


def _sounds(run: str, *others: str, count: int) -> str:
    return does.sounds(run, others[:count], others[count:])


def _draw_squeal(sheet: Sheet, mode: Mode) -> None:
    """Squeal from any driven shaft, told by where it comes from."""
    machine = sheet.machine
    for coupling in engaged(machine, mode):
        for driven in (shaft(machine, rotor) for rotor in coupling.path[1:]):
            turning = f"turns:{driven}@{mode.name}"
            if sheet.has(turning) and driven in worked_by_tape(machine, mode):
                is_driven = sheet.has(f"turns:{shaft(machine, coupling.driver)}@{mode.name}")
                rubbing = draw_strength(sheet, mode, coupling, driven) if is_driven else draw_drag(sheet, driven, mode)
                parents = (turning, rubbing)
                sheet.node(Node(f"rubs:{driven}@{mode.name}", parents, does.rubs, driven))


def _draw_stopping(sheet: Sheet, mode: Mode) -> None:
    machine = sheet.machine
    if not mode.takes_up:
        return
    watching = [s for s in machine.sensors.values() if _stops(machine, mode, s) and _seen_turning(sheet, mode, s)]
    for sensor in watching:
        turning = f"turns:{shaft(machine, sensor.senses)}@{mode.name}"
        parents = (turning, sheet.condition(conditions.contact(sensor.name)), _draw_start(sheet, mode))
        own = "" if len(watching) == 1 else f":{sensor.name}"
        sheet.node(Node(f"stops{own}@{mode.name}", parents, does.logic_stops, sensor.name))
    if len(watching) > 1:
        each = tuple(f"stops:{sensor.name}@{mode.name}" for sensor in watching)
        sheet.node(Node(f"stops@{mode.name}", each, does.either, watching[0].name))


def _draw_start(sheet: Sheet, mode: Mode) -> str:
    """Whether a mode starts at all: as its only motor does, or as its switches let it where there are several."""
    if len(mode.motors) != 1:
        return draw_permit(sheet, mode)
    able = draw_ability(sheet, mode, next(iter(mode.motors)))
    return sheet.node(Node(f"start:{able}", (able,), does.start_of, "tape"))


def _stops(machine: Machine, mode: Mode, sensor: Sensor) -> bool:
    return sensor.kind in TURNING_SENSORS and mode.name in (sensor.stops or machine.modes)


def _seen_turning(sheet: Sheet, mode: Mode, sensor: Sensor) -> bool:
    return sheet.has(f"turns:{shaft(sheet.machine, sensor.senses)}@{mode.name}")


def _draw_surfaces(sheet: Sheet) -> None:
    """What can be seen and felt of single parts, and how steadily each turns."""
    for rotor in sheet.machine.rotors.values():
        sheet.condition(conditions.surface(rotor.name))
        sheet.condition(conditions.drag(rotor.name))
        sheet.condition(conditions.steady(rotor.name))
        sheet.condition(conditions.wobble(rotor.name))
        sheet.condition(conditions.noise(rotor.name))
    draw_running_out(sheet)
    sheet.condition(conditions.lamps(sheet.machine.supply.name))
    for coupling in sheet.machine.couplings.values():
        sheet.condition(conditions.surface(coupling.name))
        sheet.condition(conditions.steady(coupling.name))
        if coupling.kind == "brake":
            sheet.condition(conditions.brake(coupling.name))
            sheet.condition(conditions.drag(coupling.name))
        elif coupling.kind != "drag":
            sheet.condition(conditions.hold(coupling.name, (coupling.name,)))
    for solenoid in sheet.machine.solenoids:
        sheet.condition(conditions.solenoid(solenoid))
    for lever in sheet.machine.levers:
        sheet.condition(conditions.lever(lever))
    sheet.condition(conditions.drag(sheet.machine.head_base.name))
    for about in (head_conditions.signal, head_conditions.square, head_conditions.guide):
        sheet.condition(about(sheet.machine.heads.name))
    if has_logic(sheet.machine):
        sheet.condition(conditions.contact(sheet.machine.control_board.name))
    sheet.condition(head_conditions.sound_path(sheet.machine.electronics.name))
    sheet.condition(head_conditions.erases(sheet.machine.electronics.name))
    for about in (conditions.drag, head_conditions.square, conditions.surface):
        sheet.condition(about(sheet.machine.cassette.name))
    for about in (head_conditions.edge, head_conditions.sheds):
        sheet.condition(about(sheet.machine.cassette.name))
