"""What brings couplings in and lets brakes go: solenoids, the cam or the head base, with the levers between.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.catalogue import swings
from tapewright.faults.drives import reached_from
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.parts import TRAY_MODES, Coupling, Machine, Mode, has_logic, shaft


def draw_permit(sheet: Sheet, mode: Mode) -> str:
    """Whether the switches that a mode waits for let it start; modes that wait for the same ones share the answer."""
    machine = sheet.machine
    switches = [s.name for s in machine.sensors.values() if mode.name in s.allows]
    switches += [machine.control_board.name] if has_logic(machine) else []
    parents = tuple(_draw_contact(sheet, name) for name in switches)
    return sheet.node(Node(f"permit:{'+'.join(switches) or 'none'}", parents, does.worst_contact))


def _draw_contact(sheet: Sheet, switch: str) -> str:
    """How truly a switch reports; one that watches a tray tells the truth only once the tray has arrived."""
    waits_for_tray = switch in tray_switches(sheet.machine) and sheet.has(told_in(switch))
    return told_in(switch) if waits_for_tray else sheet.condition(conditions.contact(switch))


def tray_switches(machine: Machine) -> tuple[str, ...]:
    """Name the switch that tells whether the tray is in; a description has one at most."""
    return tuple(sensor.name for sensor in machine.sensors.values() if sensor.kind == "tray_switch")


def told_in(switch: str) -> str:
    """Name the node of what a tray switch tells once the tray should be in."""
    return f"told:{switch}@{TRAY_MODES[0]}"


def draw_pull(sheet: Sheet, mode: Mode, solenoid: str) -> str:
    """How a solenoid pulls in a mode that feeds it."""
    able = draw_ability_to_pull(sheet, mode, solenoid)
    return sheet.same_as(f"pulls:{solenoid}@{mode.name}", able, solenoid)


def draw_ability_to_pull(sheet: Sheet, mode: Mode, solenoid: str) -> str:
    """The same for all modes that wait for the same switches."""
    fed = sheet.condition(conditions.feed(sheet.machine.supply.name))
    permit = draw_permit(sheet, mode)
    parents = (fed, permit, sheet.condition(conditions.solenoid(solenoid)))
    return sheet.node(Node(f"pull:{solenoid}/{permit}", parents, does.solenoid_pulls, solenoid))


def draw_levers(sheet: Sheet, levers: tuple[str, ...]) -> str:
    """How the levers on one way hand motion on."""
    parents = tuple(sheet.condition(conditions.lever(name)) for name in levers)
    return sheet.node(Node(f"levers:{'+'.join(levers) or 'none'}", parents, does.linkage, next(iter(levers), "")))


def is_ready(sheet: Sheet, mode: Mode, coupling: Coupling) -> bool:
    """Tell whether what brings a coupling in is drawn already, where anything does in this mode."""
    by = coupling.by
    if by == sheet.machine.head_base.name or (by and by == sheet.machine.head_base.lifted_by):
        return not mode.moves_head_base or sheet.has(f"head_base@{mode.name}")
    if by in sheet.machine.rotors and shaft(sheet.machine, by) in _moved_in(sheet.machine, mode):
        return sheet.has(f"turns:{shaft(sheet.machine, by)}@{mode.name}")
    return True


def _moved_in(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts that the motors fed in a mode can turn."""
    return frozenset(owner for motor in mode.motors for owner in reached_from(machine, mode, motor))


def draw_brought(sheet: Sheet, mode: Mode, coupling: Coupling) -> str | None:
    """Whether a coupling that is engaged in a mode comes in, or a brake that is off in it is let go; None if surely."""
    machine, by = sheet.machine, coupling.by
    moved = ""
    if by in mode.solenoids:
        moved = draw_ability_to_pull(sheet, mode, by)
    elif by in (machine.head_base.name, machine.head_base.lifted_by) and sheet.has(f"head_base@{mode.name}"):
        base = f"head_base@{mode.name}"
        moved = sheet.node(Node(f"travel@{mode.name}", (base,), does.pull_of, machine.head_base.name))
    elif by in machine.rotors and sheet.has(f"turns:{shaft(machine, by)}@{mode.name}"):
        turning = f"turns:{shaft(machine, by)}@{mode.name}"
        moved = sheet.node(Node(f"travel:{by}@{mode.name}", (turning,), _cam_travel, by))
    elif not by and not coupling.through and coupling.switched and swings(machine, coupling.driver):
        playing = machine.modes.get("play", mode)
        swings_to = conditions.swing if mode.takes_up == playing.takes_up else conditions.swing_back
        moved = sheet.condition(swings_to(coupling.driver))
    if not moved and not coupling.through:
        return None
    topic = by or next(iter(coupling.through), coupling.driver)
    parents = (moved or sheet.node(Node("moved:always", (), lambda: "yes")), draw_levers(sheet, coupling.through))
    return sheet.node(Node(f"brought:{'+'.join(parents)}", parents, does.brought_in, topic))


def _cam_travel(turning: str) -> str:
    return does.pull_of(does.head_base_goes(turning))


def brakes_on(sheet: Sheet, on_shaft: str) -> tuple[Coupling, ...]:
    """Give the brakes that act on a shaft."""
    machine = sheet.machine
    return tuple(c for c in machine.couplings.values() if c.kind == "brake" and shaft(machine, c.driver) == on_shaft)


def draw_braked(sheet: Sheet, mode: Mode, on_shaft: str) -> tuple[str, ...]:
    """How hard the brakes on a shaft still hold that should be off in a mode."""
    found = []
    for brake in brakes_on(sheet, on_shaft):
        if brake.name not in mode.engaged:
            rubbing = sheet.condition(conditions.drag(brake.name))
            let_go = draw_brought(sheet, mode, brake)
            if let_go is None:
                found.append(rubbing)
            else:
                name = f"braked:{brake.name}/{let_go}"
                found.append(sheet.node(Node(name, (rubbing, let_go), does.braked, brake.name)))
    return tuple(found)


def draw_overrunning(sheet: Sheet, mode: Mode) -> None:
    """Whether a reel runs on when a mode puts the brakes on."""
    brakes = [c for c in sheet.machine.couplings.values() if c.kind == "brake" and c.name in mode.engaged]
    if mode.name == "stop" and brakes:
        parents = tuple(sheet.condition(conditions.brake(one.name)) for one in brakes)
        sheet.node(Node(f"overruns@{mode.name}", parents, does.overruns, "tape"))
        for one in brakes:
            reel = shaft(sheet.machine, one.driver)
            held = (sheet.condition(conditions.brake(one.name)),)
            sheet.node(Node(f"coasts:{reel}@{mode.name}", held, does.overruns, reel))
