"""What reads and obeys every rule, and still looks doubtful: said, and in nobody's way."""

from collections.abc import Callable, Iterator
from typing import Final

from tapewright.machine.doubt import columns
from tapewright.machine.forces import mode_margins
from tapewright.machine.parts import TURNING_SENSORS, Machine
from tapewright.machine.rates import tape_speed
from tapewright.machine.running_belt import way
from tapewright.machine.typical import all_sizes
from tapewright.words.problem import Problem
from tapewright.words.units import mm

Remark = tuple[str, str, str]

SPEED_OFF: Final = 0.005
"""Half a percent is the window in which service data leave the speed alone (a service manual prints 3 kHz ± 0.5 %)."""
SLIPS_BELOW: Final = 1.15
"""A coupling that can pass 15 % more than is asked of it holds; from memory."""
STRETCH: Final = (0.02, 0.12)
"""Stretch that belts are fitted with: 2 % flat (from memory) to 12 % square (a seal maker's guide)."""
USUAL_MODES: Final = ("play", "fast_forward", "rewind", "stop")


def remarks(machine: Machine) -> tuple[Problem, ...]:
    """List what looks doubtful in a description that has no Problem: where, what was found, what to do.

    >>> from tapewright.machine.library import shipped
    >>> remarks(shipped("four_track"))
    ()
    """
    return tuple(Problem(f"{machine.source}, {at}", found, do) for rule in _RULES for at, found, do in rule(machine))


def _speeds_near(machine: Machine) -> Iterator[Remark]:
    for mode in (name for name, one in machine.modes.items() if one.at_capstan and name != "record"):
        speed = tape_speed(machine, mode)
        if speed is None or speed.basis == "typical":
            continue
        off, doubt = speed.value / machine.tape.speed_m_per_s - 1, speed.doubt / machine.tape.speed_m_per_s
        if abs(off) > SPEED_OFF + doubt:
            found = f"Motor speed and diameters give {mm(speed.value):.2f} mm/s in {mode}, {100 * off:+.1f} % off."
            yield "tape.speed_mm_per_s", found, "Measure the capstan again: 0.01 mm of 2 mm is half a percent."


def _holding(machine: Machine) -> Iterator[Remark]:
    worst: dict[str, tuple[float, str, float]] = {}
    for mode in machine.modes:
        for one in mode_margins(machine, mode):
            if one.coupling in machine.couplings:
                worst[one.coupling] = min(
                    worst.get(one.coupling, (one.ratio.value, mode, one.ratio.doubt)),
                    (one.ratio.value, mode, one.ratio.doubt),
                )
    for name, (ratio, mode, doubt) in worst.items():
        if ratio < SLIPS_BELOW:
            found = f"As described it would slip in {mode}: it can pass {ratio:.2f} (± {doubt:.2f}) of what is asked."
            yield f"couplings.{name}", found, "Compare its force, torque, section and diameters, or leave them out."


def _stretched(machine: Machine) -> Iterator[Remark]:
    table = columns(all_sizes(machine), exact=True)
    for belt in (one for one in machine.couplings.values() if one.kind == "belt" and one.length is not None):
        path = way(machine, belt, table)
        if path is None or belt.length is None or any(machine.rotors[name].diameter is None for name in belt.path):
            continue
        stretch = float(path.length_m[0]) / belt.length.value - 1
        if not STRETCH[0] <= stretch <= STRETCH[1]:
            found = f"Fitted it would stretch by {100 * stretch:.0f} %; belts are fitted with 2 to 12 %."
            yield f"couplings.{belt.name}.length_mm", found, "Lay a string along its way and compare."


def _waits(machine: Machine) -> Iterator[Remark]:
    for name, sensor in machine.sensors.items():
        if sensor.kind in TURNING_SENSORS | {"position_switch"} and sensor.timeout_s is None:
            found = "Nothing says how long the logic waits for it."
            yield f"sensors.{name}.timeout_s", found, "Count the seconds with a watch: usually 1 to 5."


def _missing_modes(machine: Machine) -> Iterator[Remark]:
    for mode in USUAL_MODES:
        if mode not in machine.modes:
            yield f"modes.{mode}", "This mode is not described.", "Add it, or leave it out if the machine has none."


def _first_of_all(machine: Machine) -> Iterator[Remark]:
    measured = [one.name for one in machine.rotors.values() if one.diameter is not None]
    for name, rotor in machine.rotors.items():
        if rotor.kind == "capstan" and rotor.diameter is None and measured:
            found = "Other diameters are measured, this one is not."
            yield f"rotors.{name}.diameter_mm", found, "Measure it first: every rate hangs on it."


_RULES: Final[tuple[Callable[[Machine], Iterator[Remark]], ...]] = (
    _speeds_near, _holding, _stretched, _waits, _missing_modes, _first_of_all,
)  # fmt: skip
