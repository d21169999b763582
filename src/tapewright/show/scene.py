"""What a drawing of a mechanism is made from: where things stand, how they turn, who is suspected."""

import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.machine.belt_path import sides_of
from tapewright.machine.couplings import active
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import HOLDING_KINDS, Coupling, Machine, nips_at_work, part_names, shaft
from tapewright.machine.rates import Rate, rates
from tapewright.show.routes import Arc, points_of, route
from tapewright.show.standing import Point, Standing, body_radius_mm, standing
from tapewright.show.turning import turning

Points = NDArray[np.float64]
STEP_MM = 1.5
"""Outlines are sampled this finely for the names to keep clear of."""
ARROW_AT = 0.66
"""Where the arrow of a turning wheel stands, in radii."""
HEAD_BASE_DROP_MM = {"up": 0.0, "half": 1.5, "down": 3.0}
"""How far a head base is drawn from where it touches the tape."""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Everything the pieces of a drawing are drawn from; millimetres, y up.

    Arguments:
        machine: as described.
        mode: its name.
        where: where the shafts stand.
        ways: which way they turn.
        rates: how fast, by name; empty when they are not wanted.
        suspects: share of each suspect, the likeliest first.
        belts: the arcs of every belt.
        working: couplings at work in the mode.
        link: what a part's picture leads to; None for nothing.
        key: tells this picture's ids from another's.
        fault: a part that is shown as out of order without being one of several suspects; empty for none.
    """

    machine: Machine
    mode: str
    where: Standing
    ways: Mapping[str, int]
    rates: Mapping[str, Rate]
    suspects: Mapping[str, float]
    belts: Mapping[str, tuple[Arc, ...]]
    working: frozenset[str]
    link: Callable[[str], str] | None
    key: str
    fault: str = ""

    def axis(self, rotor: str) -> Point:
        """Give the centre of a rotor."""
        return self.where.axes[shaft(self.machine, rotor)]

    def body(self, rotor: str) -> float:
        """Give the radius of what is drawn of a rotor."""
        return body_radius_mm(self.machine.rotors[rotor], self.where.radii[rotor])

    def suspicion(self, part: str) -> int:
        """Give a suspect's number, 1 for the likeliest; 0 for a part that is none."""
        if part == self.fault:
            return 1
        return list(self.suspects).index(part) + 1 if part in self.suspects else 0


def scene(
    machine: Machine,
    mode: str,
    suspects: Mapping[str, float],
    with_rates: bool,
    link: Callable[[str], str] | None,
) -> Scene:
    """Gather what a drawing is made from."""
    where = standing(machine)
    ranked = dict(sorted(suspects.items(), key=lambda pair: -pair[1]))
    told = f"{machine.id} {mode} {list(ranked)}".encode()
    return Scene(
        machine=machine,
        mode=mode,
        where=where,
        ways=turning(machine, mode, where),
        rates=rates(machine, mode) if with_rates else {},
        suspects=ranked,
        belts={c.name: belt_route(machine, c, where) for c in machine.couplings.values() if c.kind == "belt"},
        working=_working(machine, mode),
        link=link,
        key="m" + hashlib.sha256(told).hexdigest()[:8],
    )


def _working(machine: Machine, mode: str) -> frozenset[str]:
    """Name the couplings that pass motion in a mode, and the drags and brakes that hold something in it."""
    at = machine.modes[mode]
    holding = (c for c in machine.couplings.values() if c.kind in HOLDING_KINDS)
    held = (c.name for c in holding if not c.switched or c.name in at.engaged)
    return frozenset((*(c.name for c in active(machine, at)), *held))


def boxed(machine: Machine, wanted: Collection[str] = ()) -> tuple[str, ...]:
    """Name the parts that are drawn as a box with their name: sensors, solenoids, levers, the supply.

    Arguments:
        machine: as described.
        wanted: parts that are shown in any event; boards and lid stand beside the mechanism and are shown only then.
    """
    drawn = {*machine.rotors, *machine.couplings, machine.head_base.name}
    drawn |= {machine.electronics.name, machine.control_board.name, machine.lid.name} - set(wanted)
    return tuple(name for name in part_names(machine) if name not in drawn)


def acts_on(machine: Machine, name: str) -> str:
    """Name the part that a boxed one watches or moves; empty where the description names none."""
    if name in machine.sensors:
        return machine.sensors[name].senses
    if name == machine.head_base.lifted_by or name in machine.head_base.through:
        return machine.head_base.name
    return next((c.name for c in machine.couplings.values() if name == c.by or name in c.through), "")


def belt_route(machine: Machine, belt: Coupling, where: Standing) -> tuple[Arc, ...]:
    """Give the arcs of one belt."""
    centres = [where.axes[shaft(machine, name)] for name in belt.path]
    return route(centres, [where.radii[name] for name in belt.path], sides_of(belt))


