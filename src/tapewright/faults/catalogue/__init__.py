"""Every way a part can be out of order, read from the files beside this one; and the faults one machine can have."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Final

from tapewright.machine.back_tension import holding_belts
from tapewright.machine.parts import (
    Cassette,
    ControlBoard,
    Coupling,
    Electronics,
    HeadBase,
    Heads,
    Lever,
    Lid,
    Machine,
    Part,
    Rotor,
    Sensor,
    Solenoid,
    Supply,
    part,
    part_names,
    shaft,
)

TYPICAL_AGE_YEARS = 38.0
"""The middle of the 30 to 45 years that the base rates of the catalogue are meant for."""
AGEING_SHAPE = 2.0
"""Growth of the hazard with age, a Weibull shape; from memory: rubber and grease wear out, not at random."""


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One way a kind of part can be out of order, as the catalogue states it.

    Arguments:
        kind: its short name; the same word may live in several kinds of part.
        lives_in: the kinds of part it can live in.
        says: how a technician says it of the part.
        base_rate: chance at 30 to 45 years without use.
        base_rate_driving: the same where the part drives a rotor of that kind.
        severities: the degrees it is met in, equally likely; 1 is as bad as it gets.
        changes: imperfections at severity 1, by name.
        comes_on: how it comes on, a word of `machine.parts.WAYS_TO_COME_ON`.
        changes_warm: what of that is otherwise after ten minutes of running; empty when nothing is.
        mend: what to do, with {part} for the part.
        buys: what kind of thing to order; "" for none.
        minutes, cost_low, cost_high: of the mending.
        hazards: what the hand meets there.
        remeasure: what to measure again.
    """

    kind: str
    lives_in: tuple[str, ...]
    says: str
    base_rate: float
    base_rate_driving: Mapping[str, float]
    severities: tuple[float, ...]
    changes: Mapping[str, float | bool]
    mend: str
    buys: str
    minutes: float
    cost_low: float
    cost_high: float
    hazards: tuple[str, ...]
    remeasure: tuple[str, ...]
    comes_on: str = "wear"
    changes_warm: Mapping[str, float | bool] = field(default_factory=dict)


@cache
def catalogue() -> tuple[FaultKind, ...]:
    """Read every fault kind, in the order of the files."""
    kinds: list[FaultKind] = []
    for entry in sorted(files(__name__).iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".toml"):
            kinds += [_fault_kind(row) for row in tomllib.loads(entry.read_text(encoding="utf-8"))["fault"]]
    return tuple(kinds)


def _fault_kind(row: dict[str, object]) -> FaultKind:
    listed = {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}
    return FaultKind(**({"base_rate_driving": {}} | listed))  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class PossibleFault:
    """A fault that one part of one machine can have.

    Arguments:
        part: the part's name.
        fault: the kind.
        base_rate: chance at the age asked for.
    """

    part: str
    fault: FaultKind
    base_rate: float


def homes(machine: Machine, name: str) -> frozenset[str]:
    """Say in which kinds of home a part counts, for `FaultKind.lives_in`.

    Beside its own kind a pulley or flywheel that a belt runs on is a "belt_pulley", a motor that sets the tape's speed
    is a "speed_motor", a belt on its way to the capstan a "speed_belt", and a motor that a tacho regulates is a
    "servo_motor"; a belt that drives more than a counter is a "drive_belt", an idler that the friction of its own arm
    swings into place a "swinging_idler", a head base that a spring brings home a "sprung_base". Teeth live in the mesh,
    so that a gear wheel (a "gear_wheel") and what it meshes with are not counted twice. A belt that only leads from a
    reel to what holds it back is a "back_tension_belt" and drives nothing; a wheel between a motor's shaft and the
    flywheel's rim is a "drive_wheel"; a lid that a motor moves is a "tray".
    """
    thing = part(machine, name)
    kinds = {own_kind(thing)}
    if isinstance(thing, Coupling) and thing.kind == "belt" and _sets_speed(machine, thing.path[1]):
        kinds.add("speed_belt")
    holds_back = name in holding_belts(machine)
    if isinstance(thing, Coupling) and thing.kind == "belt" and machine.rotors[thing.path[-1]].kind != "counter":
        kinds.add("back_tension_belt" if holds_back else "drive_belt")
    if isinstance(thing, Rotor):
        runs_belt = any(c.kind == "belt" and name in c.path for c in machine.couplings.values())
        if thing.kind == "pulley" and runs_belt:
            kinds.add("belt_pulley")
        if thing.kind == "motor" and _sets_speed(machine, name):
            kinds.add("speed_motor")
        if any(s.kind == "tacho" and s.senses == name for s in machine.sensors.values()):
            kinds.add("servo_motor")
        if any(c.kind == "tyre" and c.driver == name and machine.rotors[c.path[-1]].kind == "flywheel"
               for c in machine.couplings.values()) and thing.kind == "idler_tyre":  # fmt: skip
            kinds.add("drive_wheel")
        if swings(machine, name):
            kinds.add("swinging_idler")
    if isinstance(thing, HeadBase) and thing.lifted_by not in machine.rotors and _is_sent_down(machine):
        kinds.add("sprung_base")
    return frozenset(kinds)


