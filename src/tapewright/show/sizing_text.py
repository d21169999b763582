"""What to order, for a terminal."""

from collections.abc import Mapping, Sequence
from typing import Protocol

from tapewright.machine.belt_sizes import BeltFrom
from tapewright.machine.near_size import WhatIf
from tapewright.machine.order import Match, OrderLine, order_text
from tapewright.machine.parts import Machine
from tapewright.machine.sizes import Size
from tapewright.show.columns import kept_within
from tapewright.show.force_tables import belts_from_text, matches_text, what_if_text
from tapewright.show.tables import sizes_text


class Sized(Protocol):
    """What is shown: sizes, belts measured on the bench, near sizes, stock, an order list."""

    @property
    def sizes(self) -> tuple[Size, ...]:
        """Give every size the description leads to."""

    @property
    def belts(self) -> tuple[BeltFrom, ...]:
        """Give belts sized from a string or an old belt."""

    @property
    def near(self) -> tuple[WhatIf, ...]:
        """Give what near sizes would do."""

    @property
    def stock(self) -> Mapping[str, Sequence[Match]]:
        """Give the best in stock, part by part."""

    @property
    def order(self) -> tuple[OrderLine, ...]:
        """Give the order list."""


def sizing_text(machine: Machine, found: Sized) -> str:
    """Set out what to order, and why.

    Arguments:
        machine: whose parts they are.
        found: from `jobs.sizing`.
    """
    pieces = [sizes_text(machine, found.sizes)]
    pieces += [belts_from_text(machine, found.belts)] if found.belts else []
    pieces += [what_if_text(machine, found.near)] if found.near else []
    pieces += [matches_text(machine, part, best) for part, best in found.stock.items()]
    if found.belts or found.stock:
        pieces.append(kept_within(order_text(machine, found.order)))
    return "\n\n".join(pieces)
