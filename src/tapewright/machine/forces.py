"""How much each coupling can pass, against what the mode asks of it.

What can be passed follows from the part's ideal shape and its imperfections; what is asked is gathered from the ends of
the drive (reels, tape, head base, counter) inward to the motors. Both are torques at the coupling's driving shaft. What
is neglected: inertia while things start, and what the lid, the keys and the brakes take.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from tapewright.machine.back_tension import Drag, drags_on
from tapewright.machine.couplings import Step, running_diameter, turns_ratio
from tapewright.machine.doubt import Column, Columns, columns, estimate, interval, leading
from tapewright.machine.figure import assumption
from tapewright.machine.force_sizes import at_work_in, force_sizes, force_table, starting_torque
from tapewright.machine.formulas import contact_torque, tension_after_head
from tapewright.machine.parts import TRAY_MODES, Coupling, Machine, Mode, part, shaft
from tapewright.machine.running_belt import pull
from tapewright.words.estimate import Estimate

TRAY_GLIDES: Final = 0.2
"""Share of the torque that presses the cassette down with which a tray glides, and comes out: its springs help there.
From memory."""


@dataclass(frozen=True, slots=True)
class Margin:
    """What a coupling can pass, against what it is asked to.

    Arguments:
        coupling: its name; a motor's name for a motor.
        mode: the mode it is asked in.
        capacity_nm: torque it can pass at its driving shaft, newton metres.
        demand_nm: torque that is asked of it there.
        ratio: capacity over demand; below 1 it slips, stalls or lets go.
        low: lower end of the ratio's 95 % interval, by the logarithms of the sizes; never below nothing.
        high: its upper end.
        assumption: the size whose doubt matters most to the ratio, in words, with its share of the variance.
        hangs_on: the name of that size, such as `capstan_belt.friction`; empty where nothing is in doubt.
        rests_on: what both figures rest on, a sentence.
    """

    coupling: str
    mode: str
    capacity_nm: float
    demand_nm: float
    ratio: Estimate
    low: float
    high: float
    assumption: str
    hangs_on: str
    rests_on: str


Verdict = Literal["holds", "may slip", "slips"]


def verdict(found: Margin) -> Verdict:
    """Say whether a coupling holds: over the whole of its interval, in part of it, or nowhere in it.

    >>> from tapewright.machine.library import shipped
    >>> verdict(margin(shipped("four_track"), "counter_belt", "play"))
    'holds'
    """
    if found.high < 1:
        return "slips"
    return "holds" if found.low >= 1 else "may slip"


def margin(machine: Machine, coupling: str, mode: str) -> Margin:
    """Give the margin of one coupling in one mode.

    Arguments:
        machine: as described, or with imperfections.
        coupling: its name.
        mode: a mode in which it is at work.

    Raises:
        KeyError: when the coupling is not at work in this mode, or there is no such mode.

    >>> from tapewright.machine.library import shipped
    >>> margin(shipped("four_track"), "capstan_belt", "play").ratio.value > 2
    True
    """
    return {found.coupling: found for found in mode_margins(machine, mode)}[coupling]


def margins(machine: Machine) -> tuple[Margin, ...]:
    """Give the margins of all couplings in all modes in which they are at work, mode by mode."""
    return tuple(found for mode in machine.modes for found in mode_margins(machine, mode))


def mode_margins(
    machine: Machine, mode: str, exact: bool = False, given: Mapping[str, Estimate] | None = None
) -> tuple[Margin, ...]:
    """Give the margins of all couplings at work in one mode, outward from the motors, then the hold-back.

    Arguments:
        machine: as described, or with imperfections.
        mode: its name.
        exact: True to leave the doubts out (they are then 0), which is quicker.
        given: sizes that stand in front of the machine's own, by their names in `typical.all_sizes`.

    Raises:
        KeyError: when there is no such mode.
    """
    table = columns(force_sizes(machine, given), exact) if given else force_table(machine, exact)
    at_work = at_work_in(machine, mode)
    asked = asked_of_steps(machine, machine.modes[mode], at_work, table)
    found = []
    for name in dict.fromkeys(step.coupling for step in at_work):
        own = {step: asked[step] for step in at_work if step.coupling == name}
        capacity, demand = _at_driver(machine, machine.couplings[name], own, table)
        found.append(_margin(machine, name, mode, capacity, demand, table, _rests_on(machine, name)))
    return (*found, *_hold_back_margins(machine, mode, table))


def motor_margin(machine: Machine, motor: str, mode: str) -> Margin:
    """Give a motor's starting torque, at the voltage of the mode, against what the mode asks of its shaft.

    Raises:
        KeyError: when the motor does not run in this mode, or there is no such mode.
    """
    at = machine.modes[mode]
    at.motors[motor]
    table = force_table(machine)
    at_work, owner = at_work_in(machine, mode), shaft(machine, motor)
    asked = asked_of_steps(machine, at, at_work, table)
    onward = [load_on(machine, step, asked, table) for step in asked if shaft(machine, step.driver) == owner]
    demand = sum(onward, asked_of_shaft(machine, at, owner, table))
    said = "starting torque of small d.c. motors, 40 to 80 g·cm; of one on a reel's spindle 100 to 400, from memory"
    return _margin(machine, motor, mode, starting_torque(machine, motor, at, table), demand, table, said)


def tape_tension(machine: Machine, mode: Mode, table: Columns) -> Column:
    """Give the tension the capstan has to pull through the head at an empty supply hub and a poor shell, newtons."""
    supply_n = (hold_back(machine, mode, table) + table["shell_hub_friction"]) / machine.tape.hub_radius_m
    return np.asarray(
        tension_after_head(
            supply_n,
            table["head_wrap"],
            table["friction_tape_on_head"],
            table["pressure_pad_force"],
            table["friction_pad_on_tape"],
        )
    )


def _margin(
    machine: Machine, name: str, mode: str, capacity: Column, demand: Column, table: Columns, rests_on: str
) -> Margin:
    ratio = capacity / demand
    low, high = interval(ratio, table)
    hangs_on, share = leading(ratio, table)
    able, asked = float(np.ravel(capacity)[0]), float(np.ravel(demand)[0])
    said = assumption(machine, hangs_on, share, table)
    return Margin(name, mode, able, asked, estimate(ratio, table), low, high, said, hangs_on, rests_on)


# --- what is asked ----------------------------------------------------------------------------------------------------


def asked_of_steps(machine: Machine, mode: Mode, at_work: tuple[Step, ...], table: Columns) -> dict[Step, Column]:
    """Give the torque asked of each step at its driving shaft: what the shafts beyond it need, brought inward."""
    asked: dict[Step, Column] = {}
    for step in reversed(at_work):
        beyond = [
            one for one in at_work if one is not step and shaft(machine, one.driver) == shaft(machine, step.driven)
        ]
        needed = asked_of_shaft(machine, mode, shaft(machine, step.driven), table)
        needed = sum((load_on(machine, one, asked, table) for one in beyond if one in asked), needed)
        coupling = machine.couplings[step.coupling]
        asked[step] = needed * np.abs(turns_ratio(machine, step, table))
        if coupling.kind == "worm":
            asked[step] = asked[step] / table[f"{coupling.name}.efficiency"]
        elif coupling.kind == "nip" and mode.at_capstan:
            radius = running_diameter(machine, step.driver, table) / 2
            asked[step] = asked[step] + tape_tension(machine, mode, table) * radius
    return asked


def load_on(machine: Machine, step: Step, asked: Mapping[Step, Column], table: Columns) -> Column:
    """Give the torque a step asks of its driving shaft; a slipping clutch asks for what it slips at, come what may."""
    return _clutch_torque(machine, machine.couplings[step.coupling], table) if step.slips else asked[step]


def asked_of_shaft(machine: Machine, mode: Mode, owner: str, table: Columns) -> Column:
    """Give the friction and the work that a shaft itself asks for in a mode, newton metres.

    Arguments:
        machine: as described, or with imperfections.
        mode: the mode.
        owner: the rotor that owns the shaft.
        table: the sizes as columns.
    """
    riders = [rotor for name, rotor in machine.rotors.items() if shaft(machine, name) == owner]
    total = table.constant(0.0)
    for rotor in riders:
        drag = rotor.imperfections.drag
        if rotor.kind == "flywheel":
            total = total + table["bearing_friction"] * drag
        elif rotor.kind == "capstan":
            total = total + _capstan_load(machine, mode, rotor.name, table)
        elif rotor.kind == "reel_table":
            total = total + _reel_load(machine, mode, rotor.name, table)
        elif rotor.kind == "cam":
            total = total + _cam_load(machine, mode, rotor.name, table)
        elif rotor.kind == "counter":
            total = total + table["counter_friction"] * drag
        elif rotor.on is None:
            # What is pressed on another's shaft turns in that one's bearing.
            total = total + table["shaft_friction"] * drag
        if rotor.name == machine.lid.moved_by and mode.name in TRAY_MODES:
            share = 1.0 if mode.name == "close_tray" else TRAY_GLIDES
            total = total + table["tray_torque"] * machine.lid.imperfections.drag * share
    return total + _held_by_felt(machine, mode, owner, table)


def _held_by_felt(machine: Machine, mode: Mode, owner: str, table: Columns) -> Column:
    """Give what the drags on a shaft take that carries no reel: the pulley of a back-tension belt."""
    total = table.constant(0.0)
    for one in machine.couplings.values():
        on_it = one.kind == "drag" and shaft(machine, one.driver) == owner
        if on_it and machine.rotors[one.driver].kind != "reel_table" and _is_on(one, mode):
            total = total + table[f"{one.name}.torque"] * _drag_strength(one)
    return total


def _capstan_load(machine: Machine, mode: Mode, capstan: str, table: Columns) -> Column:
    """Give the friction of a capstan that a roller presses into its bush; the tape's pull is asked of the nip."""
    if not mode.at_capstan:
        return table.constant(0.0)
    radius = running_diameter(machine, capstan, table) / 2
    drag = machine.rotors[capstan].imperfections.drag
    total = table.constant(0.0)
    for coupling in machine.couplings.values():
        if coupling.kind == "nip" and capstan in coupling.path and coupling.name in mode.engaged:
            pressed = table[f"{coupling.name}.force"] * springs(machine, coupling)
            total = total + contact_torque(table["friction_bush"], pressed, radius) * drag
    return total


