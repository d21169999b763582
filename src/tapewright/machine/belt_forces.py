"""One belt's forces: tension at rest and running, grip at each pulley, the load on the shafts, rubber's stiffness."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.machine.asked import asked_of_steps
from tapewright.machine.couplings import running_diameter
from tapewright.machine.doubt import Column, Columns, columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import at_work_in, force_sizes
from tapewright.machine.formulas import belt_creep, capstan_ratio, shore_to_modulus_gent, shore_to_modulus_log10
from tapewright.machine.parts import Coupling, Machine
from tapewright.machine.running_belt import pull, stretch, tension_at_rest, way
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem

SHORE: Final = (30.0, 90.0)
"""Shore A outside of which neither relation between hardness and stiffness is of use."""


@dataclass(frozen=True, slots=True)
class BeltForces:
    """A belt's forces in one mode.

    Arguments:
        belt: its name.
        mode: a mode in which it is at work.
        strain: stretch as fitted, a share.
        at_rest: its tension with nothing turning, N.
        tight: on the pulling side under the mode's load, N.
        slack: on the other side, N; at nothing it hangs.
        grip: the largest ratio of tensions at the pulley that lets go first, exp(mu theta).
        lets_go_at: that pulley.
        wrap_deg: how far it touches on each pulley, degrees, by name.
        shaft_load: pull on the driver's shaft at rest, N.
        creep: the share of the speed it loses under this load, %.
    """

    belt: str
    mode: str
    strain: Figure
    at_rest: Figure
    tight: Figure
    slack: Figure
    grip: Figure
    lets_go_at: str
    wrap_deg: Mapping[str, Figure]
    shaft_load: Figure
    creep: Figure


def belts_forces(machine: Machine, mode: str = "play") -> tuple[BeltForces, ...]:
    """Give the forces of every belt at work in a mode.

    Raises:
        KeyError: when there is no such mode.
    """
    at_work = {step.coupling for step in at_work_in(machine, mode)}
    names = [name for name, one in machine.couplings.items() if one.kind == "belt" and name in at_work]
    return tuple(belt_forces(machine, name, mode) for name in names)


def belt_forces(
    machine: Machine, belt: str, mode: str = "play", given: Mapping[str, Estimate] | None = None
) -> BeltForces:
    """Give one belt's forces in a mode. At fixed centres T1 + T2 = 2 T0; Hooke's law.

    Arguments:
        machine: as described, or with imperfections.
        belt: its name.
        mode: a mode in which it is at work.
        given: sizes that stand in front of the machine's own, such as `{"capstan_belt.modulus": from_shore(60)}`.

    Raises:
        KeyError: when the belt is not at work in this mode, or there is no such mode.

    >>> from tapewright.machine.library import shipped
    >>> round(belt_forces(shipped("four_track"), "capstan_belt").at_rest.value, 2)
    0.36
    """
    table = columns(force_sizes(machine, given))
    asked = asked_of_steps(machine, machine.modes[mode], at_work_in(machine, mode), table)
    own = {step: torque for step, torque in asked.items() if step.coupling == belt}
    if not own:
        raise KeyError(belt)
    one, driver = machine.couplings[belt], next(iter(own)).driver
    rest = tension_at_rest(machine, one, table)
    arm = (running_diameter(machine, driver, table) + table[f"{belt}.thickness"]) / 2
    torque = sum(own.values(), table.constant(0.0))
    half = torque / arm / 2
    wraps = {name: _wrap(machine, one, name, table) for name in one.path}
    weakest = min(one.path, key=lambda name: float(pull(machine, one, name, table)[0]))
    friction = table[f"{belt}.friction"] * one.imperfections.grip * machine.rotors[weakest].imperfections.grip
    section = table[f"{belt}.width"] * table[f"{belt}.thickness"]
    lost = 100 * np.asarray(belt_creep(torque, arm, table[f"{belt}.modulus"], section))
    return BeltForces(
        belt, mode,
        figure(machine, stretch(machine, one, table), table, "1"),
        figure(machine, rest, table, "N"),
        figure(machine, rest + half, table, "N"),
        figure(machine, np.maximum(rest - half, 0.0), table, "N"),
        figure(machine, np.asarray(capstan_ratio(friction, wraps[weakest])), table, "1"),
        weakest,
        {name: figure(machine, np.degrees(wrap), table, "°") for name, wrap in wraps.items()},
        figure(machine, shaft_load(rest, wraps[driver]), table, "N"),
        figure(machine, lost, table, "%"),
    )  # fmt: skip


def shaft_load(at_rest_n: Column, wrap_rad: Column) -> Column:
    """Give the pull of a belt on a shaft, newtons: 2 T0 sin(theta / 2). Closed form of our own."""
    return np.asarray(2 * at_rest_n * np.sin(wrap_rad / 2))


def from_shore(shore_a: float, where: str = "Shore A") -> Estimate:
    """Give rubber's stiffness from its Shore A hardness, pascal.

    Two relations are in print and lie up to 1.6 times apart: the value is their geometric mean, the doubt reaches both.
    The log10 one is meant for 30 to 60 Shore A; Gent's is poor below 40. Constants of Gent's from memory.

    Raises:
        InputAtFaultError: outside 30 to 90 Shore A.

    >>> round(from_shore(60).value / 1e6, 1)
    4.6
    """
    if not SHORE[0] <= shore_a <= SHORE[1]:
        found = f"{shore_a:g} lies outside 30 to 90 Shore A."
        raise InputAtFaultError(Problem(where, found, "Belts are 50 to 70 Shore A; leave it out if unknown."))
    both = float(shore_to_modulus_gent(shore_a)), float(shore_to_modulus_log10(shore_a))
    middle = float(np.sqrt(both[0] * both[1]))
    return Estimate(middle, max(max(both) - middle, 0.1 * middle), "derived")


def _wrap(machine: Machine, belt: Coupling, pulley: str, table: Columns) -> Column:
    path = way(machine, belt, table)
    return table[f"{belt.name}.wrap"] if path is None else path.wraps_rad[belt.path.index(pulley)]
