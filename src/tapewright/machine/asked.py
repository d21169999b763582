"""The torque that a mode asks: gathered from the ends of the drive (reels, tape, head base, counter) inward.

What is neglected: inertia while things start, and what the lid, the keys and the brakes take.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np

from tapewright.machine.back_tension import Drag, drags_on
from tapewright.machine.couplings import Step, running_diameter, turns_ratio
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.force_sizes import starting_torque
from tapewright.machine.formulas import contact_torque, tension_after_head
from tapewright.machine.parts import TRAY_MODES, Coupling, Machine, Mode, shaft
from tapewright.machine.passed import capacity_at, clutch_torque, springs

TRAY_GLIDES: Final = 0.2
"""Share of the torque that presses the cassette down with which a tray glides, and comes out: its springs help there.
From memory."""


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
    return clutch_torque(machine, machine.couplings[step.coupling], table) if step.slips else asked[step]


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
        if on_it and machine.rotors[one.driver].kind != "reel_table" and is_on(one, mode):
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
        if is_on(one.drag, mode):
            total = total + at_reel(machine, one, table)
    return total


def is_on(coupling: Coupling, mode: Mode) -> bool:
    """Tell whether a drag or a brake works in a mode."""
    return not coupling.switched or coupling.name in mode.engaged


def at_reel(machine: Machine, held: Drag, table: Columns) -> Column:
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
