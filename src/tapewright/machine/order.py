"""From what a machine needs and what the shop has: the best items in stock with reasons, and an order list to print."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tapewright.machine.belt_sizes import BeltFrom
from tapewright.machine.near_size import Fits, OtherDiameter, WhatIf, what_if, what_if_diameter
from tapewright.machine.parts import Machine, spoken
from tapewright.machine.sizes import Size, sizes
from tapewright.machine.stock import Item, Kind
from tapewright.machine.typical import is_flat, typical
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.units import mm


@dataclass(frozen=True, slots=True)
class Match:
    """A stocked item for a part.

    Arguments:
        item: the item.
        fits: in a word.
        penalty: what it costs in consequences, smaller is better: stretch off the usual, speed, grip, load.
        reasons: for and against it, a sentence each.
        consequences: what it would do.
    """

    item: Item
    fits: Fits
    penalty: float
    reasons: tuple[str, ...]
    consequences: WhatIf | OtherDiameter


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of an order list.

    Arguments:
        part: the machine's part.
        count: how many.
        what: size and kind, in words.
        source: the item in stock, or "to order", or "measure first".
        price: for one; None where not known.
        reasons: why this one.
    """

    part: str
    count: int
    what: str
    source: str
    price: float | None
    reasons: tuple[str, ...]


def matches(
    machine: Machine, part: str, stock: Sequence[Item], wanted: BeltFrom | None = None, best: int = 3
) -> tuple[Match, ...]:
    """Give the best items in stock for a part, by what each would do in this machine.

    Arguments:
        machine: as described.
        part: a belt, tyre or pinch roller of it.
        stock: from `read_stock`; what there is none of is passed over.
        wanted: the size from `belt_from`, where the pulleys' places are not described but a string was laid.
        best: how many at most.

    Returns:
        The best first; nothing where no item is of the right kind. One that does not fit is listed last, with why.

    Raises:
        InputAtFaultError: when the machine has no such part, or nobody knows what size it needs.
    """
    kinds = _kinds_for(machine, part)
    usable = [one for one in stock if one.kind in kinds and one.count != 0]
    found = [one for item in usable if (one := _match(machine, part, item, wanted)) is not None]
    order = ("fits", "makeshift", "does not fit")
    found.sort(key=lambda one: (order.index(one.fits), one.penalty, one.item.line))
    return tuple(found[:best])


def order_list(
    machine: Machine,
    parts: Sequence[str] | None = None,
    stock: Sequence[Item] = (),
    wanted: Sequence[BeltFrom] = (),
) -> tuple[OrderLine, ...]:
    """Give an order list: for each part the best item in stock, or the size to order.

    Arguments:
        machine: as described.
        parts: the parts to renew; None for every belt, tyre and roller.
        stock: the shop's list; nothing for a list of sizes only.
        wanted: sizes from `belt_from`, for the belts they are of.

    Raises:
        InputAtFaultError: when the machine has no such part.
    """
    known = {size.part: size for size in sizes(machine)}
    given = {one.belt: one for one in wanted}
    strange = [name for name in parts or () if name not in known]
    if strange:
        do = f"Valid here: {', '.join(known)}."
        raise InputAtFaultError(
            [Problem(name, "This is no belt, tyre or roller of the machine.", do) for name in strange]
        )
    return tuple(
        _order_line(machine, known[name], stock, given.get(name)) for name in (known if parts is None else parts)
    )


def order_text(machine: Machine, lines: Sequence[OrderLine]) -> str:
    """Set an order list out to print."""
    said = [f"Order list: {machine.title or machine.id}", ""]
    for line in lines:
        price = "" if line.price is None else f"   {line.price:.2f} each"
        said.append(f"[ ] {line.count} x {spoken(machine, line.part)}: {line.what}   ({line.source}){price}")
        said += [f"      {reason}" for reason in line.reasons]
    total = sum(line.count * line.price for line in lines if line.price is not None)
    if total:
        said += ["", f"From stock, together: {total:.2f}"]
    return "\n".join(said) + "\n"


# --- matching ---------------------------------------------------------------------------------------------------------