def _reel_load(machine: Machine, mode: Mode, reel: str, table: Columns) -> Column:
    """Give what a reel table needs: the lower end of the printed windows where it takes tape up, friction elsewhere."""
    extra = table["reel_friction"] * (machine.rotors[reel].imperfections.drag - 1)
    if reel != mode.takes_up:
        return table["reel_friction"] + extra
    if mode.at_capstan:
        return table["takeup_needed"] + extra
    # A sound hold-back is inside the printed figure; only what a seized one adds comes on top.
    sound = sum((table[f"{one.drag.name}.torque"] for one in drags_on(machine, mode.gives)), table.constant(0.0))
    return table["wind_needed"] + extra + np.maximum(hold_back(machine, mode, table) - sound, 0.0)


def _cam_load(machine: Machine, mode: Mode, cam: str, table: Columns) -> Column:
    drag = machine.rotors[cam].imperfections.drag
    if not (mode.moves_head_base and machine.head_base.lifted_by == cam):
        return table["shaft_friction"] * drag
    return table["cam_torque"] * drag * machine.head_base.imperfections.drag


def hold_back(machine: Machine, mode: Mode, table: Columns) -> Column:
    """Give the hold-back torque on the reel that gives tape: its drags, or a motor on its spindle fed against it."""
    total = table.constant(0.0)
    for motor in mode.motors:
        if mode.gives and shaft(machine, motor) == shaft(machine, mode.gives):
            total = total + starting_torque(machine, motor, mode, table)
    for one in drags_on(machine, mode.gives):
        if _is_on(one.drag, mode):
            total = total + _at_reel(machine, one, table)
    return total


