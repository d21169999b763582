"""From what a microphone heard to evidence: readings and signs of the machine, each with a sentence that says why.

How sure each is comes from the detector's own figures: how much better the comb fitted than combs out of step, or how
likely it would have been heard over the background where it was not. Nothing is said of a mode that nobody marked.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from tapewright.diagnose.from_sound_noises import knocks, slips, squeals
from tapewright.diagnose.from_sound_racing import labouring, racing
from tapewright.diagnose.from_sound_rising import rising
from tapewright.diagnose.from_sound_solenoids import solenoids
from tapewright.diagnose.from_sound_spells import LEAST_S, Said, Spell, after_a_change, of_the_next, spells_of, within
from tapewright.diagnose.from_sound_stopping import cut_short, dropping, keys_click, running_on, stopping
from tapewright.diagnose.from_sound_tray import tray
from tapewright.diagnose.measured import asked
from tapewright.diagnose.network import Network, network
from tapewright.machine.parts import SPOKEN_MODES, Machine, shaft, spoken
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.mechanism_heard import EvidenceHeard, MechanismHeard
from tapewright.words.problem import Problem
from tapewright.words.reading import Reading

SAYS_LITTLE: Final = 0.3
"""Where a motor would have been heard less often than this, that it was not says next to nothing."""
RUNS_MOST: Final = 0.95
"""A motor said to run with a certainty of 0.999 did in 92 % of the held-out minutes (docs/mechanism-sound.md)."""
MISSED_LEAST: Final = 0.08
"""One said to be silent with 0.98 was in 58 %; against how seldom one is silent that is about twelve to one."""
MISSED_ALL: Final = 0.03
"""None of 127 tuning minutes in which a motor ran was heard as silent throughout: at most 2.4 in 100 are (95 %)."""


def evidence_of_sound(machine: Machine, heard: MechanismHeard) -> EvidenceHeard:
    """Say what a recording of the mechanism tells of a machine.

    Arguments:
        machine: the description that the recording was listened to with.
        heard: what was heard.

    >>> from tapewright.machine.library import shipped
    >>> nothing = MechanismHeard(1.0, 48000.0, (), (), (), (), (), (), (), ())
    >>> evidence_of_sound(shipped("four_track"), nothing).reasons
    ()
    """
    net = network(machine)
    said: dict[str, tuple[Reading | Observation, str]] = {}
    spells = spells_of(machine, heard)
    for name, what, why in _all(net, heard, spells):
        known = name in net.signs if isinstance(what, Observation) else not isinstance(asked(machine, name), Problem)
        if known:
            said.setdefault(name, (what, why))
    signs = tuple(what for what, _ in said.values() if isinstance(what, Observation))
    readings = {name: what for name, (what, _) in said.items() if isinstance(what, Reading)}
    return EvidenceHeard(Evidence(signs, readings), tuple((name, why) for name, (_, why) in said.items()))


def _all(net: Network, heard: MechanismHeard, spells: tuple[Spell, ...]) -> Iterator[Said]:
    machine = net.machine
    for spell in spells:
        yield from _motors(net, heard, spell)
        yield from racing(net, heard, spell)
        yield from labouring(net, heard, spell)
        yield from rising(net, heard, spell)
        yield from running_on(net, heard, spell)
        yield from tray(net, heard, spell)
        stops = tuple(stopping(net, heard, spell))
        yield from stops or dropping(net, heard, spell)
        yield from cut_short(net, heard, spell)
        yield from squeals(net, heard, spell)
        yield from knocks(net, heard, spell)
        yield from slips(net, heard, spell)
        yield from solenoids(net, heard, spell)
    yield from _rates(machine, heard, spells)


def _motors(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Which motors ran and which did not."""
    machine = net.machine
    silent = keys_click(heard) and not any(one.name in machine.rotors for one in heard.stretches)
    all_motors = {one.name for one in heard.not_heard if _is_motor(machine, one.name)}
    for motor in machine.modes[spell.mode].motors:
        name = f"motor_runs_sure:{motor}@{spell.mode}"
        called, when = spoken(machine, motor), SPOKEN_MODES[spell.mode]
        there = within(heard, spell, motor)
        if there:
            best = max(there, key=lambda one: one.sure)
            rate = best.rate_hz.value
            at = f" at {rate:.1f} turns a second" if rate is not None else ""
            why = f"The {called} is heard {when}{at}, from {best.start_s:.1f} s to {best.end_s:.1f} s."
            sure = min(best.sure, RUNS_MOST)
            yield name, Reading(sure, "1", method="comb of its lines", by="microphone"), why
            continue
        missing = [n for n in heard.not_heard if n.name == motor and n.start_s >= spell.start_s - 0.01]
        missing = [n for n in missing if n.mode == spell.mode and n.end_s <= spell.end_s + 0.01]
        if missing and missing[0].sure >= SAYS_LITTLE:
            # What keeps a motor from being heard anywhere keeps it so in every mode: that is not said anew in each.
            alike = _silences(net, heard, motor)
            seldom = max(1.0 - missing[0].sure, MISSED_LEAST)
            why = (
                f"The {called} is not heard {when}. Over this background it would have been heard from "
                f"{missing[0].loud_enough_db:.0f} dB against full scale on; "
                f"{100.0 * missing[0].sure:.0f} in 100 motors as loud as those heard would have been."
            )
            if silent:
                alike = sum(_silences(net, heard, one) for one in all_motors)
                seldom = min(seldom, MISSED_ALL)
                why += " Nothing that turns is heard in the whole minute, and its keys are."
            missed = seldom ** (alike**-0.5)
            yield name, Reading(missed / (1.0 + missed), "1", method="silence of its lines", by="microphone"), why


def _is_motor(machine: Machine, name: str) -> bool:
    return name in machine.rotors and machine.rotors[name].kind == "motor"


def _silences(net: Network, heard: MechanismHeard, motor: str) -> int:
    """Count the modes in which a motor that is heard nowhere is missed and that tells; 1 where it is heard at all."""
    if any(one.name == motor for one in heard.stretches):
        return 1
    missed = {one.mode for one in heard.not_heard if one.name == motor and one.sure >= SAYS_LITTLE}
    nodes = ((f"turns:{shaft(net.machine, motor)}@{mode}", f"sounds:{motor}@{mode}") for mode in missed)
    return max(sum(any(node in net.words for node in both) for both in nodes), 1)


def _rates(machine: Machine, heard: MechanismHeard, spells: tuple[Spell, ...]) -> Iterator[Said]:
    """Each stretch's rate once: in the mode in which most of it lies."""
    longest: dict[str, float] = {}
    found: dict[str, Said] = {}
    for one in heard.stretches:
        if one.rate_hz.value is None or not one.name:
            continue
        shares = {s.mode: min(one.end_s, s.end_s) - max(one.start_s, s.start_s) for s in spells}
        mode = max(shares, key=lambda m: (one.name in machine.modes[m].motors, shares[m]), default="")
        if not mode or shares[mode] < LEAST_S or one.name not in machine.modes[mode].motors:
            continue
        own = next(spell for spell in spells if spell.mode == mode)
        if after_a_change(heard, one, own) or of_the_next(one, own):
            continue
        name = f"rate_hz:{one.name}@{mode}"
        if shares[mode] > longest.get(name, 0.0):
            longest[name] = shares[mode]
            why = f"The {spoken(machine, one.name)} turns {one.rate_hz.value:.2f} times a second {SPOKEN_MODES[mode]}."
            reading = replace(one.rate_hz, by="microphone")
            found[name] = (name, reading, why)
    yield from found.values()
