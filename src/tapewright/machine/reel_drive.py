"""What a mode's drive can give a reel: the way from the motor to the reel table, its torque, its free speed.

A motor that turns the capstan holds its speed (it is governed) up to its starting torque. Any other motor follows the
straight line of a small d.c. motor: the described speed at the load such motors are made for, less turns for more
torque, down to standstill at its starting torque; both shrink with the voltage, which the mode's share stands for.
Torque passes each coupling up to what that can pass, less what the shafts on the way and their other branches take.
"""

from dataclasses import dataclass

import numpy as np

from tapewright.machine.asked import asked_of_shaft, asked_of_steps, load_on
from tapewright.machine.back_tension import drags_on
from tapewright.machine.couplings import Step, running_diameter, turns_ratio
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.force_sizes import at_work_in, starting_torque
from tapewright.machine.formulas import capstan_turns, contact_torque
from tapewright.machine.parts import Machine, Mode, shaft
from tapewright.machine.passed import capacity_at, springs


@dataclass(frozen=True, slots=True)
class ReelDrive:
    """What drives a reel in a mode.

    Arguments:
        motor: the motor at its beginning.
        chain: the couplings on the way, outward.
        governed: True when the motor holds its speed, since it turns the capstan as well.
        turns_for_one: turns of the reel for one of the motor where nothing slips.
        free_turns_per_s: turns the drive would give the reel if nothing held it.
    """

    motor: str
    chain: tuple[Step, ...]
    governed: bool
    turns_for_one: Column
    free_turns_per_s: Column


def capstan_of(machine: Machine, mode: Mode) -> str | None:
    """Name the capstan that a roller presses in a mode; else the first one; None without any."""
    nips = [one for one in machine.couplings.values() if one.kind == "nip" and one.name in mode.engaged]
    pressed = [name for nip in nips for name in nip.path if machine.rotors[name].kind == "capstan"]
    return next(iter([*pressed, *(name for name, rotor in machine.rotors.items() if rotor.kind == "capstan")]), None)


def chain_to(machine: Machine, mode: str, rotor: str) -> tuple[str, tuple[Step, ...]] | None:
    """Give the motor that turns a rotor in a mode and the steps between them; None when no motor does."""
    motors = {shaft(machine, name): name for name in machine.modes[mode].motors}
    reached_by: dict[str, Step] = {}
    for step in at_work_in(machine, mode):
        reached_by.setdefault(shaft(machine, step.driven), step)
    at, chain = shaft(machine, rotor), []
    while at not in motors:
        step_here = reached_by.get(at)
        if step_here is None or step_here in chain:
            return None
        chain.append(step_here)
        at = shaft(machine, step_here.driver)
    return motors[at], tuple(reversed(chain))


def along(machine: Machine, chain: tuple[Step, ...], table: Columns) -> Column:
    """Give turns at the end of a chain for one at its beginning, where nothing slips."""
    ratio = table.constant(1.0)
    for step in chain:
        ratio = ratio * np.abs(turns_ratio(machine, step, table))
    return ratio


def reel_drive(machine: Machine, mode: str, reel: str, table: Columns) -> ReelDrive | None:
    """Give what drives a reel in a mode; None when no motor does.

    Arguments:
        machine: as described, or with imperfections.
        mode: its name.
        reel: the reel table.
        table: from `force_sizes`.
    """
    found = chain_to(machine, mode, reel)
    if found is None:
        return None
    motor, chain = found
    ratio = along(machine, chain, table)
    capstan = capstan_of(machine, machine.modes[mode])
    to_capstan = chain_to(machine, mode, capstan) if capstan else None
    governed = to_capstan is not None and to_capstan[0] == motor
    turns = _governed_turns(machine, mode, motor, table) if governed else _free_turns(machine, mode, motor, table)
    return ReelDrive(motor, chain, governed, ratio, turns * ratio)


def torque_at_reel(machine: Machine, mode: str, drive: ReelDrive, turns_per_s: Column, table: Columns) -> Column:
    """Give the torque a drive can bring to its reel table while that turns at a rate, newton metres.

    What the reel itself takes (its friction, the shell's hub, a counter) is not yet off it.
    """
    at, at_work = machine.modes[mode], at_work_in(machine, mode)
    asked = asked_of_steps(machine, at, at_work, table)
    torque = _motor_torque(machine, at, drive, turns_per_s, table)
    for step in drive.chain:
        owner = shaft(machine, step.driver)
        torque = torque - asked_of_shaft(machine, at, owner, table)
        for other in at_work:
            if other is not step and other.coupling != step.coupling and shaft(machine, other.driver) == owner:
                torque = torque - load_on(machine, other, asked, table)
        coupling = machine.couplings[step.coupling]
        able = capacity_at(machine, coupling, step.driver, step, table)
        if coupling.kind == "belt":
            able = np.minimum(able, capacity_at(machine, coupling, step.driven, step, table))
        passed = np.clip(np.minimum(torque, able), 0.0, None) / np.abs(turns_ratio(machine, step, table))
        torque = passed * table[f"{coupling.name}.efficiency"] if coupling.kind == "worm" else passed
    return torque


