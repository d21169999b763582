"""The pieces of a drawing: rotors, belts, contacts. Each part is one group that says which it is."""

import math
from typing import Final

from tapewright.machine.parts import HOLDING_KINDS, SPOKEN_MODES, Coupling, Machine, Rotor, part, shaft
from tapewright.show.routes import path_of
from tapewright.show.said import name_of, percent
from tapewright.show.scene import ARROW_AT, Scene
from tapewright.show.standing import Point
from tapewright.show.svg import FAINT, INK, MUTED, PAPER, SUSPECT, element, number, text
from tapewright.show.tables import rate_said

THIN, PLAIN, BOLD = 0.35, 0.6, 1.1
"""Line widths, millimetres of the mechanism."""
UNMEASURED: Final = "1.6 1.1"
"""Dashes of an outline whose size nobody measured."""
LEAST_ARROW_MM: Final = 2.8


def group(scene: Scene, name: str, *inside: str, kind: str) -> str:
    """Wrap what is drawn of a part: which part it is, what it is called, and what it leads to."""
    number_ = scene.suspicion(name)
    classes = f"part {kind}" + (" suspect" if number_ else "")
    drawn = element("g", element("title", text(told(scene, name))), *inside, class_=classes, data_part=name)
    return linked(scene, name, drawn)


def linked(scene: Scene, name: str, drawn: str) -> str:
    """Make what is drawn lead to where the page wants it to."""
    if scene.link is None:
        return drawn
    return element("a", drawn, href=scene.link(name))


def told(scene: Scene, name: str) -> str:
    """Say a part in a line: its name, its rate, whether it is suspected."""
    said = name_of(scene.machine, name)
    if name in scene.rates:
        said += f", {rate_said(scene.rates[name])} a second"
    if name == scene.fault:
        return said + ", out of order"
    if rank := scene.suspicion(name):
        said += f", suspect {rank}, {percent(scene.suspects[name])}"
    return said


def hatch(scene: Scene) -> str:
    """Define the hatching of suspects: lines, so that it shows in black and white."""
    ground = element("rect", width=2.2, height=2.2, fill=PAPER)
    line = element("line", x1=0.0, y1=0.0, x2=0.0, y2=2.2, stroke=SUSPECT, stroke_width=1.3)
    pattern = element(
        "pattern", ground, line, id=f"{scene.key}-h", patternUnits="userSpaceOnUse", width=2.2, height=2.2,
        patternTransform="rotate(45)",
    )  # fmt: skip
    return element("defs", pattern)


def filling(scene: Scene, name: str, otherwise: str) -> str:
    """Give what a part is filled with."""
    return f"url(#{scene.key}-h)" if scene.suspicion(name) else otherwise


# --- rotors -----------------------------------------------------------------------------------------------------------


def rotor(scene: Scene, name: str) -> str:
    """Draw one rotor at its running diameter; a motor has a body around it."""
    it, (x, y) = scene.machine.rotors[name], scene.axis(name)
    body, running = scene.body(name), scene.where.radii[name]
    pieces = []
    if it.kind == "cam":
        pieces.append(_cam(scene, name, x, y, body))
    else:
        pieces.append(_disc(scene, it, x, y, body))
    if it.kind == "motor" and _is_run_on(scene.machine, name):
        pieces.append(element("circle", cx=x, cy=-y, r=running, fill="none", stroke=INK, stroke_width=THIN))
    if it.kind == "reel_table":
        pieces.append(_spindle(x, y))
    if it.kind == "gear":
        pieces.append(_teeth(x, y, body))
    return group(scene, name, *pieces, kind=f"rotor {it.kind}")


def _disc(scene: Scene, it: Rotor, x: float, y: float, radius: float) -> str:
    runs = it.name in scene.machine.modes[scene.mode].motors
    symbol = it.kind == "motor" or it.name not in scene.where.described
    plain = INK if it.kind == "capstan" else FAINT if it.kind in ("pinch_roller", "idler_tyre") else PAPER
    solid = it.kind in ("capstan", "pinch_roller", "idler_tyre") or scene.suspicion(it.name) > 0
    return element(
        "circle", cx=x, cy=-y, r=radius, fill=filling(scene, it.name, plain), fill_opacity=None if solid else 0.5,
        stroke=SUSPECT if scene.suspicion(it.name) else INK,
        stroke_width=BOLD if runs or scene.suspicion(it.name) else PLAIN,
        stroke_dasharray=UNMEASURED if symbol else None,
    )  # fmt: skip


