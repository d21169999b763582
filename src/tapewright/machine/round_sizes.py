"""Sections by the groove, tyres by what they sit on, pinch rollers: the sizes to order beside a belt's length."""

from dataclasses import dataclass
from typing import Final

from tapewright.machine.parts import Machine, Rotor, spoken
from tapewright.machine.typical import is_flat, typical
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.units import mm, to_the_doubt

GROOVE_TO_SECTION: Final = 4.0
"""A seal maker's guide asks for a groove diameter of at least four sections; six are comfortable."""
COMFORTABLE: Final = 6.0
TAPE_WIDTH_M: Final = 3.81e-3
FLANGE_ROOM_M: Final = 0.5e-3
"""A flat belt as wide as its track climbs the flange; half a millimetre of room, from memory."""


@dataclass(frozen=True, slots=True)
class Section:
    """A belt's section by the grooves it runs in.

    Arguments:
        belt: its name.
        width: across, metres.
        thickness: metres.
        thickest_m: the thickest that the smallest pulley allows, metres; None where no diameter is known.
        smallest: that pulley; empty where none is known.
        says: a sentence.
    """

    belt: str
    width: Estimate
    thickness: Estimate
    thickest_m: float | None
    smallest: str
    says: str


@dataclass(frozen=True, slots=True)
class Round:
    """A tyre or a pinch roller to order.

    Arguments:
        part: the rotor's name.
        what: "tyre" or "roller".
        outer: outer diameter when new, metres; None where it has to be measured.
        inner: inner diameter relaxed (tyre) or bore (roller), metres; None likewise.
        width: metres.
        says: sentences to order or measure by.
        warns: what does not fit together.
    """

    part: str
    what: str
    outer: Estimate | None
    inner: Estimate | None
    width: Estimate
    says: str
    warns: tuple[str, ...] = ()


def section_by_groove(machine: Machine, belt: str, groove_width_m: float | None = None) -> Section:
    """Give a belt's section from its grooves: the described one checked, else the groove's width, else what is usual.

    Arguments:
        machine: as described.
        belt: its name.
        groove_width_m: width of the narrowest groove (square) or track (flat), metres; None when not measured.

    Raises:
        InputAtFaultError: when the machine has no such belt.

    >>> from tapewright.machine.library import shipped
    >>> section_by_groove(shipped("four_track"), "cam_belt").says
    'Section 1.2 x 1.2 mm; the smallest groove, 6.0 mm at the cam pulley, takes up to 1.5 mm.'
    """
    one = machine.couplings.get(belt)
    if one is None or one.kind != "belt":
        raise InputAtFaultError(Problem(belt, "This machine has no such belt.", "Name one of its belts."))
    flat = is_flat(machine, one)
    known = {name: size for name in one.path if (size := machine.rotors[name].diameter) is not None}
    smallest = min(known, key=lambda name: known[name].value) if known else ""
    thickest = known[smallest].value / GROOVE_TO_SECTION if smallest else None
    if one.section_m is not None:
        width, thickness = Estimate(one.section_m[0]), Estimate(one.section_m[1])
    elif groove_width_m is not None and flat:
        width, thickness = Estimate(groove_width_m - FLANGE_ROOM_M, 2e-4), typical("belt_flat_thickness")
    elif groove_width_m is not None:
        width = thickness = Estimate(groove_width_m, 1e-4)
    else:
        width = typical("belt_flat_width" if flat else "belt_square_side")
        thickness = typical("belt_flat_thickness" if flat else "belt_square_side")
    return Section(belt, width, thickness, thickest, smallest, _section_says(machine, width, thickness, smallest))


