"""What a recording tells of squeals, knocks and rubbing: which part, by the rate at which they come back."""

from collections.abc import Iterator
from typing import Final

from tapewright.diagnose.from_sound_spells import RATE_FITS, Said, Spell, heard_in
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, Machine, shaft, spoken
from tapewright.machine.rates import Rate, rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Knock, MechanismHeard, Squeal
from tapewright.words.reading import Reading

PLAIN_KNOCK_DB: Final = 6.0
"""Sound machines tick too; from here on an ear would call it a noise; trade judgement, from memory."""
QUIET_S: Final = 3.0
"""In a shorter spell what squeals once in a turn may not have come round."""
NO_SQUEAL: Final = 0.8
SQUEAL_MOST: Final = 0.92
"""Squeals were found in 13 of 13 held-out minutes, and in 2 of 34 that had none (docs/mechanism-sound.md); softer ones
than those are not denied."""


def squeals(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Squeals: the part by the rate at which they come back, else the mode alone."""
    machine, mode = net.machine, spell.mode
    here = [one for one in heard.squeals if one.start_s < spell.end_s and one.end_s > spell.start_s]
    squeak = next((s for s in net.signs.values() if s.node == f"squeal@{mode}"), None)
    if not here:
        if squeak is not None and spell.end_s - spell.start_s >= QUIET_S and heard_in(heard, spell):
            quiet = f"No squeal or chirp is heard {SPOKEN_MODES[mode]}."
            yield squeak.id, Observation(squeak.id, False, NO_SQUEAL), quiet
        return
    best = max(here, key=lambda one: one.sure)
    pitch = best.frequency_hz.value or 0.0
    why = (
        f"A {best.kind} near {pitch:.0f} Hz is heard {SPOKEN_MODES[mode]}, {best.prominence_db:.0f} dB above its "
        "neighbours."
    )
    named = list(_parts_at(machine, mode, best))
    rubbing = [part for part in named if f"rubs:{shaft(machine, part)}@{mode}" in net.words]
    if rubbing:
        share = best.sure / len(rubbing)
        for part in rubbing:
            sure = min(max(share, 0.5 * best.sure), SQUEAL_MOST)
            back = best.modulation_hz.value
            also = f" It comes back {back:.2f} times a second, as the {spoken(machine, part)} comes round."
            yield f"squeal_sure:{part}@{mode}", Reading(sure, "1", method="by microphone"), why + also
    if squeak is not None:
        yield squeak.id, Observation(squeak.id, True, min(best.sure, SQUEAL_MOST)), why


def _parts_at(machine: Machine, mode: str, squeal: Squeal) -> Iterator[str]:
    """Name the shafts that come round as often as a squeal comes back."""
    back = squeal.modulation_hz
    if back.value is None:
        return
    for rate in _shafts(machine, mode):
        if _comes_round(rate, back):
            yield rate.name


def _comes_round(rate: Rate, back: Reading) -> bool:
    low, high = rate.range_per_s or (rate.turns_per_s.value, rate.turns_per_s.value)
    doubt = (back.doubt or 0.0) + RATE_FITS * high
    return back.value is not None and low - doubt <= back.value <= high + doubt


def _shafts(machine: Machine, mode: str) -> list[Rate]:
    return [
        one for name, one in rates(machine, mode).items()
        if one.what == "rotor" and name in machine.rotors and shaft(machine, name) == name
    ]  # fmt: skip


def knocks(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Knocks and rubbing that an ear would call a noise."""
    noise = next((s for s in net.signs.values() if s.node == f"noise@{spell.mode}"), None)
    if noise is None:
        return
    both: list[tuple[Knock, str]] = [(one, "knocking") for one in heard.knocks if one.strength_db >= PLAIN_KNOCK_DB]
    for one, called in both:
        if one.start_s < spell.end_s and one.end_s > spell.start_s:
            why = (
                f"A {called} comes back {one.rate_hz.value:.2f} times a second {SPOKEN_MODES[spell.mode]}, "
                f"{one.strength_db:.0f} dB above what lies between."
            )
            yield noise.id, Observation(noise.id, True, one.sure), why
