"""Whether the head base goes where a mode sends it, whatever lifts it, and whether the logic learns of it.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.bringing_in import draw_levers, draw_permit, draw_pull
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.parts import Mode, shaft


def draw_head_base(sheet: Sheet, mode: Mode) -> None:
    """Where the head base goes in a mode that sends it anywhere, what a helping hand does, and what is reported."""
    if not mode.moves_head_base:
        return
    machine = sheet.machine
    base = machine.head_base
    name = f"head_base@{mode.name}"
    stiffness = sheet.condition(conditions.drag(base.name))
    levers = (draw_levers(sheet, base.through),) if base.through else ()
    if base.lifted_by in machine.rotors:
        turning = f"turns:{shaft(machine, base.lifted_by)}@{mode.name}"
        if not sheet.has(turning):
            sheet.node(Node(turning, (), lambda: "still", base.lifted_by))
        function = does.head_base_by_cam if levers else does.head_base_goes
        goes = sheet.node(Node(f"goes:{base.name}@{mode.name}", (turning, *levers), function, base.name))
        parents = (goes, sheet.condition(conditions.step(base.lifted_by)))
        sheet.node(Node(name, parents, does.head_base_in_step, base.name))
    elif base.lifted_by in machine.solenoids and base.lifted_by in mode.solenoids:
        parents = (draw_pull(sheet, mode, base.lifted_by), stiffness, *levers)
        sheet.node(Node(name, parents, does.head_base_by_solenoid, base.name))
    elif base.lifted_by == "solenoid":
        fed = sheet.condition(conditions.feed(machine.supply.name))
        sheet.node(Node(name, (fed, draw_permit(sheet, mode), stiffness), _solenoid_lifts, base.name))
    else:
        # Keys, or a solenoid that lets go: only a spring has to bring it home.
        free = levers or (sheet.node(Node("levers:none", (), does.linkage)),)
        homing = (sheet.condition(conditions.spring(base.name)),) if mode.head_base == "down" else ()
        sheet.node(Node(name, (stiffness, *free, *homing), does.head_base_by_hand, base.name))
    switches = [sensor.name for sensor in machine.sensors.values() if sensor.kind == "position_switch"]
    known_by = tuple(sheet.condition(conditions.contact(switch)) for switch in switches[:1])
    sheet.node(Node(f"helped@{mode.name}", (name, *known_by), does.helped, base.name))
    for sensor in machine.sensors.values():
        if sensor.kind == "position_switch":
            parents = (name, sheet.condition(conditions.contact(sensor.name)))
            sheet.node(Node(f"reported@{mode.name}", parents, does.reports, base.name))


def _solenoid_lifts(feed: str, permit: str, drag: str) -> str:
    return does.head_base_by_solenoid(does.solenoid_pulls(feed, permit, "good"), drag)