def _is_sent_down(machine: Machine) -> bool:
    return any(mode.moves_head_base and mode.head_base == "down" for mode in machine.modes.values())


def swings(machine: Machine, rotor: str) -> bool:
    """Tell whether a rotor has to swing into place by the friction of its own arm in some modes."""
    if machine.rotors[rotor].kind not in ("idler_tyre", "gear"):
        return False
    own = (c for c in machine.couplings.values() if c.driver == rotor and c.switched and c.kind in ("tyre", "gear"))
    return any(not c.by and not c.through for c in own)


def own_kind(thing: Part) -> str:
    """Say what kind of part a thing is, for the catalogue and for the words of signs."""
    if isinstance(thing, Rotor) and thing.kind == "gear":
        return "gear_wheel"
    if isinstance(thing, (Rotor, Coupling, Sensor)):
        return thing.kind
    if isinstance(thing, Lid) and thing.moved_by:
        return "tray"
    return next(home for kind, home in _SINGLE_HOMES if isinstance(thing, kind))


_SINGLE_HOMES: Final = (
    (Solenoid, "solenoid"), (Lever, "lever"), (Heads, "heads"), (Cassette, "cassette"), (HeadBase, "head_base"),
    (Electronics, "electronics"), (ControlBoard, "control_board"), (Lid, "lid"), (Supply, "supply"),
)  # fmt: skip


def _sets_speed(machine: Machine, rotor: str) -> bool:
    """Tell whether a rotor drives the capstan, through whatever lies between."""
    from_shaft = {shaft(machine, rotor)}
    grown = True
    while grown:
        grown = False
        on_shaft = {r.name for r in machine.rotors.values() if r.on in from_shaft}
        driven = {p for c in machine.couplings.values() if c.path[0] in from_shaft | on_shaft for p in c.path[1:]}
        new = (on_shaft | driven) - from_shaft
        if new:
            from_shaft |= new
            grown = True
        if any(machine.rotors[name].kind == "capstan" for name in from_shaft if name in machine.rotors):
            return True
    return False


def possible_faults(machine: Machine, age_years: float | None = None) -> tuple[PossibleFault, ...]:
    """List every fault a machine can have, part by part in the order of its description.

    Arguments:
        machine: as described.
        age_years: age of rubber and grease; None for the middle of the age the base rates are meant for.
    """
    return tuple(
        PossibleFault(name, fault, _at_age(_base_rate(machine, name, fault), age_years))
        for name in part_names(machine)
        for kinds in (homes(machine, name),)
        for fault in catalogue()
        if not kinds.isdisjoint(fault.lives_in)
    )


def _base_rate(machine: Machine, name: str, fault: FaultKind) -> float:
    thing = part(machine, name)
    driven_kinds = (
        {machine.rotors[rotor].kind for rotor in thing.path[1:] if rotor in machine.rotors}
        if isinstance(thing, Coupling)
        else set()
    )
    for kind, rate in fault.base_rate_driving.items():
        if kind in driven_kinds:
            return rate
    return fault.base_rate


def _at_age(rate: float, age_years: float | None) -> float:
    if age_years is None:
        return rate
    return float(1.0 - (1.0 - rate) ** ((max(age_years, 0.0) / TYPICAL_AGE_YEARS) ** AGEING_SHAPE))
