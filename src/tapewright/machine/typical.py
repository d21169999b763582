"""Ranges that stand in for sizes nobody has measured, each with its source; and which size stands in for what."""

import csv
import math
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Final

from tapewright.machine.parts import Coupling, Machine, Rotor, shaft
from tapewright.words.estimate import Estimate
from tapewright.words.units import GCM_NM, GF_N

_UNITS: Final = {
    "mm": 1e-3, "rpm": 1 / 60, "g·cm": GCM_NM, "mN·m": 1e-3, "gf": GF_N, "%": 0.01, "deg": math.pi / 180,
    "MPa": 1e6, "s": 1.0, "1": 1.0, "kg·m²": 1.0,
}  # fmt: skip

CENTRE_DOUBT: Final = Estimate(0.0, 0.5e-3)
"""A position read off with a rule is good to half a millimetre; from memory."""


@cache
def _table() -> dict[str, dict[str, str]]:
    text = (files("tapewright.machine") / "tables" / "typical_values.csv").read_text(encoding="utf-8")
    return {row["quantity"]: row for row in csv.DictReader(text.splitlines())}


@cache
def typical(quantity: str) -> Estimate:
    """Give what a quantity usually is, in SI units; the doubt is half of its range.

    Raises:
        KeyError: when the table has no such quantity.

    >>> typical("capstan_diameter").value
    0.002
    """
    row = _table()[quantity]
    factor = _UNITS[row["unit"]]
    half = (float(row["high"]) - float(row["low"])) / 2
    return Estimate(float(row["typical"]) * factor, half * factor, "typical")


def source_of(quantity: str) -> str:
    """Say where a typical value comes from."""
    return _table()[quantity]["source"]


_BY_KIND: Final = {
    "capstan": "capstan_diameter",
    "pinch_roller": "pinch_roller_outer_diameter",
    "flywheel": "flywheel_belt_track_diameter",
    "idler_tyre": "idler_tyre_outer_diameter",
    "reel_table": "reel_table_rim_diameter",
    "counter": "counter_pulley_diameter",
    "gear": "gear_diameter",
    "cam": "belt_wheel_diameter",
}


def diameter(machine: Machine, rotor: str) -> Estimate:
    """Give a rotor's running diameter, metres: the described one, or what is typical for its work in this machine."""
    described = machine.rotors[rotor].diameter
    return described if described is not None else typical(_diameter_quantity(machine, machine.rotors[rotor]))


def _diameter_quantity(machine: Machine, rotor: Rotor) -> str:
    if rotor.kind in _BY_KIND:
        return _BY_KIND[rotor.kind]
    at_work = [coupling for coupling in machine.couplings.values() if rotor.name in coupling.path]
    carrier = machine.rotors[rotor.on].kind if rotor.on else rotor.kind
    if carrier == "motor":
        if any(coupling.kind == "tyre" for coupling in at_work):
            return "reel_motor_pulley_diameter"
        drives_flywheel = any(machine.rotors[name].kind == "flywheel" for one in at_work for name in one.path)
        return "motor_pulley_diameter" if drives_flywheel else "small_motor_pulley_diameter"
    if carrier in ("flywheel", "capstan"):
        return "flywheel_groove_diameter"
    return "clutch_pulley_diameter" if any(one.kind == "clutch" for one in at_work) else "belt_wheel_diameter"


def is_flat(machine: Machine, belt: Coupling) -> bool:
    """Tell whether a belt is flat: as described, or because it runs from a motor to a flywheel."""
    if belt.section_m is not None:
        return belt.section_m[0] > 1.5 * belt.section_m[1]
    kinds = {machine.rotors[name].kind for name in belt.path}
    carriers = {machine.rotors[on].kind for name in belt.path if (on := machine.rotors[name].on)}
    return "flywheel" in kinds and "motor" in kinds | carriers


def section(machine: Machine, belt: Coupling) -> tuple[Estimate, Estimate]:
    """Give a belt's width and thickness, metres."""
    if belt.section_m is not None:
        return Estimate(belt.section_m[0]), Estimate(belt.section_m[1])
    if is_flat(machine, belt):
        return typical("belt_flat_width"), typical("belt_flat_thickness")
    side = typical("belt_winding_side" if _winds(machine, belt) else "belt_square_side")
    return side, side


