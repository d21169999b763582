"""What ear and eye make of a whole mode or a whole shaft; and what the lid and the keys answer.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from collections.abc import Iterable

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, head_conditions
from tapewright.faults.bringing_in import draw_permit
from tapewright.faults.drives import engaged, passes_through, turned_through
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.couplings import active
from tapewright.machine.parts import TRAY_MODES, Machine, Mode, has_logic, nips_at_work, shaft


def sound_heard(heads: str, path: str) -> str:
    """Say how heads and electronics sound together: clear, dull, hissy, one_side, crackles, silent."""
    return path if path != "clear" else {"worn": "dull"}.get(heads, heads)


def wavers(nip: str, lumpy: str) -> str:
    """Say whether an unsteady pitch comes and goes with something that turns: no, regular, irregular."""
    if nip not in ("uneven", "slips"):
        return "no"
    return "regular" if lumpy == "yes" else "irregular"


def any_lumpy(*steady: str) -> str:
    """Say whether any of several parts turns unevenly: no, yes."""
    return "yes" if "lumpy" in steady or "yes" in steady else "no"


def squeaks(drag: str) -> str:
    """Say whether something that turns squeaks for want of oil: yes, no."""
    return "yes" if drag in ("stiff", "tight") else "no"


def key_answered(permit: str, feed: str, lamps: str) -> str:
    """Say whether anything answers a key that the logic could see: yes, at_times, no (with lamps lit), dark."""
    if lamps == "dark":
        return "dark"
    if feed == "none":
        return "no"
    return "at_times" if feed == "at_times" and permit == "yes" else permit


def cut_short(sounds: str, stops: str = "no") -> str:
    """Say whether a motor is heard to start and stop again: it fails, or the logic stops what it sees no reel follow.

    Gives "stops" for the latter, else how it sounds.
    """
    return "stops" if stops != "no" and sounds not in ("silent", "at_times") else sounds


def draw_heard(sheet: Sheet, mode: Mode) -> None:
    """What is heard in a mode: noises and squeals from anywhere, in play also the sound off the tape."""
    machine = sheet.machine
    if mode.name in TRAY_MODES and machine.lid.moved_by:
        _draw_noise(sheet, mode)
    if not mode.takes_up:
        return
    turning = _draw_noise(sheet, mode)
    tyres = [name for name in turning if machine.rotors[name].kind == "idler_tyre"]
    squeals = [sheet.condition(conditions.chirps(name)) for name in tyres]
    squeals += [node for node in sheet.nodes if node.startswith("rubs:") and node.endswith(f"@{mode.name}")]
    if mode.at_capstan:
        squeals.append(sheet.condition(conditions.noise(machine.cassette.name)))
        squeals += [_squeaks(sheet, name) for name in turning if machine.rotors[name].kind == "pinch_roller"]
        heard = (
            sheet.condition(head_conditions.signal(machine.heads.name)),
            sheet.condition(head_conditions.sound_path(machine.electronics.name)),
        )
        sheet.node(Node(f"sound@{mode.name}", heard, sound_heard, machine.electronics.name))
        lumps = [sheet.condition(conditions.steady(name)) for name in _on_the_way_to_the_tape(machine, mode)]
        lumpy = sheet.any_of("lumpy", mode.name, lumps, any_lumpy)
        sheet.node(Node(f"waver@{mode.name}", (f"nip@{mode.name}", lumpy), wavers, "tape"))
        harms = [name for name in (f"loop@{mode.name}", f"wrap@{mode.name}", f"edge@{mode.name}") if sheet.has(name)]
        sheet.any_of("eaten", mode.name, harms, does.either)
    sheet.any_of("squeal", mode.name, squeals, does.either)


def _draw_noise(sheet: Sheet, mode: Mode) -> list[str]:
    """Draw what knocks and rubs in a mode, and name the rotors that go on turning there."""
    machine = sheet.machine
    through = turned_through(machine, mode)
    drawn = [name for name in machine.rotors if sheet.has(f"turns:{shaft(machine, name)}@{mode.name}")]
    # What stands in this mode, however noisy elsewhere, adds nothing to it; a cam stands as soon as it has arrived.
    turning = [name for name in drawn if shaft(machine, name) in through]
    driving = [one.name for one in active(machine, mode) if passes_through(machine, mode, one)]
    noises = [sheet.condition(conditions.noise(name)) for name in (*turning, *driving)]
    sheet.any_of("noise", mode.name, noises, does.any_yes)
    return turning


def _on_the_way_to_the_tape(machine: Machine, mode: Mode) -> list[str]:
    """Name what turns between the motor and the tape at the leading capstan: its unsteadiness is the pitch's own."""
    nips = nips_at_work(machine, mode)[:1]
    shafts = {shaft(machine, end): None for nip in nips for end in nip.path}
    found = [nip.name for nip in nips]
    asked = [*_on(machine, shafts), *found]
    at_work = engaged(machine, mode)
    grown = True
    while grown:
        onward = [c for c in at_work if {shaft(machine, end) for end in c.path[1:]} & shafts.keys()]
        new = [c for c in onward if c.name not in found]
        found += [c.name for c in new]
        # In the order of the drive: what is asked link by link then stands beside what turns link by link.
        before = [owner for c in new if (owner := shaft(machine, c.driver)) not in shafts]
        asked += [*(c.name for c in new), *_on(machine, before)]
        shafts |= dict.fromkeys(before)
        grown = bool(new)
    return asked


