"""The functions of a machine, along its drives, in every mode: one graph, built from the description alone.

Nothing here knows a fault or a sign. Change the description (let the flywheel lift the head base, drive the take-up
from the flywheel, keep the capstan motor running) and the graph, and with it every belief, changes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.applied import sound
from tapewright.faults.conditions import Condition
from tapewright.faults.graph import Node
from tapewright.machine.parts import Coupling, Machine, Mode, shaft

IDLE_MARGIN: Final = 20.0
"""Margin of a coupling that nothing drives in a mode: it only has to hold still."""
BEFORE: dict[str, str] = {"idle": "off", "switch_on": "off", "cassette_in": "idle", "stop": "play"}
BEFORE |= dict.fromkeys(("play", "record", "fast_forward", "rewind"), "cassette_in")
"""The mode one comes from: a motor that ran there already is not heard to start."""


@dataclass(frozen=True, slots=True)
class Mechanism:
    """A machine's conditions (one part each) and the functions that hang on them, parents first."""

    machine: Machine
    conditions: tuple[Condition, ...]
    nodes: tuple[Node, ...]


@dataclass(slots=True)
class _Drawing:
    """The graph while it is being drawn."""

    machine: Machine
    conditions: dict[str, Condition] = field(default_factory=dict)
    nodes: dict[str, Node] = field(default_factory=dict)

    def condition(self, condition: Condition) -> str:
        self.conditions.setdefault(condition.name, condition)
        return condition.name

    def node(self, node: Node) -> str:
        self.nodes.setdefault(node.name, node)
        return node.name

    def has(self, name: str) -> bool:
        return name in self.nodes


def mechanism(machine: Machine) -> Mechanism:
    """Build the graph of a machine's functions from its description.

    Arguments:
        machine: its imperfections do not matter here; the sound machine's margins are used.
    """
    ideal = sound(machine)
    drawing = _Drawing(ideal)
    for mode in modes_told_apart(ideal):
        _draw_mode(drawing, mode)
    _draw_surfaces(drawing)
    return Mechanism(machine, tuple(drawing.conditions.values()), tuple(drawing.nodes.values()))


def modes_told_apart(machine: Machine) -> tuple[Mode, ...]:
    """Give the modes that differ in what they do mechanically; record is play with other electronics."""
    play = machine.modes.get("play")
    same = {"record"} if play is not None else set()
    return tuple(mode for mode in machine.modes.values() if mode.name not in same)


def _draw_mode(drawing: _Drawing, mode: Mode) -> None:
    lifters = _lifting_motors(drawing.machine, mode)
    _draw_motors(drawing, mode, [name for name in mode.motors if name in lifters], waits=False)
    _draw_turning(drawing, mode)
    _draw_head_base(drawing, mode)
    _draw_motors(drawing, mode, [name for name in mode.motors if name not in lifters], waits=True)
    _draw_turning(drawing, mode)
    _draw_unpowered(drawing, mode)
    _draw_tape(drawing, mode)
    _draw_turning(drawing, mode)
    _draw_sounds(drawing, mode)
    _draw_stopping(drawing, mode)


def _draw_permit(drawing: _Drawing, mode: Mode) -> str:
    """Whether the switches that a mode waits for let it start; modes that wait for the same ones share the answer."""
    switches = [s.name for s in drawing.machine.sensors.values() if mode.name in s.allows]
    parents = tuple(drawing.condition(conditions.contact(name)) for name in switches)
    return drawing.node(Node(f"permit:{'+'.join(switches) or 'none'}", parents, does.worst_contact))


# --- motors ----------------------------------------------------------------------------------------------------------


def _lifting_motors(machine: Machine, mode: Mode) -> frozenset[str]:
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


def _draw_motors(drawing: _Drawing, mode: Mode, motors: list[str], *, waits: bool) -> None:
    for name in motors:
        parents = [_draw_ability(drawing, mode, name)]
        if waits and _waits(drawing.machine, mode, name) and drawing.has(f"reported@{mode.name}"):
            parents.append(f"reported@{mode.name}")
        drawing.node(Node(f"turns:{name}@{mode.name}", tuple(parents), does.motor_runs, name))


def _draw_ability(drawing: _Drawing, mode: Mode, motor: str) -> str:
    """How a motor would run if nothing held it up: what feeds it, what permits it, what it is."""
    permit = _draw_permit(drawing, mode)
    fed = drawing.condition(conditions.feed(drawing.machine.supply.name))
    parents = (fed, permit, drawing.condition(conditions.motor(motor)))
    return drawing.node(Node(f"able:{motor}/{permit}", parents, does.motor_able, motor))


