"""Where the steps of a chain stand on a drawing of the mechanism: numbers at the parts, words beside them."""

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.show import glyphs, tape_glyphs
from tapewright.show.labels import Box, Ground, Placed, Point, Wanted, place
from tapewright.show.names_drawn import LETTERS_OF_WIDTH, MARGIN_MM
from tapewright.show.routes import middle_of_longest_span, points_of
from tapewright.show.scene import Scene, TapeWay, acts_on, boxed, head_base_box, outlines
from tapewright.words.findings import Link

WIDEST: Final = 30
"""Letters on one line of a step."""
BADGE: Final = 0.85
"""Radius of a number's ring, in font sizes."""
CLEAR_OF_IT: Final = 3
"""How much more it costs to write over a part of the chain than over a faint one."""
BOW: Final = 0.16
"""How far an arrow bends aside, as a share of its length."""


@dataclass(frozen=True, slots=True)
class Station:
    """A step in its place.

    Arguments:
        number: counted from 1.
        link: what happens.
        at: where on the mechanism; None for what has no place of its own there.
    """

    number: int
    link: Link
    at: Point | None


def place_of(seen: Scene, way: TapeWay | None, link: Link) -> Point | None:
    """Give the place of a step on the mechanism; None for what has none there.

    Arguments:
        seen: the drawing.
        way: of its tape.
        link: the step.
    """
    machine, name = seen.machine, link.part
    if name in machine.rotors:
        (x, y), far = seen.axis(name), seen.body(name)
        return (x - 0.5 * far, y + 0.3 * far) if far > 6.0 else (x, y)
    if name in machine.couplings:
        coupling = machine.couplings[name]
        return middle_of_longest_span(seen.belts[name]) if coupling.kind == "belt" else glyphs.middle(seen, coupling)
    if way is None:
        return None
    if name == machine.head_base.name:
        left, bottom, right, top = head_base_box(seen, way)
        return left + (0.75 if link.about == "head_base" else 0.25) * (right - left), (bottom + top) / 2
    if name == machine.heads.name:
        return tape_glyphs.play_head(seen, way)
    if name == "tape":
        return _on_the_tape(seen, way, link.about)
    return None


def _on_the_tape(seen: Scene, way: TapeWay, about: str) -> Point:
    """Give a place on the tape: before the reel that takes it up for what happens there, else before the heads."""
    taking = seen.machine.modes[seen.mode].takes_up
    side = 1 if not taking or seen.axis(taking)[0] >= way.head[0] else -1
    at_reel = about in ("loop", "pack")
    return way.head[0] + side * (0.78 if at_reel else -0.62) * (way.guides[1][0] - way.head[0]), way.head[1]


def placed_steps(
    seen: Scene, way: TapeWay | None, stations: Sequence[Station]
) -> tuple[Mapping[int, Placed], Mapping[int, Point], float, Box]:
    """Place the words of the steps and their numbers; letters grow with the picture.

    Arguments:
        seen: the drawing.
        way: of its tape.
        stations: the steps, the fault first.

    Returns:
        The words and the middle of the number of each step, by number; the size of the letters; the box of it all.
    """
    outline = np.array([*outlines(seen), *glyphs.marks(seen)], dtype=np.float64)
    low, high = outline.min(axis=0), outline.max(axis=0)
    around: Box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    on_it = [p for name in {one.link.part for one in stations} for p in _outline_of(seen, way, name)]
    font = LETTERS_OF_WIDTH * (around[2] - around[0]) * 1.15
    for rounds in (1, 1, 2):
        badges = _badges(stations, BADGE * font)
        busy = [*CLEAR_OF_IT * on_it, *(p for at in badges.values() for p in _dots(at, BADGE * font))]
        busy += [p for k in badges if k + 1 in badges for p in _bent(badges[k], badges[k + 1])]
        ground = Ground(np.vstack([outline, np.array(busy or [around[:2]])]), (), around)
        wanted = [_wanted(seen, way, one, badges, around, font) for one in stations]
        placed = place(wanted, ground, font, rounds)
        box = _bounds(around, placed, font)
        font = LETTERS_OF_WIDTH * (box[2] - box[0])
    by_number = {one.number: found for one, found in zip(stations, placed, strict=True)}
    middle = (around[0] + around[2]) / 2
    for one in stations:
        if one.number not in badges:  # what has no place on the mechanism carries its number at its words
            left, bottom, right, top = by_number[one.number].box
            away = 1.15 * BADGE * font
            badges[one.number] = (right + away if left + right < 2 * middle else left - away), (bottom + top) / 2
    return by_number, badges, font, box


