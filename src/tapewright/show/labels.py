"""Where the names go: near what they name, clear of each other and, as far as there is room, of the lines.

Each name in turn tries places on rings around its anchor and takes the cheapest; then each has another try, now that
the others stand. A place that touches another name is never taken; one that covers lines, crosses another name's leader
or widens the picture costs.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
Points = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top; y up."""

LETTER: Final = 0.56
"""Mean width of a letter of a plain face, in font sizes; a little generous, so that boxes err on the large side."""
LINE: Final = 1.22
"""From one line of text to the next, in font sizes."""
ROUNDS: Final = 3
RINGS: Final = 26
DIRECTIONS: Final = 32
COVERS: Final = 1.5
"""Cost of one covered outline point, in font sizes of distance."""
CROSSES: Final = 0.5
"""The same of one outline point that a leader runs over."""
THROUGH: Final = 20.0
"""Cost of a leader that runs through another name or across another leader, in font sizes."""
STRAYS: Final = 14.0
"""Cost of a name that stands inside something else, in font sizes."""
ROOMY: Final = 2.6
"""A thing that reaches this many font sizes may hold its own name."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A name that wants a place.

    Arguments:
        key: what it names.
        lines: its lines of text.
        anchor: what its leader points at.
        reach: how far from the anchor the thing itself extends.
        framed: whether a box is drawn around it.
        pointed: whether it has a leader at all.
    """

    key: str
    lines: tuple[str, ...]
    anchor: Point
    reach: float
    framed: bool = False
    pointed: bool = True


@dataclass(frozen=True, slots=True)
class Placed:
    """A name in its place; `leader` ends at the anchor's rim, None when the name stands right at it."""

    wanted: Wanted
    box: Box
    leader: tuple[Point, Point] | None


@dataclass(frozen=True, slots=True)
class Disc:
    """Something round that a name could be taken to belong to when it stands inside it."""

    keys: frozenset[str]
    centre: Point
    radius: float


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What is drawn already.

    Arguments:
        points: on every outline, shape (n, 2), y up.
        discs: what is round.
        limits: the box all of it fills; going beyond costs.
    """

    points: Points
    discs: tuple[Disc, ...]
    limits: Box


def place(wanted: Sequence[Wanted], ground: Ground, font: float, rounds: int = ROUNDS) -> list[Placed]:
    """Find a place for every name.

    Arguments:
        wanted: most important first.
        ground: what is drawn already.
        font: size of the letters.
        rounds: how often each name is given a try.
    """
    placed: dict[str, Placed] = {}
    for _ in range(rounds):
        for one in wanted:
            others = [other for key, other in placed.items() if key != one.key]
            placed[one.key] = _best(one, others, _with(ground, others, font), font)
    return [placed[one.key] for one in wanted]


def _with(ground: Ground, placed: Sequence[Placed], font: float) -> Ground:
    """Add what was placed to what is drawn."""
    leaders = [_along(*one.leader, font / 2) for one in placed if one.leader is not None]
    limits = ground.limits
    for one in placed:
        limits = _around(limits, one.box)
    return Ground(np.vstack([ground.points, *leaders]), ground.discs, limits)


def size_of(one: Wanted, font: float) -> tuple[float, float]:
    """Give width and height of a name's box."""
    pad = 0.9 * font if one.framed else 0.3 * font
    return max(map(len, one.lines)) * LETTER * font + pad, len(one.lines) * LINE * font + pad


def _best(one: Wanted, placed: Sequence[Placed], ground: Ground, font: float) -> Placed:
    width, height = size_of(one, font)
    start = 0.15 * one.reach if one.reach > ROOMY * font else one.reach
    boxes, far = _candidates(one, start, width, height, font)
    free = _free(boxes, placed, (0.85 if one.framed else 0.25) * font)
    boxes, far = boxes[free], far[free]
    if not len(boxes):  # every ring is full: below everything there is always room
        low = min([ground.limits[1], *(other.box[1] for other in placed)]) - font
        box = (one.anchor[0] - width / 2, low - height, one.anchor[0] + width / 2, low)
        return Placed(one, box, _leader(one, box, font))
    costs = far - start + _costs(one, boxes, ground, font) + _covering_costs(one, boxes, placed, ground.points, font)
    best: tuple[float, Placed] | None = None
    for k in np.argsort(costs, kind="stable"):
        if best is not None and costs[k] >= best[0]:
            break  # a leader can only add
        left, bottom, right, top = (float(edge) for edge in boxes[k])
        found = Placed(one, (left, bottom, right, top), _leader(one, (left, bottom, right, top), font))
        total = float(costs[k]) + _leader_cost(found, placed, ground.points, font)
        if best is None or total < best[0]:
            best = total, found
    assert best is not None
    return best[1]


def _candidates(one: Wanted, start: float, width: float, height: float, font: float) -> tuple[Points, Points]:
    """Give boxes whose near edges lie on rings around the anchor, shape (n, 4), and the radii of the rings."""
    far = np.repeat(start + font * (0.3 + 0.6 * np.arange(RINGS)), DIRECTIONS)
    turns = np.tile(2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS, RINGS)
    dx, dy = np.cos(turns), np.sin(turns)
    x = one.anchor[0] + far * dx + np.clip(1.4 * dx, -1.0, 1.0) * width / 2
    y = one.anchor[1] + far * dy + np.clip(1.4 * dy, -1.0, 1.0) * height / 2
    return np.stack([x - width / 2, y - height / 2, x + width / 2, y + height / 2], axis=1), far


