"""What stops a reel once a wind is stopped: the torque that holds it, the inertia that goes on, how long that takes."""

from typing import Final

import numpy as np

from tapewright.machine.asked import hold_back
from tapewright.machine.force_sizes import force_table
from tapewright.machine.formulas import disc_inertia, half_side_radius, spin_down_time
from tapewright.machine.parts import Coupling, Machine, shaft
from tapewright.machine.reel_drive import reel_losses
from tapewright.standards.iec_60094 import TAPE_WIDTH_M

TABLE_INERTIA: Final = 2.4e-6
"""Of a reel table with a cassette's hub, kg m², where the description gives none: 20 g, 30 mm across; from memory."""
TAPE_KG_PER_M3: Final = 1400.0
"""Polyester with its coating; from memory."""


def stopping_brakes(machine: Machine, reel: str) -> tuple[Coupling, ...]:
    """Give the brakes that a stop puts on a reel's shaft.

    Arguments:
        machine: as described, or with imperfections.
        reel: a reel table.

    >>> from tapewright.machine.library import shipped
    >>> [one.name for one in stopping_brakes(shipped("two_motor_deck"), "supply_reel")]
    ['supply_brake']
    """
    stop = machine.modes.get("stop")
    return tuple(
        one for one in machine.couplings.values()
        if one.kind == "brake" and stop is not None and one.name in stop.engaged
        and shaft(machine, one.driver) == shaft(machine, reel)
    )  # fmt: skip


def stopping_torque(machine: Machine, mode: str, reel: str, brakes: float = 1.0) -> float:
    """Give the torque that holds a reel when a wind is stopped, newton metres: what it loses anyhow, and its brakes.

    What is still coupled to it and runs on, a motor or a pulley, is left out.

    Arguments:
        machine: as described, or with imperfections.
        mode: the wind that is stopped.
        reel: one of its two reels.
        brakes: share of their torque with which the brakes hold.
    """
    at, table = machine.modes[mode], force_table(machine)
    total = reel_losses(machine, mode, reel, table)
    if reel == at.gives:
        total = total + hold_back(machine, at, table)
    for one in stopping_brakes(machine, reel):
        wrong = one.imperfections
        total = total + table[f"{one.name}.torque"] * (
            wrong.grip * wrong.tension * wrong.passes * wrong.present * brakes
        )
    return float(np.atleast_1d(total)[0])


def reel_inertia(machine: Machine, reel: str, radius_m: float) -> float:
    """Give the inertia of a reel with a pack on it, kilogram square metres.

    Arguments:
        machine: as described.
        reel: a reel table.
        radius_m: of its pack.
    """
    hub = machine.tape.hub_radius_m
    own = machine.rotors[reel].inertia
    mass = np.pi * (radius_m**2 - hub**2) * TAPE_WIDTH_M.value * TAPE_KG_PER_M3
    return (own.value if own is not None else TABLE_INERTIA) + float(disc_inertia(mass, radius_m, hub))


def run_down_s(machine: Machine, mode: str, reel: str, turns_per_s: float, brakes: float = 1.0) -> float:
    """Give how long a reel takes to stand after a wind in the middle of a side, seconds: J omega / M.

    Arguments:
        machine: as described, or with imperfections.
        mode: the wind that is stopped.
        reel: one of its two reels.
        turns_per_s: its rate until then.
        brakes: share of their torque with which the brakes hold.

    >>> from tapewright.machine.library import shipped
    >>> deck = shipped("two_motor_deck")
    >>> [round(run_down_s(deck, "fast_forward", "supply_reel", 12.0, share), 2) for share in (1.0, 0.0)]
    [0.06, 0.23]
    """
    half = float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))
    inertia, torque = reel_inertia(machine, reel, half), stopping_torque(machine, mode, reel, brakes)
    return float(spin_down_time(inertia, turns_per_s, torque))


__all__ = ["reel_inertia", "run_down_s", "stopping_brakes", "stopping_torque"]
