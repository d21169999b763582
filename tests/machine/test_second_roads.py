"""Belt lengths by polylines on a thousand layouts, rates by walking surface speeds, power balance at every shaft."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.machine.asked import asked_of_shaft, asked_of_steps, load_on, tape_tension
from tapewright.machine.belt_path import belt_path, sides_of
from tapewright.machine.couplings import running_diameter, steps, turns_ratio
from tapewright.machine.doubt import columns
from tapewright.machine.force_sizes import force_sizes
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import shaft
from tapewright.machine.rates import rates
from tapewright.machine.typical import all_sizes

Pulley = tuple[complex, float, int]


def touching(one: Pulley, other: Pulley) -> tuple[complex, complex]:
    """Where the belt leaves one pulley and meets the next, running anticlockwise: tangent points by bisection.

    A line in direction e^{ia} that touches a circle with the circle on its left at distance r (on its right for the
    belt's back) passes through centre - i r s e^{ia}. The angle is that at which both points lie on one line.
    """
    (c1, r1, s1), (c2, r2, s2) = one, other

    def off(angle: float) -> float:
        along = complex(math.cos(angle), math.sin(angle))
        return (((c2 - 1j * s2 * r2 * along) - (c1 - 1j * s1 * r1 * along)) * along.conjugate()).imag

    bearing = math.atan2((c2 - c1).imag, (c2 - c1).real)
    low, high = bearing - math.pi / 2, bearing + math.pi / 2
    assert off(low) > 0 > off(high)
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if off(middle) > 0 else (low, middle)
    along = complex(math.cos(low), math.sin(low))
    return c1 - 1j * s1 * r1 * along, c2 - 1j * s2 * r2 * along


def walked(pulleys: list[Pulley]) -> float:
    """Length of the belt by walking it: straight spans between tangent points, arcs by the points on the circle."""
    spans = [touching(one, pulleys[(i + 1) % len(pulleys)]) for i, one in enumerate(pulleys)]
    total = sum(abs(b - a) for a, b in spans)
    for i, (centre, radius, side) in enumerate(pulleys):
        came, leaves = spans[i - 1][1] - centre, spans[i][0] - centre
        turn = np.angle(leaves / came) * side
        total += radius * (turn % (2 * math.pi))
    return float(total)


def convex_hull(draw: np.random.Generator, count: int) -> list[Pulley]:
    """Pulleys that a loop touches one after the other: on a ring with radii small against their distances."""
    angles = np.sort(draw.uniform(0, 2 * math.pi, count))
    while count > 2 and np.min(np.diff([*angles, angles[0] + 2 * math.pi])) < 0.5:
        angles = np.sort(draw.uniform(0, 2 * math.pi, count))
    if count == 2:
        angles = np.array([angles[0], angles[0] + math.pi])
    return [(0.06 * complex(math.cos(a), math.sin(a)), float(draw.uniform(0.002, 0.009)), 1) for a in angles]


def with_one_outside(pulleys: list[Pulley], draw: np.random.Generator) -> list[Pulley]:
    """One more on the belt's back, pressed into the middle of the span between the last and the first."""
    (a, ra, _), (b, rb, _) = pulleys[-1], pulleys[0]
    along = (b - a) / abs(b - a)
    outward = along * -1j  # anticlockwise, the inside lies on the left
    radius = float(draw.uniform(0.002, 0.006))
    depth = float(draw.uniform(0.0005, 0.003))
    at = a + along * abs(b - a) * float(draw.uniform(0.4, 0.6)) + outward * ((ra + rb) / 2 + radius - depth)
    return [*pulleys, (at, radius, -1)]


def layouts() -> list[list[Pulley]]:
    draw = np.random.default_rng(20)
    found: list[list[Pulley]] = []
    for index in range(1000):
        pulleys = convex_hull(draw, int(draw.integers(2, 6)))
        if index % 3 == 1:
            pulleys = with_one_outside(pulleys, draw)
        elif index % 10 == 2:
            (a, ra, _), (b, rb, _) = pulleys[:2]
            pulleys = [(a, ra, 1), (b, rb, -1)]  # crossed between two
        found.append(pulleys)
    return found


def test_a_thousand_belts_walked_point_by_point() -> None:
    """Oracle: tangents found by bisection, arcs from the points where the belt leaves and meets each pulley."""
    crossed = backs = 0
    for pulleys in layouts():
        path = belt_path(
            [(c.real, c.imag) for c, _, _ in pulleys], [r for _, r, _ in pulleys], [s for *_, s in pulleys]
        )
        assert float(path.length_m) == pytest.approx(walked(pulleys), rel=1e-9)
        backs += any(side < 0 for *_, side in pulleys)
        crossed += len(pulleys) == 2 and pulleys[1][2] < 0
    assert crossed > 50
    assert backs - crossed > 300


def support(pulleys: list[Pulley], points: int) -> float:
    """The loop round the outside as the integral of its support function: the farthest circle in every direction."""
    angles = np.linspace(0, 2 * math.pi, points, endpoint=False)
    reach = [c.real * np.cos(angles) + c.imag * np.sin(angles) + r for c, r, _ in pulleys]
    tallest: NDArray[np.float64] = np.max(reach, axis=0)
    return float(np.sum(tallest)) * 2 * math.pi / points


def test_outside_belts_by_the_support_function() -> None:
    """Cauchy: the perimeter of a convex loop is the integral of its support function; here good to 1e-7."""
    draw = np.random.default_rng(21)
    for _ in range(100):
        pulleys = convex_hull(draw, int(draw.integers(2, 6)))
        path = belt_path([(c.real, c.imag) for c, _, _ in pulleys], [r for _, r, _ in pulleys], [1] * len(pulleys))
        assert float(path.length_m) == pytest.approx(support(pulleys, 20_000), rel=1e-6)


# --- rates by surface speeds ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_all_pulleys_of_a_belt_carry_it_at_one_speed(machine_id: str) -> None:
    """Oracle: a belt that does not slip has one speed; pi (d + t) n walked round the loop."""
    machine = shipped(machine_id)
    table = columns(all_sizes(machine), exact=True)
    for mode in machine.modes:
        turning = rates(machine, mode)
        for step in steps(machine, mode):
            belt = machine.couplings[step.coupling]
            if belt.kind != "belt" or not all(name in turning for name in belt.path):
                continue
            thick = float(table[f"{belt.name}.thickness"][0])
            speeds = [
                math.pi * (float(running_diameter(machine, name, table)[0]) + thick) * turning[name].turns_per_s.value
                for name in belt.path
            ]
            assert speeds == pytest.approx([speeds[0]] * len(speeds), rel=1e-9)
            assert len(sides_of(belt)) == len(belt.path)


# --- power at every shaft ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", shipped_ids())
@pytest.mark.parametrize("mode", ["play", "rewind", "fast_forward"])
def test_what_enters_a_shaft_leaves_it_or_is_rubbed_away(machine_id: str, mode: str) -> None:
    """Power balance: what a coupling takes from its driver arrives at the driven, but for what is known to be lost.

    At each driven shaft: power in = its own friction and work + what its couplings take onward. Lossless couplings
    pass all of it, a worm its efficiency, a nip keeps what pulls the tape, and a slipping clutch burns the rest.
    """
    machine = shipped(machine_id)
    at = machine.modes[mode]
    table = columns(force_sizes(machine), exact=True)
    at_work = steps(machine, mode)
    asked = asked_of_steps(machine, at, at_work, table)
    checked = 0
    for step in at_work:
        coupling = machine.couplings[step.coupling]
        ratio = abs(float(turns_ratio(machine, step, table)[0]))
        given = float(asked[step][0])  # for one turn a second of the driver, over 2 pi
        owner = shaft(machine, step.driven)
        leaves = float(np.ravel(asked_of_shaft(machine, at, owner, table))[0])
        for other in at_work:
            if other is not step and shaft(machine, other.driver) == owner:
                leaves += float(np.ravel(load_on(machine, other, asked, table))[0])
        kept = 0.0
        if coupling.kind == "nip" and at.at_capstan:
            radius = float(running_diameter(machine, step.driver, table)[0]) / 2
            kept = float(np.ravel(tape_tension(machine, at, table))[0]) * radius
        share = float(table[f"{coupling.name}.efficiency"][0]) if coupling.kind == "worm" else 1.0
        assert (given - kept) * share == pytest.approx(leaves * ratio, rel=1e-12)
        checked += 1
    assert checked == len(at_work)
