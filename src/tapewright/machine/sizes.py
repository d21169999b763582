"""The questions backwards: which belt, which tyre, which roller; and how to measure what is not known."""

from collections.abc import Iterator
from dataclasses import dataclass

from tapewright.machine.belt_sizes import BELIEVED
from tapewright.machine.doubt import Columns, columns, estimate
from tapewright.machine.formulas import inside_diameter, lay_flat, relaxed_length
from tapewright.machine.parts import Coupling, Machine, sound, spoken
from tapewright.machine.running_belt import way
from tapewright.machine.typical import all_sizes, is_flat, typical
from tapewright.words.estimate import Estimate
from tapewright.words.units import mm, to_the_doubt


@dataclass(frozen=True, slots=True)
class Size:
    """What to order for one part, and how sure that is.

    Arguments:
        part: the belt's or rotor's name.
        what: "belt", "tyre" or "roller".
        says: a sentence for ordering, or how to measure.
        length: a belt's relaxed inside length, metres; None when it has to be measured.
        path: length along the inside of the running belt, metres; None when it has to be measured.
        width: across, metres; None when it has to be measured.
        thickness: of a belt, metres; None when it has to be measured.
        diameter: outer diameter of a tyre or roller, metres; None when it has to be measured.
        inside_diameter: of a belt laid down as a circle, metres; None when it has to be measured.
        lay_flat: length of a belt pressed flat, inside its folds, metres; None when it has to be measured.
    """

    part: str
    what: str
    says: str
    length: Estimate | None = None
    path: Estimate | None = None
    width: Estimate | None = None
    thickness: Estimate | None = None
    diameter: Estimate | None = None
    inside_diameter: Estimate | None = None
    lay_flat: Estimate | None = None


def sizes(machine: Machine) -> tuple[Size, ...]:
    """Give what to order for every belt, tyre and pinch roller, in the order of the description.

    Arguments:
        machine: as described; what is wrong with a part plays no role, since what is ordered is a sound one.

    >>> from tapewright.machine.library import shipped
    >>> [size.part for size in sizes(shipped("four_track")) if size.what == "belt"]
    ['capstan_belt', 'cam_belt', 'counter_belt']
    """
    machine = sound(machine)
    table = columns(all_sizes(machine))
    belts = (belt_size(machine, one, table) for one in machine.couplings.values() if one.kind == "belt")
    return (*belts, *_round_ones(machine))


def belt_size(machine: Machine, belt: Coupling, table: Columns) -> Size:
    """Give what to order for one belt.

    The length a sound belt was described with wins; else the path over 1 + strain, 0.06 square and 0.04 flat; the doubt
    of the length is that of the path and of the usual strain.
    """
    path = _path(machine, belt, table)
    length = belt.length
    if length is None and path is not None:
        along = way(machine, belt, table)
        assert along is not None
        length = estimate(relaxed_length(along.length_m, table[f"{belt.name}.strain"]), table)  # type: ignore[arg-type]
    width, thickness = None, None
    if belt.section_m is not None:
        width, thickness = Estimate(belt.section_m[0]), Estimate(belt.section_m[1])
    says = _belt_says(machine, belt, length, width, thickness)
    circle, flat = _part_of(length, float(inside_diameter(1.0))), _part_of(length, float(lay_flat(1.0)))
    return Size(belt.name, "belt", says, length, path, width, thickness, None, circle, flat)


def _part_of(size: Estimate | None, factor: float) -> Estimate | None:
    return size and Estimate(size.value * factor, size.doubt * factor, size.basis)


def _path(machine: Machine, belt: Coupling, table: Columns) -> Estimate | None:
    along = way(machine, belt, table)
    if along is None:
        return None
    path = estimate(along.length_m, table)
    return path if path.relative_doubt <= BELIEVED else None


def _belt_says(
    machine: Machine,
    belt: Coupling,
    length: Estimate | None,
    width: Estimate | None,
    thickness: Estimate | None,
) -> str:
    flat = is_flat(machine, belt)
    stretch = 1 + typical("belt_strain_flat" if flat else "belt_strain_square").value
    if length is None:
        first = f"Lay a string along the way of the belt, slack but touching: inside length = string / {stretch:.2f}"
    else:
        first = f"Inside length {_with_doubt(length)}"
    if width is None or thickness is None:
        return f"{first}; measure the section on the old belt where it is least worn, or the width of the groove."
    shape = f"{'flat' if flat else 'section'} {mm(width.value):.1f} x {mm(thickness.value):.1f} mm"
    measured = length is not None and length.basis == "described"
    return f"{first}, {shape}." if measured else f"{first}, {shape}; measure before ordering."


def _with_doubt(size: Estimate) -> str:
    value, doubt = mm(size.value), mm(size.doubt)
    return f"{to_the_doubt(value, doubt * 10)} mm ± {doubt:.2g}"


def _round_ones(machine: Machine) -> Iterator[Size]:
    for rotor in machine.rotors.values():
        if rotor.kind not in ("idler_tyre", "pinch_roller"):
            continue
        what = "tyre" if rotor.kind == "idler_tyre" else "roller"
        usual = typical("idler_tyre_width" if what == "tyre" else "pinch_roller_width")
        if rotor.diameter is None:
            yield Size(rotor.name, what, _to_measure(machine, rotor.name, what))
            continue
        more = "groove diameter, width" if what == "tyre" else "width, bore"
        says = f"Outer diameter {_with_doubt(rotor.diameter)} when new; measure its {more} before ordering"
        says += f" (width is usually {mm(usual.value):g} mm)."
        yield Size(rotor.name, what, says, diameter=rotor.diameter)


def _to_measure(machine: Machine, name: str, what: str) -> str:
    said = spoken(machine, name)
    if what == "tyre":
        return (
            f"Measure the {said} over the rubber with a caliper that does not dent it, its width, and the groove "
            "under it: a fitted tyre is 3 to 8 % smaller inside than its groove (from memory). Add what wear has taken."
        )
    return (
        f"Measure the {said} over the rubber where the tape does not run, its width, and the shaft it turns on; "
        "the width exceeds the tape's 3.81 mm."
    )