def _draw_unpowered(drawing: _Drawing, mode: Mode) -> None:
    """A motor that is not fed stands, and holds what is belted or meshed to it."""
    for rotor in drawing.machine.rotors.values():
        if rotor.kind == "motor" and rotor.name not in mode.motors:
            drawing.node(Node(f"turns:{rotor.name}@{mode.name}", (), lambda: "still", rotor.name))
    _draw_turning(drawing, mode)


# --- drives ----------------------------------------------------------------------------------------------------------


def engaged(machine: Machine, mode: Mode) -> tuple[Coupling, ...]:
    """Give the couplings that can drive something in a mode, in the order of the description."""
    return tuple(
        c
        for c in machine.couplings.values()
        if c.kind not in ("drag", "nip") and (not c.switched or c.name in mode.engaged)
    )


def reached_from(machine: Machine, mode: Mode, rotor: str) -> tuple[str, ...]:
    """Name the shafts that a rotor's shaft turns in a mode, itself first, outward."""
    found = [shaft(machine, rotor)]
    for name in found:
        found += [driven for _, driven in _drives(machine, mode, name) if driven not in found]
    return tuple(found)


def _drives(machine: Machine, mode: Mode, name: str) -> Iterator[tuple[Coupling, str]]:
    """Give what a shaft drives directly: each coupling, and the shaft at its other end."""
    for coupling in engaged(machine, mode):
        shafts = [shaft(machine, rotor) for rotor in coupling.path]
        if shafts[0] == name:
            yield from ((coupling, driven) for driven in shafts[1:])


def _draw_turning(drawing: _Drawing, mode: Mode) -> None:
    """Carry motion outward from every shaft that is known to turn or stand."""
    grown = True
    while grown:
        grown = False
        for coupling in engaged(drawing.machine, mode):
            driver, *others = (shaft(drawing.machine, rotor) for rotor in coupling.path)
            for other in others:
                if drawing.has(f"turns:{driver}@{mode.name}") and not drawing.has(f"turns:{other}@{mode.name}"):
                    _draw_link(drawing, mode, coupling, driver, other)
                    grown = True


def _draw_link(drawing: _Drawing, mode: Mode, coupling: Coupling, driver: str, driven: str) -> None:
    parents = (
        f"turns:{driver}@{mode.name}",
        _draw_grip(drawing, coupling),
        _draw_drag(drawing, driven),
        drawing.condition(conditions.trimmed(coupling.driver)),
    )
    asked = _asked(drawing.machine, coupling, mode)
    function = partial(does.pass_on, sound_margin=asked)
    drawing.node(Node(f"turns:{driven}@{mode.name}", parents, function, driven))


def _asked(machine: Machine, coupling: Coupling, mode: Mode) -> float:
    """Give a sound coupling's margin; one that nothing drives in this mode is asked for next to nothing."""
    found = conditions.sound_margins(machine, mode.name).get(coupling.name)
    return found.ratio.value if found is not None else IDLE_MARGIN


def _draw_grip(drawing: _Drawing, coupling: Coupling) -> str:
    """What a coupling passes: its own state, and that of every surface it runs on."""
    machine = drawing.machine
    parts = [conditions.hold(coupling.name, (coupling.name,))]
    for rotor in coupling.path:
        own = tuple(c.name for c in machine.couplings.values() if rotor in c.path and c.kind != "drag")
        parts.append(conditions.hold(rotor, own))
    parents = tuple(drawing.condition(one) for one in parts)
    return drawing.node(Node(f"grip:{coupling.name}", parents, does.worst_grip, coupling.name))


def _draw_drag(drawing: _Drawing, on_shaft: str) -> str:
    """How freely a shaft turns: its own bearing, everything on it, and the head base where it lifts that."""
    machine = drawing.machine
    parts = [rotor.name for rotor in machine.rotors.values() if shaft(machine, rotor.name) == on_shaft]
    lifter = machine.head_base.lifted_by
    if lifter in machine.rotors and shaft(machine, lifter) == on_shaft and machine.rotors[lifter].kind == "cam":
        parts.append(machine.head_base.name)
    parents = tuple(drawing.condition(conditions.drag(name)) for name in parts)
    return drawing.node(Node(f"drag:{on_shaft}+", parents, does.worst_drag, on_shaft))


