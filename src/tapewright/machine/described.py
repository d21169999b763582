"""The tables of a description become a `Machine`: each key asked for by name, with its bounds and its unit.

The only file that knows millimetres. All sizes may be left out: ranges stand in for them (`typical`).
"""

from typing import Any, Final, cast

from tapewright.machine.limits import LIMITS, RESPONSE, RESPONSE_HIGH, RESPONSE_LOW
from tapewright.machine.parts import (
    COUPLING_KINDS,
    HEAD_BASE_POSITIONS,
    MODES,
    ROTOR_KINDS,
    SENSOR_KINDS,
    Coupling,
    HeadBase,
    Lever,
    Lid,
    Machine,
    Mode,
    Rotor,
    Sensor,
    Solenoid,
    Supply,
    TapeFormat,
)
from tapewright.machine.section import Section, Size
from tapewright.words.units import GCM_NM, GF_N

_SIGHTS: Final = ("well", "window", "inside")

# A diameter is taken with a caliper: 0.02 mm is the usual accuracy of a hand-held one (from memory). A length is taken
# with a rule, to a millimetre. Bounds only keep out what cannot be meant, such as metres written for millimetres.
_DIAMETER: Final = Size(1e-3, 0.2, 400.0, doubt=0.02)
_LENGTH: Final = Size(1e-3, 10.0, 3000.0, doubt=1.0)
_SECTION: Final = Size(1e-3, 0.1, 20.0)
_POSITION: Final = Size(1e-3, -1000.0, 1000.0)
_SPEED: Final = Size(1 / 60, 1.0, 30_000.0)
_INERTIA: Final = Size(1e-6, 1e-4, 1e5)
_FORCES: Final = {"force_gf": Size(GF_N, 0.1, 5000.0), "force_n": Size(1.0, 0.001, 50.0)}
_TORQUES: Final = {"torque_gcm": Size(GCM_NM, 0.01, 5000.0), "torque_mnm": Size(1e-3, 0.001, 500.0)}
_RATIO: Final = Size(1.0, 1e-4, 1e4)
_SHARE: Final = Size(1.0, -100.0, 100.0)
_TIME: Final = Size(1.0, 0.01, 600.0)

# The tape where none is described: 1.875 inches per second (IEC 60094-7 gives 4.76 cm/s), two tracks, a sixty-minute
# tape. Thickness 15-16 um is printed by two suppliers' pages; the hub radius of 11 mm is from memory ("about 1 cm" is
# printed in one trade note); the full radius follows: r² = r0² + L t / pi with 30 minutes of tape.
_TAPE_SPEED: Final = Size(1e-3, 5.0, 1000.0)
_PLAIN_TAPE: Final = {"speed_mm_per_s": 47.625, "thickness_um": 16.0, "hub_radius_mm": 11.0, "full_radius_mm": 23.6}


def read_tables(top: Section, source: str) -> Machine:
    """Ask a description for everything it can hold; what the answers are worth is for the caller to check.

    Arguments:
        top: the whole description. `schema` hands in one that only notes what it is asked.
        source: what to call it in messages.
    """
    top.version("schema", 1)
    about = top.table("machine")
    machine = Machine(
        id=about.needed("id", 'Give the machine a short name: id = "my_recorder".'),
        title=about.text("title"),
        layout=about.text("layout"),
        invented=about.flag("invented"),
        tape=_tape(top.table("tape")),
        rotors={name: _rotor(name, table) for name, table in top.tables("rotors").items()},
        couplings={name: _coupling(name, table) for name, table in top.tables("couplings").items()},
        sensors={name: _sensor(name, table) for name, table in top.tables("sensors").items()},
        solenoids={name: _solenoid(name, table) for name, table in top.tables("solenoids").items()},
        levers={name: _lever(name, table) for name, table in top.tables("levers").items()},
        supply=_supply(top.table("power_supply")),
        head_base=_head_base(top.table("head_base")),
        lid=_lid(top.table("lid")),
        modes=_modes(top),
        limits=_limits(top.table("limits")),
        source=source,
    )
    about.close()
    top.close()
    return machine