def _is_run_on(machine: Machine, name: str) -> bool:
    return any(name in coupling.path for coupling in machine.couplings.values())


def _cam(scene: Scene, name: str, x: float, y: float, radius: float) -> str:
    """Draw a cam as what it is: a wheel with a lobe."""
    r = 0.78 * radius
    lobe = f"M{number(x - r)} {number(-y)} A{number(r)} {number(r)} 0 1 0 {number(x + r)} {number(-y)}"
    lobe += f" Q{number(x + r)} {number(-y - 1.5 * radius)} {number(x)} {number(-y - 1.5 * radius)}"
    lobe += f" Q{number(x - r)} {number(-y - 1.5 * radius)} {number(x - r)} {number(-y)} Z"
    return element(
        "path", d=lobe, fill=filling(scene, name, FAINT), stroke=SUSPECT if scene.suspicion(name) else INK,
        stroke_width=PLAIN, stroke_dasharray=None if name in scene.where.described else UNMEASURED,
    )  # fmt: skip


def _spindle(x: float, y: float) -> str:
    """Draw the three-winged spindle a hub sits on."""
    wings = [(x + 3.4 * math.sin(a), -y - 3.4 * math.cos(a)) for a in (0.0, 2 * math.pi / 3, 4 * math.pi / 3)]
    lines = "".join(f"M{number(x)} {number(-y)}L{number(a)} {number(b)}" for a, b in wings)
    return element("path", d=lines, stroke=INK, stroke_width=1.5, stroke_linecap="round", fill="none")


def _teeth(x: float, y: float, radius: float) -> str:
    return element(
        "circle", cx=x, cy=-y, r=radius, fill="none", stroke=INK, stroke_width=1.2, stroke_dasharray="0.9 0.9"
    )


def badge(scene: Scene, name: str, at: Point) -> str:
    """Put a suspect's number on it."""
    rank = scene.suspicion(name)
    ring = element("circle", cx=at[0], cy=-at[1], r=3.1, fill=PAPER, stroke=SUSPECT, stroke_width=0.8)
    return ring + element(
        "text",
        str(rank),
        x=at[0],
        y=-at[1] + 1.5,
        fill=SUSPECT,
        font_size=4.2,
        font_weight="bold",
        text_anchor="middle",
    )


def arrow(scene: Scene, owner: str, radius: float) -> str:
    """Show which way a shaft turns; nothing where that is not known, or for what stands still."""
    way = scene.ways.get(owner)
    if way is None or radius < LEAST_ARROW_MM:
        return ""
    x, y = scene.where.axes[owner]
    r, first, last = ARROW_AT * radius, math.radians(55), math.radians(125)
    if way < 0:
        first, last = last, first
    start, end = (x + r * math.cos(first), y + r * math.sin(first)), (x + r * math.cos(last), y + r * math.sin(last))
    bent = f"M{point_said(start)} A{number(r)} {number(r)} 0 0 {0 if way > 0 else 1} {point_said(end)}"
    size = min(2.4, 0.4 * radius)
    along = last + way * math.pi / 2
    tip = end[0] + size * math.cos(along), end[1] + size * math.sin(along)
    wide = 0.55 * size
    sides = [(end[0] + s * wide * math.cos(last), end[1] + s * wide * math.sin(last)) for s in (-1, 1)]
    head = f"M{point_said(tip)} L{point_said(sides[0])} L{point_said(sides[1])} Z"
    turns = element("title", "turns anticlockwise" if way > 0 else "turns clockwise")
    return element(
        "g", turns, element("path", d=bent, fill="none", stroke=INK, stroke_width=0.55),
        element("path", d=head, fill=INK), class_="way",
    )  # fmt: skip


