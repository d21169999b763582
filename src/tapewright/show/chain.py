"""The way from a fault to what one notices, drawn on the mechanism: hatched where it starts, numbered step by step.

All but the parts on the way is faint. Numbers, rings and arrows say it without colour; the steps stand in the picture,
and in its description for people who do not see it.
"""

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.show import glyphs
from tapewright.show.chain_places import BADGE, Station, bends_towards, place_of, placed_steps
from tapewright.show.drawing import layers
from tapewright.show.labels import LINE, Box, Placed, Point
from tapewright.show.names_drawn import MARGIN_MM
from tapewright.show.routes import path_of
from tapewright.show.scene import Scene, TapeWay, head_base_box, scene, tape_way
from tapewright.show.svg import INK, MUTED, PAPER, SECOND, SUSPECT, element, number, picture, text
from tapewright.words.findings import Chain
from tapewright.words.problem import InputAtFaultError, Problem

FAINT_SHARE: Final = 0.32
"""Opacity of what has no part in it."""
STEPS: Final = "2.6 1.5"
"""Dashes of the arrows from step to step; the band along what follows is whole, and pale."""
BAND: Final[Mapping[str, str | float]] = MappingProxyType(
    {"fill": "none", "stroke": SECOND, "stroke_width": 2.6, "stroke_opacity": 0.42}
)


def chain_drawing(machine: Machine, chain: Chain) -> str:
    """Draw a chain from its fault to its sign as SVG.

    Arguments:
        machine: as described.
        chain: from `diagnose.explain.chains`.

    Raises:
        InputAtFaultError: for a part the machine does not have.

    >>> from tapewright.machine.library import shipped
    >>> from tapewright.words.findings import Link
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
    stations = [Station(k, link, place_of(seen, way, link)) for k, link in enumerate(chain.links, 1)]
    placed, badges, font, box = placed_steps(seen, way, stations)
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
        bend = bends_towards((x1, y1), (x2, y2))
        start, end = _towards((x1, y1), bend, radius), _towards((x2, y2), bend, 1.9 * radius)
        tip = _towards((x2, y2), bend, 1.05 * radius)
        run = f"M{_point(start)} Q{_point(bend)} {_point(end)}"
        line = element("path", d=run, fill="none", stroke=PAPER, stroke_width=0.75 * radius)
        line += element("path", d=run, fill="none", stroke=SECOND, stroke_width=0.32 * radius, stroke_dasharray=STEPS)
        wx, wy = (tip[1] - end[1]) * 0.55, (end[0] - tip[0]) * 0.55
        head = f"M{_point(tip)} L{_point((end[0] + wx, end[1] + wy))} L{_point((end[0] - wx, end[1] - wy))} Z"
        found.append(element("g", line, element("path", d=head, fill=SECOND), class_="leads-to"))
    return found


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
