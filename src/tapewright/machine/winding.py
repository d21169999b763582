"""Wind times both ways, what the tape bears when it stops, and the flywheel's run-down by the stopwatch."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from tapewright.machine.asked import hold_back
from tapewright.machine.doubt import Column, Columns, columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import force_sizes, force_table
from tapewright.machine.forces import Margin, mode_margins, verdict
from tapewright.machine.formulas import (
    capstan_turns,
    pack_radius,
    pack_turns,
    spin_down_time,
    tape_yield,
    tension,
)
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.reel_drive import ReelDrive, line_share, reel_drive, reel_losses, torque_at_reel
from tapewright.words.estimate import Estimate

CASSETTES: Final = {"C60": (85.725, 16e-6), "C90": (128.5875, 12e-6)}
"""Length of one pass and thickness of the tape, metres. 30 and 45 minutes at 47.625 mm/s; two suppliers' pages print
15-16 and 10-12 µm."""
TAPE_WIDTH_M: Final = 3.81e-3
"""IEC 60094 prints 3.81 mm."""
YIELD_PA: Final = 100e6
"""Yield stress of the tape's base; from memory."""
_PLACES: Final = 9


@dataclass(frozen=True, slots=True)
class Wind:
    """Winding one cassette in one mode.

    Arguments:
        mode: the wind mode.
        cassette: "C60" or "C90".
        works: what the couplings on the way and the motor's torque say, over their doubts.
        time: for the whole tape, s; None where the drive cannot turn the reel.
        reel_turns_per_s: in the middle, 1/s; None likewise.
        stall_tension: tension in the tape when it stops at the hub with the motor still on, N.
        stall_share: that tension as a share of what stretches this tape for good.
        limited_by: the coupling with the smallest margin on the way; empty where the motor drives the reel directly.
        hurried_by: why the time is what it is: the motor's described speed, or the usual time of a wind.
    """

    mode: str
    cassette: str
    works: Literal["winds", "may not wind", "does not wind"]
    time: Figure | None
    reel_turns_per_s: Figure | None
    stall_tension: Figure
    stall_share: Figure
    limited_by: str
    hurried_by: str


def wind_modes(machine: Machine) -> tuple[str, ...]:
    """Name the modes in which tape is wound without the capstan."""
    return tuple(name for name, mode in machine.modes.items() if mode.takes_up and not mode.at_capstan and mode.motors)


def winds(machine: Machine) -> tuple[Wind, ...]:
    """Give every wind mode with every usual cassette."""
    return tuple(wind(machine, mode, cassette) for mode in wind_modes(machine) for cassette in CASSETTES)


def wind(machine: Machine, mode: str, cassette: str = "C60") -> Wind:
    """Give how long a wind takes, and whether it works.

    The reel's rate follows the motor's line against hub, reel and hold-back at each radius; the time is the sum over
    the turns. Where the motor's speed is not described, the usual time of a wind stands in. Neglected: starting up.

    Arguments:
        machine: as described, or with imperfections.
        mode: a mode that winds.
        cassette: "C60" or "C90".

    Raises:
        KeyError: when there is no such mode or cassette, or the mode does not wind.

    >>> from tapewright.machine.library import shipped
    >>> round(wind(shipped("one_motor_portable"), "rewind").time.value)
    84
    """
    if mode not in wind_modes(machine):
        raise KeyError(mode)
    length, thick = CASSETTES[cassette]
    table = force_table(machine)
    hub = machine.tape.hub_radius_m
    full = float(pack_radius(hub, length, thick))
    drive = reel_drive(machine, mode, machine.modes[mode].takes_up, table)
    found = [one for one in mode_margins(machine, mode) if drive and one.coupling in {s.coupling for s in drive.chain}]
    rates = None if drive is None else _rates(machine, mode, drive, hub, full, table)
    stopped = table.constant(0.0)
    if drive is not None:
        stopped = torque_at_reel(machine, mode, drive, stopped, table)
    stall = np.asarray(tension(stopped, hub))
    works = _works(found, rates)
    turns = float(pack_turns(hub, full, thick))
    time, middle = None, None
    described = drive is not None and (drive.governed or f"{drive.motor}.speed" in table)
    if rates is not None and works != "does not wind":
        took = turns * _mean_inverse(rates) if described else table["wind_time"] * turns / _turns_of("C60", hub)
        time = figure(machine, took, table, "s")
        middle = figure(machine, turns / took, table, "1/s")
    return Wind(
        mode, cassette, works, time, middle,
        figure(machine, stall, table, "N"),
        figure(machine, stall / float(tape_yield(TAPE_WIDTH_M, thick, YIELD_PA)), table, "1"),
        min(found, key=lambda one: one.ratio.value).coupling if found else "",
        "the motor's speed and load" if described else "the usual time of a wind, since the motor's speed is not known",
    )  # fmt: skip


