"""A JSON Schema of a description, so that an editor completes and checks the file while it is written.

It is made by letting the reader of descriptions (`load`) ask a table that only notes what it is asked. What the reader
knows is therefore what the schema has, and the other way round. What each key means stands here once, for people.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from tapewright.machine.check import COUPLING_KEYS_OF_KINDS, ROTOR_KEYS_OF_KINDS, SENSOR_KEYS_OF_KINDS
from tapewright.machine.described import read_tables
from tapewright.machine.limits import LIMITS
from tapewright.machine.parts import MODES
from tapewright.machine.section import Desk, Section, Size

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
ANY_NAME: Final = "*"
"""Stands in a key path for a name that the user gives."""
_NAME_PATTERN: Final = r"^[^\W\d][\w-]*$"

Schema = dict[str, Any]


def json_schema() -> Schema:
    """Give the JSON Schema (2020-12) of a description.

    >>> json_schema()["properties"]["rotors"]["additionalProperties"]["properties"]["diameter_mm"]["type"]
    'number'
    """
    top = _Noting("", Desk("schema"))
    read_tables(top, "schema")
    top.close()
    schema = {"$schema": DRAFT, "title": "A tape transport, for Tapewright", **top.noted()}
    groups = (("rotors", ROTOR_KEYS_OF_KINDS), ("couplings", COUPLING_KEYS_OF_KINDS), ("sensors", SENSOR_KEYS_OF_KINDS))
    for group, kinds_of in groups:
        schema["properties"][group]["additionalProperties"]["allOf"] = _kept_to_kinds(kinds_of)
    schema["properties"]["modes"]["propertyNames"] = {"enum": list(MODES)}
    return schema


def _kept_to_kinds(kinds_of: Mapping[str, Sequence[str]]) -> list[Schema]:
    return [
        {"if": {"required": [key]}, "then": {"properties": {"kind": {"enum": list(kinds)}}}}
        for key, kinds in kinds_of.items()
    ]


class _Noting(Section):
    """A table that answers every question as if it held nothing, and notes how it was asked."""

    def __init__(self, path: str, desk: Desk) -> None:
        super().__init__({}, path, desk)
        self.properties: dict[str, Schema] = {}
        self.required: list[str] = []
        self.inside: dict[str, _Noting] = {}
        self.any_key: Schema | None = None

    def noted(self) -> Schema:
        """Give the schema of this table."""
        inner = {key: table.noted() for key, table in self.inside.items()}
        found: Schema = {"type": "object"} | _described(self.path)
        if self.any_key is not None:
            return found | {"additionalProperties": self.any_key}
        if set(inner) == {ANY_NAME}:
            return found | {"propertyNames": {"pattern": _NAME_PATTERN}, "additionalProperties": inner[ANY_NAME]}
        found |= {"properties": self.properties | inner, "additionalProperties": False}
        needed = [*self.required, *(key for key, schema in inner.items() if schema.get("required"))]
        return found | ({"required": needed} if needed else {})

    def _note(self, key: str, schema: Schema, needed: bool = False) -> None:
        self.properties[key] = schema | _described(self.where(key))
        if needed and key not in self.required:
            self.required.append(key)

    def has(self, key: str) -> bool:
        return False

    def table(self, key: str) -> Section:
        return self.inside.setdefault(key, _Noting(self.where(key), self.desk))

    def tables(self, key: str) -> dict[str, Section]:
        outer = self.inside.setdefault(key, _Noting(self.where(key), self.desk))
        return {ANY_NAME: outer.table(ANY_NAME)}

    def text(self, key: str, default: str = "") -> str:
        self._note(key, {"type": "string"})
        return default

    def needed(self, key: str, do: str) -> str:
        self._note(key, {"type": "string", "minLength": 1}, needed=True)
        return ""

    def choice(self, key: str, options: Sequence[str], default: str | None = None) -> str:
        self._note(key, {"enum": list(options)}, needed=default is None)
        return default or options[0]

    def flag(self, key: str, default: bool = False) -> bool:
        self._note(key, {"type": "boolean"})
        return default

    def names(self, key: str) -> tuple[str, ...]:
        self._note(key, {"type": "array", "items": {"type": "string"}})
        return ()

    def needed_names(self, key: str, do: str) -> tuple[str, ...]:
        self._note(key, {"type": "array", "items": {"type": "string"}, "minItems": 1}, needed=True)
        return ()

    def number(self, key: str, size: Size) -> float | None:
        self._note(key, _within(size))
        return None

    def whole(self, key: str, low: int, high: int, default: int = 0) -> int:
        self._note(key, {"type": "integer", "minimum": low, "maximum": high})
        return default

    def numbers(self, key: str, count: int | None, size: Size) -> tuple[float, ...] | None:
        several = {"type": "array", "items": _within(size)}
        self._note(key, several | ({"minItems": count, "maxItems": count} if count else {}))
        return None

    def shares(self, size: Size) -> dict[str, float | None]:
        self.any_key = _within(size)
        return {}

    def version(self, key: str, known: int) -> None:
        self._note(key, {"const": known}, needed=True)

    def one_of(self, name: str, names: Sequence[str], what: str) -> None:
        pass

    def report(self, key: str, found: str, do: str) -> None:
        pass


def _within(size: Size) -> Schema:
    return {"type": "number", "minimum": size.low, "maximum": size.high}


# --- what each key means ----------------------------------------------------------------------------------------------


def _described(path: str) -> Schema:
    said = MEANINGS.get(path)
    if said is None and path.endswith("_doubt"):
        said = f"Half-width of the 95 % interval of {path.rpartition('.')[2].removesuffix('_doubt')}, in the same unit."
    return {"description": said} if said else {}


MEANINGS: Final = {
    "schema": "Version of this vocabulary: 1.",
    "machine": "What the machine is called.",
    "machine.id": "Short name.",
    "machine.title": "A line for people.",
    "machine.layout": "General kind of transport, such as two_motor_idler_solenoid.",
    "machine.invented": "True for a machine nobody built.",
    "tape": "Which tape, how fast.",
    "tape.speed_mm_per_s": "Tape speed that speed_rpm of the motors belongs to: 47.625 is 1.875 inches a second.",
    "tape.speeds_mm_per_s": "Every speed it can be switched to, speed_mm_per_s among them.",
    "tape.thickness_um": "Thickness of the tape: 16 for a 60-minute cassette, 12 for 90, 9 for 120.",
    "tape.hub_radius_mm": "Radius of the empty hub in the shell.",
    "tape.full_radius_mm": "Radius of the full pack.",
    "tape.tracks": "Tracks across the tape.",
    "limits": "What is accepted, each in the unit its name ends with.",
    **{f"limits.{one.name}": one.says for one in LIMITS},
    "rotors": "What turns; the name in brackets is what every other table calls it.",
    "rotors.*": "Something that turns.",
    "rotors.*.kind": "What it is.",
    "rotors.*.on": "Rotor on whose shaft it sits, when the shaft is not its own.",
    "rotors.*.diameter_mm": "Running diameter: groove bottom, crown top, rim or surface.",
    "rotors.*.speed_rpm": "Speed of a motor in play.",
    "rotors.*.commutator_segments": "Segments of a motor's commutator.",
    "rotors.*.teeth": "Teeth round it.",
    "rotors.*.inertia_kg_mm2": "Moment of inertia.",
    "rotors.*.position_mm": "x and y of the axis, any origin, seen from the cassette side.",
    "rotors.*.sight": "Where it can be seen: in the well, through a window, or only inside.",
    "rotors.*.says": "What you call it, when its name with spaces is not that.",
    "couplings": "What turns what, holds it back or brakes it.",
    "couplings.*": "Something through which one rotor turns, holds or brakes another.",
    "couplings.*.kind": "What it is.",
    "couplings.*.path": "A belt: every pulley in its order, the driver first. A drag or brake: the rotor it holds. "
    "Others: driver, driven.",
    "couplings.*.sides": "A belt, for each pulley: 1 inside the loop, -1 on the belt's back.",
    "couplings.*.switched": "True when it is engaged only in the modes that list it.",
    "couplings.*.by": "What brings it in, or lets a brake go: a solenoid, the cam, head_base or keys.",
    "couplings.*.through": "Levers on the way from there.",
    "couplings.*.width_mm": "Width of a belt's section; a square belt has both alike.",
    "couplings.*.thickness_mm": "Thickness of a belt's section.",
    "couplings.*.length_mm": "Inside length of a sound belt, lying slack.",
    "couplings.*.force_gf": "Contact force of a tyre or nip, gram-force.",
    "couplings.*.force_n": "The same in newtons.",
    "couplings.*.torque_gcm": "What a clutch slips at, a drag or brake holds with, teeth stand: gram-centimetres.",
    "couplings.*.torque_mnm": "The same in millinewton metres.",
    "couplings.*.ratio": "Turns of the driven for one of the driver, for a worm or gear whose teeth are not counted.",
    "couplings.*.inside": "A tyre: true where the smaller one runs on the inside of the other's rim.",
    "couplings.*.sight": "Where it can be seen: in the well, through a window, or only inside.",
    "couplings.*.says": "What you call it, when its name with spaces is not that.",
    "sensors": "Switches and sensors, and what the logic does with them.",
    "sensors.*": "A switch or sensor.",
    "sensors.*.kind": "What it is.",
    "sensors.*.senses": "Rotor it watches.",
    "sensors.*.allows": "Modes that only start when it tells the truth.",
    "sensors.*.stops": "Modes it ends when what it watches stands; without this key all in which tape moves.",
    "sensors.*.ends": "Motor whose run it ends by reporting the position.",
    "sensors.*.timeout_s": "How long the logic waits for it.",
    "sensors.*.says": "What you call it, when its name with spaces is not that.",
    "solenoids": "Coils with a plunger.",
    "solenoids.*": "A coil with a plunger: lifts the head base, brings a coupling in, lets a brake go.",
    "solenoids.*.sight": "Where it can be seen: in the well, through a window, or only inside.",
    "solenoids.*.says": "What you call it, when its name with spaces is not that.",
    "levers": "Arms, slides and links that hand motion on.",
    "levers.*": "An arm, slide or link.",
    "levers.*.sight": "Where it can be seen: in the well, through a window, or only inside.",
    "levers.*.says": "What you call it, when its name with spaces is not that.",
    "power_supply": "What feeds the motors.",
    "power_supply.says": "What you call it.",
    "head_base": "The plate that carries the heads up to the tape.",
    "head_base.lifted_by": "Name of the cam or solenoid that lifts it; keys where a finger does.",
    "head_base.carries": "Rotors that come up with it.",
    "head_base.through": "Levers between it and what lifts it.",
    "head_base.says": "What you call it.",
    "lid": "What lets the cassette in and out.",
    "lid.moved_by": "Wheel or cam that moves it, where a motor moves a tray; leave it out for a door opened by hand.",
    "lid.says": "What you call it.",
    "modes": "What runs and is engaged, mode by mode.",
    "modes.*": "One mode.",
    "modes.*.motors": "Powered motors: the share of their speed in play, minus for the other way round.",
    "modes.*.engaged": "Switched couplings that are engaged; of two nips the first sets the tape's speed.",
    "modes.*.solenoids": "Solenoids that pull.",
    "modes.*.head_base": "Where the head base stands.",
    "modes.*.moves_head_base": "True when entering the mode sends what lifts the head base to work.",
    "modes.*.takes_up": "Reel table that takes tape up.",
    "modes.*.gives": "Reel table that gives tape.",
    "modes.*.at_capstan": "True when capstan and pinch roller set the tape's speed.",
}
"""Key path -> what it means; a star stands for a name that the user gives."""