def tyre_size(
    machine: Machine, rotor: str, groove: Estimate | None = None, outer: Estimate | None = None,
    width: Estimate | None = None,
) -> Round:  # fmt: skip
    """Give a tyre to order: outer diameter, inner diameter relaxed (3 to 8 % under its groove), width.

    Arguments:
        machine: as described.
        rotor: the idler tyre's name.
        groove: diameter under the rubber, measured, metres.
        outer: over the old rubber, measured, metres; wear makes it small. None: as described.
        width: of the groove, metres.

    Raises:
        InputAtFaultError: when the machine has no such tyre.
    """
    found = _rotor(machine, rotor, "idler_tyre")
    under = typical("tyre_under_groove")
    inner = None
    if groove is not None:
        inner = Estimate(groove.value * (1 - under.value), groove.value * under.doubt + groove.doubt, "typical")
    over = outer or found.diameter
    across = width or typical("idler_tyre_width")
    warns = []
    if groove is not None and over is not None and over.value <= groove.value:
        warns.append("The rubber would be thinner than nothing: groove and outer diameter cannot both be right.")
    said = [f"Tyre of the {spoken(machine, rotor)}:"]
    said.append(f"outer diameter {_mm(over)};" if over else "measure the outer diameter over the least worn rubber;")
    said.append(f"inner diameter {_mm(inner)} relaxed;" if inner else "measure the groove under it;")
    said.append(f"width {_mm(across)}.")
    said.append("Its outer diameter does not change the speed of the reel; it changes how far the arm has to swing.")
    return Round(rotor, "tyre", over, inner, across, " ".join(said), tuple(warns))


def roller_size(
    machine: Machine, rotor: str, outer: Estimate | None = None, width: Estimate | None = None,
    bore: Estimate | None = None,
) -> Round:  # fmt: skip
    """Give a pinch roller to order: outer diameter, width over the tape's, bore.

    Arguments:
        machine: as described.
        rotor: the pinch roller's name.
        outer: measured where the tape does not run, metres. None: as described.
        width: of the rubber, metres.
        bore: of the shaft it turns on, metres.

    Raises:
        InputAtFaultError: when the machine has no such roller.
    """
    found = _rotor(machine, rotor, "pinch_roller")
    over, across = outer or found.diameter, width or typical("pinch_roller_width")
    warns = []
    if across.value <= TAPE_WIDTH_M:
        warns.append(f"A roller {mm(across.value):.2f} mm wide does not cover the tape's {mm(TAPE_WIDTH_M):.2f} mm.")
    said = [f"{spoken(machine, rotor).capitalize()}:"]
    said.append(f"outer diameter {_mm(over)};" if over else "measure the outer diameter beside the tape's track;")
    said.append(f"width {_mm(across)};")
    said.append(f"bore {_mm(bore)}." if bore else "measure its shaft for the bore (usually 1.5 to 3 mm, from memory).")
    said.append("Its diameter does not change the tape's speed; it changes how hard its spring presses.")
    return Round(rotor, "roller", over, bore, across, " ".join(said), tuple(warns))


def _rotor(machine: Machine, name: str, kind: str) -> Rotor:
    found = machine.rotors.get(name)
    if found is None or found.kind != kind:
        what = kind.replace("_", " ")
        known = ", ".join(one for one, rotor in machine.rotors.items() if rotor.kind == kind) or "it has none"
        raise InputAtFaultError(Problem(name, f"This machine has no such {what}.", f"Valid here: {known}."))
    return found


def _section_says(machine: Machine, width: Estimate, thickness: Estimate, smallest: str) -> str:
    said = f"Section {mm(width.value):.1f} x {mm(thickness.value):.1f} mm"
    if not smallest:
        return f"{said}; measure the smallest groove: its diameter should be at least four sections."
    size = machine.rotors[smallest].diameter
    assert size is not None
    most = size.value / GROOVE_TO_SECTION
    where = f"{mm(size.value):.1f} mm at the {spoken(machine, smallest)}"
    if thickness.value > most:
        return f"{said} is too thick: the smallest groove, {where}, takes up to {mm(most):.1f} mm."
    return f"{said}; the smallest groove, {where}, takes up to {mm(most):.1f} mm."


def _mm(size: Estimate) -> str:
    value = to_the_doubt(mm(size.value), mm(size.doubt)) if size.doubt else f"{mm(size.value):g}"
    return f"{value} mm" + (f" ± {to_the_doubt(mm(size.doubt), mm(size.doubt))}" if size.doubt else "")
