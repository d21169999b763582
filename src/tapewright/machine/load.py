"""A description in TOML becomes a `Machine`, or the list of everything that is wrong with it.

The only file that knows TOML or millimetres. All sizes may be left out: ranges stand in for them (`typical`).
"""

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, cast

from tapewright.machine.check import problems_of
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
from tapewright.machine.section import Desk, Section, Size, did_you_mean
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.units import GCM_NM, GF_N

_LIBRARY: Final = files("tapewright.machine") / "library"
_LARGEST_BYTES: Final = 1_000_000
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


def read_machine(path_or_id: str) -> Machine:
    """Read a description from a file, or take a shipped one by its id.

    Arguments:
        path_or_id: the path of a TOML file, or the id of a shipped machine.

    Raises:
        InputAtFaultError: with every mistake in the description, or why there is none to read.

    >>> read_machine("four_track").tape.tracks
    4
    """
    if path_or_id in _shipped_ids():
        name = f"{path_or_id}.toml"
        return read_machine_text((_LIBRARY / name).read_text(encoding="utf-8"), source=name)
    return read_machine_text(_text_of(path_or_id), source=Path(path_or_id).name)


def read_machine_text(text: str, source: str) -> Machine:
    """Read a description from its text.

    Arguments:
        text: the TOML text.
        source: what to call it in messages, usually the file's name.

    Raises:
        InputAtFaultError: with every mistake in the description.
    """
    desk = Desk(source)
    machine = read_tables(Section(_parsed(text, source), "", desk), source)
    for at, found, do in problems_of(machine, whole=all(_is_of_a_size(problem) for problem in desk.problems)):
        desk.report(at, found, do)
    if desk.problems:
        raise InputAtFaultError(desk.problems)
    return machine


def _is_of_a_size(problem: Problem) -> bool:
    return re.search(r"_(mm|mm2|rpm|gf|n|gcm|mnm|um|s|pct|doubt)$", problem.where) is not None


def _shipped_ids() -> tuple[str, ...]:
    names = (entry.name for entry in _LIBRARY.iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in names))


def _text_of(path: str) -> str:
    try:
        file = Path(path)
        if not file.exists():
            ids = _shipped_ids()
            meant = did_you_mean(path, ids).removeprefix("Valid here:")
            do = f"{meant} " if meant.startswith("Did") else ""
            do += f"Shipped machines: {', '.join(ids)}."
            raise InputAtFaultError(Problem(path, "There is no such file and no shipped machine of this name.", do))
        if not file.is_file():
            raise InputAtFaultError(Problem(path, "This is not a file.", "Name the description itself, a .toml file."))
        with file.open("rb") as stream:
            raw = stream.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputAtFaultError(Problem(path, f"The file cannot be read: {reason}.", "Check its name.")) from error
    return _decoded(raw, path)


def _decoded(raw: bytes, path: str) -> str:
    if len(raw) > _LARGEST_BYTES:
        raise InputAtFaultError(
            Problem(path, "This is over 1 MB, far more than a description.", "Name the .toml file.")
        )
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputAtFaultError(Problem(path, "This text is saved as UTF-16.", "Save it as UTF-8."))
    if b"\0" in raw:
        raise InputAtFaultError(Problem(path, "This is not a text file.", "Name the description itself, a .toml file."))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"Line {line} holds a character that is not UTF-8."
        raise InputAtFaultError(Problem(path, found, "Save the file as UTF-8.")) from error


def _parsed(text: str, source: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise InputAtFaultError(Problem(source, "Brackets are nested far too deep.", "Count the brackets.")) from error
    except ValueError as error:
        raise InputAtFaultError(_syntax_problem(text, source, str(error))) from error


def _syntax_problem(text: str, source: str, message: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.splitlines() or [""]
    line, column = (int(place[1]), int(place[2])) if place else (len(lines), len(lines[-1]) + 1)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    shown = lines[min(line, len(lines)) - 1].strip()
    do = "Compare the line with its neighbours: a name, an equals sign, a value; texts in quotation marks."
    if re.search(r"=\s*[-+]?\d+,\d", shown):
        do = "Write numbers with a decimal point, not a comma."
    elif said.startswith(("Cannot overwrite", "Cannot declare")):
        said, do = "This stands here for the second time", "Keep one, or give it a name of its own."
    return Problem(f"{source}, line {line}, column {column}", f"{said}, in: {shown[:80]}", do)


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