def _on(machine: Machine, shafts: Iterable[str]) -> list[str]:
    owners = list(shafts)
    return [name for owner in owners for name in machine.rotors if shaft(machine, name) == owner]


def _squeaks(sheet: Sheet, roller: str) -> str:
    stiff = sheet.condition(conditions.drag(roller))
    return sheet.node(Node(f"squeaks:{roller}", (stiff,), squeaks, roller))


def draw_cut_short(sheet: Sheet, mode: Mode) -> None:
    """Which motors are heard to start and stop again at once."""
    stops = (f"stops@{mode.name}",) if sheet.has(f"stops@{mode.name}") else ()
    for name in (one for one in mode.motors if sheet.has(f"sounds:{one}@{mode.name}")):
        parents = (f"sounds:{name}@{mode.name}", *stops)
        sheet.node(Node(f"cut:{name}@{mode.name}", parents, cut_short, name))


def draw_running_out(sheet: Sheet) -> None:
    """Whether a shaft is seen to run out of true, by whatever sits on it: a worn bush lets the flywheel wobble too."""
    machine = sheet.machine
    for owner in dict.fromkeys(shaft(machine, name) for name in machine.rotors):
        riders = [name for name in machine.rotors if shaft(machine, name) == owner]
        if len(riders) > 1:
            wobbling = tuple(sheet.condition(conditions.wobble(name)) for name in riders)
            sheet.node(Node(f"runs_out:{owner}", wobbling, does.either, owner))


def draw_lid(sheet: Sheet) -> None:
    """Whether the lid lets the cassette out after stop."""
    machine = sheet.machine
    mode = next((name for name in ("stop", "cassette_in", "idle") if name in machine.modes), None)
    if mode is None:
        return
    parents = [sheet.condition(conditions.latch(machine.lid.name))]
    if sheet.has(f"head_base@{mode}"):
        parents.append(f"head_base@{mode}")
    sheet.node(Node(f"lid@{mode}", tuple(parents), does.lid_opens, machine.lid.name))


def draw_keys(sheet: Sheet) -> None:
    """Whether a key is answered at all where logic reads the keys."""
    machine = sheet.machine
    play = machine.modes.get("play")
    if play is None or not has_logic(machine) or "cassette_in" not in machine.modes:
        return
    fed = [sheet.condition(about(machine.supply.name)) for about in (conditions.feed, conditions.lamps)]
    parents = (draw_permit(sheet, play), *fed)
    sheet.node(Node("answers@cassette_in", parents, key_answered, machine.control_board.name))


def draw_recording(sheet: Sheet) -> None:
    """Whether record comes in at all where a switch has to let it."""
    machine = sheet.machine
    record = machine.modes.get("record")
    if record and any(s.kind == "record_switch" and "record" in s.allows for s in machine.sensors.values()):
        sheet.node(Node("engages@record", (draw_permit(sheet, record),), str, "record"))
