"""The way of a belt by a second road: the hull of the circles, the closed forms, tangents point by point."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from tapewright.machine.belt_path import belt_path
from tapewright.machine.formulas import crossed_belt_length, open_belt_length

RADII = st.floats(0.002, 0.03)
PLACES = st.tuples(st.floats(-0.15, 0.15), st.floats(-0.15, 0.15))


def hull(drawn: list[tuple[tuple[float, float], float]], points: int) -> tuple[float, list[int]]:
    """A string drawn tight round all circles, as a polyline: its length, and the circles in the order it meets them."""
    angles = np.linspace(0, 2 * np.pi, points, endpoint=False)
    rings = [np.column_stack((x + r * np.cos(angles), y + r * np.sin(angles))) for (x, y), r in drawn]
    found = ConvexHull(np.concatenate(rings))
    owners = [int(vertex) // points for vertex in found.vertices]  # in order round the hull
    met = [one for one, before in zip(owners, [owners[-1], *owners[:-1]], strict=True) if one != before]
    return float(found.area), met  # in two dimensions scipy calls the perimeter area


@settings(max_examples=60)
@given(st.lists(st.tuples(PLACES, RADII), min_size=2, max_size=5), st.booleans())
def test_a_belt_round_the_outside_is_the_hull_of_its_pulleys(
    drawn: list[tuple[tuple[float, float], float]], backwards: bool
) -> None:
    for i, (place, radius) in enumerate(drawn):
        assume(all(math.dist(place, other) > radius + size + 0.002 for other, size in drawn[:i]))
    polyline, met = hull(drawn, points=1000)
    assume(sorted(met) == list(range(len(drawn))))  # the belt lies on each pulley, and once
    order = met[::-1] if backwards else met
    path = belt_path([drawn[i][0] for i in order], [drawn[i][1] for i in order], [1] * len(order))
    # A chord of 1/1000 turn is short by (2 pi / 1000)²/24 of itself, 2e-6; the belt may not be 10 um off.
    assert float(path.length_m) == pytest.approx(polyline, abs=1e-5)


@given(RADII, RADII, st.floats(0.07, 0.2), st.floats(0, 6.28))
def test_two_pulleys_follow_the_closed_forms(r1: float, r2: float, apart: float, turned: float) -> None:
    centres = [(0.0, 0.0), (apart * math.cos(turned), apart * math.sin(turned))]
    open_one = belt_path(centres, [r1, r2], [1, 1])
    crossed = belt_path(centres, [r1, r2], [1, -1])
    assert float(open_one.length_m) == pytest.approx(float(open_belt_length(2 * r1, 2 * r2, apart)), rel=1e-12)
    assert float(crossed.length_m) == pytest.approx(float(crossed_belt_length(2 * r1, 2 * r2, apart)), rel=1e-12)
    assert sum(float(wrap) for wrap in open_one.wraps_rad) == pytest.approx(2 * math.pi, abs=1e-9)


@given(st.floats(0.012, 0.0185), st.floats(0.004, 0.012), st.floats(0.03, 0.05))
def test_a_pulley_on_the_back_costs_the_detour_that_a_polyline_shows(y: float, r: float, x: float) -> None:
    """The upper span of two equal pulleys is a straight line at y = 0.02; a pulley above presses it down."""
    centres, radii = [(0.0, 0.0), (0.08, 0.0), (x, y + r)], [0.02, 0.02, r]
    assume(min(math.dist(centres[2], centres[i]) - radii[i] for i in (0, 1)) > r + 0.001)
    path = belt_path(centres, radii, [1, 1, -1])
    assert float(path.length_m) == pytest.approx(straight_and_pressed(centres, radii), abs=2e-6)


def straight_and_pressed(centres: list[tuple[float, float]], radii: list[float]) -> float:
    """The shortest closed polyline: half circles outside, and above it tangents found by trying many points."""
    left, right = (tangent_and_arc(centres[side], radii[side], centres[2], radii[2]) for side in (0, 1))
    lower = 0.08 + 2 * np.pi * radii[0]  # the lower span and the outer half of each pulley
    middle = radii[2] * (left[1] + right[1])
    return float(lower + left[0] + right[0] + middle)


def tangent_and_arc(
    near: tuple[float, float], r_near: float, pressed: tuple[float, float], r_pressed: float
) -> tuple[float, float]:
    """Length from the pulley's top to the idler along arc and inner tangent; the idler's arc from its lowest point."""
    across, up = abs(pressed[0] - near[0]), pressed[1] - near[1]
    slopes = np.linspace(0.0, 1.2, 20_001)
    # With slope a the belt leaves the pulley at r (sin a, cos a) and meets the idler at its centre - r' (sin a, cos a).
    dx = across - (r_near + r_pressed) * np.sin(slopes)
    dy = up - (r_near + r_pressed) * np.cos(slopes)
    best = int(np.argmin(np.abs(dx * np.sin(slopes) + dy * np.cos(slopes))))
    return r_near * slopes[best] + math.hypot(dx[best], dy[best]), float(slopes[best])


@given(st.floats(0.1, 10.0))
def test_scaling_everything_scales_the_belt(scale: float) -> None:
    centres, radii, sides = [(0.0, 0.0), (0.08, 0.0), (0.04, 0.02)], [0.005, 0.025, 0.008], [1, 1, -1]
    small = belt_path(centres, radii, sides)
    large = belt_path([(scale * x, scale * y) for x, y in centres], [scale * r for r in radii], sides)
    assert float(large.length_m) == pytest.approx(scale * float(small.length_m), rel=1e-12)
    assert [float(wrap) for wrap in large.wraps_rad] == pytest.approx([float(wrap) for wrap in small.wraps_rad])


def test_the_listed_direction_does_not_matter() -> None:
    centres, radii = [(0.0, 0.0), (0.08, 0.0), (0.03, 0.055)], [0.025, 0.00475, 0.015]
    one, other = belt_path(centres, radii, [1, 1, 1]), belt_path(centres[::-1], radii[::-1], [1, 1, 1])
    assert float(one.length_m) == pytest.approx(float(other.length_m), rel=1e-12)
    assert [float(w) for w in one.wraps_rad] == pytest.approx([float(w) for w in other.wraps_rad[::-1]])
    # Spans run to the next pulley: listed backwards, the first span of one is the second of the other.
    assert [float(s) for s in one.spans_m[:2]] == pytest.approx([float(s) for s in other.spans_m[1::-1]])
