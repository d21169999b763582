"""Where every shaft stands in the picture: as measured, or in a place found for it along the drives.

A cassette fixes where the reel tables and the capstan stand, whatever the machine; everything else is set beside what
it is coupled to, clear of what stands there already. Millimetres, y up, seen from the cassette side.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from tapewright.machine.belt_path import sides_of
from tapewright.machine.parts import Coupling, Machine, Rotor, shaft
from tapewright.machine.typical import diameter
from tapewright.show.routes import route

Point = tuple[float, float]

REELS: Final[tuple[Point, Point]] = ((21.25, 20.0), (-21.25, 20.0))
"""Take-up and supply: the hubs of a compact cassette stand 42.5 mm apart, from memory."""
CAPSTANS: Final[tuple[tuple[Point, ...], ...]] = (((12.0, -14.0),), ((27.0, -14.0), (-27.0, -14.0)))
"""One capstan, or two; chosen for the picture."""
CAM: Final[Point] = (-34.0, -24.0)
"""Beside the head base that it lifts; chosen for the picture."""
MOTOR_BODY_MM: Final = 12.0
CAM_MM: Final = 6.5
"""Radii drawn for bodies that no size in a description is about."""
CLEAR_MM: Final = 4.0
TWISTED: Final = 1000.0
"""Cost of a place from which a belt would cross itself, against millimetres squared out of a wished place."""
LEAST_WRAP: Final = 1.0
"""A belt had better lie on a pulley for this angle, radians; chosen for the picture."""
KEPT_FREE: Final = ((-37.0, -14.0, 4.0), (37.0, -14.0, 4.0), (-37.0, 4.0, 4.0), (37.0, 4.0, 4.0), (0.0, -20.0, 12.0))
"""Where the tape and the head base are: x, y and how far around, for what goes anywhere."""
DIRECTIONS: Final = 48


@dataclass(frozen=True, slots=True)
class Standing:
    """Where things stand.

    Arguments:
        axes: centre of every shaft, by the rotor that owns it, millimetres, y up.
        radii: radius to draw for every rotor, millimetres.
        described: rotors whose radius is described; the others are drawn in a usual size.
        measured: True when every position is.
    """

    axes: Mapping[str, Point]
    radii: Mapping[str, float]
    described: frozenset[str]
    measured: bool


def standing(machine: Machine) -> Standing:
    """Find where every shaft of a machine stands, and how large every rotor is drawn."""
    owners = list(dict.fromkeys(shaft(machine, name) for name in machine.rotors))
    axes = {name: at for name in owners if (at := _described(machine, name)) is not None}
    measured = len(axes) == len(owners)
    radii = {name: running_radius_mm(machine, name) for name in machine.rotors}
    if not measured:
        sizes = {name: _room(machine, name, radii) for name in owners}
        _by_the_cassette(machine, axes)
        _along_the_drives(machine, owners, axes, sizes)
    described = frozenset(name for name, rotor in machine.rotors.items() if rotor.diameter is not None)
    return Standing(axes, radii, described, measured)


def running_radius_mm(machine: Machine, rotor: str) -> float:
    """Give the radius a belt or tyre meets at a rotor, residue and wear included, millimetres."""
    return diameter(machine, rotor).value * machine.rotors[rotor].imperfections.rate * 500.0


def body_radius_mm(rotor: Rotor, running_mm: float) -> float:
    """Give the radius of what is seen of a rotor, which for a motor or a bare cam is a symbol."""
    if rotor.kind == "motor":
        return max(MOTOR_BODY_MM, running_mm * 1.2)
    return CAM_MM if rotor.kind == "cam" and rotor.diameter is None else running_mm


def _described(machine: Machine, owner: str) -> Point | None:
    """Give the position of a shaft: of its owner, or of any rotor that sits on it."""
    for name, rotor in machine.rotors.items():
        if rotor.position_m is not None and shaft(machine, name) == owner:
            return rotor.position_m[0] * 1e3, rotor.position_m[1] * 1e3
    return None


def _room(machine: Machine, owner: str, radii: Mapping[str, float]) -> float:
    riders = [name for name in machine.rotors if shaft(machine, name) == owner]
    return max(body_radius_mm(machine.rotors[name], radii[name]) for name in riders)


def _by_the_cassette(machine: Machine, axes: dict[str, Point]) -> None:
    """Set the reel tables and capstans where a cassette has them, and a cam beside the head base it lifts."""
    play = next((mode for mode in machine.modes.values() if mode.takes_up and mode.gives), None)
    if play is not None:
        for reel, at in zip((play.takes_up, play.gives), REELS, strict=True):
            axes.setdefault(shaft(machine, reel), at)
    capstans = [shaft(machine, name) for name, rotor in machine.rotors.items() if rotor.kind == "capstan"]
    for owner, at in zip(capstans, CAPSTANS[min(len(capstans), 2) - 1] if capstans else (), strict=False):
        axes.setdefault(owner, at)
    if machine.head_base.lifted_by in machine.rotors:
        axes.setdefault(shaft(machine, machine.head_base.lifted_by), CAM)


def _along_the_drives(
    machine: Machine, owners: Iterable[str], axes: dict[str, Point], sizes: Mapping[str, float]
) -> None:
    waiting = [name for name in owners if name not in axes]
    while waiting:
        wishes = {name: _wishes(machine, name, axes, sizes) for name in waiting}
        name = max(waiting, key=lambda one: (len(wishes[one]), -waiting.index(one)))
        axes[name] = _best_place(machine, name, wishes[name], axes, sizes)
        waiting.remove(name)


def _wishes(
    machine: Machine, owner: str, axes: Mapping[str, Point], sizes: Mapping[str, float]
) -> list[tuple[str, float]]:
    """Give the shafts a shaft is coupled to that stand already, with the distance it would like from each."""
    found = []
    for coupling in machine.couplings.values():
        ends = {shaft(machine, name): name for name in coupling.path}
        if owner in ends:
            found += [
                (other, _apart(machine, coupling, (ends[owner], name), (sizes[owner], sizes[other])))
                for other, name in ends.items()
                if other != owner and other in axes
            ]
    return found


def _apart(machine: Machine, coupling: Coupling, ends: tuple[str, str], sizes: tuple[float, float]) -> float:
    """Give how far apart the shafts of a coupling are drawn."""
    if coupling.kind == "clutch":
        return 0.0
    touching = sum(running_radius_mm(machine, name) for name in ends)
    if coupling.inside:
        return max(abs(running_radius_mm(machine, ends[0]) - running_radius_mm(machine, ends[1])), CLEAR_MM)
    if coupling.kind in ("tyre", "gear", "nip"):
        return touching + (1.5 if coupling.switched and coupling.kind != "nip" else 0.0)
    return max(sum(sizes) + (CLEAR_MM if coupling.kind == "worm" else 3 * CLEAR_MM), touching + CLEAR_MM)


def _best_place(
    machine: Machine,
    owner: str,
    wishes: list[tuple[str, float]],
    axes: Mapping[str, Point],
    sizes: Mapping[str, float],
) -> Point:
    for other, wanted in wishes:
        if wanted == 0.0:  # the two faces of a clutch share an axis
            return axes[other]
    joined = {other for other, _ in wishes}
    kinds = {rotor.kind for name, rotor in machine.rotors.items() if shaft(machine, name) == owner}
    belts = [c for c in machine.couplings.values() if c.kind == "belt" and _is_last_of(machine, c, owner, axes)]

    def cost(at: Point) -> float:
        total: float = 0.004 * (at[0] ** 2 + (at[1] - 5.0) ** 2)
        for other, wanted in wishes:
            total += (math.dist(at, axes[other]) - wanted) ** 2
        for other, there in axes.items():
            if other not in joined:
                total += 3.0 * max(0.0, sizes[owner] + sizes[other] + CLEAR_MM - math.dist(at, there)) ** 2
                total += sum(_in_the_way(at, axes[end], there, sizes[other]) for end in joined)
        total += sum(_badly_led(machine, belt, {**axes, owner: at}) for belt in belts)
        if "pinch_roller" in kinds:  # it rides on the head base, and comes straight from the open side of the cassette
            return total + sum((at[0] - axes[other][0]) ** 2 for other in joined) + max(0.0, at[1] + 16.0) ** 2
        return total + sum(max(0.0, sizes[owner] + far - math.dist(at, (x, y))) ** 2 for x, y, far in KEPT_FREE)

    return min(_places(wishes, axes), key=cost)


def _is_last_of(machine: Machine, belt: Coupling, owner: str, axes: Mapping[str, Point]) -> bool:
    """Tell whether a shaft is the last of a belt's that is still to be placed."""
    return {shaft(machine, name) for name in belt.path} - set(axes) == {owner}


