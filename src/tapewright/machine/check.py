"""What a description must obey, part one: names, references, and keys that belong together.

One small function for each rule; each gives (key path, what was found, what to do) for every breach.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from tapewright.machine.check_motion import REACH_RULES, SIZE_RULES, Breach, Rules
from tapewright.machine.parts import PLAYING, TRAY_MODES, WINDING, Coupling, Machine, Mode
from tapewright.machine.section import did_you_mean

_RESERVED: Final = ("cassette", "tape", "unexplained", "keys", "solenoid")


def problems_of(machine: Machine, whole: bool = True) -> tuple[Breach, ...]:
    """Give every breach of every rule: the key path, what was found, what to do.

    Rules about sizes see the machine without its broken references, so that one slip does not hide the next mistake;
    rules about what reaches what wait until the references hold, so that one slip is not told three times.

    Arguments:
        machine: as read.
        whole: False when something of its structure could not be read.
    """
    of_names = [breach for rule in _REFERENCE_RULES for breach in rule(machine)]
    of_keys = [breach for rule in _KEY_RULES for breach in rule(machine)]
    mended = _mended(machine)
    rules = (*SIZE_RULES, *REACH_RULES, _switched, _brakes, _pulled) if whole and not of_names else SIZE_RULES
    return (*of_names, *of_keys, *(breach for rule in rules for breach in rule(mended)))


# --- names and references ---------------------------------------------------------------------------------------------


def _unknown(path: str, name: str, what: str, valid: list[str]) -> Iterator[Breach]:
    if name not in valid:
        yield path, f'There is no {what} named "{name}".', did_you_mean(name, valid)


def _of_kind(machine: Machine, kind: str) -> list[str]:
    return [name for name, rotor in machine.rotors.items() if rotor.kind == kind]


def _names(machine: Machine) -> Iterator[Breach]:
    taken = {machine.supply.name: "power_supply", machine.head_base.name: "head_base"}
    taken.update((name, "a word with a meaning of its own") for name in _RESERVED)
    groups = {
        "rotors": machine.rotors,
        "couplings": machine.couplings,
        "sensors": machine.sensors,
        "solenoids": machine.solenoids,
        "levers": machine.levers,
    }
    for group, members in groups.items():
        for name in members:
            if name in taken:
                yield f"{group}.{name}", f'"{name}" already names {taken[name]}.', "Give each part a name of its own."
            taken.setdefault(name, f"{group}.{name}")


def _references(machine: Machine) -> Iterator[Breach]:
    rotors = list(machine.rotors)
    for name, rotor in machine.rotors.items():
        if rotor.on is not None:
            yield from _unknown(f"rotors.{name}.on", rotor.on, "rotor", rotors)
    for name, coupling in machine.couplings.items():
        for end in coupling.path:
            yield from _unknown(f"couplings.{name}.path", end, "rotor", rotors)
        if coupling.by:
            valid = [*machine.solenoids, *_of_kind(machine, "cam"), machine.head_base.name, "keys"]
            yield from _unknown(f"couplings.{name}.by", coupling.by, "solenoid or cam", valid)
        for lever in coupling.through:
            yield from _unknown(f"couplings.{name}.through", lever, "lever", list(machine.levers))
    for lever in machine.head_base.through:
        yield from _unknown("head_base.through", lever, "lever", list(machine.levers))
    for name in machine.head_base.carries:
        yield from _unknown("head_base.carries", name, "rotor", rotors)


def _sensor_references(machine: Machine) -> Iterator[Breach]:
    for name, sensor in machine.sensors.items():
        if sensor.senses:
            yield from _unknown(f"sensors.{name}.senses", sensor.senses, "rotor", list(machine.rotors))
        elif sensor.kind in ("position_switch", "pulse_sensor", "auto_stop", "tacho"):
            yield f"sensors.{name}.senses", "This key is missing.", "Name the rotor it watches."
        if sensor.kind == "tacho" and sensor.senses in machine.rotors:
            yield from _unknown(f"sensors.{name}.senses", sensor.senses, "motor", _of_kind(machine, "motor"))
        if sensor.ends:
            yield from _unknown(f"sensors.{name}.ends", sensor.ends, "motor", _of_kind(machine, "motor"))
        for mode in sensor.allows:
            yield from _unknown(f"sensors.{name}.allows", mode, "mode", list(machine.modes))
        for mode in sensor.stops:
            yield from _unknown(f"sensors.{name}.stops", mode, "mode", list(machine.modes))


def _mode_references(machine: Machine) -> Iterator[Breach]:
    for name, mode in machine.modes.items():
        for motor in mode.motors:
            yield from _unknown(f"modes.{name}.motors.{motor}", motor, "motor", _of_kind(machine, "motor"))
        for coupling in mode.engaged:
            yield from _unknown(f"modes.{name}.engaged", coupling, "coupling", list(machine.couplings))
        for solenoid in mode.solenoids:
            yield from _unknown(f"modes.{name}.solenoids", solenoid, "solenoid", list(machine.solenoids))
        for key, reel in (("takes_up", mode.takes_up), ("gives", mode.gives)):
            if reel:
                yield from _unknown(f"modes.{name}.{key}", reel, "reel table", _of_kind(machine, "reel_table"))


def _lifter(machine: Machine) -> Iterator[Breach]:
    lifter = machine.head_base.lifted_by
    if lifter not in ("", *machine.rotors):  # a cam, as a rule, but a tooth on any wheel will do
        valid = [*_of_kind(machine, "cam"), *machine.solenoids, "keys", "solenoid"]
        yield from _unknown("head_base.lifted_by", lifter, "cam or solenoid", valid)
    moved = any(mode.moves_head_base for mode in machine.modes.values())
    if lifter not in ("", "keys") and machine.modes and not moved:
        found = f"{lifter} lifts the head base, but no mode has moves_head_base = true."
        yield "head_base.lifted_by", found, "Write it in play, record and stop."


def _mover(machine: Machine) -> Iterator[Breach]:
    if machine.lid.moved_by:
        yield from _unknown("lid.moved_by", machine.lid.moved_by, "rotor", list(machine.rotors))


def _rings(machine: Machine) -> Iterator[Breach]:
    for name in machine.rotors:
        chain = _carriers(machine, name)
        if name in chain:
            found = f"This rotor sits on itself: {' on '.join([name, *chain[: chain.index(name) + 1]])}."
            yield f"rotors.{name}.on", found, "One of them must have a shaft of its own: take out its key on."


def _carriers(machine: Machine, name: str) -> list[str]:
    chain: list[str] = []
    at = machine.rotors[name].on
    while at is not None and at in machine.rotors and at not in chain:
        chain.append(at)
        at = machine.rotors[at].on
    return chain


# --- keys that belong together ----------------------------------------------------------------------------------------

_ENDS: Final = {"drag": 1, "brake": 1, "tyre": 2, "gear": 2, "worm": 2, "clutch": 2, "nip": 2}


def _paths(machine: Machine) -> Iterator[Breach]:
    for name, coupling in machine.couplings.items():
        path, count = coupling.path, len(coupling.path)
        at = f"couplings.{name}.path"
        wanted = _ENDS.get(coupling.kind)
        if count == 0:
            continue  # said while reading
        if len(set(path)) < count:
            yield at, "The same rotor stands in it twice.", "Name each rotor once."
        elif wanted is None and count < 2:
            yield at, f"A belt runs over two pulleys at least; here is {count}.", "Name all, the driver first."
        elif wanted is not None and count != wanted:
            do = "Name the one rotor it brakes." if wanted == 1 else "Name the driver, then the driven."
            yield at, f"A {coupling.kind} has {wanted} rotor{'s' * (wanted > 1)} here; found {count}.", do
        if coupling.sides and len(coupling.sides) != count:
            found = f"{len(coupling.sides)} sides for {count} pulleys."
            yield f"couplings.{name}.sides", found, "Write one for each pulley of path, in the same order."


ROTOR_KEYS_OF_KINDS: Final = {
    "speed_rpm": ("motor",),
    "commutator_segments": ("motor",),
    "teeth": ("gear", "cam", "reel_table", "flywheel", "pulley", "counter"),
}
COUPLING_KEYS_OF_KINDS: Final = {
    "sides": ("belt",),
    "width_mm": ("belt",),
    "thickness_mm": ("belt",),
    "length_mm": ("belt",),
    "force_gf": ("tyre", "nip"),
    "force_n": ("tyre", "nip"),
    "torque_gcm": ("clutch", "drag", "brake", "gear", "worm"),
    "torque_mnm": ("clutch", "drag", "brake", "gear", "worm"),
    "ratio": ("gear", "worm"),
    "inside": ("tyre",),
}
SENSOR_KEYS_OF_KINDS: Final = {
    "stops": ("pulse_sensor", "auto_stop"),
    "ends": ("position_switch",),
}
"""Keys that only some kinds have, for the rules here and for `schema`. Of two units of one thing the first is told."""


def _strays(machine: Machine) -> Iterator[Breach]:
    for name, rotor in machine.rotors.items():
        there: dict[str, object] = {
            "speed_rpm": rotor.turns_per_s,
            "commutator_segments": rotor.segments,
            "teeth": rotor.teeth,
        }
        yield from _misplaced(f"rotors.{name}", rotor.kind, there, ROTOR_KEYS_OF_KINDS)
    for name, one in machine.couplings.items():
        there = {
            "sides": one.sides,
            "width_mm": one.section_m,
            "length_mm": one.length,
            "force_gf": one.force,
            "torque_gcm": one.torque,
            "ratio": one.ratio,
            "inside": one.inside,
        }
        yield from _misplaced(f"couplings.{name}", one.kind, there, COUPLING_KEYS_OF_KINDS)
    for name, sensor in machine.sensors.items():
        there = {"stops": sensor.stops, "ends": sensor.ends}
        yield from _misplaced(f"sensors.{name}", sensor.kind, there, SENSOR_KEYS_OF_KINDS)


def _misplaced(
    path: str, kind: str, there: Mapping[str, object], kinds_of: Mapping[str, tuple[str, ...]]
) -> Iterator[Breach]:
    for key, value in there.items():
        if value not in (None, 0, "", ()) and kind not in kinds_of[key]:
            do = f"It belongs to: {', '.join(kinds_of[key])}. Take it out."
            yield f"{path}.{key}", f"A {kind.replace('_', ' ')} has no such key.", do


def _switched(machine: Machine) -> Iterator[Breach]:
    engaged = {name for mode in machine.modes.values() for name in mode.engaged}
    for name, coupling in machine.couplings.items():
        if coupling.switched and name not in engaged:
            do = "List it in the engaged of a mode, or take out switched."
            yield f"couplings.{name}.switched", "No mode ever engages it.", do
    for mode_name, mode in machine.modes.items():
        for name in mode.engaged:
            if name in machine.couplings and not machine.couplings[name].switched:
                do = f"Write switched = true in [couplings.{name}], or take it out here."
                yield f"modes.{mode_name}.engaged", f'"{name}" is always engaged.', do


def _brakes(machine: Machine) -> Iterator[Breach]:
    for name, one in machine.couplings.items():
        if one.kind == "brake" and not one.switched:
            do = "Write switched = true, and list it in the modes in which it is on; a steady hold-back is a drag."
            yield f"couplings.{name}.switched", "A brake that is never let go stops the machine.", do


def _pulled(machine: Machine) -> Iterator[Breach]:
    """Say where a solenoid is needed and is not told to pull, and where one has nothing to do."""
    pulled = {name for mode in machine.modes.values() for name in mode.solenoids}
    brings_in = {one.by for one in machine.couplings.values()} | {machine.head_base.lifted_by}
    for name in machine.solenoids:
        if name not in pulled:
            yield f"solenoids.{name}", "It pulls in no mode.", "List it in the solenoids of a mode, or take it out."
        if name not in brings_in:
            do = f'Write by = "{name}" in the coupling it brings in or lets go, or lifted_by in [head_base].'
            yield f"solenoids.{name}", "It moves nothing.", do
    for mode_name, mode in machine.modes.items():
        for coupling in (machine.couplings[one] for one in mode.engaged):
            brought_in = coupling.by in machine.solenoids and coupling.kind != "brake"
            if brought_in and coupling.by not in mode.solenoids:
                found = f'"{coupling.name}" is engaged by "{coupling.by}", which does not pull here.'
                yield f"modes.{mode_name}.solenoids", found, f'Write solenoids = ["{coupling.by}"].'
        yield from _not_let_go(machine, mode)
        lifter = machine.head_base.lifted_by
        if mode.head_base == "up" and lifter in machine.solenoids and lifter not in mode.solenoids:
            found = f'The head base is up, but "{lifter}" does not pull here.'
            yield f"modes.{mode_name}.solenoids", found, f'Write solenoids = ["{lifter}"].'


def _not_let_go(machine: Machine, mode: Mode) -> Iterator[Breach]:
    if not mode.takes_up:
        return
    for one in machine.couplings.values():
        by_solenoid = one.kind == "brake" and one.by in machine.solenoids
        if by_solenoid and one.name not in mode.engaged and one.by not in mode.solenoids:
            found = f'"{one.name}" is off here, but "{one.by}", which lets it go, does not pull.'
            yield f"modes.{mode.name}.solenoids", found, f'Write solenoids = ["{one.by}"], or engage the brake.'


def _tape_modes(machine: Machine) -> Iterator[Breach]:
    if "play" not in machine.modes:
        yield "modes.play", "This mode is missing.", "Say which motors run in play and what is engaged."
    for name, mode in machine.modes.items():
        if name in PLAYING and not mode.at_capstan:
            yield f"modes.{name}.at_capstan", "The capstan does not set the tape's speed.", "Write at_capstan = true."
        if name in (*PLAYING, *WINDING):
            for key, reel in (("takes_up", mode.takes_up), ("gives", mode.gives)):
                if not reel:
                    yield f"modes.{name}.{key}", "This key is missing.", "Name the reel table: tape moves in this mode."
        if mode.takes_up and mode.takes_up == mode.gives:
            yield f"modes.{name}.gives", f'"{mode.gives}" both takes up and gives tape.', "Name the other reel table."


def _tray(machine: Machine) -> Iterator[Breach]:
    """Say where a tray that a motor moves is half described."""
    for mode in TRAY_MODES:
        if machine.lid.moved_by and mode not in machine.modes:
            yield f"modes.{mode}", "This mode is missing.", "Say which motor moves the tray, and which way."
        elif mode in machine.modes and not machine.lid.moved_by:
            yield f"modes.{mode}", "Nothing says what moves the tray.", "Name its wheel or cam in [lid]: moved_by."
    for name in [name for name, sensor in machine.sensors.items() if sensor.kind == "tray_switch"][1:]:
        yield f"sensors.{name}.kind", "There is a tray switch already.", "Keep the one that the logic waits for."
    for name, sensor in machine.sensors.items():
        waits = [mode for mode in sensor.allows if mode in TRAY_MODES]
        if sensor.kind == "tray_switch" and not machine.lid.moved_by:
            yield f"sensors.{name}.kind", "There is no tray for it to watch.", "Describe the tray: moved_by in [lid]."
        elif sensor.kind == "tray_switch" and waits:
            found = f"The tray cannot wait for its own switch in {waits[0]}."
            yield f"sensors.{name}.allows", found, "List the modes that start when the tray is in."


def _radii(machine: Machine) -> Iterator[Breach]:
    if machine.tape.full_radius_m <= machine.tape.hub_radius_m:
        yield "tape.full_radius_mm", "A full pack is larger than an empty hub.", "Compare it with hub_radius_mm."


_REFERENCE_RULES: Final[Rules] = (
    _names, _references, _sensor_references, _mode_references, _lifter, _mover, _rings, _paths,
)  # fmt: skip
_KEY_RULES: Final[Rules] = (_strays, _tape_modes, _tray, _radii)


# --- what is left when broken references are taken out ----------------------------------------------------------------


def _mended(machine: Machine) -> Machine:
    rotors = {
        name: rotor if rotor.on in machine.rotors and name not in _carriers(machine, name) else replace(rotor, on=None)
        for name, rotor in machine.rotors.items()
    }
    couplings = {name: one for name, one in machine.couplings.items() if _whole(one, machine)}
    known = replace(machine, rotors=rotors, couplings=couplings)
    return replace(known, modes={name: _mended_mode(known, mode) for name, mode in machine.modes.items()})


def _whole(coupling: Coupling, machine: Machine) -> bool:
    count = len(coupling.path)
    right = count == _ENDS[coupling.kind] if coupling.kind in _ENDS else count >= 2
    sided = not coupling.sides or len(coupling.sides) == count
    return (
        right and sided and len(set(coupling.path)) == count and all(name in machine.rotors for name in coupling.path)
    )


def _mended_mode(machine: Machine, mode: Mode) -> Mode:
    reels = _of_kind(machine, "reel_table")
    return replace(
        mode,
        solenoids=tuple(name for name in mode.solenoids if name in machine.solenoids),
        motors={name: share for name, share in mode.motors.items() if name in _of_kind(machine, "motor")},
        engaged=tuple(name for name in mode.engaged if name in machine.couplings),
        takes_up=mode.takes_up if mode.takes_up in reels else "",
        gives=mode.gives if mode.gives in reels else "",
    )
