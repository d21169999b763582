"""The way from a fault to what one notices, drawn on the mechanism: hatched where it starts, numbered step by step.

All but the parts on the way is faint. Numbers, rings and arrows say it without colour; the steps stand in the picture,
and in its description for people who do not see it.
"""

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np

from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.show import glyphs
from tapewright.show.drawing import LETTERS_OF_WIDTH, MARGIN_MM, layers
from tapewright.show.labels import LINE, Ground, Placed, Point, Wanted, place
from tapewright.show.routes import middle_of_longest_span, path_of, points_of
from tapewright.show.scene import Scene, TapeWay, acts_on, boxed, head_base_box, outlines, scene, tape_way
from tapewright.show.svg import INK, MUTED, PAPER, SECOND, SUSPECT, element, number, picture, text
from tapewright.words.findings import Chain, Link
from tapewright.words.problem import InputAtFaultError, Problem

FAINT_SHARE: Final = 0.32
"""Opacity of what has no part in it."""
WIDEST: Final = 30
"""Letters on one line of a step."""
BADGE: Final = 0.85
"""Radius of a number's ring, in font sizes."""
STEPS: Final = "2.6 1.5"
"""Dashes of the arrows from step to step; the band along what follows is whole, and pale."""
BAND: Final[Mapping[str, str | float]] = MappingProxyType(
    {"fill": "none", "stroke": SECOND, "stroke_width": 2.6, "stroke_opacity": 0.42}
)
CLEAR_OF_IT: Final = 3
"""How much more it costs to write over a part of the chain than over a faint one."""
BOW: Final = 0.16
"""How far an arrow bends aside, as a share of its length."""
Box = tuple[float, float, float, float]


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


def chain_drawing(machine: Machine, chain: Chain) -> str:
    """Draw a chain from its fault to its sign as SVG.

    Arguments:
        machine: as described.
        chain: from `diagnose.explain.chains`.

    Raises:
        InputAtFaultError: for a part the machine does not have.

    >>> from tapewright.machine.library import shipped
    >>> links = (Link("capstan_belt", "fault", "the belt is gone"), Link("flywheel", "turns", "nothing drives it"))
    >>> drawn = chain_drawing(shipped("four_track"), Chain("play_capstan_still", "It stands", "play", links))
    >>> drawn.count('class="step"')
    2
    """
    unknown = [
        link.part for link in chain.links if link.part not in ("", "tape") and not glyphs.has(machine, link.part)
    ]
    if unknown:
        do = "Name parts as the description does."
        raise InputAtFaultError(
            [Problem("chain, links", f"{name!r} is no part of this machine.", do) for name in unknown]
        )
    seen = _scene(machine, chain)
    way = tape_way(seen)
    stations = [Station(k, link, _place_of(seen, way, link)) for k, link in enumerate(chain.links, 1)]
    placed, badges, font, box = _placed(seen, way, stations)
    foot, tall = _foot(seen, chain, box, font)
    on_it, pieces_of = {link.part for link in chain.links}, layers(seen, way)
    whole = (box[0], -box[3] - 2.2 * font, box[2] - box[0], box[3] - box[1] + tall + 2.6 * font)
    pieces = (
        glyphs.hatch(seen),
        _caption(seen, box, font),
        *(element("g", drawn, opacity=FAINT_SHARE) for name, drawn in pieces_of if drawn and name not in on_it),
        *_rings(seen, way, stations),
        *(drawn for name, drawn in pieces_of if name in on_it),
        *_arrows(badges, BADGE * font),
        *(_step(one, placed[one.number], badges[one.number], font, f"url(#{seen.key}-h)") for one in stations),
        foot,
    )
    return picture(_title(chain), _described(chain), whole, seen.key, *pieces, kind="mechanism chain")


def _scene(machine: Machine, chain: Chain) -> Scene:
    usual = "play" if "play" in machine.modes else next(iter(machine.modes))
    mode = chain.mode if chain.mode in machine.modes else usual
    fault = chain.links[0].part
    seen = scene(machine, mode, {}, False, None)
    return replace(seen, fault=fault, key=f"{seen.key}-{fault}-{chain.sign}")


def _title(chain: Chain) -> str:
    return f"From the fault to the sign: {chain.links[0].says}"


def _described(chain: Chain) -> str:
    steps = " ".join(f"Step {k}: {link.says}." for k, link in enumerate(chain.links, 1))
    return f"{steps} What is noticed: {chain.says}."


# --- where the steps stand --------------------------------------------------------------------------------------------


