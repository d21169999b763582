"""The mechanism as one picture from its description: what stands where and drives what, how fast, who is suspected."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from tapewright.machine.parts import Machine, shaft
from tapewright.show import glyphs, tape_glyphs
from tapewright.show.labels import LETTER, Box
from tapewright.show.names_drawn import MARGIN_MM, badges, label, names_of, names_placed
from tapewright.show.said import name_of, percent
from tapewright.show.scene import Scene, TapeWay, scene, tape_way
from tapewright.show.svg import INK, MUTED, TAPE, element, number, picture, text
from tapewright.words.problem import InputAtFaultError, Problem

NO_SUSPECTS: Final[Mapping[str, float]] = MappingProxyType({})


def drawing(
    machine: Machine,
    mode: str = "play",
    suspects: Mapping[str, float] = NO_SUSPECTS,
    with_rates: bool = True,
    link: Callable[[str], str] | None = None,
) -> str:
    """Draw a mechanism as SVG: to scale where every position is measured, else in places found along the drives.

    Arguments:
        machine: as described.
        mode: which motors run and what is engaged.
        suspects: share of the explanation, 0 to 1, by part; marked with hatching, a number and words.
        with_rates: whether to write how fast things turn.
        link: what tapping a part leads to, from its name; None for nothing.

    Returns:
        One SVG element without scripts, styles or references; every part is a group with `data-part`. A page sets the
        colours by the custom properties of `show.svg`.

    Raises:
        InputAtFaultError: for a mode or a suspect the machine does not have.

    >>> from tapewright.machine.library import shipped
    >>> drawing(shipped("four_track")).count('data-part="flywheel"')
    1
    """
    _checked(machine, mode, suspects)
    seen = scene(machine, mode, suspects, with_rates, link)
    way = tape_way(seen)
    lines = names_of(seen)
    placed, font, box = names_placed(seen, way, lines)
    legend, tall = _legend(seen, box, font)
    whole = (box[0], -box[3] - 2.2 * font, box[2] - box[0], box[3] - box[1] + tall + 2.6 * font)
    pieces = (
        glyphs.hatch(seen),
        _caption(seen, box, font),
        *(drawn for _, drawn in layers(seen, way)),
        *(label(seen, one, lines[one.wanted.key], font) for one in placed),
        *badges(seen, {one.wanted.key: one for one in placed}),
        legend,
    )
    return picture(_title(seen), _described(seen), whole, seen.key, *pieces, kind="mechanism", leads=link is not None)


def _checked(machine: Machine, mode: str, suspects: Mapping[str, float]) -> None:
    if mode not in machine.modes:
        do = f"It has: {', '.join(machine.modes)}."
        raise InputAtFaultError(Problem("drawing, mode", f"{mode!r} is no mode of this machine.", do))
    unknown = [name for name in suspects if not glyphs.has(machine, name)]
    if unknown:
        do = "Name parts as the description does."
        raise InputAtFaultError(
            [Problem("drawing, suspects", f"{name!r} is no part of this machine.", do) for name in unknown]
        )


def _title(seen: Scene) -> str:
    return f"{seen.machine.title}: the mechanism {_lower(glyphs.mode_line(seen))}"


def _described(seen: Scene) -> str:
    """Say what the picture shows, suspects first."""
    ranked = [
        f"suspect {rank}, the {name_of(seen.machine, name)}, {percent(share)}"
        for rank, (name, share) in enumerate(seen.suspects.items(), 1)
    ]
    said = f"Suspects: {'; '.join(ranked)}. " if ranked else "No part is suspected. "
    motors = [name_of(seen.machine, name) for name in seen.machine.modes[seen.mode].motors]
    said += f"Running: {', '.join(motors)}. " if motors else "No motor runs. "
    scale = "Drawn to scale." if seen.where.measured else "Not to scale: not every position is measured."
    return said + scale


def _lower(said: str) -> str:
    return said[:1].lower() + said[1:]


def layers(seen: Scene, way: TapeWay | None) -> list[tuple[str, str]]:
    """Draw from the back to the front: large wheels, head base, tape, wheels, belts, small wheels, contacts, arrows.

    Returns:
        What each piece is of (a part, or "tape"; an arrow belongs to its shaft), and the piece.
    """
    machine = seen.machine
    belts = [c for c in machine.couplings.values() if c.kind == "belt"]
    others = [c for c in machine.couplings.values() if c.kind != "belt"]
    sized = glyphs.rank_by_size(seen)
    large = [name for name in sized if seen.body(name) > 10.0]
    middling = [name for name in sized if 4.0 < seen.body(name) <= 10.0]
    small = [name for name in sized if seen.body(name) <= 4.0]
    widest: dict[str, float] = {}
    for name in machine.rotors:
        owner = shaft(machine, name)
        widest[owner] = max(widest.get(owner, 0.0), seen.body(name))
    return [
        *((name, glyphs.rotor(seen, name)) for name in large),
        (machine.head_base.name, tape_glyphs.head_base(seen, way)),
        ("tape", tape_glyphs.tape(way) if way is not None else ""),
        *((name, glyphs.rotor(seen, name)) for name in middling),
        *((one.name, glyphs.coupling(seen, one)) for one in belts),
        *((name, glyphs.rotor(seen, name)) for name in small),
        *((one.name, glyphs.coupling(seen, one)) for one in others),
        *((owner, glyphs.arrow(seen, owner, radius)) for owner, radius in widest.items()),
    ]


# --- words around it --------------------------------------------------------------------------------------------------


def _caption(seen: Scene, box: Box, font: float) -> str:
    scale = "drawn to scale" if seen.where.measured else "not to scale: not every position is measured"
    return element(
        "text", text(f"{glyphs.mode_line(seen)}; {scale}"), x=box[0] + MARGIN_MM, y=-box[3] - 0.6 * font,
        font_size=font, fill=MUTED,
    )  # fmt: skip


def _legend(seen: Scene, box: Box, font: float) -> tuple[str, float]:
    """Explain the lines, in as many columns as fit; give the legend and its height."""
    samples = _samples(seen)
    width = box[2] - box[0] - 2 * MARGIN_MM
    each = (max(len(says) for says, _ in samples) * LETTER + 4.5) * font
    columns = max(1, int(width // each))
    pieces = []
    for k, (says, attributes) in enumerate(samples):
        x = box[0] + MARGIN_MM + (k % columns) * width / columns
        y = -box[1] + (k // columns + 0.9) * 1.5 * font
        pieces.append(element("path", d=f"M{number(x)} {number(y)} h{number(3.2 * font)}", fill="none", **attributes))
        pieces.append(element("text", text(says), x=x + 3.9 * font, y=y + 0.35 * font, font_size=font, fill=INK))
    rows = -(-len(samples) // columns)
    return element("g", *pieces, class_="legend"), (rows + 0.8) * 1.5 * font


def _samples(seen: Scene) -> list[tuple[str, dict[str, str | float]]]:
    found: list[tuple[str, dict[str, str | float]]] = []
    if seen.belts:
        found.append(("belt", {"stroke": INK, "stroke_width": 1.5}))
    found += [
        ("way of the tape", {"stroke": TAPE, "stroke_width": 0.7, "stroke_dasharray": "4 1 0.8 1"}),
        ("size not measured", {"stroke": INK, "stroke_width": 0.6, "stroke_dasharray": glyphs.UNMEASURED}),
        ("motor that runs", {"stroke": INK, "stroke_width": 1.1, "stroke_dasharray": glyphs.UNMEASURED}),
    ]
    if any(c.kind in ("tyre", "nip", "gear") for c in seen.machine.couplings.values()):
        found.append(("rims in contact", {"stroke": INK, "stroke_width": 2.4}))
        found.append(("apart in this mode", {"stroke": MUTED, "stroke_width": 2.0, "stroke_dasharray": "0.8 0.6"}))
    if seen.suspects:
        found.append(("suspect", {"stroke": f"url(#{seen.key}-h)", "stroke_width": 3.2}))
    return found
