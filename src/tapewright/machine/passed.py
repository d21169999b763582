"""The torque that a coupling can pass: it follows from the part's ideal shape and its imperfections."""

import numpy as np

from tapewright.machine.couplings import Step, running_diameter, turns_ratio
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.formulas import contact_torque
from tapewright.machine.parts import Coupling, Machine, part
from tapewright.machine.running_belt import pull


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
        return clutch_torque(machine, coupling, table)
    passes = coupling.imperfections.passes * product_of(machine, coupling, "passes")
    strength = there * table[f"{coupling.name}.strength"] * passes * np.abs(turns_ratio(machine, step, table))
    return strength / table[f"{coupling.name}.efficiency"] if coupling.kind == "worm" else strength


def clutch_torque(machine: Machine, clutch: Coupling, table: Columns) -> Column:
    """Give the torque a clutch slips at."""
    wrong = clutch.imperfections
    strength = wrong.passes * wrong.grip * wrong.tension * product_of(machine, clutch, "passes")
    return _there(machine, clutch) * table[f"{clutch.name}.torque"] * strength


def _there(machine: Machine, coupling: Coupling) -> float:
    return float(coupling.imperfections.present and all(part(machine, n).imperfections.present for n in coupling.path))


def product_of(machine: Machine, coupling: Coupling, what: str) -> float:
    """Multiply one imperfection of all rotors that a coupling joins."""
    return float(np.prod([getattr(machine.rotors[name].imperfections, what) for name in coupling.path]))


def springs(machine: Machine, coupling: Coupling) -> float:
    """Give the contact force that is left, as a share: the coupling's spring and the carriers of both rotors."""
    return coupling.imperfections.tension * product_of(machine, coupling, "tension")
