"""The flywheel on its belt as a filter: where it resonates, and what of the motor's unsteadiness it lets through."""

from dataclasses import dataclass

import numpy as np

from tapewright.machine.couplings import Step, running_diameter
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import force_table
from tapewright.machine.formulas import (
    belt_pass_rate,
    capstan_turns,
    span_stiffness,
    transmissibility,
    turning_resonance,
    turning_stiffness,
)
from tapewright.machine.parts import Coupling, Machine, shaft
from tapewright.machine.reel_drive import along, capstan_of, chain_to
from tapewright.machine.running_belt import running_length, stretch, way


@dataclass(frozen=True, slots=True)
class Through:
    """What of one line reaches the capstan.

    Arguments:
        line: whose line: the motor, its commutator, or the belt's own pass.
        rate_hz: how often it comes, 1/s.
        passed: share of the unsteadiness that reaches the flywheel; above 1 it is made larger.
    """

    line: str
    rate_hz: Figure
    passed: Figure


@dataclass(frozen=True, slots=True)
class Filter:
    """A flywheel and its belt.

    Arguments:
        flywheel: its name.
        belt: the belt that turns it.
        mode: whose rates are taken.
        resonance: the rate at which the flywheel swings on the belt with the motor held, 1/s.
        quiet_from: above this rate less gets through than comes: sqrt(2) times the resonance, 1/s.
        lines: what gets through, line by line.
    """

    flywheel: str
    belt: str
    mode: str
    resonance: Figure
    quiet_from: Figure
    lines: tuple[Through, ...]


def flywheel_filter(machine: Machine, mode: str = "play") -> Filter | None:
    """Give what flywheel and belt let through in a mode; None where no belt from a motor turns the capstan's flywheel.

    Two ways round the loop pull on the flywheel side by side, each as long as its free spans; what lies on the pulleys
    is taken as held, so the resonance is a little high. The belt is taken as linear and the motor as held.

    Raises:
        KeyError: when there is no such mode.

    >>> from tapewright.machine.library import shipped
    >>> found = flywheel_filter(shipped("four_track"))
    >>> found is not None and found.lines[0].passed.value < 0.1
    True
    """
    at = machine.modes[mode]
    capstan = capstan_of(machine, at)
    found = chain_to(machine, mode, capstan) if capstan else None
    step = (
        next((s for s in reversed(found[1]) if machine.couplings[s.coupling].kind == "belt"), None) if found else None
    )
    if capstan is None or found is None or step is None:
        return None
    wheel = next((name for name, one in machine.rotors.items() if _is_its_flywheel(machine, name, capstan)), None)
    if wheel is None:
        return None
    table = force_table(machine)
    belt = machine.couplings[step.coupling]
    section = table[f"{belt.name}.width"] * table[f"{belt.name}.thickness"]
    first, second = _ways_round(machine, belt, step.driver, step.driven, table)
    stiff = span_stiffness(table[f"{belt.name}.modulus"] * section, first, second)
    arm = (running_diameter(machine, step.driven, table) + table[f"{belt.name}.thickness"]) / 2
    resonance = np.asarray(turning_resonance(turning_stiffness(stiff, arm), table[f"{wheel}.inertia"]))
    lines = _lines(machine, found[0], found[1], capstan, resonance, table)
    return Filter(
        wheel, belt.name, mode,
        figure(machine, resonance, table, "1/s"),
        figure(machine, np.sqrt(2) * resonance, table, "1/s"),
        lines,
    )  # fmt: skip


def _is_its_flywheel(machine: Machine, name: str, capstan: str) -> bool:
    return machine.rotors[name].kind == "flywheel" and shaft(machine, name) == shaft(machine, capstan)


def _ways_round(machine: Machine, belt: Coupling, driver: str, driven: str, table: Columns) -> tuple[Column, Column]:
    """Give the free length of the belt between two of its pulleys, one way round and the other, metres."""
    path = way(machine, belt, table)
    at, to = belt.path.index(driver), belt.path.index(driven)
    if path is None:
        # Free is what the arcs leave of the loop, here half a turn on either pulley.
        arcs = np.pi / 2 * (running_diameter(machine, driver, table) + running_diameter(machine, driven, table))
        loop = table[f"{belt.name}.length"] * (1 + stretch(machine, belt, table))
        half = np.maximum((loop - arcs) / 2, 0.05 * loop)
        return half, half
    count = len(belt.path)
    ahead = sum((path.spans_m[(at + i) % count] for i in range((to - at) % count)), table.constant(0.0))
    behind = sum((path.spans_m[(to + i) % count] for i in range((at - to) % count)), table.constant(0.0))
    return np.maximum(ahead, 1e-4), np.maximum(behind, 1e-4)


def _lines(
    machine: Machine, motor: str, steps: tuple[Step, ...], capstan: str, resonance: Column, table: Columns
) -> tuple[Through, ...]:
    """Give what gets through of the motor's turns, its commutator and the belt's pass, at the tape's own speed."""
    across = running_diameter(machine, capstan, table)
    turns = np.asarray(capstan_turns(machine.tape.speed_m_per_s, across, machine.tape.thickness_m))
    turns = turns / along(machine, steps, table)
    step = next(one for one in reversed(steps) if machine.couplings[one.coupling].kind == "belt")
    belt = machine.couplings[step.coupling]
    across = running_diameter(machine, step.driver, table) + table[f"{belt.name}.thickness"]
    at_belt = turns * along(machine, steps[: steps.index(step)], table)
    came = {
        motor: turns,
        f"{motor}.commutator": turns * machine.rotors[motor].segments,
        belt.name: np.asarray(belt_pass_rate(across, at_belt, running_length(machine, belt, table))),
    }
    return tuple(
        Through(
            name,
            figure(machine, rate, table, "1/s"),
            figure(machine, np.asarray(transmissibility(rate / resonance, table["belt_damping"])), table, "1"),
        )
        for name, rate in came.items()
        if float(rate[0]) > 0
    )
