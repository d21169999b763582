"""What a near size on the shelf would do, before it is ordered: to speed, tension, grip and the motor's load."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from tapewright.machine.asked import asked_of_steps
from tapewright.machine.belt_forces import belt_forces, from_shore, shaft_load
from tapewright.machine.couplings import Step, running_diameter, turns_ratio
from tapewright.machine.doubt import Column, Columns, columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import at_work_in, force_sizes, force_table
from tapewright.machine.forces import Margin, mode_margins, verdict
from tapewright.machine.formulas import belt_creep, contact_torque
from tapewright.machine.parts import Machine, Rotor, shaft, sound, spoken
from tapewright.machine.reel_drive import along, capstan_of, chain_to
from tapewright.machine.round_sizes import COMFORTABLE, GROOVE_TO_SECTION
from tapewright.machine.running_belt import tension_at_rest, way
from tapewright.machine.typical import typical
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem

Fits = Literal["fits", "makeshift", "does not fit"]
LOOSE: Final = 0.015
"""Fitted with less stretch than this a belt hangs as soon as it has set a little; from memory."""
TIGHT: Final = 0.12
"""A seal maker's guide prints 8 to 12 % for round rings: more wears bearings and slows the motor."""
SPEED_LIMIT_PCT: Final = 0.5
"""Where the machine states no limit: a service paper prints 3 kHz ± 0.5 %, outside which the speed is to be set."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What another belt does in a machine.

    Arguments:
        belt: its name.
        mode: the mode in which its margin is smallest.
        strain: stretch it would be fitted with, a share.
        speed: change of the speed of what it drives, against the belt as described, %: thickness and creep.
        tape_speed: the same at the tape; 0 where this belt does not turn the capstan.
        tension: at rest, N.
        tension_ratio: over that of the belt as described.
        margin: what it passes over what is asked, where that is smallest.
        motor_load: torque that its pull adds in the bush of the driving shaft, N·m.
        motor_load_share: that torque over the load such motors are made for; counted on a motor's own shaft only.
        fits: in a word.
        reasons: why, a sentence each.
    """

    belt: str
    mode: str
    strain: Figure
    speed: Figure
    tape_speed: Figure
    tension: Figure
    tension_ratio: float
    margin: Margin
    motor_load: Figure
    motor_load_share: float
    fits: Fits
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OtherDiameter:
    """What a tyre or roller of another diameter does.

    Arguments:
        rotor: its name.
        tape_speed: change of the tape's speed in play, %.
        reach_m: how much further (positive) or less far its arm moves before it touches, metres.
        margins: smallest margin of each coupling it is part of, by name.
        fits: in a word.
        reasons: why, a sentence each.
    """

    rotor: str
    tape_speed: float
    reach_m: float
    margins: Mapping[str, Margin]
    fits: Fits
    reasons: tuple[str, ...]


def what_if(
    machine: Machine,
    belt: str,
    length: Estimate | None = None,
    section_m: tuple[float, float] | None = None,
    shore_a: float | None = None,
    way_m: Estimate | None = None,
) -> WhatIf:
    """Give what a belt of another size would do, against the belt as described.

    Arguments:
        machine: as described; what is wrong with a part plays no role.
        belt: its name.
        length: relaxed inside length, metres; None for the one as described or usual.
        section_m: width and thickness, metres; None for the one as described or usual.
        shore_a: hardness of the rubber; None for what is usual.
        way_m: the belt's way by a string, metres, where the pulleys' places are not known.

    Raises:
        InputAtFaultError: when there is no such belt, a size cannot be meant, or the way is not known.

    >>> from tapewright.machine.library import shipped
    >>> thicker = what_if(shipped("four_track"), "capstan_belt", section_m=(0.004, 0.001))
    >>> round(thicker.tape_speed.value, 1), thicker.fits
    (4.0, 'does not fit')
    """
    machine = sound(machine)
    one = machine.couplings.get(belt)
    if one is None or one.kind != "belt":
        raise InputAtFaultError(Problem(belt, "This machine has no such belt.", _belts(machine)))
    _check(belt, length, section_m)
    other = replace(one, length=length or one.length, section_m=section_m or one.section_m)
    changed = replace(machine, couplings={**machine.couplings, belt: other})
    given: dict[str, Estimate] = {}
    if shore_a is not None:
        given[f"{belt}.modulus"] = from_shore(shore_a, f"{belt}, Shore A")
    if length is not None and way(machine, one, force_table(machine, True)) is None:
        given[f"{belt}.strain"] = _strain(belt, length, way_m)
    worst = _worst(changed, belt, given)
    forces = belt_forces(changed, belt, worst.mode, given)
    before, after = force_table(machine), columns(force_sizes(changed, given))
    was, now = tension_at_rest(machine, one, before), tension_at_rest(changed, other, after)
    load = _bush_torque(changed, belt, worst.mode, now, after)
    speed, tape = _speeds(machine, changed, belt, worst.mode, given)
    at_motor = machine.rotors[shaft(machine, one.driver)].kind == "motor"
    share = float(load[0]) / typical("motor_rated_load").value if at_motor else 0.0
    fits, reasons = _judge(machine, changed, belt, forces.strain, tape, worst, share)
    return WhatIf(
        belt, worst.mode, forces.strain, speed, tape, figure(machine, now, after, "N"),
        float(now[0]) / max(float(was[0]), 1e-12), worst, figure(machine, load, after, "N·m"), share, fits, reasons,
    )  # fmt: skip


