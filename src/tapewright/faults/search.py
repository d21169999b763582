"""Find signs and parts by the words a person types, the trade's other words among them."""

import re
from collections.abc import Iterable
from typing import Final

from tapewright.faults.signs import Sign

OTHER_WORDS: Final = {
    "tire": "tyre", "wheel": "tyre idler", "hub": "reel", "spool": "reel", "spindle": "reel", "plate": "base",
    "mode": "cam", "control": "cam", "loading": "cam", "ff": "fast forward", "ffwd": "fast forward",
    "rew": "rewind", "wind": "fast forward rewind", "winding": "fast forward rewind", "heads": "head base",
    "chew": "loop wrap drawn", "eat": "loop wrap drawn", "spill": "loop", "wobble": "wavers", "wow": "wavers",
    "flutter": "wavers", "pitch": "pitch sound", "hum": "heard", "whirr": "heard goes on racing", "whir": "heard",
    "squeak": "squeal", "chirp": "squeal", "dead": "still not move starts", "stuck": "still not move drop",
    "gabble": "race", "quick": "fast", "rubber": "tyre belt roller", "dull": "slow", "nothing": "not move no starts",
}  # fmt: skip
"""Words people use -> words the signs use; common practice of the trade."""
_LEAST_STEM: Final = 3


def found_signs(signs: Iterable[Sign], text: str, most: int = 8) -> list[Sign]:
    """List the signs that fit what was typed, the best first.

    Arguments:
        signs: to search in.
        text: words in any order, whole or cut short.
        most: how many to give.

    >>> from tapewright.faults.mechanism import mechanism
    >>> from tapewright.faults.signs import signs
    >>> from tapewright.machine.library import shipped
    >>> found_signs(signs(mechanism(shipped("four_track"))), "reels race in play")[0].id
    'play_tape_races'
    """
    wanted = _stems(text)
    scored = [(_score(wanted, sign), -number, sign) for number, sign in enumerate(signs)]
    ranked = sorted((one for one in scored if one[0] > 0), key=lambda one: one[:2], reverse=True)
    return [sign for _, _, sign in ranked[:most]]


def _stems(text: str) -> dict[str, float]:
    """Cut words down to their stems; the trade's other words come in at half weight."""
    stems: dict[str, float] = {}
    for word in re.findall(r"[a-z]+", text.lower()):
        stems[_stem(word)] = 1.0
        for other in OTHER_WORDS.get(word, OTHER_WORDS.get(_stem(word), "")).split():
            stems.setdefault(_stem(other), 0.5)
    return stems


def _stem(word: str) -> str:
    for ending in ("ing", "es", "ed", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= _LEAST_STEM:
            return word.removesuffix(ending)
    return word


def _score(wanted: dict[str, float], sign: Sign) -> float:
    there = {_stem(word) for word in re.findall(r"[a-z]+", f"{sign.id.replace('_', ' ')} {sign.says}".lower())}
    told = sum(weight for stem, weight in wanted.items() if _is_there(stem, there))
    # Among signs that fit alike the shorter one is nearer to what was typed.
    return told - 0.01 * len(there) if told else 0.0


def _is_there(stem: str, there: set[str]) -> bool:
    if stem in there:
        return True
    return len(stem) >= _LEAST_STEM and any(one.startswith(stem) for one in there)
