"""Bench units in and out: SI inside, the unit in the name.

Sources: standard gravity 9.80665 m/s² (CGPM 1901) makes the gram-force exact; the inch is 25.4 mm and the ounce
28.349523125 g exactly (international yard and pound agreement, 1959).
"""

import math
from typing import Final

STANDARD_GRAVITY_M_PER_S2: Final = 9.80665
INCH_M: Final = 0.0254
OUNCE_KG: Final = 0.028349523125

GF_N: Final = STANDARD_GRAVITY_M_PER_S2 * 1e-3
"""One gram-force in newtons."""
GCM_NM: Final = GF_N * 1e-2
"""One gram-force centimetre in newton metres: 0.0980665 mN·m."""
OZIN_NM: Final = OUNCE_KG * STANDARD_GRAVITY_M_PER_S2 * INCH_M
"""One ounce-force inch in newton metres."""


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
    """
    if doubt is None or doubt <= 0 or not math.isfinite(doubt):
        return f"{value:.4g}"
    digits = max(0, 1 - math.floor(math.log10(doubt)))
    return f"{value:.{digits}f}"
