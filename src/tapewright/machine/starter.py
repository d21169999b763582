"""A starter to describe a machine from: the structure of a shipped layout, without a single size, and full of advice.

Starters are made from the complete machines, so that the two never drift apart: what is a number there is a hint here
of what to measure, with what, and where.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Final

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import COUPLING_KINDS, ROTOR_KINDS, SENSOR_KINDS
from tapewright.machine.section import did_you_mean
from tapewright.words.problem import InputAtFaultError, Problem

_LIBRARY: Final = files("tapewright.machine") / "library"


@dataclass(frozen=True, slots=True)
class Layout:
    """A general kind of transport that ships.

    Arguments:
        id: the layout's name, as `layout` in a description.
        machine: id of the invented machine of this layout; with `_starter` behind it, of its starter.
        says: how to recognise it, in a line.
    """

    id: str
    machine: str
    says: str


_SAYS: Final = {
    "one_motor_keys": "one motor, finger keys that push slides; a belt and a felt clutch take the tape up",
    "one_motor_flywheel_cam": "one motor, touch keys; a click, then the flywheel turns a cam that lifts the heads",
    "two_motor_idler_solenoid": "capstan motor and reel motor with a swinging idler tyre; a solenoid lifts the heads",
    "two_motor_plus_cam_motor": "the same with a third, small motor that lifts the heads by belt, worm and cam",
    "three_motor_direct_reels": "a motor under each reel table, another for the capstan",
    "direct_drive_capstan": "the capstan is the shaft of its own slow motor: no capstan belt at all",
    "dual_capstan_closed_loop": "two capstans, two pinch rollers, both pressed in play",
    "auto_reverse_twin": "plays both ways: two capstans that turn against each other, one roller pressed at a time",
    "one_motor_reel_belts": "one motor, finger keys; belts turn both reels, one for rewind alone; no rubber wheel",
    "one_motor_rim_drive": "one motor; a rubber wheel between its shaft and the flywheel's rim: no capstan belt",
    "motorised_tray": "a motor with its own belt moves the cassette's tray; a small belt holds the supply reel back",
}


def layouts() -> tuple[Layout, ...]:
    """List every layout that ships, from the simplest on.

    >>> [one.machine for one in layouts()][:2]
    ['one_motor_portable', 'flywheel_cam_deck']
    """
    machines = {shipped(name).layout: name for name in shipped_ids() if not name.endswith("_starter")}
    return tuple(Layout(layout, machines[layout], says) for layout, says in _SAYS.items())


def complete_text(layout_id: str) -> str:
    """Give the complete invented machine of a layout, as TOML.

    Arguments:
        layout_id: the layout's name, or the id of its machine.

    Raises:
        InputAtFaultError: when there is no such layout.
    """
    return (_LIBRARY / f"{_found(layout_id).machine}.toml").read_text(encoding="utf-8")


def starter_text(layout_id: str, machine_id: str = "") -> str:
    """Give a starter of a layout, as TOML: complete in structure, without sizes, with advice on every size.

    Arguments:
        layout_id: the layout's name, or the id of its machine.
        machine_id: id for the new machine; that of the shipped starter where none is given.

    Raises:
        InputAtFaultError: when there is no such layout, or the id cannot be one.

    >>> print(starter_text("two_motor_deck", "my_deck").splitlines()[0])
    # A starter: capstan motor and reel motor with a swinging idler tyre; a solenoid lifts the heads.
    """
    layout = _found(layout_id)
    named = machine_id or f"{layout.machine}_starter"
    if not re.fullmatch(r"[^\W\d][\w-]*", named):
        do = "Use letters, digits and underscores: my_recorder."
        raise InputAtFaultError(Problem("id", f'"{named}" cannot be the id of a machine.', do))
    body = complete_text(layout_id)
    body = body[body.index("schema = ") :]
    lines, section = [_INTRODUCTION.format(says=layout.says)], ""
    kinds = _kinds(body)
    for line in body.splitlines():
        if line.startswith("["):
            section = line.partition("]")[0][1:]
        lines += _starter_lines(line, section, kinds, named)
    return "\n".join(lines) + "\n"


def _found(layout_id: str) -> Layout:
    wanted = layout_id.removesuffix("_starter")
    for layout in layouts():
        if wanted in (layout.id, layout.machine):
            return layout
    known = [name for layout in layouts() for name in (layout.id, layout.machine)]
    meant = did_you_mean(layout_id, known)
    do = meant if meant.startswith("Did") else f"Layouts: {', '.join(layout.id for layout in layouts())}."
    raise InputAtFaultError(Problem(layout_id, "There is no such layout.", do))


# --- line by line -----------------------------------------------------------------------------------------------------


def _kinds(body: str) -> dict[str, str]:
    """Give the kind of every part, by its table."""
    kinds, section = {}, ""
    for line in body.splitlines():
        if line.startswith("["):
            section = line.partition("]")[0][1:]
        elif line.startswith("kind = "):
            kinds[section] = line.split('"')[1]
    return kinds


def _starter_lines(line: str, section: str, kinds: dict[str, str], named: str) -> list[str]:
    key = line.partition(" = ")[0]
    if line.startswith("# --- "):
        return [line, *_ADVICE.get(line.strip("# -"), ())]
    if section == "limits":
        about = "  # what you accept, in percent; taken as the proof after the work" if line.startswith("[") else ""
        return [f"# {line}{about}" if line else line]
    if section == "machine" and key in _MACHINE:
        return [_MACHINE[key](line, named)]
    hint = _hint(section, kinds.get(section, ""), key)
    if hint is None:
        return [line]
    bare = line.partition("  # ")[0].rstrip()
    return [f"{f'# {bare}  ':<26}# {hint}"]


def _title(line: str, _: str) -> str:
    said = line.split('"')[1].removeprefix("Invented ")
    return f'title = "{said[:1].upper()}{said[1:]}; nothing measured"'


_MACHINE: Final[dict[str, Callable[[str, str], str]]] = {
    "id": lambda _, named: f'id = "{named}"',
    "title": _title,
    "invented": lambda line, _: f"{line:<26}# write false when you describe a machine that exists",
}

_HINTS: Final = {
    # what kind it is, which key -> what to measure, with what, where
    ("tape", "thickness_um"): "a 60-minute cassette; 12 for 90 minutes, 9 for 120",
    ("tape", "hub_radius_mm"): "of the empty hub in the shell",
    ("tape", "full_radius_mm"): "of the full pack in the shell",
    ("motor", "speed_rpm"): "printed on the motor, or in its data sheet",
    ("motor", "commutator_segments"): "count them if the motor is ever open",
    ("pulley", "diameter_mm"): "caliper, where the belt runs: bottom of the groove, top of the crown",
    ("flywheel", "diameter_mm"): "caliper, across the belt track",
    ("flywheel", "inertia_kg_mm2"): "mass times half the squared radius of a disc; or leave it out",
    ("capstan", "diameter_mm"): "micrometer: a hundredth of a millimetre is half a percent of speed",
    ("pinch_roller", "diameter_mm"): "caliper, without squeezing the rubber",
    ("idler_tyre", "diameter_mm"): "caliper, over the rubber",
    ("reel_table", "diameter_mm"): "caliper, over the rim or the teeth that are driven",
    ("gear", "diameter_mm"): "only for the drawing; the teeth count",
    ("cam", "diameter_mm"): "only for the drawing where it has teeth",
    ("counter", "diameter_mm"): "caliper, of its pulley",
    ("", "teeth"): "count them: mark one with ink, go round",
    ("", "position_mm"): "x, y of the axis from a photo with a rule in it; one origin for all",
    ("belt", "width_mm"): "of the belt's section; a square belt has both alike",
    ("belt", "thickness_mm"): "caliper, without squeezing; the groove gives it when the belt is tar",
    ("belt", "length_mm"): "inside, lying slack; leave it out when the old belt has grown",
    ("", "force_gf"): "spring scale at the axle, pulled until it just lets go",
    ("clutch", "torque_gcm"): "torque cassette in play, or a hub, a tape end and a spring scale",
    ("drag", "torque_gcm"): "torque cassette, or a scale on a tape end: gf times radius in cm",
    ("brake", "torque_gcm"): "a scale on a tape end with the machine stopped: gf times radius in cm",
    ("", "ratio"): "turns of the driven for one of the driver: turn it by hand and count",
}  # fmt: skip
_NEVER_LEFT_OUT: Final = frozenset({"speed_mm_per_s", "speeds_mm_per_s", "timeout_s"})


def _hint(section: str, kind: str, key: str) -> str | None:
    """Give the advice on a size; None for a line that says what the machine is and not how large."""
    if key in _NEVER_LEFT_OUT:
        return None
    return _HINTS.get((kind or section, key), _HINTS.get(("", key)))


_INTRODUCTION: Final = """\
# A starter: {says}.
# It holds no size at all, and it works as it is: diagnosis needs none.
#
# How to use it
#   1. Give it a new id and title, and take out whatever your machine does not have. What one part is called in its
#      [brackets] is what it is called everywhere else: change it in every place.
#   2. Add sizes whenever the case is open anyway; each one makes the rates, the belt lengths and the margins sharper.
#      Take the "#" away from in front of a line and put your number in. The numbers that stand there are those of the
#      invented machine: they are no advice. The unit is part of the key: diameter_mm, speed_rpm.
#   3. If you are not sure of a number, say how far off it may be in a second line: diameter_mm_doubt = 0.2
#   4. Leave out what you do not know. A published range stands in for it, and the doubt grows accordingly.
#
# Mistakes are answered all together, each with its place and what to do.
"""

_ADVICE: Final = {
    "what turns": (
        "# kind      what it is. One of:",
        f"#           {', '.join(ROTOR_KINDS)}",
        "# on        whose shaft it sits on, when the shaft is not its own",
        '# sight     where it can be seen: "well" (lid open), "window", or "inside" (the case must come off)',
        "# says      what you call it, when the name in brackets is not that",
    ),
    "what couples": (
        f"# kind      one of: {', '.join(COUPLING_KINDS)}",
        "# path      a belt: every pulley in the order the belt runs, the driver first. Others: the driver, then the",
        "#           driven; a drag or a brake: the one it holds",
        "# switched  true when it is only engaged in the modes that list it below; a brake: in those in which it is on",
        "# by        what brings it in or lets it go, when that can fail by itself: a solenoid, the cam, head_base",
        "# through   levers on the way from there",
        "# a belt's length_mm may be added too: the inside length, lying slack",
    ),
    "what lets it run": (f"# kind      one of: {', '.join(SENSOR_KINDS)}",),
    "what the logic knows": (
        f"# kind      one of: {', '.join(SENSOR_KINDS)}",
        "# allows    modes that only start when it tells the truth",
        "# timeout_s how long the logic waits before it gives up; count it with a watch",
    ),
    "what runs, in which mode": (
        "# motors    those that are powered; the number is the share of their speed in play, minus the other way round",
        "# engaged   the switched couplings that are engaged. Of two nips the first sets the tape's speed",
    ),
}
