"""How one measurement hangs on a machine: the noun, and what several measurements are worked out from.

Nothing here knows a fault by name: only a machine with its imperfections, and the words of its functions.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from tapewright.machine.asked import asked_of_shaft, asked_of_steps, load_on
from tapewright.machine.doubt import Column
from tapewright.machine.figure import figure
from tapewright.machine.force_sizes import at_work_in, force_table
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.passed import capacity_at

Composed = Literal["product", "sum", "squares"]
LEAST_SPREAD: Final = 0.08
"""Nothing mechanical is known better than 8 %: printed windows of pinch force are 270 to 370 and 295 to 365 gf."""


@dataclass(frozen=True, slots=True)
class Expected:
    """How one measurement hangs on the machine.

    Arguments:
        nodes: functions whose words go with it.
        value: gives the reading of a machine with its imperfections, in the quantity's unit; nan where none can be
            taken.
        composed: how what two faults do to it combines: their factors multiply, their differences or their squares add.
        spread: standard deviation of the value of machines alike: of its logarithm, or for "sum" of itself.
        least: standard deviation of the measurement itself where its doubt is not said.
        by_word: (node, word) -> the reading that this word brings about whatever else is wrong; nan for none.
        as_single: (node, word) -> the reading is that of the one fault that leads there, not composed.
        parts: parts that can matter at all; empty for all.
        most: no number of faults brings about more than this.
        scatter: for "sum", how far a machine with its imperfections scatters beside that, a standard deviation: dirt
            that lies where it will changes a difference of tracks either way; None where it does not.
    """

    nodes: tuple[str, ...]
    value: Callable[[Machine], float]
    composed: Composed
    spread: float
    least: float
    by_word: Mapping[tuple[str, str], float]
    as_single: frozenset[tuple[str, str]] = frozenset()
    parts: frozenset[str] = frozenset()
    most: float = math.inf
    scatter: Callable[[Machine], float] | None = None


def spread_of(machine: Machine, result: Column | None, unit: str) -> float:
    """Give the standard deviation of the logarithm that the doubt of the sizes leaves."""
    if result is None:
        return LEAST_SPREAD
    found = figure(machine, result, force_table(machine), unit)
    if found.low <= 0:
        return 0.5
    return max(LEAST_SPREAD, math.log(found.high / found.low) / 2 / 1.96)


def load_nm(machine: Machine, motor: str, mode: str) -> float:
    """Give the torque that a motor's shaft is asked for, no more through each coupling than it passes."""
    at, table, owner = machine.modes[mode], force_table(machine, True), shaft(machine, motor)
    at_work = at_work_in(machine, mode)
    asked_here = asked_of_steps(machine, at, at_work, table)
    total = float(asked_of_shaft(machine, at, owner, table)[0])
    for step, own in asked_here.items():
        if shaft(machine, step.driver) == owner:
            able = capacity_at(machine, machine.couplings[step.coupling], step.driver, step, table)
            total += min(float(load_on(machine, step, asked_here, table)[0]), float(able[0]), float(own[0]) + 1.0)
    return total
