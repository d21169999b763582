"""What two clicks tell of a head base that a cam moves: the key, and the head base that arrives."""

from collections.abc import Iterator
from typing import Final

from tapewright.diagnose.from_sound_spells import Said, Spell, waits_of
from tapewright.diagnose.network import Network
from tapewright.machine.parts import Machine, has_logic
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import MechanismHeard
from tapewright.words.reading import Reading

CLICK_SURE: Final = 0.6
KEY_SURE: Final = 0.9
"""Where the key itself clicks less plainly, a head base that is not heard may have come."""
RISES_S: Final = (0.2, 2.2)
"""Time from the key to the head base: a solenoid's click comes with the key, and no cam takes longer; from memory."""
AFTER_THE_MARK_S: Final = 0.1
MOST_CLICKS: Final = 3
"""The key, the head base, and one more where the logic gives up: more are speech, or something that knocks."""
DOUBT_S: Final = 0.1
CAME_SURE: Final = 0.6
STAYED_SURE: Final = 0.6
"""Of 12 cam machines of tuning minutes eight clicked twice, and all eight came; of a plain key alone there was one, and
it had stayed."""
BEFORE_GIVING_UP: Final = 0.8
"""A click later than this share of the logic's wait may be the logic that gives up."""


def rising(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say when the head base came up in play, or that it was not heard to come."""
    machine = net.machine
    if spell.mode != "play" or not has_logic(machine) or not by_cam(machine):
        return
    key_s, rise_s, plain = arrival(machine, heard, spell)
    stays = net.signs.get("play_stays_down")
    if rise_s is not None:
        why = f"In play two clicks are heard, {rise_s:.2f} s apart: the key, and the head base that arrives."
        reading = Reading(rise_s, "s", DOUBT_S, method="key and head base clicking", by="microphone")
        yield "head_base_rise_s", reading, why
        if stays is not None:
            yield stays.id, Observation(stays.id, False, CAME_SURE), why
    elif key_s is not None and plain and stays is not None:
        why = "In play the key is heard to click, and no head base that arrives after it."
        yield stays.id, Observation(stays.id, True, STAYED_SURE), why


def by_cam(machine: Machine) -> bool:
    """Tell whether a cam or the like moves the head base, which takes a time one can hear."""
    return machine.head_base.lifted_by in machine.rotors


def arrival(machine: Machine, heard: MechanismHeard, spell: Spell) -> tuple[float | None, float | None, bool]:
    """Give when the key clicked, how long after it the head base did, and whether the key was plain.

    Arguments:
        machine: as described.
        heard: what was heard.
        spell: of play.

    Returns:
        The first two are None where no such click was heard, or too many.
    """
    waits = waits_of(machine, ("position_switch",))
    low, high = RISES_S[0], min(RISES_S[1], BEFORE_GIVING_UP * min(waits, default=RISES_S[1]))
    near = [one for one in heard.clicks if abs(one.at_s - spell.start_s) <= spell.doubt_s + AFTER_THE_MARK_S]
    key = next((one for one in near if one.sure >= CLICK_SURE), None)
    if key is None:
        return None, None, False
    after = [one for one in heard.clicks if 0.0 < one.at_s - key.at_s <= high + 1.0]
    if len(after) >= MOST_CLICKS:
        return None, None, False
    came = next((one for one in after if one.sure >= CLICK_SURE and low <= one.at_s - key.at_s <= high), None)
    alone = key.sure >= KEY_SURE and not any(low <= one.at_s - key.at_s <= high for one in after)
    return key.at_s, None if came is None else came.at_s - key.at_s, alone