# --- head base -------------------------------------------------------------------------------------------------------


def _draw_head_base(drawing: _Drawing, mode: Mode) -> None:
    if not mode.moves_head_base:
        return
    machine = drawing.machine
    base = machine.head_base
    name = f"head_base@{mode.name}"
    stiffness = drawing.condition(conditions.drag(base.name))
    if base.lifted_by in machine.rotors:
        turning = f"turns:{shaft(machine, base.lifted_by)}@{mode.name}"
        if not drawing.has(turning):
            drawing.node(Node(turning, (), lambda: "still", base.lifted_by))
        drawing.node(Node(name, (turning,), does.head_base_goes, base.name))
    elif base.lifted_by == "solenoid":
        fed = drawing.condition(conditions.feed(machine.supply.name))
        permit = _draw_permit(drawing, mode)
        drawing.node(Node(name, (fed, permit, stiffness), _solenoid_lifts, base.name))
    else:
        drawing.node(Node(name, (stiffness,), does.head_base_by_hand, base.name))
    for sensor in machine.sensors.values():
        if sensor.kind == "position_switch":
            parents = (name, drawing.condition(conditions.contact(sensor.name)))
            drawing.node(Node(f"reported@{mode.name}", parents, does.reports, base.name))


def _solenoid_lifts(feed: str, permit: str, drag: str) -> str:
    if feed == "none" or permit == "no":
        return "stays"
    if permit == "at_times":
        return "at_times"
    return "part" if feed == "low" else does.head_base_by_hand(drag)


# --- tape ------------------------------------------------------------------------------------------------------------


def _draw_tape(drawing: _Drawing, mode: Mode) -> None:
    if not mode.takes_up:
        return
    machine = drawing.machine
    take_up = f"turns:{shaft(machine, mode.takes_up)}@{mode.name}"
    if not drawing.has(take_up):
        drawing.node(Node(take_up, (), lambda: "loose", mode.takes_up))
    holding = _draw_hold_back(drawing, mode.gives)
    if mode.at_capstan:
        nip = _draw_nip(drawing, mode)
        drawing.node(Node(f"tape@{mode.name}", (nip, take_up, holding), does.tape_in_play, "tape"))
        drawing.node(Node(f"loop@{mode.name}", (nip, take_up), does.loop_forms, "tape"))
        drawing.node(Node(f"pack@{mode.name}", (f"tape@{mode.name}", holding), does.pack_is_loose, "tape"))
        _draw_tape_surface(drawing, mode, nip)
    else:
        give_drag = _draw_drag(drawing, shaft(machine, mode.gives))
        drawing.node(Node(f"tape@{mode.name}", (take_up, give_drag, holding), does.tape_in_wind, "tape"))
    follower = f"turns:{shaft(machine, mode.gives)}@{mode.name}"
    drawing.node(Node(follower, (f"tape@{mode.name}",), does.reel_follows, mode.gives))


def _draw_hold_back(drawing: _Drawing, reel: str) -> str:
    for coupling in drawing.machine.couplings.values():
        if coupling.kind == "drag" and reel in coupling.path:
            return drawing.condition(conditions.hold_back(coupling.name))
    return drawing.node(Node("hold_back:none", (), lambda: "right"))


def _draw_nip(drawing: _Drawing, mode: Mode) -> str:
    machine = drawing.machine
    nips = [c for c in machine.couplings.values() if c.kind == "nip"]
    coupling = next(c for c in nips if not c.switched or c.name in mode.engaged)
    capstan, roller = coupling.path
    carried = roller in machine.head_base.carries and drawing.has(f"head_base@{mode.name}")
    base = f"head_base@{mode.name}" if carried else drawing.node(Node("head_base:fixed", (), lambda: "arrives"))
    closing = [base, _draw_grip(drawing, coupling)]
    if carried and drawing.has(f"reported@{mode.name}"):
        closing.append(f"reported@{mode.name}")
    function = partial(does.nip_closes, sound_margin=_asked(machine, coupling, mode))
    closed = drawing.node(Node(f"closed@{mode.name}", tuple(closing), function, coupling.name))
    turning = f"turns:{shaft(machine, capstan)}@{mode.name}"
    if not drawing.has(turning):
        drawing.node(Node(turning, (), lambda: "loose", capstan))
    parents = (closed, turning, drawing.condition(conditions.trimmed(capstan)))
    return drawing.node(Node(f"nip@{mode.name}", parents, does.nip_drives, coupling.name))


