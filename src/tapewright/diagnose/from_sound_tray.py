"""What a recording tells of a tray: its motor is ended by the tray at its end, or by the logic that waited in vain."""

from collections.abc import Iterator
from typing import Final

from tapewright.diagnose.from_sound_spells import Said, Spell, waits_of, within
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, TRAY_MODES, Machine, spoken
from tapewright.machine.reel_drive import chain_to
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import MechanismHeard

IN_VAIN: Final = 0.97
ARRIVED: Final = 0.7
"""Shares of the logic's wait from which a tray motor ran until it was given up, and below which its tray arrived in
good time. A motor is heard a little longer than it is fed, as it runs down, and never shorter: one that is given up is
heard for the whole wait. What lies between is a slow tray, or a wait set short."""
TRAY_SURE: Final = 0.8
SLOW_SURE: Final = 0.6
"""Held lower: how much longer than a tray the logic waits differs between machines."""
STAYS: Final = ("_stays_out", "_stays_in")
SLOW: Final = ("_goes_late", "_comes_late")


def tray(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say whether a tray went, and whether late, by how long its motor was fed."""
    machine = net.machine
    waits = waits_of(machine, ("tray_switch",))
    motor = _mover(machine, spell.mode)
    there = within(heard, spell, motor) if motor else []
    if not waits or not there:
        return
    lasts = min(there[-1].end_s, spell.end_s) - there[0].start_s
    stays = lasts >= IN_VAIN * min(waits)
    late = not stays and lasts > ARRIVED * min(waits)
    if not stays and spell.end_s - there[-1].end_s < spell.doubt_s:
        return  # the key ended it
    how = "it waited in vain" if stays else "the tray ended it, late" if late else "the tray ended it"
    called, when = spoken(machine, motor), SPOKEN_MODES[spell.mode]
    why = f"The {called} runs for {lasts:.1f} s {when}; the logic waits {min(waits):g} s: {how}."
    heard_so = min(one.sure for one in there)
    for sign in (one for one in net.signs.values() if one.mode == spell.mode):
        if sign.id.endswith(STAYS):
            yield sign.id, Observation(sign.id, stays, min(TRAY_SURE, heard_so)), why
        elif sign.id.endswith(SLOW) and not stays:
            yield sign.id, Observation(sign.id, late, min(SLOW_SURE, heard_so)), why


def _mover(machine: Machine, mode: str) -> str:
    """Name the motor that moves the tray in a mode; "" where none does."""
    found = chain_to(machine, mode, machine.lid.moved_by) if mode in TRAY_MODES and machine.lid.moved_by else None
    return found[0] if found else ""
