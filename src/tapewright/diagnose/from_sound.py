"""From what a microphone heard to evidence: readings and signs of the machine, each with a sentence that says why.

How sure each is comes from the detector's own figures: how much better the comb fitted than combs out of step, or how
likely it would have been heard over the background where it was not. Nothing is said of a mode that nobody marked.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from tapewright.diagnose.measured import asked
from tapewright.diagnose.network import Network, network
from tapewright.machine.parts import SPOKEN_MODES, TURNING_SENSORS, Machine, shaft, spoken
from tapewright.machine.rates import Rate, rates
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.mechanism_heard import EvidenceHeard, Knock, Mark, MechanismHeard, Squeal, StretchHeard
from tapewright.words.problem import Problem
from tapewright.words.reading import Reading

OFF: Final = "off"
SAYS_LITTLE: Final = 0.3
"""Where a motor would have been heard less often than this, that it was not says next to nothing."""
RUNS_MOST: Final = 0.95
"""A motor said to run with a certainty of 0.999 did in 92 % of the held-out minutes (docs/mechanism-sound.md)."""
MISSED_LEAST: Final = 0.08
"""One said to be silent with 0.98 was in 58 %; against how seldom one is silent that is about twelve to one."""
LEAST_S: Final = 0.3
TOGETHER_S: Final = 0.6
BEFORE_THE_KEY_S: Final = 1.0
"""What stops by itself stops this long before the next key at least."""
TIME_OUT_S: Final = 3.0
GOES_TO_THE_KEY_S: Final = 0.5
LONGEST_WAIT_S: Final = 6.0
"""No logic waits longer before it gives up; 1 to 5 s from memory."""
GIVES_UP: Final = ("_stops", "_falls_back")
STAYS_MOST: Final = 0.9
ARRIVED: Final = 0.85
"""A motor that ends before this share of the logic's wait was ended by its switch."""
PLAIN_KNOCK_DB: Final = 6.0
"""Sound machines tick too; from here on an ear would call it a noise; trade judgement, from memory."""
QUIET_S: Final = 3.0
"""In a shorter spell what squeals once in a turn may not have come round."""
NO_SQUEAL: Final = 0.8
SQUEAL_MOST: Final = 0.92
"""Squeals were found in 13 of 13 held-out minutes, and in 2 of 34 that had none (docs/mechanism-sound.md); softer ones
than those are not denied."""
RATE_FITS: Final = 0.04
Said = tuple[str, Reading | Observation, str]


@dataclass(frozen=True, slots=True)
class _Spell:
    """One mode, from its mark to the next."""

    mode: str
    start_s: float
    end_s: float
    doubt_s: float


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
    spells = _spells(machine, heard)
    for name, what, why in _all(net, heard, spells):
        known = name in net.signs if isinstance(what, Observation) else not isinstance(asked(machine, name), Problem)
        if known:
            said.setdefault(name, (what, why))
    signs = tuple(what for what, _ in said.values() if isinstance(what, Observation))
    readings = {name: what for name, (what, _) in said.items() if isinstance(what, Reading)}
    return EvidenceHeard(Evidence(signs, readings), tuple((name, why) for name, (_, why) in said.items()))


def _all(net: Network, heard: MechanismHeard, spells: tuple[_Spell, ...]) -> Iterator[Said]:
    machine = net.machine
    for spell in spells:
        yield from _motors(net, heard, spell)
        yield from _running_on(net, heard, spell)
        yield from _stopping(net, heard, spell)
        yield from _squeals(net, heard, spell)
        yield from _knocks(net, heard, spell)
    yield from _rates(machine, heard, spells)


def _spells(machine: Machine, heard: MechanismHeard) -> tuple[_Spell, ...]:
    """Give each mode's first spell; of stop the one after play: only then has the head base a way to go."""
    end = Mark(OFF, heard.duration_s)
    found: dict[str, _Spell] = {}
    before = OFF
    for mark, after in pairwise((*heard.marks, end)):
        fits = mark.mode != "stop" or before in ("play", "record", "reverse_play")
        if mark.mode in machine.modes and fits and after.at_s - mark.at_s > LEAST_S:
            found.setdefault(mark.mode, _Spell(mark.mode, mark.at_s, after.at_s, mark.doubt_s))
        before = mark.mode
    return tuple(found.values())


