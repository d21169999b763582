"""Who turns whom, in which mode, at what ratio: outward from the powered motors, then from what the tape turns."""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tapewright.machine.belt_path import sides_of
from tapewright.machine.doubt import Column, Columns, columns, estimate
from tapewright.machine.formulas import speed_ratio
from tapewright.machine.parts import HOLDING_KINDS, Coupling, Machine, Mode, shaft
from tapewright.machine.typical import all_sizes
from tapewright.words.estimate import Estimate

_OnShafts = tuple[Coupling, list[str]]
"""A coupling, and the shaft that each rotor of its path sits on."""


@dataclass(frozen=True, slots=True)
class Step:
    """One coupling at work between two rotors, in the direction in which motion passes.

    Arguments:
        driver: rotor that turns the other.
        driven: rotor that is turned.
        coupling: name of the coupling.
        slips: True for a clutch: it passes torque and leaves the rates free.
    """

    driver: str
    driven: str
    coupling: str
    slips: bool = False


@dataclass(frozen=True, slots=True)
class Link:
    """A step with its shafts and its ratio.

    Arguments:
        driver_shaft: rotor that owns the driving shaft.
        driven_shaft: rotor that owns the driven shaft.
        driver: rotor whose surface or teeth drive.
        driven: rotor whose surface or teeth are driven.
        coupling: name of the coupling.
        ratio: turns of the driven for one of the driver; negative when it turns the other way.
    """

    driver_shaft: str
    driven_shaft: str
    driver: str
    driven: str
    coupling: str
    ratio: Estimate


def active(machine: Machine, mode: Mode) -> tuple[Coupling, ...]:
    """Give the couplings that pass motion in a mode: always on, or engaged in it. A drag or a brake passes none."""
    return tuple(
        coupling
        for coupling in machine.couplings.values()
        if coupling.kind not in HOLDING_KINDS and (not coupling.switched or coupling.name in mode.engaged)
    )


def steps(machine: Machine, mode: str) -> tuple[Step, ...]:
    """Give every coupling at work in a mode, ordered outward from the powered motors.

    After the motors come the reels that the tape turns. A coupling between two shafts that already turn is given in the
    direction of its description.
    """
    at_work = [(one, [shaft(machine, end) for end in one.path]) for one in active(machine, machine.modes[mode])]
    reached: set[str] = set()
    found: list[Step] = []
    for start in _starts(machine, machine.modes[mode]):
        if start in reached:
            continue
        reached.add(start)
        queue = deque([start])
        while queue:
            for step in _from(at_work, queue.popleft(), reached):
                found.append(step)
                queue.append(shaft(machine, step.driven))
    return (*found, *_closing(at_work, reached, found))


def _starts(machine: Machine, mode: Mode) -> Iterator[str]:
    yield from (shaft(machine, motor) for motor in mode.motors)
    yield from (shaft(machine, reel) for reel in (mode.takes_up, mode.gives) if reel)


def _from(at_work: Sequence[_OnShafts], start: str, reached: set[str]) -> Iterator[Step]:
    for coupling, shafts in at_work:
        if start not in shafts:
            continue
        driver = coupling.path[shafts.index(start)]
        for other, owner in zip(coupling.path, shafts, strict=True):
            if owner not in reached:
                reached.add(owner)
                yield Step(driver, other, coupling.name, coupling.kind == "clutch")


def _closing(at_work: Sequence[_OnShafts], reached: set[str], found: Sequence[Step]) -> Iterator[Step]:
    done = {(step.coupling, end) for step in found for end in (step.driver, step.driven)}
    for coupling, shafts in at_work:
        first = coupling.path[0]
        for other, owner in zip(coupling.path[1:], shafts[1:], strict=True):
            both_turn = shafts[0] in reached and owner in reached
            if both_turn and not all((coupling.name, end) in done for end in (first, other)):
                yield Step(first, other, coupling.name, coupling.kind == "clutch")