def _place_of(seen: Scene, way: TapeWay | None, link: Link) -> Point | None:
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
        return glyphs.play_head(seen, way)
    if name == "tape":
        return _on_the_tape(seen, way, link.about)
    return None


def _on_the_tape(seen: Scene, way: TapeWay, about: str) -> Point:
    """Give a place on the tape: before the reel that takes it up for what happens there, else before the heads."""
    taking = seen.machine.modes[seen.mode].takes_up
    side = 1 if not taking or seen.axis(taking)[0] >= way.head[0] else -1
    at_reel = about in ("loop", "pack")
    return way.head[0] + side * (0.78 if at_reel else -0.62) * (way.guides[1][0] - way.head[0]), way.head[1]


def _placed(
    seen: Scene, way: TapeWay | None, stations: Sequence[Station]
) -> tuple[Mapping[int, Placed], Mapping[int, Point], float, Box]:
    """Place the words of the steps and their numbers; letters grow with the picture."""
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
    bend, shares = _bend(start, end), np.linspace(0.0, 1.0, 24)
    return [tuple((1 - t) ** 2 * start[i] + 2 * t * (1 - t) * bend[i] + t * t * end[i] for i in (0, 1)) for t in shares]


def _wanted(
    seen: Scene, way: TapeWay | None, one: Station, badges: Mapping[int, Point], around: Box, font: float
) -> Wanted:
    lines = _balanced(f"{one.number}\u2002{one.link.says[:1].upper()}{one.link.says[1:]}")
    if one.number in badges:
        return Wanted(str(one.number), lines, badges[one.number], 1.3 * BADGE * font)
    target = acts_on(seen.machine, one.link.part) if one.link.part in boxed(seen.machine) else ""
    near = _place_of(seen, way, Link(target, "head_base", "")) if target else None
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


# --- how they look ----------------------------------------------------------------------------------------------------


def _rings(seen: Scene, way: TapeWay | None, stations: Sequence[Station]) -> list[str]:
    """Ring every part on the way but the fault, which is hatched."""
    names = dict.fromkeys(one.link.part for one in stations[1:])
    return [_ring(seen, way, name) for name in names if name and name != seen.fault]


def _ring(seen: Scene, way: TapeWay | None, name: str) -> str:
    machine = seen.machine
    if name in machine.rotors:
        x, y = seen.axis(name)
        return element("circle", cx=x, cy=-y, r=seen.body(name) + 1.0, class_="follows", **BAND)
    if name in seen.belts:
        return element("path", d=path_of(seen.belts[name]), class_="follows", **BAND)
    if name in machine.couplings:
        x, y = glyphs.middle(seen, machine.couplings[name])
        return element("circle", cx=x, cy=-y, r=4.0, class_="follows", **BAND)
    if way is None:
        return ""
    if name == machine.head_base.name:
        left, bottom, right, top = head_base_box(seen, way)
        return element("rect", x=left - 1, y=-top - 1, width=right - left + 2, height=top - bottom + 2, rx=1.8,
                       class_="follows", **BAND)  # fmt: skip
    if name == "tape":
        run = "M" + " L".join(_point(at) for at in way.points)
        return element("path", d=run, class_="follows", **BAND)
    return ""


def _arrows(badges: Mapping[int, Point], radius: float) -> list[str]:
    """Lead from each number to the next by a bent, dashed arrow."""
    found = []
    for k in range(1, len(badges)):
        (x1, y1), (x2, y2) = badges[k], badges[k + 1]
        far = math.dist((x1, y1), (x2, y2))
        if far < 3.2 * radius:
            continue
        bend = _bend((x1, y1), (x2, y2))
        start, end = _towards((x1, y1), bend, radius), _towards((x2, y2), bend, 1.9 * radius)
        tip = _towards((x2, y2), bend, 1.05 * radius)
        run = f"M{_point(start)} Q{_point(bend)} {_point(end)}"
        line = element("path", d=run, fill="none", stroke=PAPER, stroke_width=0.75 * radius)
        line += element("path", d=run, fill="none", stroke=SECOND, stroke_width=0.32 * radius, stroke_dasharray=STEPS)
        wx, wy = (tip[1] - end[1]) * 0.55, (end[0] - tip[0]) * 0.55
        head = f"M{_point(tip)} L{_point((end[0] + wx, end[1] + wy))} L{_point((end[0] - wx, end[1] - wy))} Z"
        found.append(element("g", line, element("path", d=head, fill=SECOND), class_="leads-to"))
    return found


def _bend(start: Point, end: Point) -> Point:
    """Give the point that an arrow bends towards."""
    (x1, y1), (x2, y2) = start, end
    return (x1 + x2) / 2 - BOW * (y2 - y1), (y1 + y2) / 2 + BOW * (x2 - x1)


