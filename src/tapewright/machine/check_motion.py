"""What a description must obey, part two: that it can move, and that its sizes agree with each other.

The rules see a machine whose references all hold. Sizes are only held against each other where they were described:
a range that stands in for one contradicts nothing.
"""

from collections.abc import Callable, Iterator
from math import hypot, pi
from typing import Final

from tapewright.machine.belt_path import centres_of, sides_of
from tapewright.machine.couplings import drive_order, steps, turns_ratio
from tapewright.machine.doubt import Column, Columns, columns, estimate
from tapewright.machine.parts import TRAY_MODES, Coupling, Machine, shaft
from tapewright.machine.rates import tape_speed
from tapewright.machine.running_belt import way
from tapewright.machine.typical import all_sizes
from tapewright.words.units import mm

Breach = tuple[str, str, str]

_SPEED_OFF: Final = 0.08
"""A tape speed that motor and diameters miss by more than this is a wrong number, not a speed error."""
_STRETCH_MOST: Final = 0.3
"""More stretch than this no belt is fitted with; the loosest printed figure is 12 %, an old belt's growth 20 %."""
_RATIO_OFF: Final = 0.02


# --- shafts and what turns them ---------------------------------------------------------------------------------------


def _one_shaft(machine: Machine) -> Iterator[Breach]:
    for name, coupling in machine.couplings.items():
        shafts = [shaft(machine, end) for end in coupling.path]
        if len(set(shafts)) < len(shafts):
            found = f"Two of its rotors sit on one shaft: {', '.join(coupling.path)}."
            yield f"couplings.{name}.path", found, "A coupling joins different shafts; compare the keys on."


def _left_alone(machine: Machine) -> Iterator[Breach]:
    coupled = {shaft(machine, end) for coupling in machine.couplings.values() for end in coupling.path}
    driven = {shaft(machine, name) for name, rotor in machine.rotors.items() if rotor.kind == "motor"}
    by_tape = {shaft(machine, reel) for mode in machine.modes.values() for reel in (mode.takes_up, mode.gives) if reel}
    for name in machine.rotors:
        if shaft(machine, name) not in coupled | driven | by_tape:
            do = "Name it in the path of a coupling, say on whose shaft it sits, or take it out."
            yield f"rotors.{name}", "Nothing turns it and it turns nothing.", do


def _reached(machine: Machine) -> Iterator[Breach]:
    for name, mode in machine.modes.items():
        if not mode.motors:
            continue
        turning = set(_motor_driven(machine, name))
        if mode.takes_up and shaft(machine, mode.takes_up) not in turning:
            found = f'No motor turns "{mode.takes_up}" in this mode.'
            yield f"modes.{name}.takes_up", found, "Compare motors and engaged with the paths of the couplings."
        capstans = {shaft(machine, one) for one, rotor in machine.rotors.items() if rotor.kind == "capstan"}
        if mode.at_capstan and not capstans & turning:
            yield f"modes.{name}.at_capstan", "No motor turns a capstan in this mode.", "Compare motors and couplings."
        cam = machine.head_base.lifted_by
        if mode.moves_head_base and cam in machine.rotors and shaft(machine, cam) not in turning:
            found = f'No motor turns "{cam}" in this mode.'
            yield f"modes.{name}.moves_head_base", found, "Name the motor that drives the cam, or write false."
        tray = machine.lid.moved_by
        if name in TRAY_MODES and tray in machine.rotors and shaft(machine, tray) not in turning:
            found = f'No motor turns "{tray}" in this mode.'
            yield f"modes.{name}.motors", found, "Name the motor that moves the tray; minus for the other way."


def _motor_driven(machine: Machine, mode: str) -> Iterator[str]:
    turning = {shaft(machine, motor) for motor in machine.modes[mode].motors}
    for step in steps(machine, mode):
        if shaft(machine, step.driver) in turning:
            turning.add(shaft(machine, step.driven))
    yield from turning