def _winds(machine: Machine, belt: Coupling) -> bool:
    """Tell whether a belt drives a reel in winding: directly, or by the teeth or the rim of what it turns."""
    turned = [rotor for rotor in machine.rotors.values() if shaft(machine, rotor.name) == shaft(machine, belt.path[-1])]
    own = {rotor.name for rotor in turned}
    onward = {name for one in machine.couplings.values() if one.kind in ("gear", "tyre") and one.driver in own
              for name in one.path[1:]}  # fmt: skip
    winding = {mode.takes_up for mode in machine.modes.values() if mode.takes_up and not mode.at_capstan}
    engaged = {name for mode in machine.modes.values() if not mode.at_capstan for name in mode.engaged}
    return bool((own | onward) & winding) and (not belt.switched or belt.name in engaged)


def strain(machine: Machine, belt: Coupling) -> Estimate:
    """Give the stretch a belt is fitted with, as a share of its relaxed length: 0.06 square, 0.04 flat."""
    return typical("belt_strain_flat" if is_flat(machine, belt) else "belt_strain_square")


def all_sizes(machine: Machine) -> dict[str, Estimate]:
    """Give every number the physics of a machine needs, in SI units: described where it is, typical where not.

    Returns:
        Estimates by "part.size" (`flywheel.diameter`, `capstan_belt.strain`), and by quantity for what is common.
    """
    sizes = {quantity: typical(quantity) for quantity in _COMMON}
    if machine.lid.moved_by:
        sizes["tray_torque"] = typical("tray_torque")
    for name, rotor in machine.rotors.items():
        sizes[f"{name}.diameter"] = diameter(machine, name)
        if rotor.turns_per_s is not None:
            sizes[f"{name}.speed"] = rotor.turns_per_s
    for coupling in machine.couplings.values():
        sizes.update((f"{coupling.name}.{key}", size) for key, size in _coupling_sizes(machine, coupling))
    return sizes


def _is_unmeasured_cam(machine: Machine, mesh: Coupling) -> bool:
    """Tell whether a mesh turns a cam, or a tray's wheel, at a ratio that nothing in the description gives."""
    driver, driven = (machine.rotors[name] for name in mesh.path)
    told = mesh.ratio or (driver.teeth and driven.teeth) or (driver.diameter and driven.diameter)
    return (driven.kind == "cam" or driven.name == machine.lid.moved_by) and not told


def _turns_flywheel(machine: Machine, tyre: Coupling) -> bool:
    """Tell whether a contact is one of a rim drive: it turns the flywheel, or the wheel that does."""
    onward = (one.path[-1] for one in machine.couplings.values() if one.kind == "tyre" and one.driver == tyre.path[-1])
    return any(machine.rotors[name].kind == "flywheel" for name in (tyre.path[-1], *onward))


_COMMON: Final = (
    "takeup_needed", "wind_needed", "hold_back_needed", "shell_hub_friction", "pressure_pad_force",
    "friction_tape_on_head", "friction_pad_on_tape", "head_wrap", "friction_bush", "bearing_friction",
    "shaft_friction", "reel_friction", "counter_friction", "cam_torque", "wind_time", "motor_speed",
    "motor_starting_torque",
)  # fmt: skip


def _coupling_sizes(machine: Machine, coupling: Coupling) -> Iterator[tuple[str, Estimate]]:
    kind = coupling.kind
    if kind == "belt":
        width, thickness = section(machine, coupling)
        yield "width", width
        yield "thickness", thickness
        yield "centre", CENTRE_DOUBT
        yield "strain", strain(machine, coupling)
        yield "wrap", typical("belt_wrap")
        yield "modulus", typical("rubber_modulus")
        yield "friction", typical("friction_rubber_dry")
        usual = typical("belt_length_flat" if is_flat(machine, coupling) else "belt_length_square")
        yield "length", coupling.length or usual
    elif kind in ("tyre", "nip"):
        nip = kind == "nip"
        yield "friction", typical("friction_capstan_on_tape" if nip else "friction_rubber_dry")
        pressed = "drive_wheel_force" if _turns_flywheel(machine, coupling) else "idler_contact_force"
        yield "force", coupling.force or typical("pinch_force" if nip else pressed)
    elif kind in ("gear", "worm"):
        yield "strength", coupling.torque or typical("gear_strength")
        if kind == "gear" and _is_unmeasured_cam(machine, coupling):
            yield "ratio", typical("cam_gear_ratio")
        if kind == "worm":
            yield "efficiency", typical("worm_efficiency")
            yield "ratio", Estimate(coupling.ratio) if coupling.ratio else typical("worm_ratio")
    else:
        quantity = {"clutch": "takeup_torque", "drag": "hold_back_torque", "brake": "brake_torque"}[kind]
        yield "torque", coupling.torque or typical(quantity)
