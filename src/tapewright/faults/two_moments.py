"""The same thing at two moments: cold and warm, start and end of a side, an easy cassette and a stiff one, from rest.

Small functions from words to words, the words of `behaviours`.
"""

from typing import Final

from tapewright.faults.behaviours import MOVING, pass_on

WELL: Final = frozenset({"right", "fast", "hard", "arrives", "late", "no"})
"""Words that nobody complains of, of the tape, a reel, the head base or a harm."""


def changes_with_warmth(cold: str, warm: str) -> str:
    """Say how minutes of running change a thing: eases, worsens, same."""
    if cold in WELL and warm not in WELL:
        return "worsens"
    if warm in WELL and cold not in WELL:
        return "eases"
    return "same"


def only_when_warm(cold: str, warm: str) -> str:
    """Say how a thing is after minutes of running where it is well from cold; "same" where it is not, or still is."""
    return warm if cold in WELL and warm not in WELL else "same"


def either_change(*changes: str) -> str:
    """Combine what minutes of running do to several drives: worsens, eases, same."""
    return next((word for word in ("worsens", "eases") if word in changes), "same")


def only_late(at_start: str, at_end: str) -> str:
    """Say whether a thing goes well at the start of a side and not at its end: no, yes."""
    return "yes" if at_start in WELL and at_end not in WELL else "no"


STARTING: Final = 2.0
"""Torque to break a shaft away from rest, against that to keep it turning: grease and felt stick; from memory."""


def helped_on(driver: str, strong: str, sound_margin: float) -> str:
    """Say whether a shaft that does not start by itself runs on when it is pushed once: no, at_times, yes.

    Arguments: as for `pass_on`.
    """
    if driver == "at_times":
        return "yes"
    running, starting = (pass_on(driver, strong, asked) for asked in (sound_margin, sound_margin / STARTING))
    if running in MOVING and starting in ("still", "loose"):
        return "yes"
    return "at_times" if running in MOVING - {"weak"} and starting == "weak" else "no"


def motor_helped_on(run: str) -> str:
    """The same for a motor: one with a dead place in its commutator, or too weak to break away."""
    return {"at_times": "yes", "weak": "at_times"}.get(run, "no")


def by_tries(tape: str) -> str:
    """Say whether the tape moves at one try and not at another."""
    return "yes" if tape == "at_times" else "no"


def only_stiff(usual: str, stiff: str) -> str:
    """Say whether a thing goes well with an easy cassette and not with one that is hard to turn: no, yes."""
    return "yes" if usual in WELL and stiff not in WELL else "no"