def _nip_engaged(machine: Machine) -> Iterator[Breach]:
    for name, mode in machine.modes.items():
        at_work = [one for one in machine.couplings.values() if one.kind == "nip" and _is_on(one, mode.engaged)]
        if mode.at_capstan and not at_work:
            do = "Engage the nip of capstan and pinch roller."
            yield f"modes.{name}.engaged", "Nothing presses the tape to the capstan.", do


def _is_on(coupling: Coupling, engaged: tuple[str, ...]) -> bool:
    return not coupling.switched or coupling.name in engaged


# --- rates that must agree --------------------------------------------------------------------------------------------


def _reel_slips(machine: Machine) -> Iterator[Breach]:
    table = columns(all_sizes(machine), exact=True)
    for name, mode in machine.modes.items():
        if not (mode.at_capstan and mode.takes_up):
            continue
        capstans = {shaft(machine, one) for one, rotor in machine.rotors.items() if rotor.kind == "capstan"}
        for capstan in sorted(capstans & set(drive_order(machine, name))):
            if shaft(machine, mode.takes_up) in _walked(machine, name, capstan, table):
                found = f'"{mode.takes_up}" is tied to the capstan without slip, but its pack grows.'
                yield f"modes.{name}.takes_up", found, 'Put a coupling of kind "clutch" between them.'


def _agreeing_ratios(machine: Machine) -> Iterator[Breach]:
    table = columns(all_sizes(machine))
    told = set()
    for name in machine.modes:
        for motor in machine.modes[name].motors:
            turns = _walked(machine, name, shaft(machine, motor), table)
            for step in steps(machine, name):
                ends = shaft(machine, step.driver), shaft(machine, step.driven)
                if step.slips or step.coupling in told or not set(ends) <= set(turns):
                    continue
                wrong = estimate(turns[ends[1]] / (turns[ends[0]] * turns_ratio(machine, step, table)) - 1, table)
                if wrong.basis != "typical" and abs(wrong.value) > _RATIO_OFF + wrong.doubt:
                    told.add(step.coupling)
                    found = f'In {name} "{step.driven}" is also driven another way, {100 * wrong.value:+.0f} % off.'
                    yield f"couplings.{step.coupling}", found, "Compare the diameters, or switch one of the two off."


def _walked(machine: Machine, mode: str, start: str, table: Columns) -> dict[str, Column]:
    """Give signed turns of all shafts that one shaft is tied to without slip, for one turn of it."""
    turns, queue = {start: table.constant(1.0)}, [start]
    while queue:
        at = queue.pop()
        for step in steps(machine, mode):
            ends = shaft(machine, step.driver), shaft(machine, step.driven)
            if step.slips or at not in ends:
                continue
            other = ends[1] if ends[0] == at else ends[0]
            if other not in turns:
                ratio = turns_ratio(machine, step, table)
                turns[other] = turns[at] * ratio if ends[0] == at else turns[at] / ratio
                queue.append(other)
    return turns


def _speeds_agree(machine: Machine) -> Iterator[Breach]:
    if "play" not in machine.modes:
        return
    speed = tape_speed(machine)
    if speed is None or speed.basis == "typical":
        return
    off = speed.value / machine.tape.speed_m_per_s - 1
    if abs(off) > _SPEED_OFF + speed.doubt / machine.tape.speed_m_per_s:
        found = f"Motor speed and diameters give {mm(speed.value):.1f} mm/s, {100 * off:+.0f} % off."
        yield "tape.speed_mm_per_s", found, "Compare speed_rpm and the diameters of pulleys and capstan."


# --- places that must agree -------------------------------------------------------------------------------------------


def _one_place(machine: Machine) -> Iterator[Breach]:
    for name, rotor in machine.rotors.items():
        owner = machine.rotors[shaft(machine, name)]
        if rotor.on and rotor.position_m and owner.position_m and rotor.position_m != owner.position_m:
            found = f'It sits on the shaft of "{owner.name}" and has another position.'
            yield f"rotors.{name}.position_mm", found, "Take it out here: the shaft's position counts."


