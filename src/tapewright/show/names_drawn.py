"""The names in a drawing: what stands on each, where each goes, and the numbers of the suspects."""

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.machine.parts import shaft
from tapewright.show import glyphs, tape_glyphs
from tapewright.show.labels import LINE, ROUNDS, Box, Disc, Ground, Placed, Point, Wanted, place
from tapewright.show.routes import middle_of_longest_span
from tapewright.show.said import name_of, percent
from tapewright.show.scene import Scene, TapeWay, acts_on, boxed, head_base_box, outlines
from tapewright.show.svg import INK, MUTED, PAPER, SUSPECT, element, text
from tapewright.words.units import to_the_doubt

LETTERS_OF_WIDTH: Final = 0.0235
"""Size of the letters as a share of the picture's width: legible on a telephone, not shouting on a bench."""
TRIES: Final = 4
"""How often names are placed anew because they made the picture so wide that its letters became too small."""
MARGIN_MM: Final = 4.0
LONGEST: Final = 34
"""Letters on one line of a name; a longer name takes more lines."""
VAGUE: Final = 0.1
"""A rate that is less well known than this is written as "about"."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a name: what it says, which part it is about, whether that is suspected."""

    says: str
    part: str
    strong: bool = False


def names_of(seen: Scene) -> dict[str, list[Line]]:
    """Write the names: one for each shaft with all that sits on it, for each belt, for each box, for the head base."""
    found: dict[str, list[Line]] = {}
    for owner in dict.fromkeys(shaft(seen.machine, name) for name in seen.machine.rotors):
        on_it = glyphs.riders(seen, owner)
        lines = [line for name in on_it for line in _name(seen, name)]
        found[owner] = [*lines, *_rate(seen, owner)]
    for coupling in seen.machine.couplings.values():
        if coupling.kind == "belt" or seen.suspicion(coupling.name):
            found[coupling.name] = [*_name(seen, coupling.name), *_rate(seen, coupling.name)]
    for name in boxed(seen.machine, seen.suspects):
        found[name] = _name(seen, name)
    base = seen.machine.head_base
    where = f"{seen.machine.modes[seen.mode].head_base}, lifted by {tape_glyphs.lifted_said(seen.machine)}"
    lifted = [Line(piece, base.name) for piece in textwrap.wrap(where, LONGEST)]
    found[base.name] = [*_name(seen, base.name), *lifted]
    return found


def _name(seen: Scene, name: str) -> list[Line]:
    said = name_of(seen.machine, name)
    rank = seen.suspicion(name)
    at = seen.machine.modes[seen.mode]
    if name in at.motors or name in at.solenoids:
        said += ", on"
    lines = [Line(piece, name, rank > 0) for piece in textwrap.wrap(said, LONGEST) or [name]]
    return [*lines, Line(f"suspect {rank}, {percent(seen.suspects[name])}", name, True)] if rank else lines


def _rate(seen: Scene, name: str) -> list[Line]:
    if name not in seen.rates:
        return []
    turns = seen.rates[name].turns_per_s
    if turns.relative_doubt > VAGUE:
        return [Line(f"about {turns.value:.2g} /s", name)]
    shown = min(to_the_doubt(turns.value, turns.doubt), f"{turns.value:.4g}", key=len)
    return [Line(f"{shown} /s", name)]


def _wanted(seen: Scene, way: TapeWay | None, lines: Mapping[str, list[Line]]) -> list[Wanted]:
    """Say where every name would like to be, suspects first, then what has least room of its own."""
    found = []
    for key, said in lines.items():
        anchor, reach, pointed = _anchor(seen, way, key)
        framed = key in boxed(seen.machine, seen.suspects)
        found.append(Wanted(key, tuple(line.says for line in said), anchor, reach, framed, pointed))
    return sorted(found, key=lambda one: (not any(line.strong for line in lines[one.key]), one.framed, one.reach))


def _anchor(seen: Scene, way: TapeWay | None, key: str) -> tuple[Point, float, bool]:
    machine = seen.machine
    if key in machine.rotors:
        return seen.axis(key), max(seen.body(name) for name in glyphs.riders(seen, key)), True
    if key in machine.couplings:
        coupling = machine.couplings[key]
        belt = coupling.kind == "belt"
        return middle_of_longest_span(seen.belts[key]) if belt else glyphs.middle(seen, coupling), 1.5, True
    if key == machine.head_base.name and way is not None:
        left, bottom, right, top = head_base_box(seen, way)
        return ((left + right) / 2 - 4.0, (bottom + top) / 2), 3.5, True
    if key == machine.heads.name and way is not None:
        return tape_glyphs.play_head(seen, way), 3.0, True
    if target := acts_on(machine, key):
        if target in machine.rotors:
            return seen.axis(target), seen.body(target), True
        at, reach, _ = _anchor(seen, way, target)
        return at, reach, True
    xs = [x for x, _ in seen.where.axes.values()] or [0.0]
    ys = [y for _, y in seen.where.axes.values()] or [0.0]
    return ((min(xs), max(ys)) if key in machine.sensors else (min(xs), min(ys))), 2.0, False


