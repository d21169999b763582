"""The way of the tape and the head base, as pieces of a drawing."""

from tapewright.machine.parts import Machine
from tapewright.show.glyphs import THIN, filling, group, has, point_said
from tapewright.show.said import name_of
from tapewright.show.scene import Scene, TapeWay, head_base_box
from tapewright.show.standing import Point
from tapewright.show.svg import FAINT, INK, MUTED, PAPER, SUSPECT, TAPE, element


def tape(way: TapeWay) -> str:
    """Draw the way of the tape, schematically."""
    packs = "".join(
        element(
            "circle", cx=x, cy=-y, r=way.pack, fill="none", stroke=TAPE, stroke_width=THIN, stroke_dasharray="0.5 1"
        )
        for x, y in way.reels
    )
    run = "M" + " L".join(point_said(at) for at in way.points)
    line = element("path", d=run, fill="none", stroke=TAPE, stroke_width=0.7, stroke_dasharray="4 1 0.8 1")
    posts = "".join(element("circle", cx=x, cy=-y, r=1.2, fill=TAPE) for x, y in way.guides)
    title = element("title", "way of the tape, schematic; packs as in the middle of a side")
    return element("g", title, packs, line, posts, class_="tape")


def head_base(scene: Scene, way: TapeWay | None) -> str:
    """Draw the plate with its heads, up at the tape or down; and what lifts it."""
    name = scene.machine.head_base.name
    if way is None:
        return group(scene, name, kind="head-base")
    left, bottom, right, top = head_base_box(scene, way)
    suspect = scene.suspicion(name) > 0
    edge = SUSPECT if suspect else INK
    plate = element("rect", x=left, y=-top, width=right - left, height=top - bottom, rx=1.2, fill_opacity=0.75,
                    fill=filling(scene, name, FAINT), stroke=edge, stroke_width=THIN)  # fmt: skip
    face = bottom if way.up > 0 else top
    heads = "".join(
        element("rect", x=way.head[0] + at - wide / 2, y=-max(face, face - way.up * 4.2), width=wide, height=4.2,
                rx=0.9, fill=PAPER, stroke=edge, stroke_width=THIN)
        for at, wide in ((0.0, 8.0), (-9.0, 4.0))
    )  # fmt: skip
    lifter = scene.machine.head_base.lifted_by
    push = ""
    if lifter in scene.machine.rotors:
        x, y = scene.axis(lifter)
        edge_x = left if abs(x - left) < abs(x - right) else right
        run = f"M{point_said((x, y))} L{point_said((edge_x, (bottom + top) / 2))}"
        push = element("path", d=run, fill="none", stroke=MUTED, stroke_width=0.8, stroke_dasharray="2.2 1.4")
    return group(scene, name, push, plate, heads, kind="head-base")


def play_head(scene: Scene, way: TapeWay) -> Point:
    """Give the middle of the head in the middle of the head base."""
    _, bottom, _, top = head_base_box(scene, way)
    return way.head[0], (bottom if way.up > 0 else top) - way.up * 2.1


def lifted_said(machine: Machine) -> str:
    """Say what lifts the head base."""
    lifter = machine.head_base.lifted_by
    return name_of(machine, lifter) if has(machine, lifter) else f"the {lifter}"