def _outline_of(seen: Scene, way: TapeWay | None, name: str) -> list[Point]:
    """Sample what is drawn at full strength, for the words to keep clear of."""
    if name in seen.machine.rotors:
        (x, y), far = seen.axis(name), seen.body(name) + 1.0
        turns = np.linspace(0.0, 2 * np.pi, max(8, round(4 * far)), endpoint=False)
        return [(x + far * math.cos(t), y + far * math.sin(t)) for t in turns]
    if name in seen.belts:
        return points_of(seen.belts[name], 1.5)
    if name == "tape" and way is not None:
        pairs = zip(way.points, way.points[1:], strict=False)
        return [(float(x), float(y)) for here, there in pairs for x, y in np.linspace(here, there, 30)]
    return []


def _bent(start: Point, end: Point) -> list[Point]:
    """Sample the way of an arrow."""
    bend, shares = bends_towards(start, end), np.linspace(0.0, 1.0, 24)
    return [tuple((1 - t) ** 2 * start[i] + 2 * t * (1 - t) * bend[i] + t * t * end[i] for i in (0, 1)) for t in shares]


def _wanted(
    seen: Scene, way: TapeWay | None, one: Station, badges: Mapping[int, Point], around: Box, font: float
) -> Wanted:
    lines = _balanced(f"{one.number}\u2002{one.link.says[:1].upper()}{one.link.says[1:]}")
    if one.number in badges:
        return Wanted(str(one.number), lines, badges[one.number], 1.3 * BADGE * font)
    target = (
        acts_on(seen.machine, one.link.part)
        if one.link.part in boxed(seen.machine, (*seen.suspects, seen.fault))
        else ""
    )
    near = place_of(seen, way, Link(target, "head_base", "")) if target else None
    return Wanted(str(one.number), lines, near or (around[0], around[3]), 4.0, framed=True, pointed=False)


def _balanced(says: str) -> tuple[str, ...]:
    """Break words into as few lines as fit, all about as long."""
    fewest = len(textwrap.wrap(says, WIDEST))
    return next(
        tuple(lines)
        for width in range(max(8, len(says) // fewest), WIDEST + 1)
        if len(lines := textwrap.wrap(says, width)) <= fewest
    )


def _badges(stations: Iterable[Station], radius: float) -> dict[int, Point]:
    """Set each number at its place, or as near to it as the earlier ones leave room."""
    found: dict[int, Point] = {}
    for one in stations:
        if one.at is not None:
            x, y = one.at
            places = [(x, y)] + [
                (x + far * radius * math.cos(t), y + far * radius * math.sin(t))
                for far in (1.2, 2.0, 2.8, 3.6)
                for t in np.linspace(0.0, 2 * np.pi, 16, endpoint=False)
            ]
            free = (at for at in places if all(math.dist(at, other) > 2.5 * radius for other in found.values()))
            found[one.number] = next(free, (x, y))
    return found


def _dots(at: Point, radius: float) -> list[Point]:
    return [
        (at[0] + far * radius * math.cos(t), at[1] + far * radius * math.sin(t))
        for far in (0.0, 0.6, 1.1)
        for t in np.linspace(0.0, 2 * np.pi, 10, endpoint=False)
    ]


def _bounds(around: Box, placed: Iterable[Placed], font: float) -> Box:
    boxes = [around, *(one.box for one in placed)]
    side = MARGIN_MM + 2 * BADGE * font
    return (
        min(box[0] for box in boxes) - side,
        min(box[1] for box in boxes) - MARGIN_MM,
        max(box[2] for box in boxes) + MARGIN_MM,
        max(box[3] for box in boxes) + MARGIN_MM,
    )


def bends_towards(start: Point, end: Point) -> Point:
    """Give the point that an arrow bends towards."""
    (x1, y1), (x2, y2) = start, end
    return (x1 + x2) / 2 - BOW * (y2 - y1), (y1 + y2) / 2 + BOW * (x2 - x1)
