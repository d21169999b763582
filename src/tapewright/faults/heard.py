"""What the ear makes of a whole mode, wherever it comes from; and what the lid and the keys answer.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from collections.abc import Callable, Iterable

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.bringing_in import draw_permit
from tapewright.faults.drives import engaged
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.couplings import active
from tapewright.machine.parts import Machine, Mode, has_logic, nips_at_work, shaft


def draw_heard(sheet: Sheet, mode: Mode) -> None:
    """What is heard in a mode: noises and squeals from anywhere, in play also the sound off the tape."""
    if not mode.takes_up:
        return
    machine = sheet.machine
    turning = [name for name in machine.rotors if sheet.has(f"turns:{shaft(machine, name)}@{mode.name}")]
    driving = [coupling.name for coupling in active(machine, mode)]
    noises = [sheet.condition(conditions.noise(name)) for name in (*turning, *driving)]
    _any(sheet, "noise", mode, noises, does.any_yes)
    tyres = [name for name in turning if machine.rotors[name].kind == "idler_tyre"]
    squeals = [sheet.condition(conditions.chirps(name)) for name in tyres]
    squeals += [node for node in sheet.nodes if node.startswith("rubs:") and node.endswith(f"@{mode.name}")]
    if mode.at_capstan:
        squeals.append(sheet.condition(conditions.noise(machine.cassette.name)))
        squeals += [_squeaks(sheet, name) for name in turning if machine.rotors[name].kind == "pinch_roller"]
        heard = (
            sheet.condition(conditions.signal(machine.heads.name)),
            sheet.condition(conditions.sound_path(machine.electronics.name)),
        )
        sheet.node(Node(f"sound@{mode.name}", heard, does.sound_heard, machine.electronics.name))
        lumps = [sheet.condition(conditions.steady(name)) for name in _on_the_way_to_the_tape(machine, mode)]
        lumpy = _any(sheet, "lumpy", mode, lumps, does.any_lumpy)
        sheet.node(Node(f"waver@{mode.name}", (f"nip@{mode.name}", lumpy), does.wavers, "tape"))
        harms = [name for name in (f"loop@{mode.name}", f"wrap@{mode.name}", f"edge@{mode.name}") if sheet.has(name)]
        _any(sheet, "eaten", mode, harms, does.either)
    _any(sheet, "squeal", mode, squeals, does.either)


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
    return sheet.node(Node(f"squeaks:{roller}", (stiff,), does.squeaks, roller))


def _any(sheet: Sheet, stem: str, mode: Mode, parents: Iterable[str], function: Callable[..., str]) -> str:
    """Whether any of many is so, asked link by link: a table of all at once would be out of hand."""
    asked = list(dict.fromkeys(parents))
    so_far = sheet.node(Node(f"any:{stem}/0@{mode.name}", tuple(asked[:1]), function, ""))
    for number, parent in enumerate(asked[1:], 1):
        so_far = sheet.node(Node(f"any:{stem}/{number}@{mode.name}", (so_far, parent), function, ""))
    return sheet.node(Node(f"{stem}@{mode.name}", (so_far,), str, ""))


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
    sheet.node(Node("answers@cassette_in", parents, does.key_answered, machine.control_board.name))
