"""Sizes to order, from what was measured on the bench and what the shop has."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tapewright.machine.belt_sizes import OLD_KINDS, BeltFrom, belt_from
from tapewright.machine.near_size import WhatIf, what_if
from tapewright.machine.order import Match, OrderLine, matches, order_list
from tapewright.machine.parts import Machine
from tapewright.machine.sizes import Size, sizes
from tapewright.machine.stock import Item, read_stock
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.units import parse_length_m

BEST: Final = 3


@dataclass(frozen=True, slots=True)
class Sizing:
    """What to order, and why.

    Arguments:
        sizes: of every belt, tyre and roller, as the description gives them.
        belts: those sized from a string or an old belt.
        near: what near sizes would do.
        stock: for each part, the best in stock; empty without a stock list.
        order: a line for each part.
    """

    sizes: tuple[Size, ...]
    belts: tuple[BeltFrom, ...]
    near: tuple[WhatIf, ...]
    stock: dict[str, tuple[Match, ...]]
    order: tuple[OrderLine, ...]


def sizing(
    machine: Machine,
    strings: Sequence[str] = (),
    old: Sequence[str] = (),
    near: Sequence[str] = (),
    stock: Path | None = None,
) -> Sizing:
    """Work out what to order.

    Arguments:
        machine: as described.
        strings: `BELT=LENGTH`: a string laid along each belt's way; a bare number is millimetres.
        old: `BELT=LENGTH[:KIND]`: the old belts.
        near: `BELT=LENGTH[,WIDTHxTHICKNESS]`: near sizes to be judged.
        stock: the shop's stock list, CSV.

    Raises:
        InputAtFaultError: for words that cannot be read, parts the machine does not have, a stock list with mistakes.
    """
    by_string = dict(_pair(text, "--string") for text in strings)
    by_old = dict(_pair(text, "--old") for text in old)
    belts = tuple(
        _belt(machine, name, by_string.get(name), by_old.get(name)) for name in dict.fromkeys((*by_string, *by_old))
    )
    sized = {one.belt: one for one in belts}
    items = read_stock(str(stock)) if stock is not None else ()
    known = sizes(machine)
    return Sizing(
        known,
        belts,
        tuple(_near(machine, text, sized) for text in near),
        {} if stock is None else {size.part: _best(machine, size.part, items, sized) for size in known},
        order_list(machine, None, items, belts),
    )


def _pair(text: str, option: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip() or not value.strip():
        do = "Write for instance capstan_belt=258.5 or capstan_belt='10.2 in'."
        raise InputAtFaultError(Problem(f"{option} {text}", "is not BELT=LENGTH.", do))
    return name.strip(), value.strip()


def _belt(machine: Machine, name: str, string: str | None, old: str | None) -> BeltFrom:
    laid = None if string is None else Estimate(parse_length_m(string, f"--string {name}"))
    if old is None:
        return belt_from(machine, name, laid)
    size, _, kind = old.partition(":")
    kind = kind.strip() or "inside length"
    if kind not in OLD_KINDS:
        do = f"Known kinds: {', '.join(OLD_KINDS)}."
        raise InputAtFaultError(Problem(f"--old {name}", f"names the kind {kind!r}.", do))
    return belt_from(machine, name, laid, Estimate(parse_length_m(size, f"--old {name}")), kind)


def _near(machine: Machine, text: str, sized: dict[str, BeltFrom]) -> WhatIf:
    name, value = _pair(text, "--near")
    length, _, section = value.partition(",")
    where = f"--near {name}"
    width, _, thickness = section.partition("x")
    section_m = None
    if section:
        section_m = (parse_length_m(width, where), parse_length_m(thickness or width, where))
    way = sized[name].way if name in sized else None
    return what_if(machine, name, Estimate(parse_length_m(length, where)), section_m, way_m=way)


def _best(machine: Machine, part: str, items: Sequence[Item], sized: dict[str, BeltFrom]) -> tuple[Match, ...]:
    """Give the best items for a part; nothing where nobody knows yet what size it needs."""
    try:
        return matches(machine, part, items, sized.get(part), BEST)
    except InputAtFaultError:
        return ()