def _towards(at: Point, to: Point, far: float) -> Point:
    away = math.dist(at, to) or 1.0
    return at[0] + (to[0] - at[0]) * far / away, at[1] + (to[1] - at[1]) * far / away


def _point(at: Point) -> str:
    return f"{number(at[0])} {number(-at[1])}"


def _step(one: Station, placed: Placed, at: Point, font: float, hatched: str) -> str:
    """Write a step beside its number; a box where the part itself is not drawn, hatched round the fault."""
    colour = SUSPECT if one.number == 1 else SECOND
    left, bottom, right, top = placed.box
    pieces = []
    if placed.wanted.framed:
        frames = ((0.35 * font, hatched), (0.0, PAPER)) if one.number == 1 else ((0.0, PAPER),)
        pieces += [
            element("rect", x=left - more, y=-top - more, width=right - left + 2 * more, height=top - bottom + 2 * more,
                    rx=0.3 * font, fill=fill, stroke=colour, stroke_width=0.09 * font)
            for more, fill in frames
        ]  # fmt: skip
    elif placed.leader is not None:
        (x1, y1), _ = placed.leader
        x2, y2 = _towards(at, (x1, y1), BADGE * font)
        pieces.append(element("line", x1=x1, y1=-y1, x2=x2, y2=-y2, stroke=MUTED, stroke_width=0.07 * font))
    pieces.append(element("circle", cx=at[0], cy=-at[1], r=BADGE * font, fill=PAPER, stroke=colour,
                          stroke_width=(0.22 if one.number == 1 else 0.13) * font))  # fmt: skip
    pieces.append(_words(str(one.number), at[0], -at[1] + 0.35 * font, font, colour, bold=True))
    start = -top + (top - bottom - len(placed.wanted.lines) * LINE * font) / 2
    for k, line in enumerate(placed.wanted.lines):
        y = start + (k + 0.5) * LINE * font + 0.35 * font
        pieces.append(
            _words(line, (left + right) / 2, y, font, SUSPECT if one.number == 1 else INK, bold=one.number == 1)
        )
    named = element("title", text(f"Step {one.number}: {one.link.says}"))
    return element("g", named, *pieces, class_="step", data_step=str(one.number), data_of=one.link.part or None)


def _words(says: str, x: float, y: float, font: float, colour: str, *, bold: bool = False, middle: bool = True) -> str:
    return element(
        "text", text(says), x=x, y=y, font_size=font, text_anchor="middle" if middle else None, fill=colour,
        font_weight="bold" if bold else None, stroke=PAPER, stroke_width=0.28 * font, stroke_linejoin="round",
        paint_order="stroke",
    )  # fmt: skip


def _caption(seen: Scene, box: Box, font: float) -> str:
    scale = "drawn to scale" if seen.where.measured else "not to scale: not every position is measured"
    return _words(
        f"{glyphs.mode_line(seen)}; {scale}", box[0] + MARGIN_MM, -box[3] - 0.6 * font, font, MUTED, middle=False
    )


def _foot(seen: Scene, chain: Chain, box: Box, font: float) -> tuple[str, float]:
    """Write what is noticed, and what the lines mean; give it and its height."""
    x, y = box[0] + MARGIN_MM, -box[1] + 1.2 * font
    letters = int((box[2] - box[0] - 2 * MARGIN_MM) / (0.56 * font))
    when = "" if chain.mode in seen.machine.modes else f" ({SPOKEN_MODES.get(chain.mode, chain.mode)})"
    lines = textwrap.wrap(f"What is noticed{when}: {chain.says}", letters)
    pieces = [_words(line, x, y + k * LINE * font, font, INK, bold=True, middle=False) for k, line in enumerate(lines)]
    y += (len(lines) + 0.4) * LINE * font
    samples: tuple[tuple[str, Mapping[str, str | float]], ...] = (
        ("out of order", {"stroke": f"url(#{seen.key}-h)", "stroke_width": 3.2}),
        ("follows from it", BAND),
        ("leads to", {"stroke": SECOND, "stroke_width": 0.32 * BADGE * font, "stroke_dasharray": STEPS}),
    )
    for k, (says, look) in enumerate(samples):
        left = x + k * (box[2] - box[0] - 2 * MARGIN_MM) / 3
        pieces.append(element("path", d=f"M{number(left)} {number(y)} h{number(3.2 * font)}", **look))
        pieces.append(_words(says, left + 3.9 * font, y + 0.35 * font, font, INK, middle=False))
    return element("g", *pieces, class_="legend"), y + box[1] + 1.0 * font
