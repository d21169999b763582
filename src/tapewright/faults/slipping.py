"""How much of a rate is left where couplings slip: one law for what a stopwatch should read and for what is drawn."""

from collections.abc import Set

from tapewright.faults.behaviours import HOLDS_FROM
from tapewright.faults.conditions import sound_margins
from tapewright.machine.parts import Machine
from tapewright.machine.reel_drive import chain_to


def holding(machine: Machine, mode: str, couplings: Set[str]) -> float:
    """Give the share of what is asked that the worst of some couplings passes, with the margin it needs to hold.

    What slips turns on at about that share of its rate; from memory.

    Arguments:
        machine: with its imperfections.
        mode: its name.
        couplings: names of those on the way.
    """
    found = [one.ratio.value for name, one in sound_margins(machine, mode).items() if name in couplings]
    return min(1.0, min(found, default=HOLDS_FROM) / HOLDS_FROM)


def reel_held(machine: Machine, mode: str) -> float:
    """Give the same for the way from the motor to the reel that takes up; 1 where no motor turns it.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> deck = shipped("one_motor_portable")
    >>> [round(reel_held(applied(deck, [Fault("rewind_wheel", "glazed", at)]), "rewind"), 2) for at in (0.4, 0.7)]
    [0.69, 0.38]
    """
    at = machine.modes[mode]
    found = chain_to(machine, mode, at.takes_up) if at.takes_up else None
    return holding(machine, mode, {step.coupling for step in found[1]}) if found else 1.0


__all__ = ["holding", "reel_held"]
