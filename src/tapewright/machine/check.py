"""What a description must obey: one small function for each rule.

Each gives (key path, what was found, what to do) for every breach.
"""

from collections.abc import Callable, Iterator
from typing import Final

from tapewright.machine.parts import Machine
from tapewright.machine.section import did_you_mean

Breach = tuple[str, str, str]


def problems_of(machine: Machine) -> tuple[Breach, ...]:
    """Give every breach of every rule: the key path, what was found, what to do."""
    return tuple(breach for rule in _RULES for breach in rule(machine))


def _unknown(path: str, name: str, what: str, valid: list[str]) -> Iterator[Breach]:
    if name not in valid:
        yield path, f'There is no {what} named "{name}".', did_you_mean(name, valid)


def _references(machine: Machine) -> Iterator[Breach]:
    rotors = list(machine.rotors)
    motors = [name for name, rotor in machine.rotors.items() if rotor.kind == "motor"]
    for name, rotor in machine.rotors.items():
        if rotor.on is not None:
            yield from _unknown(f"rotors.{name}.on", rotor.on, "rotor", rotors)
    for name, coupling in machine.couplings.items():
        for end in coupling.path:
            yield from _unknown(f"couplings.{name}.path", end, "rotor", rotors)
    for name, sensor in machine.sensors.items():
        if sensor.senses:
            yield from _unknown(f"sensors.{name}.senses", sensor.senses, "rotor", rotors)
        if sensor.ends:
            yield from _unknown(f"sensors.{name}.ends", sensor.ends, "motor", motors)
        for mode in sensor.allows:
            yield from _unknown(f"sensors.{name}.allows", mode, "mode", list(machine.modes))
    for rotor_name in machine.head_base.carries:
        yield from _unknown("head_base.carries", rotor_name, "rotor", rotors)


def _mode_references(machine: Machine) -> Iterator[Breach]:
    motors = [name for name, rotor in machine.rotors.items() if rotor.kind == "motor"]
    reels = [name for name, rotor in machine.rotors.items() if rotor.kind == "reel_table"]
    for name, mode in machine.modes.items():
        for motor in mode.motors:
            yield from _unknown(f"modes.{name}.motors.{motor}", motor, "motor", motors)
        for coupling in mode.engaged:
            yield from _unknown(f"modes.{name}.engaged", coupling, "coupling", list(machine.couplings))
        for key, reel in (("takes_up", mode.takes_up), ("gives", mode.gives)):
            if reel:
                yield from _unknown(f"modes.{name}.{key}", reel, "reel table", reels)


def _lifter(machine: Machine) -> Iterator[Breach]:
    cams = [name for name, rotor in machine.rotors.items() if rotor.kind == "cam"]
    lifter = machine.head_base.lifted_by
    if lifter:
        yield from _unknown("head_base.lifted_by", lifter, "cam", [*cams, "keys", "solenoid"])


_RULES: Final[tuple[Callable[[Machine], Iterator[Breach]], ...]] = (_references, _mode_references, _lifter)
