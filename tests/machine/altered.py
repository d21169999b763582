"""New machines from old: a part with something wrong, everything larger, everything renamed."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tapewright.machine.parts import Imperfections, Machine
from tapewright.words.estimate import Estimate


def worn(machine: Machine, part: str, **wrong: Any) -> Machine:
    """The machine with one part's imperfections set."""
    imperfections = Imperfections(**wrong)
    if part in machine.rotors:
        rotor = replace(machine.rotors[part], imperfections=imperfections)
        return replace(machine, rotors={**machine.rotors, part: rotor})
    if part in machine.couplings:
        coupling = replace(machine.couplings[part], imperfections=imperfections)
        return replace(machine, couplings={**machine.couplings, part: coupling})
    if part == machine.supply.name:
        return replace(machine, supply=replace(machine.supply, imperfections=imperfections))
    return replace(machine, head_base=replace(machine.head_base, imperfections=imperfections))


def resized(machine: Machine, rotor: str, diameter_m: float) -> Machine:
    changed = replace(machine.rotors[rotor], diameter=Estimate(diameter_m))
    return replace(machine, rotors={**machine.rotors, rotor: changed})


def scaled(machine: Machine, scale: float) -> Machine:
    """Every length times `scale`, the tape's speed too; the motors turn as before."""
    rotors = {
        name: replace(
            rotor,
            diameter=_times(rotor.diameter, scale),
            position_m=rotor.position_m and (rotor.position_m[0] * scale, rotor.position_m[1] * scale),
        )
        for name, rotor in machine.rotors.items()
    }
    couplings = {
        name: replace(
            one,
            length=_times(one.length, scale),
            section_m=one.section_m and (one.section_m[0] * scale, one.section_m[1] * scale),
        )
        for name, one in machine.couplings.items()
    }
    tape = machine.tape
    larger = replace(
        tape,
        speed_m_per_s=tape.speed_m_per_s * scale,
        thickness_m=tape.thickness_m * scale,
        hub_radius_m=tape.hub_radius_m * scale,
        full_radius_m=tape.full_radius_m * scale,
    )
    return replace(machine, rotors=rotors, couplings=couplings, tape=larger)


def _times(size: Estimate | None, scale: float) -> Estimate | None:
    return size and Estimate(size.value * scale, size.doubt * scale, size.basis)


def renamed(machine: Machine) -> tuple[Machine, Mapping[str, str]]:
    """Every part that the user names under another name and in the opposite order; and the names."""
    given = [*machine.rotors, *machine.couplings, *machine.sensors, *machine.solenoids, *machine.levers]
    names = {name: f"x_{index}" for index, name in enumerate(given)}
    rotors = {
        names[name]: replace(rotor, name=names[name], on=rotor.on and names[rotor.on])
        for name, rotor in reversed([*machine.rotors.items()])
    }
    couplings = {
        names[name]: replace(
            one,
            name=names[name],
            path=tuple(names[end] for end in one.path),
            by=names.get(one.by, one.by),
            through=tuple(names[lever] for lever in one.through),
        )
        for name, one in reversed([*machine.couplings.items()])
    }
    modes = {
        name: replace(
            mode,
            motors={names[motor]: share for motor, share in mode.motors.items()},
            engaged=tuple(names[one] for one in mode.engaged),
            solenoids=tuple(names[one] for one in mode.solenoids),
            takes_up=mode.takes_up and names[mode.takes_up],
            gives=mode.gives and names[mode.gives],
        )
        for name, mode in reversed([*machine.modes.items()])
    }
    lifter = names.get(machine.head_base.lifted_by, machine.head_base.lifted_by)
    base = replace(
        machine.head_base,
        lifted_by=lifter,
        carries=tuple(names[one] for one in machine.head_base.carries),
        through=tuple(names[one] for one in machine.head_base.through),
    )
    sensors = {
        names[name]: replace(
            one, name=names[name], senses=names.get(one.senses, one.senses), ends=names.get(one.ends, one.ends)
        )
        for name, one in reversed([*machine.sensors.items()])
    }
    solenoids = {names[name]: replace(one, name=names[name]) for name, one in reversed([*machine.solenoids.items()])}
    levers = {names[name]: replace(one, name=names[name]) for name, one in reversed([*machine.levers.items()])}
    lid = replace(machine.lid, moved_by=names.get(machine.lid.moved_by, ""))
    new = replace(machine, rotors=rotors, couplings=couplings, modes=modes, head_base=base, lid=lid)
    return replace(new, sensors=sensors, solenoids=solenoids, levers=levers), names
