"""What a recording tells of how modes end: a motor that runs on, a machine that gives up by itself, or does not."""

from collections.abc import Iterator
from typing import Final

from tapewright.diagnose.from_sound_rising import arrival, by_cam
from tapewright.diagnose.from_sound_spells import LEAST_S, RATE_FITS, Said, Spell, sign_about, waits_of, within
from tapewright.diagnose.network import Network
from tapewright.machine.parts import (
    SPOKEN_MODES,
    TRAY_MODES,
    TURNING_SENSORS,
    Machine,
    ended_by_switches,
    has_logic,
    spoken,
)
from tapewright.machine.rates import rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import MechanismHeard, StretchHeard
from tapewright.words.reading import Reading

BEFORE_THE_KEY_S: Final = 1.0
"""What stops by itself stops this long before the next key at least."""
TIME_OUT_S: Final = 3.0
GOES_TO_THE_KEY_S: Final = 0.5
LONGEST_WAIT_S: Final = 6.0
"""No logic waits longer before it gives up; 1 to 5 s from memory."""
GIVES_UP: Final = ("_stops", "_falls_back")
STAYS_MOST: Final = 0.9
RESTING: Final = ("idle", "cassette_in", "stop")
"""What a logic that gives up falls back into."""
COMES_UP_S: Final = 2.0
"""A motor that belongs to the mode comes up this long after the key at the latest."""
GOES_OVER: Final = 0.01
GOES_OVER_S: Final = 0.5
"""A motor that turns at another rate, this share away and so soon, was sent into another mode, or lost its load."""
CLICK_SURE: Final = 0.9
BESIDE_SURE: Final = 0.6
ALONE_S: Final = 1.5
"""What knocks goes on knocking, and speech brings several clicks: a head base that drops makes one and is done."""
WAIT_FITS_S: Final = (0.3, 1.0)
"""So much sooner or later than its wait a logic may give up: the hand, the head base on its way, the logic itself."""
DROPPED_SURE: Final = 0.8
"""Of 28 machines of tuning minutes six gave up in play and clicked so, and of the others none did."""
BESIDE_KEY_S: Final = 0.2
MOST_KEYS: Final = 0.6
NO_DROP_SURE: Final = 0.6
"""All eight that gave up in play clicked so; which click a head base makes differs between machines, so no more."""
LEAST_TO_TELL_S: Final = 3.0
MOST_OF_IT: Final = 0.9
CUT_SURE, UNCUT_SURE = 0.75, 0.43
"""How sure it is said that a motor stops by itself; the same event says when, so no more. And that it does not: that
was said of 17 of 49 modes in which it does at times, and of 233 of 300 in which it does not (as for knocks)."""
ARRIVED: Final = 0.85
"""A motor that ends before this share of the logic's wait was ended by its switch."""