def line_share(machine: Machine, mode: str, drive: ReelDrive, load_nm: Column, table: Columns) -> Column:
    """Give the share of its free rate at which a drive turns a loaded reel: 1 for a governed motor, else by its line.

    Arguments:
        machine: as described, or with imperfections.
        mode: its name.
        drive: what drives the reel.
        load_nm: torque the reel asks for, newton metres.
        table: from `force_sizes`.

    Returns:
        0 where the load would stop the motor. Whether the couplings hold is another question, for the margins.
    """
    if drive.governed:
        return table.constant(1.0)
    at, at_work = machine.modes[mode], at_work_in(machine, mode)
    asked = asked_of_steps(machine, at, at_work, table)
    for step in reversed(drive.chain):
        coupling, owner = machine.couplings[step.coupling], shaft(machine, step.driver)
        load_nm = load_nm * np.abs(turns_ratio(machine, step, table)) + asked_of_shaft(machine, at, owner, table)
        if coupling.kind == "worm":
            load_nm = load_nm / table[f"{coupling.name}.efficiency"]
        for other in at_work:
            if other.coupling != step.coupling and shaft(machine, other.driver) == owner:
                load_nm = load_nm + load_on(machine, other, asked, table)
    stall = _motor_torque(machine, at, drive, table.constant(0.0), table)
    return np.clip(1 - load_nm / np.maximum(stall, 1e-12), 0.0, None)


def reel_losses(machine: Machine, mode: str, reel: str, table: Columns) -> Column:
    """Give what a reel table, its branches (a counter) and a usual shell's hub take, newton metres.

    What holds the giving reel back through a belt is not among them: it counts as hold-back.
    """
    at, at_work = machine.modes[mode], at_work_in(machine, mode)
    asked = asked_of_steps(machine, at, at_work, table)
    drag = machine.rotors[reel].imperfections.drag
    total = table["shell_hub_friction_usual"] + table["reel_friction"] * drag
    held = {one.coupling for found in drags_on(machine, at.gives) for one in found.way}
    for step in (one for one in at_work if one.coupling not in held):
        if shaft(machine, step.driver) == shaft(machine, reel):
            total = total + load_on(machine, step, asked, table)
    return total


def nip_force(machine: Machine, mode: Mode, table: Columns) -> Column | None:
    """Give the tape tension the engaged capstan holds by friction, newtons: mu F, on the capstan alone; None without.

    Source: the capstan-only model agrees with two printed limits of 90 and 120 gf.
    """
    for coupling in machine.couplings.values():
        if coupling.kind == "nip" and coupling.name in mode.engaged:
            grip = coupling.imperfections.grip * float(coupling.imperfections.present)
            for name in coupling.path:
                grip *= machine.rotors[name].imperfections.grip * machine.rotors[name].imperfections.present
            force = table[f"{coupling.name}.force"] * springs(machine, coupling)
            return np.asarray(contact_torque(table[f"{coupling.name}.friction"] * grip, force, 1.0))
    return None


def _governed_turns(machine: Machine, mode: str, motor: str, table: Columns) -> Column:
    """Give the turns of the motor that also turns the capstan: as described, or as the tape's speed needs them."""
    share = abs(machine.modes[mode].motors[motor])
    if f"{motor}.speed" in table:
        return table[f"{motor}.speed"] * _rate(machine, motor) * share
    for name, other in machine.modes.items():
        capstan = capstan_of(machine, other)
        found = chain_to(machine, name, capstan) if capstan and other.at_capstan else None
        if capstan and found and found[0] == motor:
            across = running_diameter(machine, capstan, table)
            turns = capstan_turns(machine.tape.speed_m_per_s, across, machine.tape.thickness_m)
            return np.asarray(turns / along(machine, found[1], table) * share / abs(other.motors[motor]))
    return table["motor_speed"] * share


def _free_turns(machine: Machine, mode: str, motor: str, table: Columns) -> Column:
    usual = table[f"{motor}.speed"] if f"{motor}.speed" in table else table["motor_speed"]
    # The described speed is that at the load such motors are made for, as on the one sheet that prints both.
    loaded = 1 - table["motor_rated_load"] / table["motor_starting_torque"]
    return usual * _rate(machine, motor) * abs(machine.modes[mode].motors[motor]) / loaded


def _motor_torque(machine: Machine, mode: Mode, drive: ReelDrive, turns_per_s: Column, table: Columns) -> Column:
    stall = starting_torque(machine, drive.motor, mode, table)
    if drive.governed:
        return stall
    return stall * np.clip(1 - turns_per_s / drive.free_turns_per_s, 0.0, None)


def _rate(machine: Machine, motor: str) -> float:
    return machine.rotors[motor].imperfections.rate * machine.supply.imperfections.rate