def _belt_ways(machine: Machine) -> Iterator[Breach]:
    table = columns(all_sizes(machine), exact=True)
    for belt in machine.couplings.values():
        centres = centres_of(machine, belt)
        if belt.kind != "belt" or centres is None or not _all_described(machine, belt):
            continue
        radii = [float(table[f"{name}.diameter"][0]) / 2 for name in belt.path]
        overlapping = list(_overlapping(belt, centres, radii))
        yield from overlapping
        if not overlapping:
            yield from _belt_fit(machine, belt, table)


def _overlapping(belt: Coupling, centres: list[tuple[float, float]], radii: list[float]) -> Iterator[Breach]:
    for i, first in enumerate(belt.path):
        for j in range(i + 1, len(belt.path)):
            apart = hypot(centres[i][0] - centres[j][0], centres[i][1] - centres[j][1])
            if apart <= radii[i] + radii[j]:
                found = f'"{first}" and "{belt.path[j]}" overlap: axes {mm(apart):.1f} mm apart.'
                yield f"couplings.{belt.name}.path", found, "Compare their position_mm and diameter_mm."


def _belt_fit(machine: Machine, belt: Coupling, table: Columns) -> Iterator[Breach]:
    path = way(machine, belt, table)
    assert path is not None
    yield from _missed(belt, [float(wrap[0]) for wrap in path.wraps_rad])
    if belt.length is None:
        return
    around, length = float(path.length_m[0]), belt.length.value
    at = f"couplings.{belt.name}.length_mm"
    if length - belt.length.doubt > around * 1.005:
        found = f"{mm(length):g} is longer than the {mm(around):.0f} mm path around its pulleys: it would hang loose."
        yield at, found, "Give the length of a sound belt, or leave it out; a grown one is a sign, not a size."
    elif around / length - 1 > _STRETCH_MOST:
        found = f"{mm(length):g} is far shorter than the {mm(around):.0f} mm path around its pulleys."
        yield at, found, "Measure the belt again, lying slack, or compare position_mm and diameter_mm."


def _missed(belt: Coupling, wraps_rad: list[float]) -> Iterator[Breach]:
    """Tell a pulley that the belt would not touch: a loop turns once in all, and there it would turn once too often."""
    turned = sum(side * wrap for side, wrap in zip(sides_of(belt), wraps_rad, strict=True))
    if len(wraps_rad) > 2 and abs(turned - 2 * pi) > 0.1:
        name = max(zip(wraps_rad, belt.path, strict=True))[1]
        do = "Take the pulley out of path, or compare sides and position_mm."
        yield f"couplings.{belt.name}.path", f'The belt would miss "{name}".', do


def _contacts(machine: Machine) -> Iterator[Breach]:
    for coupling in machine.couplings.values():
        centres = centres_of(machine, coupling)
        if coupling.kind not in ("tyre", "nip") or centres is None or not _all_described(machine, coupling):
            continue
        apart = hypot(centres[0][0] - centres[1][0], centres[0][1] - centres[1][1])
        radii = [size.value / 2 for name in coupling.path if (size := machine.rotors[name].diameter)]
        reach = abs(radii[0] - radii[1]) if coupling.inside else sum(radii)
        gap = reach - apart if coupling.inside else apart - reach
        # A swinging arm brings a tyre over by a few millimetres; it cannot reach across ten, nor sink into the other.
        if not -0.003 < gap < (0.010 if coupling.switched else 0.003):
            sizes = "radii differ by" if coupling.inside else "radii add up to"
            found = f"Axes {mm(apart):.1f} mm apart, but the {sizes} {mm(reach):.1f} mm."
            yield f"couplings.{coupling.name}.path", found, "Compare their position_mm and diameter_mm."


def _all_described(machine: Machine, coupling: Coupling) -> bool:
    return all(machine.rotors[name].diameter is not None for name in coupling.path)


Rules = tuple[Callable[[Machine], Iterator[Breach]], ...]

REACH_RULES: Final[Rules] = (_left_alone, _reached, _nip_engaged)
"""What a broken reference elsewhere would break too: these wait until the references hold."""
SIZE_RULES: Final[Rules] = (
    _one_shaft, _reel_slips, _agreeing_ratios, _speeds_agree, _one_place, _belt_ways, _contacts,
)  # fmt: skip
