"""What holds a reel back: drags on its own shaft, and those that it drags along by a back-tension belt.

Some machines do not rub on the supply reel itself: a small belt takes its turning to a pulley with a felt or a weight.
Nothing in a description says "back-tension belt": it is a belt that leads from a reel to a rotor that a drag holds.
"""

from dataclasses import dataclass

from tapewright.machine.couplings import Step
from tapewright.machine.parts import Coupling, Machine, shaft


@dataclass(frozen=True, slots=True)
class Drag:
    """A drag as a reel feels it.

    Arguments:
        drag: the drag.
        way: the steps from the reel to the rotor it holds, in that order; empty where it holds the reel itself.
    """

    drag: Coupling
    way: tuple[Step, ...]


def drags_on(machine: Machine, reel: str) -> tuple[Drag, ...]:
    """Give everything that drags on a reel, directly or through what the reel always turns.

    A shaft with a motor ends the way: what a motor turns holds nothing back.

    Arguments:
        machine: as described.
        reel: a reel table; empty for none.

    >>> from tapewright.machine.library import shipped
    >>> [(one.drag.name, len(one.way)) for one in drags_on(shipped("four_track"), "supply_reel")]
    [('supply_drag', 0)]
    """
    if not reel:
        return ()
    ways = _ways(machine, reel)
    held = ((one, shaft(machine, one.driver)) for one in machine.couplings.values() if one.kind == "drag")
    return tuple(Drag(one, ways[owner]) for one, owner in held if owner in ways)


def _ways(machine: Machine, reel: str) -> dict[str, tuple[Step, ...]]:
    """Give the steps to every shaft that a reel always turns, by the shaft."""
    motors = {shaft(machine, name) for name, rotor in machine.rotors.items() if rotor.kind == "motor"}
    always = [one for one in machine.couplings.values() if one.kind in ("belt", "gear", "tyre") and not one.switched]
    ways: dict[str, tuple[Step, ...]] = {shaft(machine, reel): ()}
    waiting = list(ways)
    for owner in waiting:
        for coupling in (one for one in always if shaft(machine, one.driver) == owner):
            for end in coupling.path[1:]:
                there = shaft(machine, end)
                if there not in ways and there not in motors:
                    ways[there] = (*ways[owner], Step(coupling.driver, end, coupling.name))
                    waiting.append(there)
    return ways


def holding_belts(machine: Machine) -> frozenset[str]:
    """Name the belts on the way from a reel to a drag: the back-tension belts.

    >>> from tapewright.machine.library import shipped
    >>> holding_belts(shipped("four_track"))
    frozenset()
    """
    reels = [name for name, rotor in machine.rotors.items() if rotor.kind == "reel_table"]
    steps = (step for reel in reels for one in drags_on(machine, reel) for step in one.way)
    return frozenset(step.coupling for step in steps if machine.couplings[step.coupling].kind == "belt")