def what_if_diameter(machine: Machine, rotor: str, diameter_m: float) -> OtherDiameter:
    """Give what a tyre or pinch roller of another diameter would do.

    An idler between two rims only passes motion on: its diameter cancels in the ratio. It changes how far its arm has
    to move, and the wear of its spring's force with that, which is not counted.

    Arguments:
        machine: as described.
        rotor: a tyre or a pinch roller.
        diameter_m: the other diameter, metres.

    Raises:
        InputAtFaultError: when there is no such tyre or roller, its diameter is not known, or the other is absurd.

    >>> from tapewright.machine.library import shipped
    >>> round(what_if_diameter(shipped("four_track"), "idler_tyre", 0.0155).tape_speed, 6)
    0.0
    """
    machine = sound(machine)
    found = _tyre_or_roller(machine, rotor)
    assert found.diameter is not None
    if not 0.5 < diameter_m / found.diameter.value < 2:
        said = f"{diameter_m * 1e3:g} mm is far from the {found.diameter.value * 1e3:g} mm described."
        raise InputAtFaultError(Problem(rotor, said, "Check the number and its unit."))
    other = replace(found, diameter=Estimate(diameter_m, found.diameter.doubt))
    changed = replace(machine, rotors={**machine.rotors, rotor: other})
    smallest: dict[str, Margin] = {}
    for mode in changed.modes:
        for one in mode_margins(changed, mode):
            if rotor in changed.couplings[one.coupling].path:
                kept = smallest.get(one.coupling)
                smallest[one.coupling] = one if kept is None or one.ratio.value < kept.ratio.value else kept
    before, after = force_table(machine), columns(force_sizes(changed))
    play = next((name for name, mode in machine.modes.items() if mode.at_capstan), None)
    tape = 0.0
    if play:
        tape = 100 * float(_to_capstan(changed, play, after)[0] / _to_capstan(machine, play, before)[0] - 1)
    reach = (found.diameter.value - diameter_m) / 2
    fits, reasons = _judge_diameter(machine, rotor, tape, reach, smallest)
    return OtherDiameter(rotor, tape, reach, smallest, fits, reasons)


def _tyre_or_roller(machine: Machine, rotor: str) -> Rotor:
    kinds = ("idler_tyre", "pinch_roller")
    found = machine.rotors.get(rotor)
    if found is None or found.kind not in kinds:
        known = ", ".join(name for name, one in machine.rotors.items() if one.kind in kinds)
        raise InputAtFaultError(Problem(rotor, "This is no tyre or pinch roller of this machine.", f"Valid: {known}."))
    if found.diameter is None:
        raise InputAtFaultError(Problem(rotor, "Its diameter is not described.", "Measure it and write it down."))
    return found


def _belts(machine: Machine) -> str:
    return f"Its belts: {', '.join(name for name, one in machine.couplings.items() if one.kind == 'belt')}."