def _tape(table: Section) -> TapeFormat:
    bounds = {
        "speed_mm_per_s": _TAPE_SPEED,
        "thickness_um": Size(1e-6, 3.0, 60.0),
        "hub_radius_mm": Size(1e-3, 3.0, 60.0),
        "full_radius_mm": Size(1e-3, 3.0, 200.0),
    }
    read = {key: table.estimate(key, size) for key, size in bounds.items()}
    values = {
        key: estimate.value if estimate else _PLAIN_TAPE[key] * bounds[key].factor for key, estimate in read.items()
    }
    tracks = table.whole("tracks", 1, 16, default=2)
    speed, others = _speeds(table, values["speed_mm_per_s"])
    table.close()
    return TapeFormat(
        speed_m_per_s=speed,
        tracks=tracks,
        thickness_m=values["thickness_um"],
        hub_radius_m=values["hub_radius_mm"],
        full_radius_m=values["full_radius_mm"],
        other_speeds_m_per_s=others,
    )


def _speeds(table: Section, speed_m_per_s: float) -> tuple[float, tuple[float, ...]]:
    """Give the speed the sizes belong to, and the others it can be switched to."""
    all_mm = table.numbers("speeds_mm_per_s", None, _TAPE_SPEED)
    if not all_mm:
        return speed_m_per_s, ()
    speeds = [one * _TAPE_SPEED.factor for one in all_mm]
    if "speed_mm_per_s" not in table.data:
        speed_m_per_s = speeds[0]
    elif speed_m_per_s not in speeds:
        do = "List every speed there, also the one that speed_rpm belongs to."
        table.report("speeds_mm_per_s", "speed_mm_per_s is not among these.", do)
    return speed_m_per_s, tuple(one for one in dict.fromkeys(speeds) if one != speed_m_per_s)


def _rotor(name: str, table: Section) -> Rotor:
    at_mm = table.numbers("position_mm", 2, _POSITION)
    rotor = Rotor(
        name=name,
        kind=cast(Any, table.choice("kind", ROTOR_KINDS)),
        on=table.text("on") or None,
        diameter=table.estimate("diameter_mm", _DIAMETER),
        turns_per_s=table.estimate("speed_rpm", _SPEED),
        segments=table.whole("commutator_segments", 0, 99),
        teeth=table.whole("teeth", 3, 500),
        inertia=table.estimate("inertia_kg_mm2", _INERTIA),
        position_m=(at_mm[0] * _POSITION.factor, at_mm[1] * _POSITION.factor) if at_mm else None,
        sight=cast(Any, table.choice("sight", _SIGHTS, "inside")),
        says=table.text("says"),
    )
    table.close()
    return rotor


def _coupling(name: str, table: Section) -> Coupling:
    ratio = table.estimate("ratio", _RATIO)
    coupling = Coupling(
        name=name,
        kind=cast(Any, table.choice("kind", COUPLING_KINDS)),
        path=table.needed_names("path", 'Say what it joins: path = ["driver", "driven"].'),
        sides=_sides(table),
        switched=table.flag("switched"),
        section_m=_section(table),
        length=table.estimate("length_mm", _LENGTH),
        force=table.either(_FORCES),
        torque=table.either(_TORQUES),
        by=table.text("by"),
        through=table.names("through"),
        ratio=ratio.value if ratio else None,
        inside=table.flag("inside"),
        sight=cast(Any, table.choice("sight", _SIGHTS, "inside")),
        says=table.text("says"),
    )
    table.close()
    return coupling


