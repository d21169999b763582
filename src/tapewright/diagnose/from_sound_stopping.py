"""What a recording tells of how modes end: a motor that runs on, a machine that gives up by itself, or does not."""

from collections.abc import Iterator
from typing import Final

from tapewright.diagnose.from_sound_spells import LEAST_S, Said, Spell, after_a_change, within
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, TURNING_SENSORS, spoken
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import MechanismHeard
from tapewright.words.reading import Reading

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


def stopping(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """When the machine gives a mode up by itself: what turned falls silent, or to another rate, before the next key."""
    machine = net.machine
    mode = machine.modes[spell.mode]
    if not mode.takes_up or not any(
        one.kind in (*TURNING_SENSORS, "position_switch") for one in machine.sensors.values()
    ):
        return
    ended = {sensor.ends for sensor in machine.sensors.values()}
    driving = [one for motor in mode.motors if motor not in ended for one in within(heard, spell, motor)]
    # What is heard in the mode, and not in the quiet mode before it, ends with the mode.
    own = [one for one in driving if one.start_s > spell.start_s - 0.5]
    if not own:
        return
    left = [one for one in own if any(after_a_change(heard, other, spell) for other in own if other.name == one.name)]
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