def running_on(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Whether a motor that a position switch ends goes on."""
    machine = net.machine
    for sensor in machine.sensors.values():
        motor = sensor.ends
        if not motor or motor not in machine.modes[spell.mode].motors:
            continue
        there = [one for one in within(heard, spell, motor) if one.start_s > spell.start_s - 1.0]
        if not there:
            continue
        one = max(there, key=lambda stretch: stretch.sure)
        lasts, waits = min(one.end_s, spell.end_s) - one.start_s, sensor.timeout_s or TIME_OUT_S
        called, when = spoken(machine, motor), SPOKEN_MODES[spell.mode]
        why = f"The {called} runs for {lasts:.1f} s {when}; the logic waits {waits:g} s for its switch."
        if spell.mode == "play":
            yield f"run_on_s:{motor}", Reading(lasts, "s", 0.3, by="microphone"), why
            if lasts < ARRIVED * waits and one.sure > 0.8:
                # Its switch ended it, so the head base is in place: from the key to there, the hand's delay counted in.
                rise, doubt = one.start_s + lasts - spell.start_s, (spell.doubt_s**2 + 0.3**2) ** 0.5
                arrived = f"The {called} stops {rise:.1f} s after the key, before the logic gives up: it has arrived."
                yield "head_base_rise_s", Reading(rise, "s", doubt, by="microphone"), arrived
        goes_on = sign_about(net, f"runs_on:{motor}@{spell.mode}")
        if goes_on is not None and spell.mode != "play":
            on = lasts > ARRIVED * waits
            yield goes_on.id, Observation(goes_on.id, on, one.sure), why


def stopping(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """When the machine gives a mode up by itself: what turned falls silent, or to another rate, before the next key."""
    machine, when = net.machine, SPOKEN_MODES[spell.mode]
    mode = machine.modes[spell.mode]
    if not mode.takes_up or not any(
        one.kind in (*TURNING_SENSORS, "position_switch") for one in machine.sensors.values()
    ):
        return
    ended = ended_by_switches(machine)
    driving = [one for motor in mode.motors if motor not in ended for one in within(heard, spell, motor)]
    # What is heard from the key on, and not in the quiet mode before it, ends with the mode.
    own = [one for one in driving if -0.5 < one.start_s - spell.start_s < COMES_UP_S]
    if not own:
        return
    left = [one for one in own if any(_goes_over(one, other, spell) for other in driving)]
    last = min(one.end_s for one in left) if left else max(one.end_s for one in own)
    if not left and any(one.start_s > last for one in driving):
        return  # what is heard again after a while had not stopped, or was not heard for a while
    sure = max(one.sure for one in own)
    names = " and ".join(dict.fromkeys(spoken(machine, one.name) for one in own))
    if spell.end_s - last > BEFORE_THE_KEY_S and last - spell.start_s > LEAST_S:
        after = f"{when.capitalize()} the {names} stops by itself after {last - spell.start_s:.1f} s."
        if sure > 0.8:
            doubt = (spell.doubt_s**2 + 0.15**2) ** 0.5
            reading = Reading(last - spell.start_s, "s", doubt, by="microphone")
            yield f"seconds_to_stop@{spell.mode}", reading, after
        return
    goes_on = any(spell.end_s - one.end_s < GOES_TO_THE_KEY_S and _ends_with(machine, one.name, spell) for one in own)
    if goes_on and spell.end_s - spell.start_s > LONGEST_WAIT_S:
        why = f"The {names} is heard {when} up to the next key: the machine did not give up by itself."
        for node in (f"stops@{spell.mode}", f"reported@{spell.mode}"):
            for sign in (one for one in net.signs.values() if one.node == node and one.id.endswith(GIVES_UP)):
                yield sign.id, Observation(sign.id, False, min(sure, STAYS_MOST)), why


def cut_short(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say of each motor that starts with a mode whether it is heard to the next key, or stops before by itself."""
    machine = net.machine
    ended = ended_by_switches(machine)
    if spell.mode in TRAY_MODES or spell.end_s - spell.start_s < LEAST_TO_TELL_S:
        return
    for motor in (one for one in machine.modes[spell.mode].motors if one not in ended):
        sign = sign_about(net, f"cut:{motor}@{spell.mode}")
        there = within(heard, spell, motor)
        if sign is None or not there or not -0.5 < there[0].start_s - spell.start_s < COMES_UP_S:
            continue
        last_s = max(one.end_s for one in there)
        runs_s = sum(min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s) for one in there)
        whole = runs_s > MOST_OF_IT * (spell.end_s - there[0].start_s)
        stops = spell.end_s - last_s > BEFORE_THE_KEY_S and last_s - spell.start_s > LEAST_S
        if not stops and not (whole and spell.end_s - last_s < GOES_TO_THE_KEY_S):
            continue
        how = f"stops by itself after {last_s - spell.start_s:.1f} s" if stops else "is heard up to the next key"
        sure = min(CUT_SURE if stops else UNCUT_SURE, *(one.sure for one in there))
        yield (
            sign.id,
            Observation(sign.id, stops, sure),
            f"The {spoken(machine, motor)} {how} {SPOKEN_MODES[spell.mode]}.",
        )