def _within(heard: MechanismHeard, spell: _Spell, motor: str) -> list[StretchHeard]:
    """Give a motor's stretches that reach into a spell by more than its run-down from the one before."""
    return [
        one for one in heard.stretches
        if one.name == motor and min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s + spell.doubt_s) > LEAST_S
    ]  # fmt: skip


def _motors(net: Network, heard: MechanismHeard, spell: _Spell) -> Iterator[Said]:
    """Which motors ran and which did not."""
    machine = net.machine
    for motor in machine.modes[spell.mode].motors:
        name = f"motor_runs_sure:{motor}@{spell.mode}"
        called, when = spoken(machine, motor), SPOKEN_MODES[spell.mode]
        there = _within(heard, spell, motor)
        if there:
            best = max(there, key=lambda one: one.sure)
            rate = best.rate_hz.value
            at = f" at {rate:.1f} turns a second" if rate is not None else ""
            why = f"The {called} is heard {when}{at}, from {best.start_s:.1f} s to {best.end_s:.1f} s."
            sure = min(best.sure, RUNS_MOST)
            yield name, Reading(sure, "1", method="comb of its lines, by microphone"), why
            continue
        missing = [n for n in heard.not_heard if n.name == motor and n.start_s >= spell.start_s - 0.01]
        missing = [n for n in missing if n.mode == spell.mode and n.end_s <= spell.end_s + 0.01]
        if missing and missing[0].sure >= SAYS_LITTLE:
            # What keeps a motor from being heard anywhere keeps it so in every mode: that is not said anew in each.
            alike = _silences(net, heard, motor)
            missed = max(1.0 - missing[0].sure, MISSED_LEAST) ** (alike**-0.5)
            why = (
                f"The {called} is not heard {when}. Over this background it would have been heard from "
                f"{missing[0].loud_enough_db:.0f} dB against full scale on; "
                f"{100.0 * missing[0].sure:.0f} in 100 motors as loud as those heard would have been."
            )
            yield name, Reading(missed / (1.0 + missed), "1", method="silence of its lines, by microphone"), why


def _silences(net: Network, heard: MechanismHeard, motor: str) -> int:
    """Count the modes in which a motor that is heard nowhere is missed and that tells; 1 where it is heard at all."""
    if any(one.name == motor for one in heard.stretches):
        return 1
    missed = {one.mode for one in heard.not_heard if one.name == motor and one.sure >= SAYS_LITTLE}
    nodes = ((f"turns:{shaft(net.machine, motor)}@{mode}", f"sounds:{motor}@{mode}") for mode in missed)
    return max(sum(any(node in net.words for node in both) for both in nodes), 1)


def _rates(machine: Machine, heard: MechanismHeard, spells: tuple[_Spell, ...]) -> Iterator[Said]:
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
        if _after_a_change(heard, one, next(spell for spell in spells if spell.mode == mode)):
            continue
        name = f"rate_hz:{one.name}@{mode}"
        if shares[mode] > longest.get(name, 0.0):
            longest[name] = shares[mode]
            why = f"The {spoken(machine, one.name)} turns {one.rate_hz.value:.2f} times a second {SPOKEN_MODES[mode]}."
            reading = replace(one.rate_hz, method=f"{one.rate_hz.method}, by microphone")
            found[name] = (name, reading, why)
    yield from found.values()


def _after_a_change(heard: MechanismHeard, one: StretchHeard, spell: _Spell) -> bool:
    """Tell whether a motor turned at another rate earlier in a mode: the machine has left it by itself since."""
    return any(
        other.name == one.name and spell.start_s - 1.0 < other.start_s < one.start_s and other.rate_hz.value is not None
        and other.end_s - other.start_s > LEAST_S
        and abs(other.rate_hz.value / (one.rate_hz.value or other.rate_hz.value) - 1.0) > RATE_FITS
        for other in heard.stretches
    )  # fmt: skip


