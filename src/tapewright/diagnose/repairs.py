"""What can be mended on a machine, and what that costs in minutes: money turned into time, the opening counted apart.

Kinds of fault that end in the same new part are one piece of work: a new belt puts a slack one right as well as a tarry
one. A kind that is cleaned, oiled or set is a piece of work of its own: a swab does not free a dry bearing. Work on a
part that has nothing of the kind leaves the part as it was.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from tapewright.faults.applied import fault_kind
from tapewright.faults.catalogue import FaultKind
from tapewright.machine.parts import Machine

OPENING_MINUTES: Final = 25.0
"""Opening a machine and closing it again; trade judgement, from memory."""
RETURN_MINUTES: Final = 120.0
"""A machine that comes back: talk, opening, diagnosis again, postage; trade judgement, from memory."""
GIVE_UP_MINUTES: Final = 1000.0
"""What it is worth not to hand a machine back unmended: two days of work, so that it is the last resort; trade
judgement, from memory. It ends what would otherwise go on for ever."""
RETEST_MINUTES: Final = 3.0
"""Trying after a repair whether the complaint is gone; trade judgement, from memory."""
MINUTES_PER_MONEY: Final = 0.8
"""Minutes of work that one unit of money buys: 60 minutes at the 75 to 80 an hour of five shops' posted terms."""
RENEWALS: Final = frozenset({"belt", "tyre", "roller", "motor", "gear", "lever", "assembly", "sensor", "shell"})
"""What is bought that takes the whole part's place."""


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of mending, followed by a test of the machine.

    Arguments:
        part: what it is done to.
        kinds: the kinds of fault it puts right.
        minutes: of doing it, money included, the opening of the case left out, the test counted.
        opens_case: whether the case must be open.
    """

    part: str
    kinds: tuple[str, ...]
    minutes: float
    opens_case: bool


def cost_minutes(fault: FaultKind) -> float:
    """Give what mending a kind of fault costs, minutes: money turned into time, the opening left out."""
    return fault.minutes + MINUTES_PER_MONEY * (fault.cost_low + fault.cost_high) / 2.0


def opens(fault: FaultKind) -> bool:
    """Tell whether the case must be opened to mend a kind of fault."""
    return "opening" in fault.hazards


@lru_cache(maxsize=256)
def works(machine: Machine, part: str, kinds: tuple[str, ...]) -> tuple[Work, ...]:
    """List the pieces of work that between them put every kind of fault of a part right.

    Arguments:
        machine: as described.
        part: its name.
        kinds: the kinds of fault it can have.

    >>> from tapewright.machine.library import shipped
    >>> [work.kinds for work in works(shipped("four_track"), "capstan_belt", ("slack", "tarry"))]
    [('slack', 'tarry')]
    """
    together: dict[str, list[FaultKind]] = {}
    for kind in dict.fromkeys(kinds):
        fault = fault_kind(machine, part, kind)
        together.setdefault(fault.buys if fault.buys in RENEWALS else f"kind:{kind}", []).append(fault)
    return tuple(_work(part, faults) for faults in together.values())


def _work(part: str, faults: Sequence[FaultKind]) -> Work:
    """Give the work for kinds that are mended alike: their minutes in the mean over how common they are."""
    rate = sum(fault.base_rate for fault in faults)
    minutes = sum(fault.base_rate * cost_minutes(fault) for fault in faults) / rate
    return Work(part, tuple(f.kind for f in faults), minutes + RETEST_MINUTES, any(opens(fault) for fault in faults))
