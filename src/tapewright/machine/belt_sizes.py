"""Which belt to order: from a string, the old belt, the pulleys' places, or several of these held against each other.

Every road ends in the relaxed inside length. String and places give the way the belt takes; the belt is shorter by the
stretch it is fitted with: length = way / (1 + strain). An old belt has grown: length = old / (1 + growth).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal

from tapewright.machine.doubt import columns, estimate
from tapewright.machine.formulas import inside_diameter, lay_flat
from tapewright.machine.parts import Machine, sound, spoken
from tapewright.machine.running_belt import way
from tapewright.machine.typical import all_sizes, is_flat, typical
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.units import inches, mm, to_the_doubt

OldKind = Literal["inside length", "inside diameter", "lay-flat length"]
OLD_KINDS: Final[tuple[OldKind, ...]] = ("inside length", "inside diameter", "lay-flat length")
_TIMES: Final[dict[str, float]] = {"inside length": 1.0, "inside diameter": math.pi, "lay-flat length": 2.0}
STRING_DOUBT_M: Final = 2e-3
"""A string laid along the way, marked and pulled straight, is good to 2 mm; from memory."""
RULE_DOUBT_M: Final = 1e-3
"""A rule is good to 1 mm on what is laid along it; from memory."""
BELIEVED: Final = 0.05
"""A way that is not known to five percent is no size to order by: a belt is stretched by about as much."""
SMALLEST_M, LARGEST_M = 0.02, 3.0


@dataclass(frozen=True, slots=True)
class Road:
    """One road to a belt's length.

    Arguments:
        road: "string", "places", "old belt" or "described".
        measured: what was measured or worked out: the way, or the old belt's inside length, metres.
        length: the relaxed inside length that follows, metres.
        says: how, in a sentence.
    """

    road: Literal["string", "places", "old belt", "described"]
    measured: Estimate
    length: Estimate
    says: str


@dataclass(frozen=True, slots=True)
class BeltFrom:
    """A belt's size to order.

    Arguments:
        belt: its name.
        length: relaxed inside length, metres, from all roads by their doubts.
        diameter: inside diameter of the belt laid down as a circle, metres.
        lay_flat: length pressed flat, inside its folds, metres.
        way: length along the inside of the running belt, metres; None from an old belt alone.
        strain: the stretch it is to be fitted with, a share.
        roads: what each road gives.
        disagreements: roads that lie further apart than their doubts allow, a sentence each.
        says: a sentence to order by.
    """

    belt: str
    length: Estimate
    diameter: Estimate
    lay_flat: Estimate
    way: Estimate | None
    strain: Estimate
    roads: tuple[Road, ...]
    disagreements: tuple[str, ...]
    says: str


def inside_length(measured: Estimate, kind: str, where: str = "old belt") -> Estimate:
    """Turn any of the three ways to state a belt's size into its inside length, metres.

    Arguments:
        measured: the size as stated, metres.
        kind: one of `OLD_KINDS`.
        where: what to call it in a Problem.

    Raises:
        InputAtFaultError: for another kind.

    >>> round(inside_length(Estimate(0.130), "inside diameter").value, 4)
    0.4084
    """
    if kind not in _TIMES:
        found = f'"{kind}" is not a way to state a belt\'s size.'
        raise InputAtFaultError(Problem(where, found, f"Valid here: {', '.join(OLD_KINDS)}."))
    return Estimate(measured.value * _TIMES[kind], measured.doubt * _TIMES[kind], measured.basis)


def usual_strain(flat: bool) -> Estimate:
    """Give the stretch a belt is usually fitted with: 0.04 flat, 0.06 square, a share with its doubt."""
    return typical("belt_strain_flat" if flat else "belt_strain_square")


def belt_from(
    machine: Machine,
    belt: str,
    string: Estimate | None = None,
    old: Estimate | None = None,
    old_kind: str = "inside length",
) -> BeltFrom:
    """Give a belt's size from every road there is.

    Arguments:
        machine: as described; what is wrong with a part plays no role.
        belt: its name.
        string: a string laid along the belt's way, slack but touching, metres; a doubt of 0 means that of a string.
        old: the old belt, metres; a doubt of 0 means that of a rule.
        old_kind: how `old` is stated, one of `OLD_KINDS`.

    Raises:
        InputAtFaultError: when the machine has no such belt, a size cannot be meant, or no road leads to a length.

    >>> from tapewright.machine.library import shipped
    >>> found = belt_from(shipped("four_track_starter"), "capstan_belt", string=Estimate(0.2586))
    >>> round(found.length.value, 4), found.says
    (0.2487, 'Order inside length 249 mm ± 6.3 (9.79 in; inside diameter 79.1 mm; lay-flat 124.3 mm).')
    """
    machine = sound(machine)
    one = machine.couplings.get(belt)
    if one is None or one.kind != "belt":
        known = [name for name, other in machine.couplings.items() if other.kind == "belt"]
        raise InputAtFaultError(Problem(belt, "This machine has no such belt.", f"Its belts: {', '.join(known)}."))
    described = one.length if one.length and one.length.basis == "described" else None
    found = belt_from_sizes(
        is_flat(machine, one), string, old, old_kind, _way_by_places(machine, belt), described, spoken(machine, belt)
    )
    return BeltFrom(belt, *(getattr(found, name) for name in _REST))


def belt_from_sizes(
    flat: bool,
    string: Estimate | None = None,
    old: Estimate | None = None,
    old_kind: str = "inside length",
    places: Estimate | None = None,
    described: Estimate | None = None,
    belt: str = "belt",
) -> BeltFrom:
    """Give a belt's size without a machine.

    Arguments:
        flat: True for a flat belt, False for a square or round one.
        string: a string laid along the way, metres.
        old: the old belt, metres.
        old_kind: how `old` is stated.
        places: the way worked out from the pulleys' places, metres.
        described: the relaxed inside length a sound belt was described with, metres.
        belt: what to call it.

    Raises:
        InputAtFaultError: when a size cannot be meant, or nothing is given.
    """
    strain = usual_strain(flat)
    if old is not None:
        old = inside_length(_with_doubt(old, RULE_DOUBT_M), old_kind, f"{belt}, old belt")
    if string is not None:
        string = _with_doubt(string, STRING_DOUBT_M)
    _check(belt, string, old)
    ways = [("string", string)] if string else []
    ways += [("places", places)] if places else []
    roads = [_from_way(name, one, strain) for name, one in ways]
    roads += [_from_old(old)] if old else []
    roads += [Road("described", described, described, "as described")] if described else []
    if not roads:
        do = f"Lay a string along its way, or measure the old belt. Divide the string by {1 + strain.value:.2f}."
        raise InputAtFaultError(Problem(belt, "Nothing that is known leads to this belt's length.", do))
    way_m = combined([one for _, one in ways]) if ways else None
    # String and places share the same stretch, so they are joined as ways before they are stretched.
    lengths = [_over(way_m, strain)] if way_m else []
    lengths += [road.length for road in roads if road.road in ("old belt", "described")]
    length = combined(lengths)
    apart = _disagreements(roads)
    diameter, flat_m = _times(length, inside_diameter(1.0)), _times(length, lay_flat(1.0))
    says = _says(length) + (f" {' '.join(apart)}" if apart else "")
    return BeltFrom(belt, length, diameter, flat_m, way_m, strain, tuple(roads), apart, says)


_REST: Final = ("length", "diameter", "lay_flat", "way", "strain", "roads", "disagreements", "says")


def combined(found: Sequence[Estimate]) -> Estimate:
    """Join several estimates of one size, each weighed by its doubt; further apart than those, the doubt grows.

    Source: the weighted mean, with its doubt multiplied by the square root of chi² over the degrees of freedom where
    that is above one.

    >>> combined([Estimate(1.0, 0.1), Estimate(1.2, 0.1)])
    Estimate(value=1.1, doubt=0.2, basis='derived')
    """
    if len(found) == 1:
        return found[0]
    weights = [1 / max(one.doubt, 1e-9) ** 2 for one in found]
    total = sum(weights)
    value = sum(w * one.value for w, one in zip(weights, found, strict=True)) / total
    # The doubts are of 95 %, twice the deviations that chi² counts in.
    chi2 = sum(w * 4 * (one.value - value) ** 2 for w, one in zip(weights, found, strict=True))
    spread = max(1.0, math.sqrt(chi2 / (len(found) - 1)))
    return Estimate(round(value, 12), round(spread / math.sqrt(total), 12), "derived")


def _way_by_places(machine: Machine, belt: str) -> Estimate | None:
    table = columns(all_sizes(machine))
    along = way(machine, machine.couplings[belt], table)
    if along is None:
        return None
    found = estimate(along.length_m, table)
    return found if found.relative_doubt <= BELIEVED else None


def _with_doubt(size: Estimate, usual_m: float) -> Estimate:
    return size if size.doubt > 0 else Estimate(size.value, usual_m, size.basis)


def _check(belt: str, string: Estimate | None, old: Estimate | None) -> None:
    problems = []
    for what, size in (("string", string), ("old belt", old)):
        if size is not None and not SMALLEST_M <= size.value <= LARGEST_M:
            found = f"{mm(size.value):g} mm lies outside {mm(SMALLEST_M):g} to {mm(LARGEST_M):g} mm of inside length."
            problems.append(Problem(f"{belt}, {what}", found, "Check the number and its unit."))
    if problems:
        raise InputAtFaultError(problems)


def _over(size: Estimate, more: Estimate) -> Estimate:
    """Divide a size by 1 + a share, doubts included."""
    value = size.value / (1 + more.value)
    relative = math.hypot(size.doubt / size.value, more.doubt / (1 + more.value))
    return Estimate(value, value * relative, "typical")


def _from_way(name: str, size: Estimate, strain: Estimate) -> Road:
    said = "string" if name == "string" else "way round the pulleys' places"
    says = f"{said} {_in_mm(size)}, over {1 + strain.value:.2f} for the stretch"
    return Road("string" if name == "string" else "places", size, _over(size, strain), says)


def _from_old(old: Estimate) -> Road:
    growth = typical("belt_growth")
    says = f"old belt {_in_mm(old)} inside, over {1 + growth.value:.2f} for what it has grown (4 to 20 %)"
    return Road("old belt", old, _over(old, growth), says)


def _disagreements(roads: Sequence[Road]) -> tuple[str, ...]:
    said = []
    for one, other in combinations(roads, 2):
        # String and places are compared as ways: they share one stretch, which cannot excuse them.
        shared = {one.road, other.road} == {"string", "places"}
        a, b = (one.measured, other.measured) if shared else (one.length, other.length)
        if abs(a.value - b.value) <= math.hypot(a.doubt, b.doubt):
            continue
        what = "ways" if shared else "inside lengths"
        said.append(
            f"{_capital(one.road)} and {other.road} disagree: {what} {_in_mm(a)} and {_in_mm(b)}; measure again."
        )
    return tuple(said)


def _times(size: Estimate, factor: object) -> Estimate:
    number = float(factor)  # type: ignore[arg-type]
    return Estimate(size.value * number, size.doubt * number, size.basis)


def _in_mm(size: Estimate) -> str:
    return f"{to_the_doubt(mm(size.value), mm(size.doubt) * 10)} mm ± {mm(size.doubt):.2g}"


def _says(length: Estimate) -> str:
    value = length.value
    return (
        f"Order inside length {_in_mm(length)} ({inches(value):.2f} in; inside diameter "
        f"{mm(float(inside_diameter(value))):.1f} mm; lay-flat {mm(float(lay_flat(value))):.1f} mm)."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
