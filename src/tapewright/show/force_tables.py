"""What forces and sizes say, for a terminal: bench units, intervals, and the assumption each figure hangs on."""

from collections.abc import Iterable, Sequence

from tapewright.machine.all_forces import AllForces
from tapewright.machine.belt_sizes import BeltFrom
from tapewright.machine.figure import Figure
from tapewright.machine.near_size import WhatIf
from tapewright.machine.order import Match
from tapewright.machine.parts import Machine
from tapewright.machine.tension import TakeUp
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.said import mode_said, name_of
from tapewright.show.tables import margins_text
from tapewright.words.units import GCM_NM, GF_N, mm


def forces_text(machine: Machine, found: AllForces) -> str:
    """Set out everything that forces say, torques in g·cm, forces in gf.

    Arguments:
        machine: whose forces they are.
        found: from `machine.all_forces`.
    """
    pieces = [
        margins_text(machine, found.margins),
        _belts(machine, found),
        *(_take_up(machine, t) for t in found.take_up),
    ]
    pieces += [_pull(found), _winds(machine, found), _speed(machine, found), _filter(machine, found)]
    return "\n\n".join(piece for piece in pieces if piece)


def between(figure: Figure, scale: float = 1.0, unit: str = "") -> str:
    """Write a figure with its 95 % interval: the doubts are wide, and seldom even.

    >>> between(Figure(2.0, "N", 0.5, 1.4, 3.1, "friction"))
    '2 (1.4 to 3.1)'
    """
    shown = [f"{float(f'{value / scale:.2g}'):g}" for value in (figure.value, figure.low, figure.high)]
    return f"{shown[0]} ({shown[1]} to {shown[2]}){' ' + unit if unit else ''}"


def _belts(machine: Machine, found: AllForces) -> str:
    if not found.belts:
        return ""
    rows = [
        [name_of(machine, b.belt), between(b.strain, 0.01), between(b.at_rest, GF_N), between(b.tight, GF_N),
         between(b.slack, GF_N), name_of(machine, b.lets_go_at), between(b.creep)]
        for b in found.belts
    ]  # fmt: skip
    headings = ["belt", "stretch, %", "at rest, gf", "tight side", "slack side", "lets go first at", "creep, %"]
    return heading("Belts in play") + "\n" + table(headings, rows, right=[1, 2, 3, 4, 6])


def _take_up(machine: Machine, take_up: TakeUp) -> str:
    rows = [
        [place.where, f"{mm(place.radius_m):.1f}", between(place.torque, GCM_NM), between(place.tension, GF_N),
         between(place.spare, GCM_NM), "" if place.hold is None else between(place.hold)]
        for place in take_up.places
    ]  # fmt: skip
    headings = ["at the", "radius, mm", "torque, g·cm", "tension, gf", "spare, g·cm", "capstan holds, times"]
    title = f"Take-up {mode_said(take_up.mode)} at {take_up.speed_m_per_s * 1e3:.1f} mm/s: {take_up.verdict}"
    said = bullets(take_up.says) if take_up.says else ""
    return "\n".join(filter(None, [heading(title), table(headings, rows, right=[1, 2, 3, 4, 5]), said]))


def _pull(found: AllForces) -> str:
    if found.pull is None:
        return ""
    pull = found.pull
    said = (
        f"The roller presses with {between(pull.pinch, GF_N, 'gf')}; capstan and roller hold "
        f"{between(pull.limit, GF_N, 'gf')} and the tape asks for {between(pull.asked, GF_N, 'gf')}: "
        f"{between(pull.margin)} times. It hangs most on: {pull.margin.assumption}."
    )
    return heading("Pull at the capstan") + "\n" + paragraph(said)


def _winds(machine: Machine, found: AllForces) -> str:
    rows = [
        [mode_said(w.mode), w.cassette, w.works, "" if w.time is None else between(w.time),
         between(w.stall_tension, GF_N), name_of(machine, w.limited_by) if w.limited_by else ""]
        for w in found.winds
    ]  # fmt: skip
    headings = ["winding", "cassette", "", "seconds", "stalled at the hub, gf", "lets go first"]
    return heading("Winding") + "\n" + table(headings, rows, right=[3, 4]) if rows else ""


def _speed(machine: Machine, found: AllForces) -> str:
    said = [f"{name_of(machine, name)} runs down in {between(t, 1.0, 's')}" for name, t in found.spin_down.items()]
    if found.creep is not None:
        said.append(f"the belts lose {between(found.creep.total, 1.0, '%')} by creep")
    said += [
        f"10 µm of residue all round the {name_of(machine, name)} change the speed by {figure.value:+.2g} %"
        for name, figure in found.residue.items()
    ]
    thicknesses = [(name, figure.value) for name, figure in found.tape_thickness.items() if abs(figure.value) > 1e-6]
    said += [f"a {name} changes the speed by {value:+.2g} %" for name, value in thicknesses]
    return heading("Speed") + "\n" + bullets([one[0].upper() + one[1:] + "." for one in said]) if said else ""


def _filter(machine: Machine, found: AllForces) -> str:
    if found.filter is None:
        return ""
    swing = found.filter
    rows = [
        [line.line.replace("_", " ").replace(".", ", "), between(line.rate_hz), between(line.passed)]
        for line in swing.lines
    ]
    said = (
        f"The {name_of(machine, swing.flywheel)} swings on its belt at {between(swing.resonance)} a second; above "
        f"{between(swing.quiet_from)} less gets through than comes. It hangs most on: "
        f"{swing.resonance.assumption}."
    )
    shown = table(["line", "a second", "share that reaches the capstan"], rows, right=[1, 2]) if rows else ""
    return "\n".join(filter(None, [heading("Flywheel and belt as a filter"), paragraph(said), shown]))


# --- sizes ------------------------------------------------------------------------------------------------------------


def belts_from_text(machine: Machine, found: Iterable[BeltFrom]) -> str:
    """Set out belts sized from strings and old belts: what each road gives, and what to order."""
    pieces = []
    for belt in found:
        rows = [[r.road, r.says, f"{mm(r.length.value):.1f}", f"{mm(r.length.doubt):.1f}"] for r in belt.roads]
        pieces.append(
            heading(name_of(machine, belt.belt).capitalize())
            + "\n"
            + paragraph(belt.says)
            + "\n"
            + table(["from", "how", "inside length, mm", "doubt"], rows, right=[2, 3])
        )
    return "\n\n".join(pieces)


def what_if_text(machine: Machine, found: Sequence[WhatIf]) -> str:
    """Set out what near sizes would do, before they are ordered."""
    pieces = []
    for one in found:
        said = (
            f"Stretch {between(one.strain, 0.01, '%')}, tension {one.tension_ratio:.2g} times the usual one, tape "
            f"speed {one.tape_speed.value:+.2g} %, margin {one.margin.ratio.value:.2g} ({one.margin.low:.2g} to "
            f"{one.margin.high:.2g}) {mode_said(one.mode)}."
        )
        title = f"{name_of(machine, one.belt).capitalize()} of that size: {one.fits}"
        pieces.append("\n".join([heading(title), paragraph(said), bullets(one.reasons)]))
    return "\n\n".join(pieces)


def matches_text(machine: Machine, part: str, found: Sequence[Match]) -> str:
    """Set out the best three of the stock list for a part, with reasons."""
    title = heading(f"In stock for the {name_of(machine, part)}")
    if not found:
        return f"{title}\nNothing of that kind."
    lines = [f"{match.item.item}: {match.fits}. {' '.join(match.reasons)}" for match in found]
    return f"{title}\n{bullets(lines)}"
