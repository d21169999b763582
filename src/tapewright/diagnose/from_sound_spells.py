"""The spells of a recording of the mechanism: each mode from its mark to the next, and what is heard in it."""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from tapewright.diagnose.network import Network
from tapewright.faults.signs import Sign
from tapewright.machine.parts import PLAYING, Machine
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import OFF, Mark, MechanismHeard, StretchHeard
from tapewright.words.reading import Reading

LEAST_S: Final = 0.3
"""What lasts no longer is the run-down from the mode before, or a hand that slipped."""
BEGINS_S: Final = 1.0
"""A motor that comes up slowly, or over noise, is found to begin up to so much too early (tuning minutes)."""
RATE_FITS: Final = 0.04
Said = tuple[str, Reading | Observation, str]
"""Name of a reading or id of a sign, what is said, and why."""


@dataclass(frozen=True, slots=True)
class Spell:
    """One mode, from its mark to the next."""

    mode: str
    start_s: float
    end_s: float
    doubt_s: float


def spells_of(machine: Machine, heard: MechanismHeard) -> tuple[Spell, ...]:
    """Give each mode's first spell; of stop the one after play: only then has the head base a way to go."""
    end = Mark(OFF, heard.duration_s)
    found: dict[str, Spell] = {}
    before = OFF
    for mark, after in pairwise((*heard.marks, end)):
        fits = mark.mode != "stop" or before in PLAYING
        if mark.mode in machine.modes and fits and after.at_s - mark.at_s > LEAST_S:
            found.setdefault(mark.mode, Spell(mark.mode, mark.at_s, after.at_s, mark.doubt_s))
        before = mark.mode
    return tuple(found.values())


def within(heard: MechanismHeard, spell: Spell, motor: str) -> list[StretchHeard]:
    """Give a motor's stretches that reach into a spell by more than its run-down from the one before."""
    return [
        one for one in heard.stretches
        if one.name == motor and min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s + spell.doubt_s) > LEAST_S
        and not of_the_next(one, spell)
    ]  # fmt: skip


def of_the_next(one: StretchHeard, spell: Spell) -> bool:
    """Tell whether a stretch that reaches into a spell at its end is the next one's: where it begins is not so sure."""
    return one.start_s > spell.end_s - BEGINS_S and one.end_s > spell.end_s + BEGINS_S


def after_a_change(heard: MechanismHeard, one: StretchHeard, spell: Spell) -> bool:
    """Tell whether a motor turned at another rate earlier in a mode: the machine has left it by itself since."""
    return any(
        other.name == one.name and spell.start_s - 1.0 < other.start_s < one.start_s and other.rate_hz.value is not None
        and other.end_s - other.start_s > LEAST_S
        and abs(other.rate_hz.value / (one.rate_hz.value or other.rate_hz.value) - 1.0) > RATE_FITS
        for other in heard.stretches
    )  # fmt: skip


def sign_about(net: Network, node: str) -> Sign | None:
    """Give the sign of a function of the machine that a sound tells of; None where it has none."""
    return next((one for one in net.signs.values() if one.node == node), None)


def waits_of(machine: Machine, kinds: Collection[str]) -> list[float]:
    """Give how long the logic waits for each sensor of some kinds, seconds, where that is said."""
    return [one.timeout_s for one in machine.sensors.values() if one.kind in kinds and one.timeout_s]


def heard_in(heard: MechanismHeard, spell: Spell) -> bool:
    """Tell whether anything that turns is heard in a spell: where nothing is, silence may be the microphone's."""
    return any(min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s) > LEAST_S for one in heard.stretches)
