"""Everything that forces say about a machine, in one go: for the command line, the page and the report."""

from collections.abc import Mapping
from dataclasses import dataclass

from tapewright.machine.belt_forces import BeltForces, belts_forces
from tapewright.machine.figure import Figure
from tapewright.machine.flywheel_filter import Filter, flywheel_filter
from tapewright.machine.forces import Margin, margins, motor_margin
from tapewright.machine.parts import Machine
from tapewright.machine.speed_changes import Creep, creep, on_the_way, residue, tape_thickness
from tapewright.machine.tension import Pull, TakeUp, capstan_pull, take_up
from tapewright.machine.winding import CASSETTES, Wind, spin_down, winds

_LAYER_M = 1e-5


@dataclass(frozen=True, slots=True)
class AllForces:
    """What forces say.

    Arguments:
        margins: of every coupling in every mode.
        motors: of every motor in every mode in which it runs: starting torque against what is asked.
        belts: of every belt at work in play (or the first mode at the capstan).
        take_up: along a side, in every mode at the capstan but record, which is play again.
        pull: of the capstan; None where no roller presses.
        winds: every wind mode with a C60 and a C90.
        spin_down: of each flywheel with a capstan, s, by name.
        creep: of the belts between motor and capstan; None without any.
        residue: what 10 µm all round each rotor between motor and tape does to the speed, %, by name.
        tape_thickness: what the other usual tape does to the speed, %, by cassette.
        filter: flywheel and belt; None where there is none.
    """

    margins: tuple[Margin, ...]
    motors: tuple[Margin, ...]
    belts: tuple[BeltForces, ...]
    take_up: tuple[TakeUp, ...]
    pull: Pull | None
    winds: tuple[Wind, ...]
    spin_down: Mapping[str, Figure]
    creep: Creep | None
    residue: Mapping[str, Figure]
    tape_thickness: Mapping[str, Figure]
    filter: Filter | None


def all_forces(machine: Machine) -> AllForces:
    """Give everything that forces say about a machine, worn or sound.

    >>> from tapewright.machine.library import shipped
    >>> found = all_forces(shipped("four_track"))
    >>> found.take_up[0].verdict, len(found.winds)
    ('takes up', 4)
    """
    playing = [name for name, mode in machine.modes.items() if mode.at_capstan and name != "record"]
    play = playing[0] if playing else None
    wheels = [name for name, rotor in machine.rotors.items() if rotor.kind == "flywheel"]
    carrying = {name for name in wheels if _carries_a_capstan(machine, name)}
    return AllForces(
        margins(machine),
        tuple(motor_margin(machine, motor, name) for name, mode in machine.modes.items() for motor in mode.motors),
        belts_forces(machine, play) if play else (),
        tuple(take_up(machine, name) for name in playing if machine.modes[name].takes_up),
        capstan_pull(machine, play) if play else None,
        winds(machine),
        {name: spin_down(machine, name, play) for name in wheels if play and name in carrying},
        creep(machine, play) if play else None,
        _residues(machine, play) if play else {},
        {name: tape_thickness(machine, thick, play) for name, (_, thick) in CASSETTES.items()} if play else {},
        flywheel_filter(machine, play) if play else None,
    )


def _carries_a_capstan(machine: Machine, wheel: str) -> bool:
    return any(
        rotor.kind == "capstan" and (rotor.on == wheel or machine.rotors[wheel].on == name)
        for name, rotor in machine.rotors.items()
    )


def _residues(machine: Machine, mode: str) -> dict[str, Figure]:
    found = {name: residue(machine, name, _LAYER_M, mode) for name in on_the_way(machine, mode)}
    return {name: changed for name, changed in found.items() if abs(changed.value) > 1e-6}