# --- the tape ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TapeWay:
    """The way of the tape, schematically.

    Arguments:
        reels: centres of the two packs.
        pack: their radius in the middle of a side.
        points: where it leaves one pack, goes round two guides, and meets the other.
        guides: the two guides, at the corners of a cassette.
        head: where it passes the head.
        up: +1 when the head base lies above the tape, -1 below.
    """

    reels: tuple[Point, Point]
    pack: float
    points: tuple[Point, ...]
    guides: tuple[Point, Point]
    head: Point
    up: int


def tape_way(scene: Scene) -> TapeWay | None:
    """Follow the tape from the giving reel past the head and the capstan; None for a machine without reels."""
    machine = scene.machine
    moving = machine.modes[scene.mode]
    if not moving.takes_up:
        moving = next((mode for mode in machine.modes.values() if mode.takes_up and mode.gives), moving)
    if not (moving.takes_up and moving.gives):
        return None
    left, right = sorted((scene.axis(moving.gives), scene.axis(moving.takes_up)))
    pack = 1e3 * float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))
    line, up = _tape_line(scene, min(left[1], right[1]) - pack)
    guides = (left[0] - 0.85 * pack, line), (right[0] + 0.85 * pack, line)
    points = (_tangent(left, pack, guides[0], -1), guides[0], guides[1], _tangent(right, pack, guides[1], 1))
    return TapeWay((left, right), pack, points, guides, ((left[0] + right[0]) / 2, line), up)


def _tape_line(scene: Scene, otherwise: float) -> tuple[float, int]:
    """Give the height at which the tape passes the nip, and the side of the roller and the head base."""
    nips = [coupling for coupling in scene.machine.couplings.values() if coupling.kind == "nip"]
    if not nips:
        return otherwise - 8.0, -1
    nip = next(iter([*nips_at_work(scene.machine, scene.machine.modes[scene.mode]), *nips]))
    ends = sorted(nip.path, key=lambda name: scene.machine.rotors[name].kind != "capstan")
    capstan, roller = scene.axis(ends[0]), scene.axis(ends[-1])
    up = 1 if roller[1] > capstan[1] else -1
    return capstan[1] + up * scene.where.radii[ends[0]], up


def _tangent(centre: Point, radius: float, at: Point, side: int) -> Point:
    """Give where a line from a point touches a circle, on the outer side (-1 left, +1 right)."""
    dx, dy = at[0] - centre[0], at[1] - centre[1]
    far = float(np.hypot(dx, dy))
    if far <= radius:
        return centre[0] + side * radius, centre[1]
    turn = side * np.arccos(radius / far)
    angle = np.arctan2(dy, dx) + turn
    return centre[0] + radius * float(np.cos(angle)), centre[1] + radius * float(np.sin(angle))


def head_base_box(scene: Scene, way: TapeWay) -> tuple[float, float, float, float]:
    """Give left, bottom, right, top of the head base's plate."""
    rollers = [name for name in scene.machine.head_base.carries if name in scene.machine.rotors]
    reach = [way.head[0] + side * 13.0 for side in (-1, 1)] + [scene.axis(name)[0] for name in rollers]
    near = way.head[1] + way.up * (5.0 + HEAD_BASE_DROP_MM[scene.machine.modes[scene.mode].head_base])
    far = near + way.up * 6.0
    return min(reach) - 2.0, min(near, far), max(reach) + 2.0, max(near, far)


# --- outlines ---------------------------------------------------------------------------------------------------------


def outlines(scene: Scene) -> Points:
    """Sample everything that is drawn, shape (n, 2)."""
    found: list[Point] = []
    for name in scene.machine.rotors:
        found += _ring(scene.axis(name), scene.body(name))
    for arcs in scene.belts.values():
        found += points_of(arcs, STEP_MM)
    for owner in scene.ways:
        radius = max(scene.body(name) for name in scene.machine.rotors if shaft(scene.machine, name) == owner)
        found += _arrow_points(scene.where.axes[owner], ARROW_AT * radius)
    way = tape_way(scene)
    if way is not None:
        for here, there in zip(way.points, way.points[1:], strict=False):
            found += [tuple(p) for p in np.linspace(here, there, 30)]
        left, bottom, right, top = head_base_box(scene, way)
        found += [(x, y) for x in np.linspace(left, right, 16) for y in np.linspace(bottom, top, 4)]
    return np.array(found, dtype=np.float64)


def _arrow_points(centre: Point, radius: float) -> list[Point]:
    turns = np.linspace(np.pi / 4, 3 * np.pi / 4, 7)
    return [(centre[0] + radius * float(np.cos(t)), centre[1] + radius * float(np.sin(t))) for t in turns]


def _ring(centre: Point, radius: float) -> list[Point]:
    count = max(8, round(2 * np.pi * radius / STEP_MM))
    turns = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    inner = [centre] if radius > 2.0 else []
    return inner + [(centre[0] + radius * float(np.cos(t)), centre[1] + radius * float(np.sin(t))) for t in turns]
