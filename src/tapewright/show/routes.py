"""How a belt is drawn: its free spans and the arcs on its pulleys, as one closed line.

The geometry is that of `machine.belt_path` (signed radii, headings of the spans); the tests hold the length of the
drawn line against it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapewright.machine.belt_path import belt_path
from tapewright.show.svg import number

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Arc:
    """The stretch of a belt on one pulley.

    Arguments:
        centre: of the pulley.
        radius: of the pulley.
        start: angle of its first point seen from the centre, radians, anticlockwise from +x.
        sweep: angle it covers, positive anticlockwise.
    """

    centre: Point
    radius: float
    start: float
    sweep: float

    def at(self, share: float) -> Point:
        """Give the point at a share of the way along it."""
        angle = self.start + share * self.sweep
        return self.centre[0] + self.radius * math.cos(angle), self.centre[1] + self.radius * math.sin(angle)


def route(centres: Sequence[Point], radii: Sequence[float], sides: Sequence[int]) -> tuple[Arc, ...]:
    """Give the arcs of a belt in the order it runs; straight spans join each to the next.

    Arguments:
        centres: axes of the pulleys, y up.
        radii: their running radii, same unit.
        sides: +1 inside the loop, -1 on the belt's back.
    """
    forward = _arcs(centres, radii, sides)
    backward = _arcs(centres[::-1], radii[::-1], sides[::-1])
    wanted = float(belt_path(centres, radii, sides).length_m)
    return min((forward, backward), key=lambda arcs: abs(length(arcs) - wanted))


def _arcs(centres: Sequence[Point], radii: Sequence[float], sides: Sequence[int]) -> tuple[Arc, ...]:
    """Follow the belt with the pulleys inside the loop on its left."""
    count = len(centres)
    headings = []
    for i in range(count):
        j = (i + 1) % count
        dx, dy = centres[j][0] - centres[i][0], centres[j][1] - centres[i][1]
        leaning = (sides[j] * radii[j] - sides[i] * radii[i]) / max(math.hypot(dx, dy), 1e-12)
        headings.append(math.atan2(dy, dx) - math.asin(max(-1.0, min(1.0, leaning))))
    arcs = []
    for i in range(count):
        wrap = ((headings[i] - headings[i - 1]) * sides[i]) % (2 * math.pi)
        # The belt touches a pulley inside the loop on the right of its own heading, one at its back on the left.
        arcs.append(Arc(centres[i], radii[i], headings[i - 1] - sides[i] * math.pi / 2, sides[i] * wrap))
    return tuple(arcs)


def length(arcs: Sequence[Arc]) -> float:
    """Give the length of a closed belt."""
    spans = (math.dist(arcs[i - 1].at(1.0), arc.at(0.0)) for i, arc in enumerate(arcs))
    return sum(spans) + sum(arc.radius * abs(arc.sweep) for arc in arcs)


def path_of(arcs: Sequence[Arc]) -> str:
    """Write a belt as SVG path data, y down; arcs in pieces of at most a quarter turn, which draws them exactly."""
    words = []
    for i, arc in enumerate(arcs):
        x, y = arc.at(0.0)
        words.append(f"{'L' if i else 'M'}{number(x)} {number(-y)}")
        pieces = max(1, math.ceil(abs(arc.sweep) / (math.pi / 2)))
        turn = 0 if arc.sweep > 0 else 1
        for piece in range(1, pieces + 1):
            x, y = arc.at(piece / pieces)
            words.append(f"A{number(arc.radius)} {number(arc.radius)} 0 0 {turn} {number(x)} {number(-y)}")
    return " ".join([*words, "Z"])


def points_of(arcs: Sequence[Arc], step: float) -> list[Point]:
    """Sample a belt about every `step` along it."""
    found = []
    for i, arc in enumerate(arcs):
        here, there = arc.at(1.0), arcs[(i + 1) % len(arcs)].at(0.0)
        around = max(1, math.ceil(arc.radius * abs(arc.sweep) / step))
        along = max(1, math.ceil(math.dist(here, there) / step))
        found += [arc.at(k / around) for k in range(around)]
        found += [
            (here[0] + (there[0] - here[0]) * k / along, here[1] + (there[1] - here[1]) * k / along)
            for k in range(along)
        ]
    return found


def middle_of_longest_span(arcs: Sequence[Arc]) -> Point:
    """Give a point on a belt that is well away from its pulleys."""
    spans = [(arcs[i - 1].at(1.0), arc.at(0.0)) for i, arc in enumerate(arcs)]
    here, there = max(spans, key=lambda span: math.dist(*span))
    return (here[0] + there[0]) / 2, (here[1] + there[1]) / 2
