"""What moves the tape's speed without a fault in the motor: creep of the belts, residue, the tape's own thickness."""

from dataclasses import dataclass, replace

import numpy as np

from tapewright.machine.asked import asked_of_steps
from tapewright.machine.couplings import running_diameter
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import at_work_in, force_table
from tapewright.machine.formulas import belt_creep
from tapewright.machine.parts import Machine
from tapewright.machine.reel_drive import along, capstan_of, chain_to


@dataclass(frozen=True, slots=True)
class Creep:
    """What the belts between motor and capstan lose by stretching on the tight side.

    Arguments:
        mode: at the capstan.
        belts: of each belt on the way, %, by name; positive is a loss.
        total: of all of them, %.
    """

    mode: str
    belts: dict[str, Figure]
    total: Figure


def creep(machine: Machine, mode: str = "play") -> Creep | None:
    """Give the speed that belts lose under the mode's load; None where no motor turns the capstan through a belt.

    The described sizes already hold a steady creep in them where the motor was set by ear or by a tone; what matters
    is how it changes with load. Closed form of our own: (T1 - T2) / (E A).

    Raises:
        KeyError: when there is no such mode.
    """
    at, table = machine.modes[mode], force_table(machine)
    capstan = capstan_of(machine, at)
    found = chain_to(machine, mode, capstan) if capstan else None
    if found is None:
        return None
    asked = asked_of_steps(machine, at, at_work_in(machine, mode), table)
    lost: dict[str, Column] = {}
    for step in found[1]:
        belt = machine.couplings[step.coupling]
        if belt.kind == "belt":
            section = table[f"{belt.name}.width"] * table[f"{belt.name}.thickness"]
            arm = (running_diameter(machine, step.driver, table) + table[f"{belt.name}.thickness"]) / 2
            lost[belt.name] = np.asarray(belt_creep(asked[step], arm, table[f"{belt.name}.modulus"], section))
    if not lost:
        return None
    total = sum(lost.values(), table.constant(0.0))
    belts = {name: figure(machine, 100 * one, table, "%") for name, one in lost.items()}
    return Creep(mode, belts, figure(machine, 100 * total, table, "%"))


def on_the_way(machine: Machine, mode: str = "play") -> tuple[str, ...]:
    """Name the rotors between motor and tape, the capstan last."""
    capstan = capstan_of(machine, machine.modes[mode])
    if capstan is None:
        return ()
    found = chain_to(machine, mode, capstan)
    ends = [end for step in (found[1] if found else ()) for end in (step.driver, step.driven)]
    return tuple(dict.fromkeys([*ends, capstan]))


def residue(machine: Machine, rotor: str, layer_m: float, mode: str = "play") -> Figure:
    """Give what a layer all round a rotor does to the tape's speed, %: residue on a pulley, oxide on a capstan.

    Arguments:
        machine: as described.
        rotor: which carries the layer; one that is not between motor and capstan changes nothing.
        layer_m: its thickness, metres; negative for what has worn off.
        mode: at the capstan.

    Raises:
        KeyError: when there is no such rotor or mode.

    >>> from tapewright.machine.library import shipped
    >>> round(residue(shipped("four_track"), "capstan", 10e-6).value, 1)  # 2 x 10 µm on 2.5 mm
    0.8
    """
    table = force_table(machine)
    thicker = {**table.values, f"{rotor}.diameter": table[f"{rotor}.diameter"] + 2 * layer_m}
    return _against(machine, machine, table, replace(table, values=thicker), mode)


def tape_thickness(machine: Machine, thickness_m: float, mode: str = "play") -> Figure:
    """Give what a tape of another thickness does to its speed, %: it passes at its own middle. Source: geometry.

    Arguments:
        machine: as described, with the tape it was set up with.
        thickness_m: of the other tape, metres.
        mode: at the capstan.
    """
    table = force_table(machine)
    other = replace(machine, tape=replace(machine.tape, thickness_m=thickness_m))
    return _against(machine, other, table, table, mode)


def _against(machine: Machine, other: Machine, table: Columns, changed: Columns, mode: str) -> Figure:
    before, after = _tape_for_one_turn(machine, mode, table), _tape_for_one_turn(other, mode, changed)
    return figure(machine, 100 * (after / before - 1), table, "%", signed=True)


def _tape_for_one_turn(machine: Machine, mode: str, table: Columns) -> Column:
    """Give the tape that passes for one turn of the motor; of the capstan where no motor turns it, metres."""
    capstan = capstan_of(machine, machine.modes[mode])
    if capstan is None:
        return table.constant(1.0)
    across = np.pi * (running_diameter(machine, capstan, table) + machine.tape.thickness_m)
    found = chain_to(machine, mode, capstan)
    return across if found is None else across * along(machine, found[1], table)