def names_placed(seen: Scene, way: TapeWay | None, lines: Mapping[str, list[Line]]) -> tuple[list[Placed], float, Box]:
    """Place the names; letters grow with the picture, and the picture with the letters, so go round a few times."""
    points = np.array([*outlines(seen), *glyphs.marks(seen)], dtype=np.float64)
    limits = (*points.min(axis=0), *points.max(axis=0))
    around: Box = (float(limits[0]), float(limits[1]), float(limits[2]), float(limits[3]))
    ground = Ground(points, _discs(seen), around)
    wanted = _wanted(seen, way, lines)
    font = LETTERS_OF_WIDTH * (around[2] - around[0]) * 1.15
    placed = place(wanted, ground, font, 1)
    font = LETTERS_OF_WIDTH * _width(_bounds(around, placed))
    placed = place(wanted, ground, font, 1)
    tries = []
    for _ in range(TRIES):
        font = LETTERS_OF_WIDTH * _width(_bounds(around, placed))
        placed = place(wanted, ground, font, ROUNDS)
        tries.append((font / _width(_bounds(around, placed)), font, placed))
        if tries[-1][0] > 0.98 * LETTERS_OF_WIDTH:
            break
    _, font, placed = max(tries, key=lambda one: one[0])
    return placed, font, _bounds(around, placed)


def _width(box: Box) -> float:
    return box[2] - box[0]


def _discs(seen: Scene) -> tuple[Disc, ...]:
    """Give what a name could wrongly be taken to belong to; what shares an axis may share the space."""
    found = []
    for name in seen.machine.rotors:
        at = seen.axis(name)
        same = [other for other in seen.machine.rotors if seen.axis(other) == at]
        found.append(Disc(frozenset(shaft(seen.machine, other) for other in same), at, seen.body(name)))
    return tuple(found)


def _bounds(around: Box, placed: list[Placed]) -> Box:
    boxes = [around, *(one.box for one in placed)]
    return (
        min(box[0] for box in boxes) - MARGIN_MM,
        min(box[1] for box in boxes) - MARGIN_MM,
        max(box[2] for box in boxes) + MARGIN_MM,
        max(box[3] for box in boxes) + MARGIN_MM,
    )


def label(seen: Scene, placed: Placed, lines: list[Line], font: float) -> str:
    """Draw one name where it was placed: its lines, a frame where it is a box, a line to what it is of."""
    left, bottom, right, top = placed.box
    pieces = []
    if placed.leader is not None:
        (x1, y1), (x2, y2) = placed.leader
        pieces.append(element("line", x1=x1, y1=-y1, x2=x2, y2=-y2, stroke=MUTED, stroke_width=0.07 * font))
        pieces.append(element("circle", cx=x2, cy=-y2, r=0.13 * font, fill=MUTED))
    if placed.wanted.framed:
        name = placed.wanted.key
        edge = SUSPECT if seen.suspicion(name) else MUTED
        wide = 0.35 * font if seen.suspicion(name) else 0.0
        frames = [
            element("rect", x=left - more, y=-top - more, width=right - left + 2 * more, height=top - bottom + 2 * more,
                    rx=0.3 * font, fill=fill, stroke=edge, stroke_width=0.09 * font)
            for more, fill in ((wide, glyphs.filling(seen, name, PAPER)), (0.0, PAPER))
        ]  # fmt: skip
        pieces.append(glyphs.group(seen, name, *frames[0 if wide else 1 :], kind="box"))
    middle = (left + right) / 2
    start = -top + ((top - bottom) - len(lines) * LINE * font) / 2
    for k, line in enumerate(lines):
        y = start + (k + 0.5) * LINE * font + 0.35 * font
        words = element(
            "text", text(line.says), x=middle, y=y, font_size=font, text_anchor="middle",
            fill=SUSPECT if line.strong else INK if k == 0 or not _is_rate(line) else MUTED,
            font_weight="bold" if line.strong else None, stroke=PAPER, stroke_width=0.28 * font,
            stroke_linejoin="round", paint_order="stroke",
        )  # fmt: skip
        pieces.append(glyphs.linked(seen, line.part, words))
    return element("g", *pieces, class_="label", data_label=placed.wanted.key)


def _is_rate(line: Line) -> bool:
    return line.says.endswith("/s")


def badges(seen: Scene, placed: Mapping[str, Placed]) -> list[str]:
    """Put the numbers of suspects on the parts themselves; a boxed part has its number in its words."""
    found = []
    for name in seen.suspects:
        if name in seen.machine.rotors:
            at = seen.axis(name)
            if seen.body(name) < 6.0:
                at = at[0] + seen.body(name) + 2.0, at[1] + seen.body(name) + 2.0
            elif any(other != name for other in glyphs.riders(seen, shaft(seen.machine, name))):
                at = at[0] - 0.6 * seen.body(name), at[1]
            found.append(glyphs.badge(seen, name, at))
        elif name in seen.machine.couplings:
            coupling = seen.machine.couplings[name]
            belt = coupling.kind == "belt"
            at = middle_of_longest_span(seen.belts[name]) if belt else glyphs.middle(seen, coupling)
            found.append(glyphs.badge(seen, name, at))
    return found
