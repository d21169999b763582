"""Whose a line is, what share of the reading it has, what happened once, which orders stand over the tape: in words."""

from collections.abc import Sequence

import numpy as np

from tapewright.machine.parts import Machine
from tapewright.show.said import name_of, percent, with_doubt
from tapewright.words.findings import BudgetItem, Rival
from tapewright.words.signal import OrderPicture, SpeedEvent

ORDERS: tuple[float, ...] = (0.25, 0.5, 1.0, 2.0, 3.0, 4.0)
"""Orders of the table that stands in for the picture of orders."""
ROWS = 12
ONCE = (
    "These happened once, or now and then, and keep no rate: no line, and blamed on no part. Noise alone shows one in "
    "about one recording in a hundred."
)


def whose_line(item: BudgetItem, machine: Machine | None) -> str:
    """Say which part makes a line, at which harmonic, and which other part may; a line that is nobody's is said to be.

    >>> whose_line(BudgetItem("takeup_reel", 2, 0.8, 0.1, 0.01, 0.5, (Rival("supply_reel", 2, 0.5, False),)), None)
    'takeup reel, 2 times its rate, or supply reel, 2 times its rate (50 %): not to be told apart'
    """
    close = [rival for rival in item.rivals if not rival.told_apart]
    others = [rival for rival in item.rivals if rival.told_apart and rival.order]
    if not item.order:
        said = "? no part explains it"
    else:
        said = _ordered(item, machine)
        if item.shaft_mates:
            said += f" (on one shaft with {', '.join(name_of(machine, mate) for mate in item.shaft_mates)})"
    if close:
        named = ", or ".join(f"{_ordered(rival, machine)} ({percent(rival.probability)})" for rival in close)
        return f"{said}, or {named}: not to be told apart"
    if others:
        return f"{said}; else {_ordered(others[0], machine)} ({percent(others[0].probability)})"
    return said


def short_name(item: BudgetItem, machine: Machine | None) -> str:
    """Name a line's part on a chart: both, where they are not to be told apart."""
    if not item.order:
        return "?"
    close: list[BudgetItem | Rival] = [rival for rival in item.rivals if not rival.told_apart]
    both = [item, *close[:1]]
    times = ("" if one.order == 1 else f" ×{one.order}" for one in both)
    return " or ".join(f"{name_of(machine, one.part)}{more}" for one, more in zip(both, times, strict=True))


def _ordered(one: BudgetItem | Rival, machine: Machine | None) -> str:
    times = "" if one.order == 1 else f", {one.order} times its rate"
    return f"{name_of(machine, one.part)}{times}"


def share_said(item: BudgetItem) -> str:
    """Write a line's share of the weighted reading's power.

    >>> share_said(BudgetItem("capstan", 1, 12.0, 0.1, 0.01, 0.9, share=0.314))
    '31 %'
    """
    return "" if item.share is None else percent(item.share)


def left_said(in_no_line: float | None) -> str:
    """Say what of the weighted reading is in no line; nothing where that is not known."""
    if in_no_line is None:
        return ""
    return f"Of the weighted reading's power {percent(in_no_line)} is in no line: noise, wander, what happens once."


def event_rows(events: Sequence[SpeedEvent]) -> list[tuple[str, str, str, str]]:
    """Give time, length, depth and kind of each event.

    >>> event_rows([SpeedEvent(12.34, 0.16, -0.82, 0.1, 1e-9, "dip")])
    [('12.3 s', '0.16 s', '-0.82 ± 0.10 %', 'dip')]
    """
    return [
        (
            f"{one.time_s:.1f} s",
            f"{one.lasts_s:.2f} s",
            with_doubt(one.depth_pct, one.doubt_pct, "%", sign=True),
            one.kind,
        )
        for one in events
    ]


def order_rows(found: OrderPicture) -> list[tuple[str, ...]]:
    """Give the size at some orders, stretch by stretch; of many stretches the mean power of neighbours.

    Returns:
        Rows: the time, then one size for each of `orders_shown`.
    """
    columns = [int(np.argmin(np.abs(found.orders - order))) for order in orders_shown(found)]
    rows = []
    for piece in np.array_split(np.arange(len(found.times_s)), min(ROWS, len(found.times_s))):
        held = found.peak_pct[piece][:, columns]
        there = held[np.isfinite(held).all(axis=1)]
        sizes = np.sqrt(np.mean(there**2, axis=0)) if len(there) else None
        said = ["left out"] * len(columns) if sizes is None else [f"{size:.3f}" for size in sizes]
        tape = f", {float(found.tape_m[piece].mean()):.2f} m" if len(found.tape_m) else ""
        rows.append((f"{float(found.times_s[piece].mean()):.0f} s{tape}", *said))
    return rows


def orders_shown(found: OrderPicture) -> list[float]:
    """Give the orders of that table which the picture has."""
    return [order for order in ORDERS if order <= float(found.orders[-1])]