def _is_on(coupling: Coupling, mode: Mode) -> bool:
    return not coupling.switched or coupling.name in mode.engaged


def _at_reel(machine: Machine, held: Drag, table: Columns) -> Column:
    """Give the torque of a drag as the reel feels it: brought there by its belt, and no more than that passes.

    A belt that is too tight adds to it by the load it puts on both shafts.
    """
    torque = table[f"{held.drag.name}.torque"] * _drag_strength(held.drag)
    for step in reversed(held.way):
        coupling = machine.couplings[step.coupling]
        ends = (step.driver, step.driven) if coupling.kind == "belt" else (step.driver,)
        torque = torque * np.abs(turns_ratio(machine, step, table)) * coupling.imperfections.drag
        for end in ends:
            torque = np.minimum(torque, capacity_at(machine, coupling, end, step, table))
    return torque


def _drag_strength(drag: Coupling) -> float:
    wrong = drag.imperfections
    return wrong.grip * wrong.tension * wrong.passes * wrong.drag * float(wrong.present)


# --- what can be passed -----------------------------------------------------------------------------------------------


def _at_driver(
    machine: Machine, coupling: Coupling, asked: Mapping[Step, Column], table: Columns
) -> tuple[Column, Column]:
    """Give capacity and demand of a coupling at its driving shaft, at whichever of its ends is nearer to letting go."""
    demand = sum(asked.values(), table.constant(0.0))
    first = next(iter(asked))
    best = capacity_at(machine, coupling, first.driver, first, table), demand
    if coupling.kind == "belt":
        for step, own in asked.items():
            at_driven = capacity_at(machine, coupling, step.driven, step, table)
            if at_driven[0] * best[1][0] < best[0][0] * own[0]:
                best = at_driven, own
    return best


