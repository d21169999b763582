"""A figure with its doubt, and the assumption that matters most to it: which size, in a technician's words."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.machine.doubt import Column, Columns, estimate, interval, leading
from tapewright.machine.parts import Machine, part_names, spoken
from tapewright.words.estimate import Estimate
from tapewright.words.units import GCM_NM, GF_N, to_the_doubt


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that follows from a machine's sizes.

    Arguments:
        value: in `unit`.
        unit: an SI unit; "1" for a ratio, "%" for a share of the speed.
        doubt: half-width of the 95 % interval, to first order.
        low: lower end of the 95 % interval; of a figure that cannot be negative, by the logarithms of the sizes.
        high: its upper end.
        assumption: the size whose doubt matters most, in words, with its share of the variance.
        hangs_on: the name of that size, such as `capstan_belt.friction`; empty where nothing is in doubt.
        share: its share of the variance, 0 to 1.
        basis: "typical" where a usual range stood in for a size that counts; else "derived".
    """

    value: float
    unit: str
    doubt: float
    low: float
    high: float
    assumption: str
    hangs_on: str = ""
    share: float = 0.0
    basis: str = "derived"

    @property
    def estimate(self) -> Estimate:
        """Give value, doubt and basis alone."""
        return Estimate(self.value, self.doubt, self.basis)


def figure(machine: Machine, result: Column, table: Columns, unit: str, signed: bool = False) -> Figure:
    """Turn a column into a figure.

    Arguments:
        machine: whose parts name the sizes.
        result: shape (1 + 2 n,), as laid out by `doubt.columns`.
        table: the sizes it came from.
        unit: of the result.
        signed: True where the figure may be negative; the interval is then value ± doubt.
    """
    found = estimate(result, table)
    low, high = (found.value - found.doubt, found.value + found.doubt) if signed else interval(result, table)
    name, share = leading(result, table)
    said = assumption(machine, name, share, table)
    return Figure(found.value, unit, found.doubt, low, high, said, name, share, found.basis)


def assumption(machine: Machine, name: str, share: float, table: Columns) -> str:
    """Say which size a result hangs on most, what it was taken as, and what share of the variance that makes."""
    if not name:
        return "nothing in it is in doubt"
    return f"{in_words(machine, name, table.sizes[name])}: {100 * share:.0f} % of the variance"


_UNITS: Final = {
    "diameter": (1e-3, "mm"), "width": (1e-3, "mm"), "thickness": (1e-3, "mm"), "length": (1e-3, "mm"),
    "path": (1e-3, "mm"), "centre": (1e-3, "mm"), "strain": (0.01, "%"), "modulus": (1e6, "MPa"),
    "wrap": (np.pi / 180, "°"), "speed": (1 / 60, "rpm"), "force": (GF_N, "gf"), "torque": (GCM_NM, "g·cm"),
    "strength": (1e-3, "mN·m"), "inertia": (1e-6, "kg·mm²"), "tension": (GF_N, "gf"), "friction": (1.0, ""),
    "efficiency": (1.0, ""), "ratio": (1.0, ""), "damping": (1.0, ""), "time": (1.0, "s"), "droop": (0.01, "%"),
    "hold_back": (GCM_NM, "g·cm"), "growth": (0.01, "%"),
}  # fmt: skip
_WORDS: Final = {
    "centre": "places of the pulleys", "strain": "stretch it is fitted with", "wrap": "angle it touches on",
    "modulus": "stiffness of the rubber", "path": "string laid along the way", "strength": "strength of the teeth",
}  # fmt: skip
_COMMON: Final = {
    "takeup_needed": ("torque that play needs at the take-up reel", GCM_NM, "g·cm"),
    "wind_needed": ("torque that winding needs at the reel", GCM_NM, "g·cm"),
    "hold_back_needed": ("hold-back that is needed", GCM_NM, "g·cm"),
    "shell_hub_friction": ("friction of a poor shell", GCM_NM, "g·cm"),
    "shell_hub_friction_usual": ("friction of the cassette's shell", GCM_NM, "g·cm"),
    "guide_tension": ("pull the tape's guides take", GF_N, "gf"),
    "pressure_pad_force": ("force of the pressure pad", GF_N, "gf"),
    "friction_tape_on_head": ("friction of tape on head", 1.0, ""),
    "friction_pad_on_tape": ("friction of pad on tape", 1.0, ""),
    "head_wrap": ("wrap of the tape on the head", np.pi / 180, "°"),
    "friction_bush": ("friction in the bushes", 1.0, ""),
    "bearing_friction": ("friction of the flywheel's bearing", 1e-3, "mN·m"),
    "shaft_friction": ("friction of the small shafts", 1e-3, "mN·m"),
    "reel_friction": ("friction of the reel table", 1e-3, "mN·m"),
    "counter_friction": ("friction of the counter", 1e-3, "mN·m"),
    "cam_torque": ("torque that lifts the head base", 1e-3, "mN·m"),
    "tray_torque": ("torque that moves the tray", 1e-3, "mN·m"),
    "wind_time": ("usual time of a wind", 1.0, "s"),
    "motor_speed": ("usual speed of such motors", 1 / 60, "rpm"),
    "motor_starting_torque": ("starting torque of such motors", GCM_NM, "g·cm"),
    "spindle_motor_starting_torque": ("starting torque of a motor on a reel's spindle", GCM_NM, "g·cm"),
    "motor_rated_load": ("load such motors are made for", GCM_NM, "g·cm"),
    "motor_droop_per_gcm": ("speed such motors lose for each g·cm", 0.01, "%"),
    "motor_shaft_diameter": ("shaft of the motor", 1e-3, "mm"),
    "stopwatch": ("time on the stopwatch", 1.0, "s"),
    "belt_damping": ("damping of the belt", 1.0, ""),
}  # fmt: skip


def in_words(machine: Machine, name: str, size: Estimate) -> str:
    """Say a size and what it is taken as, in bench units: "friction of the capstan belt, 0.5 ± 0.25, a usual range".

    Arguments:
        machine: whose parts name the size.
        name: as in `typical.all_sizes`.
        size: what it is taken as, in SI units.
    """
    owner, _, key = name.rpartition(".")
    if name in _COMMON:
        said, factor, unit = _COMMON[name]
    else:
        factor, unit = _UNITS.get(key, (1.0, ""))
        said = _WORDS.get(key, key.replace("_", " "))
        if owner:
            known = owner in part_names(machine)
            said = f"{said} of the {spoken(machine, owner) if known else owner.replace('_', ' ')}"
    doubt = size.doubt / factor
    written = f"{to_the_doubt(size.value / factor, doubt)} ± {to_the_doubt(doubt, doubt)}"
    value = f"{written} {unit}".rstrip()
    return f"{said}, {value}{', a usual range' if size.basis == 'typical' else ''}"
