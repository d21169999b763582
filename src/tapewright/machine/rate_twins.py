"""Which parts cannot be told apart by how often they come round, and which harmonics fall on each other.

A steady line in a recording names a part only as far as no other part comes round as often. Two rotors on one shaft
never differ; others may differ by less than a recording of a given length resolves, or than the sizes are known to.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal

import numpy as np

from tapewright.machine.doubt import Column, columns, estimate
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.rates import rate_columns
from tapewright.machine.typical import all_sizes

Why = Literal["shaft", "rate", "harmonic"]

SECONDS: Final = 60.0
"""A recording this long resolves lines that lie 1 / 60 Hz apart; closed form of our own: one over its length."""
ORDERS: Final = 4
"""Harmonics looked at: what a lump puts beside its first order dies out beyond the third; from memory."""


@dataclass(frozen=True, slots=True)
class Twin:
    """Two parts whose lines fall on each other in a mode.

    Arguments:
        first, second: the parts' names, or "gear.teeth" and "motor.commutator".
        order_first, order_second: which harmonics meet; 1 and 1 where the turns themselves do.
        rate_hz: where the line of the first stands.
        apart_hz: how far the second's lies above it.
        doubt_hz: half-width of the 95 % interval of that, from the doubts of the sizes.
        why: "shaft" (they sit on one shaft: no recording ever tells them apart), "rate" (their turns agree within
            resolution or doubt), "harmonic" (so do multiples of them).
    """

    first: str
    second: str
    order_first: int
    order_second: int
    rate_hz: float
    apart_hz: float
    doubt_hz: float
    why: Why


def rate_twins(machine: Machine, mode: str, seconds: float = SECONDS, orders: int = ORDERS) -> tuple[Twin, ...]:
    """List the parts that a recording in one mode cannot tell apart, those on one shaft first, then by rate.

    Where a rate depends on the pack of tape it is that of the middle of a side, where the reels meet.

    Arguments:
        machine: as described.
        mode: its name.
        seconds: length of the recording.
        orders: how many harmonics of each to look at.

    Raises:
        KeyError: when the machine has no such mode.

    >>> from tapewright.machine.library import shipped
    >>> [(t.first, t.second) for t in rate_twins(shipped("four_track"), "play") if t.why == "shaft"][0]
    ('reel_motor', 'reel_pulley')
    """
    table = columns(all_sizes(machine))
    half = float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))
    turning = rate_columns(machine, mode, table, (half, half))
    found: list[Twin] = []
    for first, second in combinations(sorted(turning), 2):
        if _is_one_part(first, second):
            continue
        if _shaft_of(machine, first) is not None and _shaft_of(machine, first) == _shaft_of(machine, second):
            found.append(Twin(first, second, 1, 1, float(turning[first][0]), 0.0, 0.0, "shaft"))
            continue
        for m, n in _orders(orders):
            apart = estimate(n * turning[second] - m * turning[first], table)
            if abs(apart.value) <= 1.0 / seconds + apart.doubt and _can_differ_less(turning, first, second, m, n):
                why: Why = "rate" if m == n == 1 else "harmonic"
                rate = float(m * turning[first][0])
                found.append(Twin(first, second, m, n, rate, apart.value, apart.doubt, why))
                break
    return tuple(sorted(found, key=lambda twin: (_RANK[twin.why], twin.rate_hz, twin.first, twin.second)))


_RANK: Final = {"shaft": 0, "rate": 1, "harmonic": 2}


def _is_one_part(first: str, second: str) -> bool:
    return first.partition(".")[0] == second.partition(".")[0]


def _shaft_of(machine: Machine, name: str) -> str | None:
    """Name the shaft of a rotor; None for a belt, for teeth and for segments, which come round by themselves."""
    return shaft(machine, name) if name in machine.rotors else None


def _orders(most: int) -> Iterator[tuple[int, int]]:
    """Give pairs of orders without a common factor, the lowest first."""
    pairs = ((m, n) for m in range(1, most + 1) for n in range(1, most + 1))
    yield from sorted((p for p in pairs if np.gcd(*p) == 1), key=lambda pair: (pair[0] + pair[1], pair))


def _can_differ_less(turning: dict[str, Column], first: str, second: str, m: int, n: int) -> bool:
    """Leave out pairs whose doubt alone spans more than a turn of the slower: they say nothing about each other."""
    slower = min(float(turning[first][0]), float(turning[second][0]))
    return abs(float(m * turning[first][0] - n * turning[second][0])) < 0.5 * slower