def _check(belt: str, length: Estimate | None, section_m: tuple[float, float] | None) -> None:
    problems = []
    if length is not None and not 0.02 <= length.value <= 3.0:
        problems.append((f"{length.value * 1e3:g} mm is no inside length of a belt.", "20 mm to 3 m."))
    if section_m is not None and not all(1e-4 <= side <= 0.02 for side in section_m):
        shown = " x ".join(f"{side * 1e3:g}" for side in section_m)
        problems.append((f"{shown} mm is no section of a belt.", "0.1 mm to 20 mm each way."))
    if problems:
        raise InputAtFaultError(
            [Problem(belt, found, f"Check the number and its unit: {do}") for found, do in problems]
        )


def _strain(belt: str, length: Estimate, way_m: Estimate | None) -> Estimate:
    if way_m is None:
        found = "The places of its pulleys are not described, so nobody knows how far it would be stretched."
        raise InputAtFaultError(Problem(belt, found, "Lay a string along its way and give its length."))
    ratio = way_m.value / length.value
    doubt = ratio * float(np.hypot(way_m.relative_doubt, length.relative_doubt))
    return Estimate(max(ratio - 1, 1e-6), doubt, "derived")


def _worst(machine: Machine, belt: str, given: Mapping[str, Estimate]) -> Margin:
    found = [
        one
        for mode in machine.modes
        if any(step.coupling == belt for step in at_work_in(machine, mode))
        for one in mode_margins(machine, mode, given=given)
        if one.coupling == belt
    ]
    if not found:
        raise InputAtFaultError(Problem(belt, "This belt is at work in no mode.", "Check the modes."))
    return min(found, key=lambda one: one.ratio.value)


def _bush_torque(machine: Machine, belt: str, mode: str, at_rest: Column, table: Columns) -> Column:
    """Give what the belt's pull costs in the bush of its driver's shaft, newton metres: mu times pull times radius."""
    one = machine.couplings[belt]
    path = way(machine, one, table)
    wrap = table[f"{belt}.wrap"] if path is None else path.wraps_rad[0]
    pressed = shaft_load(at_rest, wrap)
    return np.asarray(contact_torque(table["friction_bush"], pressed, table["motor_shaft_diameter"] / 2))


def _speeds(
    machine: Machine, changed: Machine, belt: str, mode: str, given: Mapping[str, Estimate]
) -> tuple[Figure, Figure]:
    """Give the change of speed of what the belt drives, and of the tape, %: one table for both, as they share sizes."""
    was, now = force_sizes(machine), force_sizes(changed, given)
    old = {key: was[f"{belt}.{key}"] for key in ("thickness", "width", "modulus")}
    differ = [key for key, size in old.items() if size != now[f"{belt}.{key}"]]
    table = columns({**now, **{f"{belt} as described.{key}": old[key] for key in differ}})
    before = {f"{belt}.{key}": table[f"{belt} as described.{key}"] for key in differ}
    as_described = replace(table, values={**table.values, **before})
    own = next(step for step in at_work_in(machine, mode) if step.coupling == belt)
    ratio = _passed_on(changed, own, mode, table) / _passed_on(machine, own, mode, as_described)
    speed = figure(machine, 100 * (ratio - 1), table, "%", signed=True)
    play = next((name for name, one in machine.modes.items() if one.at_capstan), None)
    capstan = capstan_of(machine, machine.modes[play]) if play else None
    found = chain_to(machine, play, capstan) if play and capstan else None
    on_the_way = found is not None and any(step.coupling == belt for step in found[1])
    tape = speed if on_the_way else figure(machine, table.constant(0.0), table, "%", signed=True)
    return speed, tape


def _passed_on(machine: Machine, step: Step, mode: str, table: Columns) -> Column:
    """Give turns of the driven for one of the driver, less what the belt creeps under the mode's load."""
    belt = step.coupling
    asked = asked_of_steps(machine, machine.modes[mode], at_work_in(machine, mode), table)[step]
    arm = (running_diameter(machine, step.driver, table) + table[f"{belt}.thickness"]) / 2
    section = table[f"{belt}.width"] * table[f"{belt}.thickness"]
    lost = np.asarray(belt_creep(asked, arm, table[f"{belt}.modulus"], section))
    return np.asarray(np.abs(turns_ratio(machine, step, table)) * (1 - lost))


