"""The way a belt takes over any number of pulleys, inside the loop or on its back.

Signed radii: a pulley inside the loop counts +r, one on the belt's back -r. From pulley i to the next j with centres C
apart, k = s_j r_j - s_i r_i; the free span is sqrt(C² - k²), its heading the bearing of the centres less asin(k / C),
and the arc on j is the turn of the heading. Closed form of our own; the tests hold it against the hull of the circles.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tapewright.machine.parts import Coupling, Machine, shaft

Column = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BeltPath:
    """The way of one belt.

    Arguments:
        length_m: all the way round, shape as the radii's.
        wraps_rad: angle over which it touches each pulley, in the order of the pulleys. One just under a full turn
            means that the belt would miss that pulley.
        spans_m: free length to the next pulley.
    """

    length_m: Column
    wraps_rad: tuple[Column, ...]
    spans_m: tuple[Column, ...]


def belt_path(centres_m: Sequence[tuple[float, float]], radii_m: Sequence[ArrayLike], sides: Sequence[int]) -> BeltPath:
    """Follow a belt round its pulleys.

    Arguments:
        centres_m: the axes in the order the belt runs, either way round.
        radii_m: the radii, each a number or an array.
        sides: +1 inside the loop, -1 on the belt's back.

    >>> equal = belt_path([(0.0, 0.0), (0.1, 0.0)], [0.02, 0.02], [1, 1])
    >>> round(float(equal.length_m), 6)
    0.325664
    """
    if _listed_anticlockwise(centres_m, radii_m, sides):
        return _one_way(centres_m, radii_m, sides)
    back = _one_way(centres_m[::-1], radii_m[::-1], sides[::-1])
    return BeltPath(back.length_m, back.wraps_rad[::-1], (*back.spans_m[-2::-1], back.spans_m[-1]))


def _listed_anticlockwise(
    centres_m: Sequence[tuple[float, float]], radii_m: Sequence[ArrayLike], sides: Sequence[int]
) -> bool:
    """Tell which way round the pulleys are listed.

    Round three pulleys or more inside the loop a belt turns once in all, and listed the wrong way round more than once.
    With fewer, the area between the axes tells.
    """
    inside = [i for i, side in enumerate(sides) if side > 0]
    if len(inside) > 2:
        firsts = [np.ravel(np.asarray(radii_m[i], dtype=np.float64))[0] for i in inside]
        round_them = _one_way([centres_m[i] for i in inside], firsts, [1] * len(inside))
        return float(sum(float(wrap) for wrap in round_them.wraps_rad)) < 3 * np.pi
    following = [*centres_m[1:], centres_m[0]]
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(centres_m, following, strict=True)) >= 0


def _one_way(centres_m: Sequence[tuple[float, float]], radii_m: Sequence[ArrayLike], sides: Sequence[int]) -> BeltPath:
    radii = [np.asarray(radius, dtype=np.float64) for radius in radii_m]
    count = len(radii)
    headings, spans = [], []
    for i in range(count):
        j = (i + 1) % count
        dx, dy = centres_m[j][0] - centres_m[i][0], centres_m[j][1] - centres_m[i][1]
        apart = float(np.hypot(dx, dy))
        k = sides[j] * radii[j] - sides[i] * radii[i]
        # Typical radii may overlap at described centres; the span is then nothing rather than not a number.
        spans.append(np.sqrt(np.maximum(apart**2 - k**2, 0.0)))
        headings.append(np.arctan2(dy, dx) - np.arcsin(np.clip(k / max(apart, 1e-12), -1.0, 1.0)))
    wraps = tuple(np.mod((headings[i] - headings[i - 1]) * sides[i], 2 * np.pi) for i in range(count))
    arcs = [radius * wrap for radius, wrap in zip(radii, wraps, strict=True)]
    return BeltPath(np.asarray(sum(spans) + sum(arcs)), wraps, tuple(spans))


def centres_of(machine: Machine, belt: Coupling) -> list[tuple[float, float]] | None:
    """Give the axes of a belt's pulleys, metres; None when one of them is not known."""
    found = []
    for name in belt.path:
        rotor = machine.rotors[name]
        at = rotor.position_m or machine.rotors[shaft(machine, name)].position_m
        if at is None:
            return None
        found.append(at)
    return found


def sides_of(belt: Coupling) -> tuple[int, ...]:
    """Give on which side each pulley of a belt lies; inside the loop where nothing is said."""
    return belt.sides or (1,) * len(belt.path)
