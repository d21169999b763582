"""How much each coupling can pass, against what the mode asks of it.

What can be passed is worked out in `passed`, what is asked in `asked`: both torques at the coupling's driving shaft.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tapewright.machine.asked import asked_of_shaft, asked_of_steps, at_reel, is_on, load_on
from tapewright.machine.back_tension import drags_on
from tapewright.machine.couplings import Step
from tapewright.machine.doubt import Column, Columns, columns, estimate, interval, leading
from tapewright.machine.figure import assumption
from tapewright.machine.force_sizes import at_work_in, force_sizes, force_table, starting_torque
from tapewright.machine.parts import Coupling, Machine, shaft
from tapewright.machine.passed import capacity_at
from tapewright.words.estimate import Estimate


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


def _margin(
    machine: Machine, name: str, mode: str, capacity: Column, demand: Column, table: Columns, rests_on: str
) -> Margin:
    ratio = capacity / demand
    low, high = interval(ratio, table)
    hangs_on, share = leading(ratio, table)
    able, asked = float(np.ravel(capacity)[0]), float(np.ravel(demand)[0])
    said = assumption(machine, hangs_on, share, table)
    return Margin(name, mode, able, asked, estimate(ratio, table), low, high, said, hangs_on, rests_on)


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


def _hold_back_margins(machine: Machine, mode: str, table: Columns) -> list[Margin]:
    at = machine.modes[mode]
    if not at.at_capstan:
        return []
    said = "hold-back torque against 0.5 g·cm, the lowest printed lower end"
    return [
        _margin(
            machine, one.drag.name, mode, at_reel(machine, one, table), table["hold_back_needed"], table, said,
        )
        for one in drags_on(machine, at.gives)
        if is_on(one.drag, at)
    ]  # fmt: skip


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