def _to_capstan(machine: Machine, mode: str, table: Columns) -> Column:
    capstan = capstan_of(machine, machine.modes[mode])
    found = chain_to(machine, mode, capstan) if capstan else None
    return table.constant(1.0) if found is None else along(machine, found[1], table)


def _judge(
    machine: Machine, changed: Machine, belt: str, strain: Figure, tape: Figure, worst: Margin, load: float
) -> tuple[Fits, tuple[str, ...]]:
    no: list[str] = []
    so_so: list[str] = []
    one = changed.couplings[belt]
    if strain.value < LOOSE:
        no.append(f"Too long: stretched by {100 * strain.value:.1f} % it hangs loose soon, if not at once.")
    elif strain.value > TIGHT:
        no.append(f"Too short: {100 * strain.value:.0f} % of stretch wears bearings and slows the motor.")
    limit = machine.limits.get("speed_error_pct", SPEED_LIMIT_PCT)
    if tape.doubt > max(abs(tape.value), limit):
        said = f"The tape's speed may change by up to {abs(tape.value) + tape.doubt:.1f} %"
        so_so.append(f"{said}: measure the old belt's thickness.")
    elif abs(tape.value) > limit:
        said = f"The tape would run {abs(tape.value):.1f} % {'fast' if tape.value > 0 else 'slow'}"
        # A governed motor's trimmer reaches a few percent, from memory.
        (so_so if abs(tape.value) <= 3 else no).append(
            f"{said}; the motor's speed would have to be set anew." if abs(tape.value) <= 3 else f"{said}."
        )
    if verdict(worst) == "slips" or worst.ratio.value < 1:
        no.append(f"It slips {_in(worst.mode)}: it passes {worst.ratio.value:.1f} times what is asked.")
    elif verdict(worst) == "may slip":
        so_so.append(f"It may slip {_in(worst.mode)}: {worst.low:.1f} to {worst.high:.1f} times what is asked.")
    grooves = {n: size.value for n in one.path if (size := changed.rotors[n].diameter) is not None}
    if grooves and one.section_m is not None:
        small = min(grooves, key=lambda name: grooves[name])
        times = grooves[small] / one.section_m[1]
        if times < GROOVE_TO_SECTION:
            no.append(f"Too thick for the {spoken(machine, small)}: {times:.1f} sections across, four at least.")
        elif times < COMFORTABLE and one.section_m != machine.couplings[belt].section_m:
            so_so.append(f"Thick for the {spoken(machine, small)}: {times:.1f} sections across, six are comfortable.")
    if load > 0.3:
        so_so.append(f"Its pull alone takes {100 * load:.0f} % of the load such a motor is made for.")
    fits: Fits = "does not fit" if no else "makeshift" if so_so else "fits"
    return fits, (*no, *so_so)


def _judge_diameter(
    machine: Machine, rotor: str, tape: float, reach: float, smallest: Mapping[str, Margin]
) -> tuple[Fits, tuple[str, ...]]:
    no: list[str] = []
    so_so: list[str] = []
    for one in smallest.values():
        if verdict(one) == "slips":
            no.append(f"The {spoken(machine, one.coupling)} slips {_in(one.mode)}.")
        elif verdict(one) == "may slip":
            so_so.append(f"The {spoken(machine, one.coupling)} may slip {_in(one.mode)}.")
    if abs(tape) > machine.limits.get("speed_error_pct", SPEED_LIMIT_PCT):
        no.append(f"The tape would run {abs(tape):.1f} % {'fast' if tape > 0 else 'slow'}.")
    if abs(reach) > 0.3e-3:
        # A third of a millimetre is what a usual swing arm or roller bracket takes up; from memory.
        further = "further" if reach > 0 else "less far"
        so_so.append(
            f"Its arm moves {abs(reach) * 1e3:.2f} mm {further} before it touches: see that it does, and lets go."
        )
    return ("does not fit" if no else "makeshift" if so_so else "fits"), (*no, *so_so)


def _in(mode: str) -> str:
    return f"in {mode.replace('_', ' ')}"