def _ends_with(machine: Machine, motor: str, spell: Spell) -> bool:
    """Tell whether a motor ends with its mode or goes back to a plainly different rate: some run where all rests."""
    own = rates(machine, spell.mode).get(motor)
    for mode in (one for one in RESTING if one in machine.modes and motor in machine.modes[one].motors):
        there = rates(machine, mode).get(motor)
        if own is None or there is None or abs(there.turns_per_s.value / own.turns_per_s.value - 1.0) < RATE_FITS:
            return False
    return True


def _goes_over(one: StretchHeard, other: StretchHeard, spell: Spell) -> bool:
    """Tell whether a motor goes over to another rate at once and keeps that: the machine went into another mode."""
    if other.name != one.name or abs(other.start_s - one.end_s) > GOES_OVER_S:
        return False
    before, after = one.rate_hz, other.rate_hz
    if before.value is None or after.value is None or other.end_s < spell.end_s - GOES_TO_THE_KEY_S:
        return False
    return abs(after.value - before.value) > max(GOES_OVER * before.value, (before.doubt or 0.0) + (after.doubt or 0.0))


def dropping(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say where the logic let the head base drop by itself: one click alone, about when it has waited long enough."""
    machine = net.machine
    mode = machine.modes[spell.mode]
    waits = waits_of(machine, TURNING_SENSORS)
    if not waits or not mode.at_capstan or not mode.moves_head_base or not has_logic(machine):
        return
    early, late = WAIT_FITS_S
    from_s, to_s = spell.start_s + min(waits) - early, min(spell.start_s + max(waits) + late, spell.end_s - ALONE_S)
    there = [one for one in heard.clicks if from_s <= one.at_s <= to_s and one.sure >= BESIDE_SURE]
    clicks = [one for one in there if one.sure >= CLICK_SURE]
    gave_up = f"stops@{spell.mode}"
    if by_cam(machine):
        # Whether the logic waited for the reels or for a head base that did not come, the clicks before tell.
        _, rise_s, plain = arrival(machine, heard, spell)
        gave_up = gave_up if rise_s is not None else f"reported@{spell.mode}" if plain else ""
    signs = [one for one in net.signs.values() if one.node == gave_up and one.id.endswith(GIVES_UP)]
    when = SPOKEN_MODES[spell.mode]
    if not there and spell.end_s - spell.start_s > LONGEST_WAIT_S and keys_click(heard):
        why = (
            f"No click is heard {when} about when the logic would have waited long enough, and keys are heard to click."
        )
        for sign in signs:
            yield sign.id, Observation(sign.id, False, NO_DROP_SURE), why
    beside = [
        one for one in heard.clicks
        if one.sure >= BESIDE_SURE and any(0.0 < abs(one.at_s - this.at_s) < ALONE_S for this in clicks)
    ]  # fmt: skip
    if len(clicks) != 1 or beside:
        return
    why = (
        f"{when.capitalize()} one click alone is heard after {clicks[0].at_s - spell.start_s:.1f} s: the logic waits "
        f"{min(waits):g} s, and then lets go."
    )
    for sign in signs:
        yield sign.id, Observation(sign.id, True, DROPPED_SURE), why


def keys_click(heard: MechanismHeard) -> bool:
    """Tell whether most marks have a plain click beside them: a head base that drops would then be heard too."""
    marks = [one for one in heard.marks if one.mode != "off"]
    plain = [one.at_s for one in heard.clicks if one.sure >= CLICK_SURE]
    beside = [any(abs(at_s - one.at_s) <= one.doubt_s + BESIDE_KEY_S for at_s in plain) for one in marks]
    return sum(beside) > MOST_KEYS * len(beside) if beside else False