def point_said(at: Point) -> str:
    """Write a point as a path takes it."""
    return f"{number(at[0])} {number(-at[1])}"


# --- couplings --------------------------------------------------------------------------------------------------------


def coupling(scene: Scene, it: Coupling) -> str:
    """Draw one coupling."""
    draw = {"belt": _belt, "drag": _pad, "brake": _pad, "worm": _worm, "clutch": _clutch}.get(it.kind, _contact)
    return group(scene, it.name, draw(scene, it), kind=f"coupling {it.kind}")


def _belt(scene: Scene, it: Coupling) -> str:
    """Draw a belt as a band: two edges, or hatched."""
    line = path_of(scene.belts[it.name])
    suspect = scene.suspicion(it.name) > 0
    wide = 2.6 if suspect else 1.5
    edges = element(
        "path", d=line, fill="none", stroke=SUSPECT if suspect else INK, stroke_width=wide, class_="belt-line"
    )
    inside = element("path", d=line, fill="none", stroke=PAPER, stroke_width=wide - 0.9)
    # Hatched by bars across the band: slanting lines would vanish where the belt runs their way.
    bars = element("path", d=line, fill="none", stroke=SUSPECT, stroke_width=wide - 0.9, stroke_dasharray="0.9 1.2")
    return edges + inside + (bars if suspect else "")


def _ends(scene: Scene, it: Coupling) -> tuple[Point, Point]:
    """Give where the rims of a coupling's two rotors come nearest."""
    (ax, ay), (bx, by) = scene.axis(it.path[0]), scene.axis(it.path[-1])
    apart = math.hypot(bx - ax, by - ay) or 1.0
    ux, uy = (bx - ax) / apart, (by - ay) / apart
    ra, rb = scene.body(it.path[0]), scene.body(it.path[-1])
    if scene.machine.rotors[it.path[0]].kind == "motor":
        ra = scene.where.radii[it.path[0]]
    if it.inside:  # they meet beyond the smaller one, seen from the middle of the larger
        ux, uy, ra, rb = (ux, uy, ra, -rb) if ra > rb else (-ux, -uy, ra, -rb)
    return (ax + ra * ux, ay + ra * uy), (bx - rb * ux, by - rb * uy)


def middle(scene: Scene, it: Coupling) -> Point:
    """Give the point a coupling is marked at."""
    if it.kind in HOLDING_KINDS:
        return _pad_at(scene, it)[0]
    first, last = _ends(scene, it)
    return (first[0] + last[0]) / 2, (first[1] + last[1]) / 2


def _contact(scene: Scene, it: Coupling) -> str:
    """Draw where two rims press: a bar across the gap; dotted when it is not at work in this mode."""
    first, last = _ends(scene, it)
    (mx, my), far = middle(scene, it), math.dist(first, last)
    (ax, ay), (bx, by) = scene.axis(it.path[0]), scene.axis(it.path[-1])
    angle = math.degrees(math.atan2(by - ay, bx - ax))
    long, wide = max(far + 1.2, 2.4), 3.4 if scene.suspicion(it.name) else 2.2
    working = it.name in scene.working
    plain = INK if working else PAPER
    return element(
        "rect", x=-long / 2, y=-wide / 2, width=long, height=wide, rx=0.6,
        transform=f"translate({number(mx)} {number(-my)}) rotate({number(-angle)})",
        fill=filling(scene, it.name, plain), stroke=SUSPECT if scene.suspicion(it.name) else INK,
        stroke_width=THIN if working else 0.45, stroke_dasharray=None if working else "0.8 0.6",
    )  # fmt: skip


def _worm(scene: Scene, it: Coupling) -> str:
    """Draw a worm as a zigzag between its two wheels."""
    (mx, my), (ax, ay), (bx, by) = middle(scene, it), scene.axis(it.path[0]), scene.axis(it.path[-1])
    angle = math.degrees(math.atan2(by - ay, bx - ax))
    zigzag = (
        "M-4.5 0" + "".join(f" L{number(-4.5 + 1.5 * k)} {1.5 if k % 2 else -1.5}" for k in range(1, 6)) + " L4.5 0"
    )
    suspect = scene.suspicion(it.name) > 0
    where = f"translate({number(mx)} {number(-my)}) rotate({number(-angle)})"
    under = element("rect", x=-5.0, y=-2.6, width=10.0, height=5.2, rx=1.0, transform=where,
                    fill=filling(scene, it.name, PAPER), stroke=SUSPECT if suspect else MUTED,
                    stroke_width=THIN)  # fmt: skip
    return under + element("path", d=zigzag, fill="none", stroke=INK, stroke_width=0.8, transform=where)