def capacity_at(machine: Machine, coupling: Coupling, end: str, step: Step, table: Columns) -> Column:
    """Give the largest torque a coupling can pass at one of its ends, brought to the step's driving shaft, N·m.

    Arguments:
        machine: as described, or with imperfections.
        coupling: the coupling.
        end: the rotor at which it would let go.
        step: the step it makes.
        table: the sizes as columns.
    """
    there = _there(machine, coupling)
    if coupling.kind == "belt":
        arm = (running_diameter(machine, step.driver, table) + table[f"{coupling.name}.thickness"]) / 2
        return there * pull(machine, coupling, end, table) * arm
    if coupling.kind in ("tyre", "nip"):
        grip = coupling.imperfections.grip * product_of(machine, coupling, "grip")
        force = table[f"{coupling.name}.force"] * springs(machine, coupling)
        radius = running_diameter(machine, step.driver, table) / 2
        return np.asarray(there * contact_torque(table[f"{coupling.name}.friction"] * grip, force, radius))
    if coupling.kind == "clutch":
        return _clutch_torque(machine, coupling, table)
    passes = coupling.imperfections.passes * product_of(machine, coupling, "passes")
    strength = there * table[f"{coupling.name}.strength"] * passes * np.abs(turns_ratio(machine, step, table))
    return strength / table[f"{coupling.name}.efficiency"] if coupling.kind == "worm" else strength


def _clutch_torque(machine: Machine, clutch: Coupling, table: Columns) -> Column:
    wrong = clutch.imperfections
    strength = wrong.passes * wrong.grip * wrong.tension * product_of(machine, clutch, "passes")
    return _there(machine, clutch) * table[f"{clutch.name}.torque"] * strength


def _hold_back_margins(machine: Machine, mode: str, table: Columns) -> list[Margin]:
    at = machine.modes[mode]
    if not at.at_capstan:
        return []
    said = "hold-back torque against 0.5 g·cm, the lowest printed lower end"
    return [
        _margin(
            machine, one.drag.name, mode, _at_reel(machine, one, table), table["hold_back_needed"], table, said,
        )
        for one in drags_on(machine, at.gives)
        if _is_on(one.drag, at)
    ]  # fmt: skip


def _there(machine: Machine, coupling: Coupling) -> float:
    return float(coupling.imperfections.present and all(part(machine, n).imperfections.present for n in coupling.path))


def product_of(machine: Machine, coupling: Coupling, what: str) -> float:
    """Multiply one imperfection of all rotors that a coupling joins."""
    return float(np.prod([getattr(machine.rotors[name].imperfections, what) for name in coupling.path]))


def springs(machine: Machine, coupling: Coupling) -> float:
    """Give the contact force that is left, as a share: the coupling's spring and the carriers of both rotors."""
    return coupling.imperfections.tension * product_of(machine, coupling, "tension")


def _rests_on(machine: Machine, name: str) -> str:
    coupling = machine.couplings[name]
    if coupling.kind == "belt":
        stretch = "stretch from its length and path" if coupling.length else "usual stretch, 4 % flat and 6 % square"
        return f"dry friction 0.5, Shore A 60, {stretch}; what the mode asks is gathered from the ends of the drive"
    if coupling.kind == "tyre":
        return "dry friction 0.5; a reel asks 25 g·cm in play and 60 winding, lower ends of printed windows"
    if coupling.kind == "nip":
        return "friction 0.25 on the capstan alone; a poor shell and a stiff pressure pad at an empty supply hub"
    if coupling.kind == "clutch":
        return "the torque it slips at against 25 g·cm, the lowest printed lower end"
    return "strength of small moulded teeth, from memory"
