"""How every shaft turns in a mode: from the motors outward, along belts, wheels and gears.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from functools import partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, two_moments
from tapewright.faults.bringing_in import draw_braked, draw_brought, draw_levers, draw_permit, is_ready
from tapewright.faults.drives import engaged, reached_from, worked_by_tape
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.couplings import holding_motors
from tapewright.machine.parts import HOLDING_KINDS, Coupling, Machine, Mode, shaft

IDLE_MARGIN: Final = 20.0
"""Margin of a coupling that nothing drives in a mode: it only has to hold still."""
BEFORE: dict[str, str] = {"idle": "off", "switch_on": "off", "cassette_in": "idle", "pause": "play", "stop": "play"}
BEFORE |= {"close_tray": "idle", "open_tray": "cassette_in"}
BEFORE |= dict.fromkeys(("play", "reverse_play", "record", "fast_forward", "rewind", "cue", "review"), "cassette_in")
"""The mode one comes from: a motor that ran there already is not heard to start."""


# --- motors ----------------------------------------------------------------------------------------------------------


def lifting_motors(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the motors that turn what lifts the head base in this mode."""
    lifter = machine.head_base.lifted_by
    if not mode.moves_head_base or lifter not in machine.rotors:
        return frozenset()
    return frozenset(motor for motor in mode.motors if shaft(machine, lifter) in reached_from(machine, mode, motor))


def _waits(machine: Machine, mode: Mode, motor: str) -> bool:
    """Tell whether a motor waits until the head base is reported in place: it did not run before this mode."""
    before = machine.modes.get(BEFORE[mode.name])
    ran_before = before is not None and motor in before.motors
    watched = any(s.kind == "position_switch" for s in machine.sensors.values())
    return mode.moves_head_base and watched and not ran_before


def draw_motors(sheet: Sheet, mode: Mode, motors: list[str], *, waits: bool) -> None:
    """How motors turn that a mode feeds; one that only holds tape back turns nothing.

    Arguments:
        sheet: so far.
        mode: the mode.
        motors: which of its motors.
        waits: whether the head base is drawn already, so that one may wait for it.
    """
    holding = holding_motors(sheet.machine, mode.name)
    for name in (one for one in motors if one not in holding):
        parents = [draw_ability(sheet, mode, name)]
        if waits and _waits(sheet.machine, mode, name) and sheet.has(f"reported@{mode.name}"):
            parents.append(f"reported@{mode.name}")
        load = _draw_load(sheet, mode, name)
        if load is None:
            turning = Node(f"turns:{name}@{mode.name}", tuple(parents), does.motor_runs, name)
            sheet.same_as(turning.name, parents[0], name) if len(parents) == 1 else sheet.node(turning)
        else:
            runs = sheet.node(Node(f"runs:{name}@{mode.name}", tuple(parents), does.motor_runs, name))
            sheet.node(Node(f"turns:{name}@{mode.name}", (runs, load), does.motor_carries, name))
        if mode.at_capstan:
            runs_so = (f"turns:{name}@{mode.name}",)
            sheet.node(Node(f"helped_on:{name}@{mode.name}", runs_so, two_moments.motor_helped_on, name))


def draw_ability(sheet: Sheet, mode: Mode, motor: str) -> str:
    """How a motor would run if nothing held it up: what feeds it, what permits it, what it is."""
    permit = draw_permit(sheet, mode)
    fed = sheet.condition(conditions.feed(sheet.machine.supply.name))
    parents = (fed, permit, sheet.condition(conditions.motor(motor)))
    able = sheet.node(Node(f"able:{motor}/{permit}", parents, does.motor_able, motor))
    for sensor in sheet.machine.sensors.values():
        if sensor.kind == "tacho" and sensor.senses == motor:
            regulated = (able, sheet.condition(conditions.contact(sensor.name)))
            return sheet.node(Node(f"regulated:{motor}/{permit}", regulated, does.motor_regulated, motor))
    return able


def _draw_load(sheet: Sheet, mode: Mode, motor: str) -> str | None:
    """How freely what sits on a motor's own shaft turns: a capstan, a reel table; None where nothing of it can bind."""
    machine = sheet.machine
    riders = [r.name for r in machine.rotors.values() if r.name != motor and shaft(machine, r.name) == motor]
    bearing = [name for name in riders if machine.rotors[name].kind not in ("pulley", "gear")]
    braking = draw_braked(sheet, mode, motor)
    if not bearing and not braking:
        return None
    parents = (*(sheet.condition(conditions.drag(name)) for name in bearing), *braking)
    return sheet.node(Node(f"load:{motor}+{'+'.join(braking)}", parents, does.worst_drag, motor))


def draw_unpowered(sheet: Sheet, mode: Mode) -> None:
    """A motor that is not fed stands, and holds what is belted or meshed to it; one on a reel's shaft goes with it."""
    giving = shaft(sheet.machine, mode.gives) if mode.gives else ""
    for rotor in sheet.machine.rotors.values():
        if rotor.kind == "motor" and rotor.name not in mode.motors and rotor.name != giving:
            sheet.node(Node(f"turns:{rotor.name}@{mode.name}", (), lambda: "still", rotor.name))
    draw_turning(sheet, mode)


