"""Machines that differ from a shipped one by their description alone: its TOML, changed as a user would change it."""

import json
import tomllib
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine

Table = dict[str, Any]


def table_of(machine_id: str) -> Table:
    """Give the shipped description as plain tables."""
    text = (files("tapewright.machine") / "library" / f"{machine_id}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def as_toml(table: Table, path: tuple[str, ...] = ()) -> str:
    """Write tables as TOML: strings, numbers, lists and inline tables the way JSON does, but for the inline keys."""
    lines = [f"[{'.'.join(path)}]"] if path else []
    nested = []
    for key, value in table.items():
        if isinstance(value, dict) and key != "motors":
            nested.append(as_toml(value, (*path, key)))
        else:
            lines.append(f"{key} = {_value(value)}")
    return "\n".join([*lines, *nested]) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(one)}" for key, one in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def described(machine_id: str, change: Callable[[Table], None]) -> Machine:
    """Give a shipped machine with its description changed."""
    table = table_of(machine_id)
    change(table)
    table["machine"]["id"] = f"{machine_id}_changed"
    return read_machine_text(as_toml(table), source="changed.toml")


def flywheel_lifts_the_head_base(table: Table) -> None:
    """A gear on the flywheel turns the cam; there is no cam motor and no cam belt."""
    for rotor in ("cam_motor", "cam_pulley", "cam_wheel"):
        del table["rotors"][rotor]
    del table["couplings"]["cam_belt"], table["couplings"]["cam_worm"]
    table["couplings"]["cam_gear"] = {"kind": "gear", "path": ["flywheel", "cam"], "switched": True, "ratio": 0.02}
    del table["sensors"]["cam_switch"]["ends"]
    for mode in ("switch_on", "play", "record", "stop"):
        entered = table["modes"][mode]
        entered["motors"] = {"capstan_motor": 1.0} | {m: s for m, s in entered["motors"].items() if m != "cam_motor"}
        entered["engaged"] = [*entered.get("engaged", []), "cam_gear"]


def flywheel_takes_the_tape_up(table: Table) -> None:
    """A belt from the flywheel and a clutch take the tape up in play; the reel motor only winds."""
    table["rotors"]["clutch_pulley"] = {"kind": "pulley", "diameter_mm": 40.0}
    table["couplings"]["takeup_belt"] = {
        "kind": "belt", "path": ["flywheel", "clutch_pulley"], "width_mm": 1.2, "thickness_mm": 1.2,
    }  # fmt: skip
    table["couplings"]["takeup_clutch"] = {
        "kind": "clutch", "path": ["clutch_pulley", "takeup_reel"], "switched": True, "torque_gcm": 50.0,
    }  # fmt: skip
    for mode in ("play", "record"):
        entered = table["modes"][mode]
        del entered["motors"]["reel_motor"]
        entered["engaged"] = ["nip", "takeup_clutch"]


def capstan_motor_runs_always(table: Table) -> None:
    """The capstan motor runs as soon as the machine is on."""
    table["modes"]["idle"]["motors"] = {"capstan_motor": 1.0}
    table["modes"]["switch_on"]["motors"]["capstan_motor"] = 1.0


def without_sizes(table: Table) -> None:
    """Nothing has been measured."""
    for group in ("rotors", "couplings"):
        for thing in table[group].values():
            for key in list(thing):
                if key.endswith(("_mm", "_gf", "_gcm", "_rpm", "_mm2")):
                    del thing[key]