def _draw_tape_surface(drawing: _Drawing, mode: Mode, nip: str) -> None:
    coupling = next(c for c in drawing.machine.couplings.values() if c.kind == "nip")
    capstan, roller = (drawing.condition(conditions.surface(rotor)) for rotor in coupling.path)
    drawing.node(Node(f"oxide@{mode.name}", (nip, roller), does.tape_is_scrubbed, "tape"))
    drawing.node(Node(f"wrap@{mode.name}", (nip, roller, capstan), does.tape_wraps, "tape"))


# --- what is heard, what stops ---------------------------------------------------------------------------------------


def _draw_sounds(drawing: _Drawing, mode: Mode) -> None:
    machine = drawing.machine
    before = machine.modes.get(BEFORE[mode.name])
    newly = [name for name in mode.motors if before is None or name not in before.motors]
    if not mode.takes_up:
        running = tuple(f"turns:{name}@{mode.name}" for name in newly)
        drawing.node(Node(f"starts@{mode.name}", running, does.starts))
    for name in mode.motors:
        if name in newly:
            _draw_motor_sound(drawing, mode, name)
        if any(s.ends == name for s in machine.sensors.values()) and drawing.has(f"reported@{mode.name}"):
            parents = (f"turns:{name}@{mode.name}", f"reported@{mode.name}")
            drawing.node(Node(f"runs_on:{name}@{mode.name}", parents, does.runs_on, name))
    _draw_squeal(drawing, mode)


def _draw_motor_sound(drawing: _Drawing, mode: Mode, name: str) -> None:
    machine = drawing.machine
    first = list(_drives(machine, mode, name))
    near = [driven for _, driven in first]
    near += [driven for one in near for _, driven in _drives(machine, mode, one) if driven not in near]
    grips = tuple(_draw_grip(drawing, coupling) for coupling, _ in first)
    drags = tuple(_draw_drag(drawing, one) for one in near[:3])
    parents = (f"turns:{name}@{mode.name}", *grips, *drags)
    function = partial(_sounds, count=len(grips))
    drawing.node(Node(f"sounds:{name}@{mode.name}", parents, function, name))


def _sounds(run: str, *others: str, count: int) -> str:
    return does.sounds(run, others[:count], others[count:])


def _draw_squeal(drawing: _Drawing, mode: Mode) -> None:
    """Squeal from any driven shaft, told by where it comes from."""
    machine = drawing.machine
    for coupling in engaged(machine, mode):
        for driven in (shaft(machine, rotor) for rotor in coupling.path[1:]):
            turning = f"turns:{driven}@{mode.name}"
            if drawing.has(turning) and driven in _worked_by_tape(machine, mode):
                parents = (turning, _draw_drag(drawing, driven), _draw_grip(drawing, coupling))
                drawing.node(Node(f"rubs:{driven}@{mode.name}", parents, does.rubs, driven))


def _worked_by_tape(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts that the tape loads in a mode: only these squeal in a way that tells."""
    reels = {shaft(machine, reel) for reel in (mode.takes_up, mode.gives) if reel}
    capstans = {shaft(machine, r.name) for r in machine.rotors.values() if r.kind == "capstan"}
    return frozenset(reels | (capstans if mode.at_capstan else set()))


def _draw_stopping(drawing: _Drawing, mode: Mode) -> None:
    machine = drawing.machine
    if not mode.takes_up:
        return
    for sensor in machine.sensors.values():
        if sensor.kind == "pulse_sensor":
            turning = f"turns:{shaft(machine, sensor.senses)}@{mode.name}"
            if not drawing.has(turning):
                continue
            parents = (turning, drawing.condition(conditions.contact(sensor.name)), _draw_permit(drawing, mode))
            drawing.node(Node(f"stops@{mode.name}", parents, does.logic_stops, sensor.name))


def _draw_surfaces(drawing: _Drawing) -> None:
    """What can be seen and felt of single parts, and how steadily each turns."""
    for rotor in drawing.machine.rotors.values():
        drawing.condition(conditions.surface(rotor.name))
        drawing.condition(conditions.drag(rotor.name))
        drawing.condition(conditions.steady(rotor.name))
    for coupling in drawing.machine.couplings.values():
        drawing.condition(conditions.surface(coupling.name))
        drawing.condition(conditions.steady(coupling.name))
        drawing.condition(conditions.hold(coupling.name, (coupling.name,))) if coupling.kind != "drag" else None
    drawing.condition(conditions.drag(drawing.machine.head_base.name))