def _free(boxes: Points, placed: Sequence[Placed], gap: float) -> NDArray[np.bool_]:
    free = np.ones(len(boxes), dtype=np.bool_)
    for other in placed:
        left, bottom, right, top = other.box
        apart = np.max([boxes[:, 0] - right, left - boxes[:, 2], boxes[:, 1] - top, bottom - boxes[:, 3]], axis=0)
        free &= apart >= gap
    return free


def _costs(one: Wanted, boxes: Points, ground: Ground, font: float) -> Points:
    """Give what each box costs by how it widens the picture, and by what it seems to name."""
    low_x, low_y, high_x, high_y = ground.limits
    wider = np.maximum(low_x - boxes[:, 0], 0.0) + np.maximum(boxes[:, 2] - high_x, 0.0)
    taller = np.maximum(low_y - boxes[:, 1], 0.0) + np.maximum(boxes[:, 3] - high_y, 0.0)
    cost = 5.0 * wider + 0.6 * taller
    for disc in ground.discs:
        if one.key not in disc.keys:
            near_x = np.clip(disc.centre[0], boxes[:, 0], boxes[:, 2])
            near_y = np.clip(disc.centre[1], boxes[:, 1], boxes[:, 3])
            away = np.hypot(near_x - disc.centre[0], near_y - disc.centre[1])
            cost = cost + STRAYS * font * np.maximum(0.0, 1.0 - away / disc.radius)
    return np.asarray(cost, dtype=np.float64)


def _covering_costs(one: Wanted, boxes: Points, placed: Sequence[Placed], points: Points, font: float) -> Points:
    """Give what each box costs by the lines and the leaders it stands on."""
    covers = 3 * COVERS if one.framed else COVERS  # a frame hides what is behind it
    cost = covers * font * np.count_nonzero(_inside(boxes, points), axis=1) ** 0.8
    for other in placed:
        if other.leader is not None:
            cost = cost + THROUGH * font * _inside(boxes, _along(*other.leader, font / 3)).any(axis=1)
    return np.asarray(cost, dtype=np.float64)


def _inside(boxes: Points, points: Points) -> NDArray[np.bool_]:
    """Tell for each box which points lie in it, shape (boxes, points)."""
    left, bottom, right, top = (boxes[:, k, None] for k in range(4))
    x, y = points[:, 0], points[:, 1]
    return np.asarray((x > left) & (x < right) & (y > bottom) & (y < top), dtype=np.bool_)


def _leader_cost(found: Placed, placed: Sequence[Placed], points: Points, font: float) -> float:
    if found.leader is None:
        return 0.0
    line = _along(*found.leader, font / 3)
    cost = CROSSES * font * _run_over(line, points, font / 3)
    if placed:
        boxes = np.array([other.box for other in placed], dtype=np.float64)
        cost += THROUGH * font * np.count_nonzero(_inside(boxes, line).any(axis=1))
    for other in placed:
        if other.leader is not None:
            cost += THROUGH * font * _cross(found.leader, other.leader)
    return cost


def _cross(one: tuple[Point, Point], other: tuple[Point, Point]) -> bool:
    """Tell whether two lines cross: the ends of each lie on both sides of the other."""
    return all(_side(*line, across[0]) * _side(*line, across[1]) < 0.0 for line, across in ((one, other), (other, one)))


def _side(first: Point, last: Point, at: Point) -> float:
    return (last[0] - first[0]) * (at[1] - first[1]) - (last[1] - first[1]) * (at[0] - first[0])


def _run_over(line: Points, points: Points, near: float) -> int:
    """Count the outline points that a leader passes close by, its own end left out."""
    inner = line[: max(1, len(line) - 3)]
    low, high = line.min(axis=0) - near, line.max(axis=0) + near
    close = points[np.all((points > low) & (points < high), axis=1)]
    if not len(close):
        return 0
    apart = np.hypot(close[:, None, 0] - inner[None, :, 0], close[:, None, 1] - inner[None, :, 1])
    return int(np.count_nonzero(apart.min(axis=1) < near))


def _leader(one: Wanted, box: Box, font: float) -> tuple[Point, Point] | None:
    """Join a name to the rim of what it names, unless it stands beside it."""
    near = min(max(one.anchor[0], box[0]), box[2]), min(max(one.anchor[1], box[1]), box[3])
    away = math.dist(near, one.anchor)
    if not one.pointed:
        return None
    if away < one.reach + 0.55 * font and not one.framed:
        return None
    share = min(1.0, max(one.reach * 0.8, 0.0) / away) if away > 0 else 1.0
    rim = one.anchor[0] + (near[0] - one.anchor[0]) * share, one.anchor[1] + (near[1] - one.anchor[1]) * share
    return near, rim


def _along(first: Point, last: Point, step: float) -> Points:
    count = max(2, math.ceil(math.dist(first, last) / step))
    return np.linspace(first, last, count, dtype=np.float64)


def _around(box: Box, other: Box) -> Box:
    return min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]), max(box[3], other[3])