# --- drives ----------------------------------------------------------------------------------------------------------


def draw_turning(sheet: Sheet, mode: Mode) -> None:
    """Carry motion outward from every shaft that is known to turn or stand."""
    grown = True
    while grown:
        grown = False
        for coupling in engaged(sheet.machine, mode):
            driver, *others = (shaft(sheet.machine, rotor) for rotor in coupling.path)
            for other in others:
                if _can_be_drawn(sheet, mode, coupling, driver, other):
                    _draw_link(sheet, mode, coupling, driver, other)
                    grown = True


def _can_be_drawn(sheet: Sheet, mode: Mode, coupling: Coupling, driver: str, driven: str) -> bool:
    if not sheet.has(f"turns:{driver}@{mode.name}") or sheet.has(f"turns:{driven}@{mode.name}"):
        return False
    brakes = (c for c in sheet.machine.couplings.values() if c.kind == "brake" and c.name not in mode.engaged)
    on_it = [c for c in brakes if shaft(sheet.machine, c.driver) == driven]
    return all(is_ready(sheet, mode, one) for one in (coupling, *on_it))


def _draw_link(sheet: Sheet, mode: Mode, coupling: Coupling, driver: str, driven: str) -> None:
    turning = f"turns:{driver}@{mode.name}"
    brought = draw_brought(sheet, mode, coupling)
    if brought is not None:
        through = Node(f"fed:{coupling.name}@{mode.name}", (turning, brought), does.fed_through, coupling.name)
        turning = sheet.node(through)
    parents = (turning, draw_strength(sheet, mode, coupling, driven))
    asked = margin_of(sheet, coupling, mode)
    function = partial(does.pass_on, sound_margin=asked)
    if mode.at_capstan and driven in worked_by_tape(sheet.machine, mode):
        helped = partial(two_moments.helped_on, sound_margin=asked)
        sheet.node(Node(f"helped_on:{driven}@{mode.name}", parents, helped, driven))
    sheet.node_once(Node(f"turns:{driven}@{mode.name}", parents, function, driven), does.margin_class(asked))


def draw_strength(sheet: Sheet, mode: Mode, coupling: Coupling, driven: str) -> str:
    """What a coupling does to one shaft, the same in every mode unless a brake may rub there."""
    drag = draw_drag(sheet, driven, mode)
    resized = (coupling.driver, coupling.name) if coupling.kind == "belt" else (coupling.driver,)
    sizes = (sheet.condition(conditions.trimmed(name)) for name in resized)
    parents = (draw_grip(sheet, coupling), drag, *sizes)
    return sheet.node(Node(f"strength:{coupling.name}/{drag}", parents, does.strength, coupling.name))


def margin_of(sheet: Sheet, coupling: Coupling, mode: Mode) -> float:
    """Give a sound coupling's margin; one that nothing drives in this mode is asked for next to nothing."""
    found = sheet.margins(sheet.machine, mode.name).get(coupling.name)
    return found.ratio.value if found is not None else IDLE_MARGIN


def draw_grip(sheet: Sheet, coupling: Coupling) -> str:
    """What a coupling passes: its own state, and that of every surface it runs on."""
    machine = sheet.machine
    parts = [conditions.hold(coupling.name, (coupling.name,))]
    for rotor in coupling.path:
        own = tuple(c.name for c in machine.couplings.values() if rotor in c.path and c.kind not in HOLDING_KINDS)
        parts.append(conditions.hold(rotor, own))
    parents = tuple(sheet.condition(one) for one in parts)
    return sheet.node(Node(f"grip:{coupling.name}", parents, does.worst_grip, coupling.name))


def draw_drag(sheet: Sheet, on_shaft: str, mode: Mode) -> str:
    """How freely a shaft turns: its own bearing, all on it, a brake, and the head base with its levers on the cam."""
    machine = sheet.machine
    parts = [rotor.name for rotor in machine.rotors.values() if shaft(machine, rotor.name) == on_shaft]
    belts = (c for c in machine.couplings.values() if c.kind == "belt")
    parts += [belt.name for belt in belts if on_shaft in {shaft(machine, rotor) for rotor in belt.path[1:]}]
    lifter = machine.head_base.lifted_by
    lifts = lifter in machine.rotors and shaft(machine, lifter) == on_shaft and machine.rotors[lifter].kind == "cam"
    if lifts:
        parts.append(machine.head_base.name)
    if machine.lid.moved_by and shaft(machine, machine.lid.moved_by) == on_shaft:
        parts.append(machine.lid.name)
    parents = tuple(sheet.condition(conditions.drag(name)) for name in parts)
    if lifts and machine.head_base.through:
        levers = draw_levers(sheet, machine.head_base.through)
        parents = (*parents, sheet.node(Node("stiffness:levers", (levers,), _stiffness, machine.head_base.name)))
    own = sheet.node(Node(f"drag:{on_shaft}+", parents, does.worst_drag, on_shaft))
    braking = draw_braked(sheet, mode, on_shaft)
    if not braking:
        return own
    return sheet.node(Node(f"drag:{on_shaft}+{'+'.join(braking)}", (own, *braking), does.worst_drag, on_shaft))


def _stiffness(levers: str) -> str:
    return "free" if levers == "gone" else levers