def _clutch(scene: Scene, it: Coupling) -> str:
    """Draw a clutch as a ring of felt between its two faces, or a bar where they do not share an axis."""
    if math.dist(scene.axis(it.path[0]), scene.axis(it.path[-1])) > 1e-6:
        return _contact(scene, it)
    x, y = scene.axis(it.path[0])
    radius = 0.45 * min(scene.body(name) for name in (it.path[0], it.path[-1]))
    suspect = scene.suspicion(it.name) > 0
    return element(
        "circle", cx=x, cy=-y, r=radius, fill="none", stroke=f"url(#{scene.key}-h)" if suspect else MUTED,
        stroke_width=3.0 if suspect else 1.6, stroke_dasharray=None if suspect else "0.5 0.9",
    )  # fmt: skip


def _pad_at(scene: Scene, it: Coupling) -> tuple[Point, float]:
    """Set a pad at the rim, away from the middle of the mechanism, the next one further round; give its angle too."""
    (x, y), far = scene.axis(it.driver), scene.body(it.driver) + (0.0 if it.name in scene.working else 1.6)
    pads = [c.name for c in scene.machine.couplings.values() if c.kind in HOLDING_KINDS and c.driver == it.driver]
    angle = math.radians(40.0 + 28.0 * pads.index(it.name))
    angle = angle if x >= 0 else math.pi - angle
    return (x + far * math.cos(angle), y + far * math.sin(angle)), angle


def _pad(scene: Scene, it: Coupling) -> str:
    """Draw a drag or a brake as a pad on the rim; one that is let go stands off it, dotted."""
    (x, y), angle = _pad_at(scene, it)
    suspect, holds = scene.suspicion(it.name) > 0, it.name in scene.working
    return element(
        "rect", x=-1.6, y=-3.2, width=3.2, height=6.4, rx=0.8,
        transform=f"translate({number(x)} {number(-y)}) rotate({number(-math.degrees(angle))})",
        fill=filling(scene, it.name, (INK if it.kind == "brake" else FAINT) if holds else PAPER),
        stroke=SUSPECT if suspect else INK, stroke_width=THIN, stroke_dasharray=None if holds else "0.8 0.6",
    )  # fmt: skip


def marks(scene: Scene) -> list[Point]:
    """Sample the pads and contacts, for the names to keep clear of."""
    found = []
    for it in scene.machine.couplings.values():
        if it.kind == "belt":
            continue
        (x, y), far = middle(scene, it), 2.6 if it.kind in HOLDING_KINDS else 1.3
        found += [(x + i * far / 2, y + j * far / 2) for i in (-2, -1, 0, 1, 2) for j in (-2, -1, 0, 1, 2)]
    return found


def mode_line(scene: Scene) -> str:
    """Say what the picture shows."""
    said = SPOKEN_MODES.get(scene.mode, scene.mode)
    return said[:1].upper() + said[1:]


def rank_by_size(scene: Scene) -> list[str]:
    """List the rotors so that what is small is drawn on top, and a reel table over the motor it sits on."""
    machine = scene.machine
    under = {shaft(machine, name): scene.body(name) for name, it in machine.rotors.items() if it.kind == "reel_table"}
    return sorted(machine.rotors, key=lambda name: (-max(scene.body(name), under.get(name, 0.0)), name not in under))


def riders(scene: Scene, owner: str) -> list[str]:
    """List the rotors on one shaft."""
    return [name for name in scene.machine.rotors if shaft(scene.machine, name) == owner]


def has(machine: Machine, name: str) -> bool:
    """Tell whether a machine has a part."""
    try:
        part(machine, name)
    except KeyError:
        return False
    return True