def tied(machine: Machine, mode: str, rotor: str) -> frozenset[str]:
    """Name the shafts that turn with a rotor's shaft in a mode whatever happens: joined without a clutch between."""
    found = {shaft(machine, rotor)}
    at_work = [step for step in steps(machine, mode) if not step.slips]
    for _ in at_work:
        for step in at_work:
            ends = {shaft(machine, step.driver), shaft(machine, step.driven)}
            if ends & found:
                found |= ends
    return frozenset(found)


def holding_motors(machine: Machine, mode: str) -> tuple[str, ...]:
    """Name the motors that hold the tape back in a mode: fed, and tied to the reel that gives tape.

    >>> from tapewright.machine.library import shipped
    >>> holding_motors(shipped("four_track"), "play")
    ()
    """
    at = machine.modes[mode]
    if not at.gives:
        return ()
    with_the_reel = tied(machine, mode, at.gives)
    return tuple(motor for motor in at.motors if shaft(machine, motor) in with_the_reel)


def turns_ratio(machine: Machine, step: Step, table: Columns) -> Column:
    """Give turns of the driven for one of the driver, as a column; negative when it turns the other way.

    A rotor's `rate` changes the diameter it shows (residue), a coupling's the speed it passes on.
    """
    coupling = machine.couplings[step.coupling]
    driver = running_diameter(machine, step.driver, table)
    driven = running_diameter(machine, step.driven, table)
    passed = coupling.imperfections.rate
    if coupling.kind == "clutch":
        return table.constant(1.0)
    if coupling.kind == "belt":
        side = dict(zip(coupling.path, sides_of(coupling), strict=True))
        same = side[step.driver] * side[step.driven]
        return same * passed * speed_ratio(driver, driven, table[f"{coupling.name}.thickness"])  # type: ignore[return-value]
    if coupling.kind in ("gear", "worm"):
        ratio = _tooth_ratio(machine, coupling, table)
        forward = ratio if step.driver == coupling.driver else 1 / ratio
        return forward * passed * (1 if coupling.kind == "worm" else -1)
    if coupling.kind == "nip":
        # The roller runs on the tape, which passes at the capstan's surface plus half its own thickness.
        tape = machine.tape.thickness_m
        driver = driver + tape * (machine.rotors[step.driver].kind == "capstan")
        driven = driven + tape * (machine.rotors[step.driven].kind == "capstan")
    return (passed if coupling.inside else -passed) * driver / driven


def _tooth_ratio(machine: Machine, coupling: Coupling, table: Columns) -> Column:
    if f"{coupling.name}.ratio" in table:
        return table[f"{coupling.name}.ratio"]
    first, last = coupling.path[0], coupling.path[-1]
    if coupling.ratio is not None:
        return table.constant(coupling.ratio)
    teeth = machine.rotors[first].teeth, machine.rotors[last].teeth
    if all(teeth):
        return table.constant(teeth[0] / teeth[1])
    return table[f"{first}.diameter"] / table[f"{last}.diameter"]


def running_diameter(machine: Machine, rotor: str, table: Columns) -> Column:
    """Give the diameter a rotor shows, residue and wear included, metres, as a column."""
    return table[f"{rotor}.diameter"] * machine.rotors[rotor].imperfections.rate


def links(machine: Machine, mode: str) -> tuple[Link, ...]:
    """Give who turns whom in a mode, with signed ratios, ordered outward from the powered motors.

    Raises:
        KeyError: when the machine has no such mode.
    """
    table = columns(all_sizes(machine))
    return tuple(
        Link(
            driver_shaft=shaft(machine, step.driver),
            driven_shaft=shaft(machine, step.driven),
            driver=step.driver,
            driven=step.driven,
            coupling=step.coupling,
            ratio=estimate(turns_ratio(machine, step, table), table),
        )
        for step in steps(machine, mode)
    )


def drive_order(machine: Machine, mode: str) -> tuple[str, ...]:
    """Name the shafts that turn in a mode, by the rotor that owns each, outward from the powered motors."""
    starts = [shaft(machine, motor) for motor in machine.modes[mode].motors]
    driven = [shaft(machine, end) for step in steps(machine, mode) for end in (step.driver, step.driven)]
    return tuple(dict.fromkeys([*starts, *driven]))
