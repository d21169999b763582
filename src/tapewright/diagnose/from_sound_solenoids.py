"""What clicks tell of solenoids: a key with which one pulls clicks more plainly than the machine's other keys."""

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from tapewright.diagnose.from_sound_spells import Said, Spell
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, TRAY_MODES, Machine, has_logic, spoken
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import OFF, MechanismHeard

EARLY_S, LATE_S = 0.05, 0.4
"""From a mark to its key: a hand follows a prompt by up to a quarter of a second, a solenoid the key at once."""
FROM_DB, SPREAD_DB = 8.0, 2.0
"""How sure a click is by how far it rises in its third plainest octave, as `measure.mechanism_clicks` has it."""
PLAINER_DB, LEAST_DB = 2.5, 10.0
UNHEARD_DB: Final = 7.0
CLICKED_SURE: Final = 0.75
"""Of 29 tuning minutes in which a solenoid pulled in play 14 were so plain; how many without one would be is judged."""
NO_KEY: Final = ("switch_on", "idle", "cassette_in", *TRAY_MODES)
CLICKS_PER_S: Final = 0.35
"""Where more clicks than this are heard, a knock or somebody who talks makes them."""


def solenoids(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say that a solenoid clicked where its key is plainer than every key with which none moves.

    Nothing is said where several move at once, where there is no other key to hold it against, or where it is no
    plainer: half of those that work are not.
    """
    machine = net.machine
    moved = dict(_moved(machine, heard))
    pulled = sorted(moved.get((spell.start_s, spell.mode), ()))
    others = [at_s for (at_s, _), names in moved.items() if not names]
    if not has_logic(machine) or len(pulled) != 1 or not others:
        return
    if len(heard.clicks) > CLICKS_PER_S * heard.duration_s or pulled[0] not in machine.modes[spell.mode].solenoids:
        return
    own, beside = _plain_db(heard, spell.start_s), max(_plain_db(heard, at_s) for at_s in others)
    if own < max(LEAST_DB, beside + PLAINER_DB):
        return
    why = (
        f"The key clicks {own - beside:.0f} dB more plainly {SPOKEN_MODES[spell.mode]} than any key with which no "
        f"solenoid moves: the {spoken(machine, pulled[0])} pulls."
    )
    for sign in net.signs.values():
        if sign.node == f"pulls:{pulled[0]}@{spell.mode}" and sign.id.endswith("_no_click"):
            yield sign.id, Observation(sign.id, False, CLICKED_SURE), why


def _moved(machine: Machine, heard: MechanismHeard) -> Iterator[tuple[tuple[float, str], set[str]]]:
    """Give for each key, by its time and mode, the solenoids that pull or let go; switch and lid are no keys."""
    for before, mark in pairwise(heard.marks):
        if OFF not in (before.mode, mark.mode) and mark.mode not in NO_KEY and mark.mode in machine.modes:
            was = set(machine.modes[before.mode].solenoids) if before.mode in machine.modes else set()
            yield (mark.at_s, mark.mode), was ^ set(machine.modes[mark.mode].solenoids)


def _plain_db(heard: MechanismHeard, at_s: float) -> float:
    """Give how far the plainest click beside a mark rises, dB."""
    sure = max((one.sure for one in heard.clicks if -EARLY_S <= one.at_s - at_s <= LATE_S), default=0.0)
    if sure <= 0.0:
        return UNHEARD_DB
    return max(UNHEARD_DB, FROM_DB + SPREAD_DB * math.log(sure / max(1.0 - sure, 1e-12)))