def _kinds_for(machine: Machine, part: str) -> tuple[Kind, ...]:
    coupling, rotor = machine.couplings.get(part), machine.rotors.get(part)
    if coupling is not None and coupling.kind == "belt":
        return ("flat belt",) if is_flat(machine, coupling) else ("square belt",)
    if rotor is not None and rotor.kind == "idler_tyre":
        return ("tyre",)
    if rotor is not None and rotor.kind == "pinch_roller":
        return ("roller",)
    raise InputAtFaultError(Problem(part, "This is no belt, tyre or roller of the machine.", "Name one of them."))


def _match(machine: Machine, part: str, item: Item, wanted: BeltFrom | None) -> Match | None:
    if item.kind in ("tyre", "roller"):
        if item.outer is None:
            return None
        described = machine.rotors[part].diameter
        if described is not None and not 0.5 < item.outer.value / described.value < 2:
            return None
        does = what_if_diameter(machine, part, item.outer.value)
        penalty = abs(does.reach_m) * 1e3 + abs(does.tape_speed)
        size = f"{mm(item.outer.value):g} mm against {mm(_outer(machine, part)):g} mm described."
        return Match(item, does.fits, penalty, (f"Outer diameter {size}", *does.reasons), does)
    if item.length is None:
        return None
    way_m = wanted.way if wanted else None
    if wanted is not None and way_m is None:
        # Only an old belt is known: the way is what a belt of that size would have been stretched to.
        way_m = _stretched(wanted)
    other = what_if(machine, part, item.length, item.section_m, way_m=way_m)
    return Match(item, other.fits, _penalty(machine, part, other), _reasons(item, other), other)


def _penalty(machine: Machine, part: str, other: WhatIf) -> float:
    """Weigh the consequences: one for a stretch 2 % off the usual, for 0.5 % of speed, for 1/2 of the grip missing."""
    flat = is_flat(machine, machine.couplings[part])
    usual = typical("belt_strain_flat" if flat else "belt_strain_square").value
    off = abs(other.strain.value - usual) / 0.02
    # A change that the doubt of the old belt's section hides counts for nothing against the new one.
    speed = max(abs(other.tape_speed.value) - other.tape_speed.doubt, 0.0) / 0.5
    grip = 2 * max(0.0, 1 - other.margin.low)
    return round(off + speed + grip + other.motor_load_share, 6)


def _reasons(item: Item, other: WhatIf) -> tuple[str, ...]:
    said = [
        f"Fitted {100 * other.strain.value:.1f} % stretched, {other.tension_ratio:.2g} times the tension as described.",
        f"Passes {other.margin.ratio.value:.1f} times what is asked in {other.mode.replace('_', ' ')} "
        f"({other.margin.low:.1f} to {other.margin.high:.1f}).",
    ]
    judged = any(one.startswith("The tape") for one in other.reasons)
    if abs(other.tape_speed.value) > 0.05 and not judged:
        way_off = "fast" if other.tape_speed.value > 0 else "slow"
        said.append(f"The tape would run {abs(other.tape_speed.value):.1f} % {way_off}, inside the limit.")
    if item.section_m is None:
        said.append("Its section is not stated.")
    return (*said, *other.reasons)


def _stretched(wanted: BeltFrom) -> Estimate:
    value = wanted.length.value * (1 + wanted.strain.value)
    return Estimate(value, value * wanted.length.relative_doubt, "derived")


def _outer(machine: Machine, part: str) -> float:
    found = machine.rotors[part].diameter
    assert found is not None
    return found.value


def _order_line(machine: Machine, size: Size, stock: Sequence[Item], wanted: BeltFrom | None) -> OrderLine:
    if wanted is not None:
        size = replace(size, length=wanted.length, says=wanted.says)
    known = size.length is not None or size.diameter is not None
    best: Sequence[Match] = matches(machine, size.part, stock, wanted, 1) if stock and known else ()
    if best and best[0].fits != "does not fit":
        found = best[0]
        source = f"in stock: {found.item.item}"
        return OrderLine(size.part, 1, _described(found.item), source, found.item.price, found.reasons)
    why = ("Nothing in stock fits.",) if stock and known else ()
    return OrderLine(size.part, 1, size.says.rstrip("."), "to order" if known else "measure first", None, why)


def _described(item: Item) -> str:
    if item.length is not None:
        section = f", {mm(item.section_m[0]):g} x {mm(item.section_m[1]):g} mm" if item.section_m else ""
        return f"{item.kind}, inside length {mm(item.length.value):.1f} mm{section}"
    outer = f", outer diameter {mm(item.outer.value):g} mm" if item.outer else ""
    return f"{item.kind}{outer}"