def _badly_led(machine: Machine, belt: Coupling, axes: Mapping[str, Point]) -> float:
    """Give the cost of a belt that crosses itself (it does not turn once, all round), or hardly touches a pulley."""
    centres = [axes[shaft(machine, name)] for name in belt.path]
    arcs = route(centres, [running_radius_mm(machine, name) for name in belt.path], sides_of(belt))
    twisted = abs(abs(sum(arc.sweep for arc in arcs)) - 2 * math.pi) > 0.1
    return TWISTED * (twisted + sum(max(0.0, LEAST_WRAP - abs(arc.sweep)) ** 2 for arc in arcs))


def _in_the_way(first: Point, last: Point, at: Point, radius: float) -> float:
    """Give the cost of a drive that runs across a wheel it has nothing to do with."""
    dx, dy = last[0] - first[0], last[1] - first[1]
    squared = dx * dx + dy * dy
    share = ((at[0] - first[0]) * dx + (at[1] - first[1]) * dy) / squared if squared > 0 else 0.0
    share = min(1.0, max(0.0, share))
    near = math.dist(at, (first[0] + share * dx, first[1] + share * dy))
    return 0.5 * max(0.0, radius + CLEAR_MM - near) ** 2


def _places(wishes: list[tuple[str, float]], axes: Mapping[str, Point]) -> list[Point]:
    turns = [2 * math.pi * k / DIRECTIONS for k in range(DIRECTIONS)]
    around = [(axes[other], wanted * far) for other, wanted in wishes for far in (1.0, 1.25, 1.6)]
    if not wishes:
        around = [((0.0, 5.0), far) for far in range(10, 160, 6)]
    return [(x + far * math.cos(t), y + far * math.sin(t)) for (x, y), far in around for t in turns]