def _sides(table: Section) -> tuple[int, ...]:
    read = table.numbers("sides", None, Size(1.0, -1.0, 1.0))
    if read is None:
        return ()
    if any(side not in (-1.0, 1.0) for side in read):
        table.report(
            "sides", f"{list(read)} holds something else than 1 and -1.", "1: inside the loop. -1: on its back."
        )
        return ()
    return tuple(int(side) for side in read)


def _section(table: Section) -> tuple[float, float] | None:
    width, thickness = table.number("width_mm", _SECTION), table.number("thickness_mm", _SECTION)
    given = [key for key in ("width_mm", "thickness_mm") if key in table.data]
    if len(given) == 1:
        other = "thickness_mm" if given == ["width_mm"] else "width_mm"
        table.report(other, "This key is missing.", f"A section needs {given[0]} and {other}; a square has both alike.")
    if width is None or thickness is None:
        return None
    return (width * _SECTION.factor, thickness * _SECTION.factor)


def _sensor(name: str, table: Section) -> Sensor:
    sensor = Sensor(
        name=name,
        kind=cast(Any, table.choice("kind", SENSOR_KINDS)),
        senses=table.text("senses"),
        allows=table.names("allows"),
        stops=table.names("stops"),
        ends=table.text("ends"),
        timeout_s=table.number("timeout_s", _TIME),
        says=table.text("says"),
    )
    table.close()
    return sensor


def _solenoid(name: str, table: Section) -> Solenoid:
    solenoid = Solenoid(name, cast(Any, table.choice("sight", _SIGHTS, "inside")), table.text("says"))
    table.close()
    return solenoid


def _lever(name: str, table: Section) -> Lever:
    lever = Lever(name, cast(Any, table.choice("sight", _SIGHTS, "inside")), table.text("says"))
    table.close()
    return lever


def _supply(table: Section) -> Supply:
    supply = Supply(says=table.text("says"))
    table.close()
    return supply


def _head_base(table: Section) -> HeadBase:
    base = HeadBase(
        lifted_by=table.needed("lifted_by", 'Name the cam or the solenoid; "keys" where a finger lifts it.'),
        carries=table.names("carries"),
        through=table.names("through"),
        says=table.text("says"),
    )
    table.close()
    return base


def _lid(table: Section) -> Lid:
    moved_by = table.text("moved_by")
    lid = Lid(moved_by=moved_by, says=table.text("says") or ("tray" if moved_by else ""))
    table.close()
    return lid


def _modes(top: Section) -> dict[str, Mode]:
    tables = top.tables("modes")
    for name, table in tables.items():
        table.one_of(name, MODES, "mode")
    return {name: _mode(name, table) for name, table in tables.items()}


def _mode(name: str, table: Section) -> Mode:
    mode = Mode(
        name=name,
        motors=_motors(table.table("motors")),
        engaged=table.names("engaged"),
        solenoids=table.names("solenoids"),
        head_base=cast(Any, table.choice("head_base", HEAD_BASE_POSITIONS, "down")),
        moves_head_base=table.flag("moves_head_base"),
        takes_up=table.text("takes_up"),
        gives=table.text("gives"),
        at_capstan=table.flag("at_capstan"),
    )
    table.close()
    return mode


def _motors(table: Section) -> dict[str, float]:
    shares = table.shares(_SHARE)
    for motor, share in shares.items():
        if share == 0:
            table.report(motor, "A share of 0 is a motor that does not run.", "Take it out of this mode.")
    return {motor: share for motor, share in shares.items() if share}


def _limits(table: Section) -> dict[str, float]:
    read = {one.name: table.number(one.name, Size(1.0, one.low, one.high)) for one in LIMITS}
    table.close()
    band = [RESPONSE_LOW, RESPONSE_HIGH, RESPONSE]
    if any(table.has(name) for name in band):
        for name in [name for name in band if not table.has(name)]:
            do = "A response holds from one frequency to another: write all three, or none."
            table.report(name, "This key is missing beside the others of the response.", do)
    return {name: limit for name, limit in read.items() if limit is not None}