def spin_down(machine: Machine, flywheel: str, mode: str = "play") -> Figure:
    """Give how long a flywheel coasts with its belt off and nothing pressed, from the mode's rate, seconds.

    Arguments:
        machine: as described, or with imperfections: a dry bearing is a larger drag.
        flywheel: its name.
        mode: whose rate it coasts from.

    Raises:
        KeyError: when there is no such flywheel or mode.
    """
    table = force_table(machine)
    turns = _flywheel_turns(machine, flywheel, mode, table)
    friction = table["bearing_friction"] * machine.rotors[flywheel].imperfections.drag
    return figure(machine, np.asarray(spin_down_time(table[f"{flywheel}.inertia"], turns, friction)), table, "s")


def friction_from_spin_down(
    machine: Machine, flywheel: str, seconds: float, doubt_s: float = 0.5, mode: str = "play"
) -> Figure:
    """Give a flywheel's friction from the seconds it coasted, belt off: J omega / t, newton metres.

    Arguments:
        machine: as described.
        flywheel: its name.
        seconds: by the stopwatch, from full speed to standstill.
        doubt_s: of those; half a second by hand, from memory.
        mode: whose rate it coasted from.

    Raises:
        KeyError: when there is no such flywheel or mode.
    """
    table = columns(force_sizes(machine, {"stopwatch": Estimate(seconds, doubt_s)}))
    turns = _flywheel_turns(machine, flywheel, mode, table)
    found = spin_down_time(table[f"{flywheel}.inertia"], turns, table["stopwatch"])
    return figure(machine, np.asarray(found), table, "N·m")


def _flywheel_turns(machine: Machine, flywheel: str, mode: str, table: Columns) -> Column:
    machine.rotors[flywheel], machine.modes[mode]
    on_it = [name for name, rotor in machine.rotors.items() if shaft(machine, name) == shaft(machine, flywheel)]
    capstan = next((name for name in on_it if machine.rotors[name].kind == "capstan"), None)
    if capstan is None:
        raise KeyError(flywheel)
    turns = capstan_turns(machine.tape.speed_m_per_s, table[f"{capstan}.diameter"], machine.tape.thickness_m)
    return np.asarray(turns)


def _rates(machine: Machine, mode: str, drive: ReelDrive, hub: float, full: float, table: Columns) -> list[Column]:
    """Give the reel's rate at evenly spaced turns over the pack: where the motor's line meets the load, 1/s."""
    at = machine.modes[mode]
    taking = reel_losses(machine, mode, at.takes_up, table)
    giving = reel_losses(machine, mode, at.gives, table) + hold_back(machine, at, table)
    found = []
    for radius in np.linspace(hub, full, _PLACES):
        other = np.sqrt(hub**2 + full**2 - radius**2)
        load = taking + giving * radius / other
        found.append(drive.free_turns_per_s * line_share(machine, mode, drive, load, table))
    return found


def _mean_inverse(rates: list[Column]) -> Column:
    """Give the mean of 1 / rate over the turns, by Simpson's rule: turns are evenly spaced in radius."""
    weights = [1.0, *([4.0, 2.0] * ((_PLACES - 3) // 2)), 4.0, 1.0]
    return sum((w / rate for w, rate in zip(weights, rates, strict=True)), np.zeros_like(rates[0])) / sum(weights)


def _turns_of(cassette: str, hub_m: float) -> float:
    length, thick = CASSETTES[cassette]
    return float(pack_turns(hub_m, pack_radius(hub_m, length, thick), thick))


def _works(found: list[Margin], rates: list[Column] | None) -> Literal["winds", "may not wind", "does not wind"]:
    stopped = rates is not None and any(float(rate[0]) <= 0 for rate in rates)
    if rates is None or stopped or any(verdict(one) == "slips" or one.ratio.value < 1 for one in found):
        return "does not wind"
    return "may not wind" if any(verdict(one) == "may slip" for one in found) else "winds"
