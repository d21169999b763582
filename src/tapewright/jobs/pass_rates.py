"""At which rates to look for what touches the tape: rollers and capstans by the description, reels by their packs.

A reel's rate hangs on where in the side a pass was made. A rate that was measured tells; else a side is taken to have
begun with the pass, since that is where a test tape is put, and only what stands out there counts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from tapewright.machine.parts import Machine, nips_at_work, shaft
from tapewright.machine.rates import rates
from tapewright.words.reading import Reading

FULL_PACK_DOUBT: Final = 0.12
"""How far off a reel's rate at the start of a side may be: tapes of other lengths and thicknesses; from memory."""
STEP: Final = 0.4
"""Rates stand apart by this share of what a recording of this length can tell apart."""
MOST: Final = 25
"""A rate that needs more steps than this is not known."""


@dataclass(frozen=True, slots=True)
class PartRates:
    """Where to look for one rotor.

    Arguments:
        part: its name.
        at_hz: rates, near enough to each other that none between is missed; empty where none is known.
        supposed: True where the start of a side was supposed.
        says: how the rate is known, or why it is not.
    """

    part: str
    at_hz: tuple[float, ...]
    supposed: bool
    says: str


def rates_to_ask(
    machine: Machine, known: Mapping[str, Reading], speed_m_per_s: float, seconds: float
) -> tuple[PartRates, ...]:
    """List where to look for each rotor that touches the tape in play, one of each shaft.

    Arguments:
        machine: as described.
        known: what was measured, by the names of evidence: `rate_hz:PART@play` goes before the description.
        speed_m_per_s: of the tape as the pass played.
        seconds: how long the recording is in which they are looked for.
    """
    play = machine.modes.get("play")
    if play is None:
        return ()
    reels = tuple(reel for reel in (play.takes_up, play.gives) if reel)
    ends = [end for nip in nips_at_work(machine, play) for end in nip.path]
    named = {shaft(machine, name): name for name in (*ends, *reels)}
    return tuple(_of(machine, name, known, speed_m_per_s, seconds, reel=name in reels) for name in named.values())


def _of(
    machine: Machine, name: str, known: Mapping[str, Reading], speed_m_per_s: float, seconds: float, *, reel: bool
) -> PartRates:
    measured = known.get(f"rate_hz:{name}@play")
    if measured is not None and measured.value:
        doubt = measured.doubt if measured.doubt is not None else 0.02 * measured.value
        return _spread(name, measured.value, doubt, seconds, "its rate was measured")
    found = rates(machine, "play").get(name)
    if found is None:
        return PartRates(name, (), False, "The description does not say how fast it turns.")
    faster = speed_m_per_s / machine.tape.speed_m_per_s
    if not reel or found.range_per_s is None:
        turns = found.turns_per_s
        return _spread(name, turns.value * faster, turns.doubt * faster, seconds, "its rate by the description")
    play = machine.modes["play"]
    # At the start of a side the reel that takes up is empty and quick, the one that gives is full and slow.
    turning = found.range_per_s[1 if shaft(machine, name) == shaft(machine, play.takes_up) else 0] * faster
    return _spread(name, turning, FULL_PACK_DOUBT * turning, seconds, "its rate at the start of a side", supposed=True)


def _spread(
    name: str, turns_per_s: float, doubt: float, seconds: float, says: str, *, supposed: bool = False
) -> PartRates:
    step = STEP / max(seconds, 1e-3)
    either = int(doubt / step)
    if 2 * either + 1 > MOST:
        found = f"Its rate is known to {doubt:.2g} turns a second only, too little for {seconds:.0f} s of tone."
        return PartRates(name, (), False, found)
    at = tuple(turns_per_s + step * number for number in range(-either, either + 1))
    return PartRates(name, tuple(rate for rate in at if rate > 0.0), supposed, says)


__all__ = ["PartRates", "rates_to_ask"]
