"""Bench units in and out: SI inside, the unit in the name.

Sources: standard gravity 9.80665 m/s² (CGPM 1901) makes the gram-force exact; the inch is 25.4 mm and the ounce
28.349523125 g exactly (international yard and pound agreement, 1959).
"""

import math
import re
from collections.abc import Mapping
from typing import Final

from tapewright.words.problem import InputAtFaultError, Problem

STANDARD_GRAVITY_M_PER_S2: Final = 9.80665
INCH_M: Final = 0.0254
OUNCE_KG: Final = 0.028349523125

GF_N: Final = STANDARD_GRAVITY_M_PER_S2 * 1e-3
"""One gram-force in newtons."""
GCM_NM: Final = GF_N * 1e-2
"""One gram-force centimetre in newton metres: 0.0980665 mN·m."""
OZIN_NM: Final = OUNCE_KG * STANDARD_GRAVITY_M_PER_S2 * INCH_M
"""One ounce-force inch in newton metres."""

_OUNCE_N: Final = OUNCE_KG * STANDARD_GRAVITY_M_PER_S2
_LENGTHS: Final = {
    "mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "µm": 1e-6, "in": INCH_M, "inch": INCH_M, "inches": INCH_M,
    '"': INCH_M,
}  # fmt: skip
_FORCES: Final = {
    "n": 1.0, "mn": 1e-3, "gf": GF_N, "g": GF_N, "kgf": 1e3 * GF_N, "ozf": _OUNCE_N, "oz": _OUNCE_N,
}  # fmt: skip
# Some service papers misprint the torque unit as g/cm; it can only mean g·cm.
_TORQUES: Final = {
    "g·cm": GCM_NM, "gf·cm": GCM_NM, "gcm": GCM_NM, "gfcm": GCM_NM, "g/cm": GCM_NM, "kgf·cm": 1e3 * GCM_NM,
    "kg·cm": 1e3 * GCM_NM, "mn·m": 1e-3, "mnm": 1e-3, "n·m": 1.0, "nm": 1.0, "n·cm": 1e-2, "ncm": 1e-2,
    "oz·in": OZIN_NM, "ozin": OZIN_NM, "ozf·in": OZIN_NM,
}  # fmt: skip
_NUMBER: Final = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[-+]?\d+)?", re.IGNORECASE)


def parse_length_m(text: str, where: str = "length") -> float:
    """Read a length with its unit, in metres: "129.5 mm", "5.1 in", "0.2 m"; a bare number is millimetres.

    Arguments:
        text: the number, then the unit.
        where: what to call it in a Problem, such as a command-line option or a file and line.

    Raises:
        InputAtFaultError: when it is no length above nothing.

    >>> round(parse_length_m("5.1 in"), 5)
    0.12954
    """
    return _quantity(text, where, _LENGTHS, "mm", "a length", "mm, cm, m or in")


def parse_torque_nm(text: str, where: str = "torque") -> float:
    """Read a torque with its unit, in newton metres: "50 g·cm", "4.9 mN·m", "0.69 oz·in"; a bare number is g·cm.

    The dot may be a point, a star, a hyphen or a blank, or be left out.

    Raises:
        InputAtFaultError: when it is no torque above nothing.

    >>> round(parse_torque_nm("50 g cm"), 6)
    0.004903
    """
    return _quantity(text, where, _TORQUES, "g·cm", "a torque", "g·cm, mN·m or oz·in")


def parse_force_n(text: str, where: str = "force") -> float:
    """Read a force with its unit, in newtons: "350 gf", "0.8 N", "3 ozf"; a bare number is gf, "g" is read as gf.

    Raises:
        InputAtFaultError: when it is no force above nothing.

    >>> parse_force_n("0.8 N")
    0.8
    """
    return _quantity(text, where, _FORCES, "gf", "a force", "gf, N or ozf")


def _quantity(text: str, where: str, units: Mapping[str, float], bare: str, what: str, valid: str) -> float:
    written = text.strip()
    number = _NUMBER.match(written)
    do = f"Write {what} as a number and a unit: {valid}."
    if number is None:
        raise InputAtFaultError(Problem(where, f'"{text}" does not begin with a number.', do))
    rest = written[number.end() :].strip()
    if re.match(r",\s*\d", rest):
        raise InputAtFaultError(Problem(where, f'"{text}" holds a comma.', "Write numbers with a decimal point."))
    unit = re.sub(r"\s*[·.*×-]\s*|\s+", "·", rest).replace("μ", "µ").lower().rstrip("·")
    factor = units.get(unit or bare)
    if factor is None:
        raise InputAtFaultError(Problem(where, f'"{rest}" is not a unit of {what}.', do))
    value = float(number.group()) * factor
    if not (math.isfinite(value) and value > 0):
        raise InputAtFaultError(Problem(where, f'"{text}" is not {what} above nothing.', do))
    return value


def mm(length_m: float) -> float:
    """Give a length in millimetres.

    >>> mm(0.0025)
    2.5
    """
    return length_m * 1e3


def gcm(torque_nm: float) -> float:
    """Give a torque in gram-force centimetres, the unit of torque cassettes.

    >>> round(gcm(0.010), 1)
    102.0
    """
    return torque_nm / GCM_NM


def inches(length_m: float) -> float:
    """Give a length in inches.

    >>> inches(0.0254)
    1.0
    """
    return length_m / INCH_M


def mnm(torque_nm: float) -> float:
    """Give a torque in millinewton metres."""
    return torque_nm * 1e3


def ozin(torque_nm: float) -> float:
    """Give a torque in ounce-force inches.

    >>> round(ozin(30 * GCM_NM), 2)
    0.42
    """
    return torque_nm / OZIN_NM


def gf(force_n: float) -> float:
    """Give a force in grams-force, the unit of spring scales.

    >>> round(gf(1.0), 1)
    102.0
    """
    return force_n / GF_N


def cents(speed_error_pct: float) -> float:
    """Give a speed error as a musical interval: 100 cents to the semitone, fast is positive.

    >>> round(cents(1.0), 2)
    17.23
    """
    return 1200.0 * math.log2(1.0 + speed_error_pct / 100.0)


def to_the_doubt(value: float, doubt: float | None) -> str:
    """Write a number with as many digits as its doubt allows: two significant digits of doubt.

    >>> to_the_doubt(0.12345, 0.0021)
    '0.1235'
    >>> to_the_doubt(-1.2, None)
    '-1.2'
    >>> to_the_doubt(-0.0004, 0.01)
    '0.000'
    """
    if doubt is None or doubt <= 0 or not math.isfinite(doubt):
        return f"{value:.4g}"
    digits = max(0, 1 - math.floor(math.log10(doubt)))
    return f"{value:z.{digits}f}"
