"""The guided minute: what to do when, one after another, so that ear and eye have heard and seen every mode.

Which steps there are comes from the machine's modes alone, how long each lasts also from how long its logic waits. How
long a person needs for one is from memory.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tapewright.machine.parts import TURNING_SENSORS, Machine
from tapewright.words.mechanism_heard import OFF, Mark

LASTS_S: Final = {
    OFF: 4.0, "switch_on": 5.0, "idle": 3.0, "close_tray": 5.0, "cassette_in": 4.0, "play": 15.0, "stop": 4.0,
    "fast_forward": 8.0, "rewind": 8.0, "open_tray": 5.0,
}  # fmt: skip
"""How long each step lasts, seconds, where the logic does not wait longer; from memory."""
AFTER_WAITING_S: Final = 2.0
"""A step goes on for so long after the logic should have given up: what runs on is heard to."""
ORDER: Final = (
    "switch_on", "idle", "close_tray", "cassette_in", "play", "stop", "fast_forward", "stop", "rewind", "stop",
    "open_tray",
)  # fmt: skip

QUIET: Final = "Let nothing run and say nothing: this is what the room sounds like without the machine."
SAYS: Final = {
    "switch_on": "Switch it on, with no cassette in it.",
    "idle": "Switch it on, with no cassette in it, and press nothing.",
    "close_tray": "Lay the sacrificial cassette into the tray and let the tray go in.",
    "cassette_in": "Put the sacrificial cassette in, close the lid, and press nothing.",
    "play": "Press play.",
    "stop": "Press stop.",
    "fast_forward": "Press fast forward.",
    "rewind": "Press rewind.",
    "open_tray": "Let the tray come out, and take the cassette away.",
}
ALREADY_IN: Final = "The cassette is in. Press nothing."
LAST: Final = "Switch it off, then take the cassette out. Nothing should turn any more."
SACRIFICIAL: Final = "Never the owner's tape: a sacrificial cassette only, wound to about the middle."
STOP_AT_ONCE: Final = "If tape is drawn in, or it squeals, press stop at once and go no further."
HANDS_OUT: Final = "Hands, hair and loose sleeves stay out of the cassette well: reels, capstan and roller turn."
CASE_CLOSED: Final = "With the case closed. Where it stands open and powered, only as your local rules allow."
NEVER_PULL: Final = "A trapped tape is got out with the power off, turning by hand, never pulling."


@dataclass(frozen=True, slots=True)
class MinuteStep:
    """One step of a guided minute.

    Arguments:
        mode: the mode it enters: "off", else one of the machine's.
        at_s: when it begins, seconds from the beginning of the recording.
        lasts_s: how long, seconds.
        says: what to do, a sentence or two.
        cautions: what can hurt the person, the machine or the tape at this step.
    """

    mode: str
    at_s: float
    lasts_s: float
    says: str
    cautions: tuple[str, ...] = ()

    @property
    def ends_s(self) -> float:
        """Give when the next step begins, seconds."""
        return self.at_s + self.lasts_s


def minute_steps(machine: Machine) -> tuple[MinuteStep, ...]:
    """Give the steps of a machine's guided minute, the earliest first; only modes that the machine has.

    >>> from tapewright.machine.library import shipped
    >>> [step.mode for step in minute_steps(shipped("one_motor_portable"))][:4]
    ['off', 'idle', 'cassette_in', 'play']
    >>> sum(step.lasts_s for step in minute_steps(shipped("four_track")))
    67.0
    """
    found: list[MinuteStep] = []
    at_s = 0.0
    for step in _steps(machine):
        found.append(replace(step, at_s=at_s))
        at_s = found[-1].ends_s
    return tuple(found)


def marks_of(steps: Sequence[MinuteStep]) -> tuple[Mark, ...]:
    """Give what was done when, as a recording of these steps would have it."""
    return tuple(Mark(step.mode, step.at_s) for step in steps)


def _steps(machine: Machine) -> Iterator[MinuteStep]:
    """Give the steps, all as if they began at once."""
    yield MinuteStep(OFF, 0.0, LASTS_S[OFF], QUIET)
    entered = [
        mode for mode in ORDER if mode in machine.modes and not (mode == "idle" and "switch_on" in machine.modes)
    ]
    for before, mode in zip([OFF, *entered], entered, strict=False):
        if mode == "stop" and before not in ("play", "fast_forward", "rewind"):
            continue  # nothing runs that could be stopped
        says = ALREADY_IN if mode == "cassette_in" and before == "close_tray" else SAYS[mode]
        yield MinuteStep(mode, 0.0, _lasts_s(machine, mode), says, _cautions(mode))
    yield MinuteStep(OFF, 0.0, LASTS_S[OFF], LAST, (NEVER_PULL,))


def _lasts_s(machine: Machine, mode: str) -> float:
    waits = [one.timeout_s or 0.0 for one in machine.sensors.values() if _waited_for(machine, mode, one.kind)]
    return max(LASTS_S[mode], max(waits, default=0.0) + AFTER_WAITING_S)


def _waited_for(machine: Machine, mode: str, kind: str) -> bool:
    """Tell whether the logic waits for a kind of sensor in a mode."""
    found = machine.modes[mode]
    if kind == "position_switch":
        return found.moves_head_base
    if kind == "tray_switch":
        return mode in ("close_tray", "open_tray")
    return kind in TURNING_SENSORS and bool(found.takes_up)


def _cautions(mode: str) -> tuple[str, ...]:
    if mode in ("switch_on", "idle"):
        return (CASE_CLOSED, HANDS_OUT)
    if mode in ("cassette_in", "close_tray"):
        return (SACRIFICIAL, HANDS_OUT)
    return (STOP_AT_ONCE, HANDS_OUT) if mode in ("play", "fast_forward", "rewind") else (HANDS_OUT,)