def _running_on(net: Network, heard: MechanismHeard, spell: _Spell) -> Iterator[Said]:
    """Whether a motor that a position switch ends goes on."""
    machine = net.machine
    for sensor in machine.sensors.values():
        motor = sensor.ends
        if not motor or motor not in machine.modes[spell.mode].motors:
            continue
        there = [one for one in _within(heard, spell, motor) if one.start_s > spell.start_s - 1.0]
        if not there:
            continue
        one = max(there, key=lambda stretch: stretch.sure)
        lasts, waits = min(one.end_s, spell.end_s) - one.start_s, sensor.timeout_s or TIME_OUT_S
        called, when = spoken(machine, motor), SPOKEN_MODES[spell.mode]
        why = f"The {called} runs for {lasts:.1f} s {when}; the logic waits {waits:g} s for its switch."
        if spell.mode == "play":
            yield f"run_on_s:{motor}", Reading(lasts, "s", 0.3, method="by microphone"), why
            if lasts < ARRIVED * waits and one.sure > 0.8:
                # Its switch ended it, so the head base is in place: from the key to there, the hand's delay counted in.
                rise, doubt = one.start_s + lasts - spell.start_s, (spell.doubt_s**2 + 0.3**2) ** 0.5
                arrived = f"The {called} stops {rise:.1f} s after the key, before the logic gives up: it has arrived."
                yield "head_base_rise_s", Reading(rise, "s", doubt, method="by microphone"), arrived
        goes_on = next((s for s in net.signs.values() if s.node == f"runs_on:{motor}@{spell.mode}"), None)
        if goes_on is not None and spell.mode != "play":
            on = lasts > ARRIVED * waits
            yield goes_on.id, Observation(goes_on.id, on, one.sure), why


def _stopping(net: Network, heard: MechanismHeard, spell: _Spell) -> Iterator[Said]:
    """When the machine gives a mode up by itself: what turned falls silent, or to another rate, before the next key."""
    machine = net.machine
    mode = machine.modes[spell.mode]
    if not mode.takes_up or not any(
        one.kind in (*TURNING_SENSORS, "position_switch") for one in machine.sensors.values()
    ):
        return
    ended = {sensor.ends for sensor in machine.sensors.values()}
    driving = [one for motor in mode.motors if motor not in ended for one in _within(heard, spell, motor)]
    # What is heard in the mode, and not in the quiet mode before it, ends with the mode.
    own = [one for one in driving if one.start_s > spell.start_s - 0.5]
    if not own:
        return
    left = [one for one in own if any(_after_a_change(heard, other, spell) for other in own if other.name == one.name)]
    first = min(left, key=lambda one: one.start_s, default=None)
    last = max(one.end_s for one in own) if first is None else first.end_s
    sure = max(one.sure for one in own)
    names = " and ".join(dict.fromkeys(spoken(machine, one.name) for one in own))
    when = SPOKEN_MODES[spell.mode]
    if spell.end_s - last > BEFORE_THE_KEY_S and last - spell.start_s > LEAST_S:
        after = f"{when.capitalize()} the {names} stops by itself after {last - spell.start_s:.1f} s."
        if sure > 0.8:
            doubt = (spell.doubt_s**2 + 0.15**2) ** 0.5
            reading = Reading(last - spell.start_s, "s", doubt, method="by microphone")
            yield f"seconds_to_stop@{spell.mode}", reading, after
    elif spell.end_s - last < GOES_TO_THE_KEY_S and spell.end_s - spell.start_s > LONGEST_WAIT_S:
        why = f"The {names} is heard {when} up to the next key: the machine did not give up by itself."
        for node in (f"stops@{spell.mode}", f"reported@{spell.mode}"):
            for sign in (one for one in net.signs.values() if one.node == node and one.id.endswith(GIVES_UP)):
                yield sign.id, Observation(sign.id, False, min(sure, STAYS_MOST)), why


def _squeals(net: Network, heard: MechanismHeard, spell: _Spell) -> Iterator[Said]:
    """Squeals: the part by the rate at which they come back, else the mode alone."""
    machine, mode = net.machine, spell.mode
    here = [one for one in heard.squeals if one.start_s < spell.end_s and one.end_s > spell.start_s]
    squeak = next((s for s in net.signs.values() if s.node == f"squeal@{mode}"), None)
    if not here:
        if squeak is not None and spell.end_s - spell.start_s >= QUIET_S and _heard_in(heard, spell):
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


def _heard_in(heard: MechanismHeard, spell: _Spell) -> bool:
    """Tell whether anything that turns is heard in a spell: where nothing is, silence may be the microphone's."""
    return any(min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s) > LEAST_S for one in heard.stretches)


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


def _knocks(net: Network, heard: MechanismHeard, spell: _Spell) -> Iterator[Said]:
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
