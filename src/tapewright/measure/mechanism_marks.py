"""Marks from clicks: when the steps of a minute were done, found from the clicks of keys where nobody noted it.

The order of the steps and about how long each lasts are known. One beginning is looked for under which the clicks fall
where steps begin; the hand follows a prompt by a fraction of a second. How surely it is the right one comes from the
next best beginning in the same recording.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Array
from tapewright.words.mechanism_heard import Click, Mark

HAND_S, HAND_SPREAD_S = 0.12, 0.15
"""How late a hand follows, and how much that varies; common practice for a prompt that is awaited."""
APART_S: Final = 0.8
"""Beginnings nearer together than this are one."""
LEAST_SHARE: Final = 0.6
"""With fewer of its steps clicking than this a minute is not recognised."""
LEAST_AHEAD: Final = 1.5
"""By so many clicks the best beginning has to be ahead of the next one."""
CHANCE_MOST: Final = 1e-3
HEARD_DOUBT_S, UNHEARD_DOUBT_S = 0.1, 0.5


@dataclass(frozen=True, slots=True)
class MarksFound:
    """When the steps of a minute were done.

    Arguments:
        marks: one for each step, sorted; empty where they are not found, or where it is open which they are.
        heard: how many of them a click tells.
        sure: chance that they are right, 0 to 1.
        says: a sentence for whoever reads the result.
    """

    marks: tuple[Mark, ...]
    heard: int
    sure: float
    says: str


def marks_from_clicks(clicks: Sequence[Click], steps: Sequence[Mark], duration_s: float) -> MarksFound:
    """Find when the steps of a minute were done.

    Arguments:
        clicks: heard.
        steps: in their order, at the times at which the minute asks for them; the first is how it begins.
        duration_s: of the recording.

    >>> asked = {"off": 0.0, "play": 4.0, "stop": 9.0, "rewind": 11.5, "fast_forward": 18.0, "reverse_play": 23.0}
    >>> steps = [Mark(mode, at_s) for mode, at_s in asked.items()]
    >>> found = marks_from_clicks([Click(at_s, 0.99) for at_s in (5.1, 10.1, 12.6, 19.2, 24.1)], steps, 60.0)
    >>> [(mark.mode, round(mark.at_s, 1)) for mark in found.marks][:4]
    [('off', 1.0), ('play', 5.1), ('stop', 10.1), ('rewind', 12.6)]
    """
    asked = np.array([step.at_s for step in steps[1:]])
    at, sure = np.array([click.at_s for click in clicks]), np.array([click.sure for click in clicks])
    if len(asked) < 3 or len(at) < LEAST_SHARE * len(asked):
        return MarksFound((), 0, 0.0, "Too few clicks are heard to find when its steps were done.")
    begins = (at[:, None] - asked[None, :]).ravel() - HAND_S
    # The minute need not be there from its very first second, but all its keys have to be.
    begins = np.unique(np.round(begins[(begins > -steps[1].at_s) & (begins + asked[-1] < duration_s)], 2))
    if not len(begins):
        return MarksFound((), 0, 0.0, "The recording is shorter than the minute.")
    scores = np.array([_score(begin + asked, at, sure).sum() for begin in begins])
    best = int(np.argmax(scores))
    others = scores[np.abs(begins - begins[best]) > APART_S]
    ahead = float(scores[best] - (others.max() if len(others) else 0.0))
    each = _score(begins[best] + asked, at, sure)
    heard = int(np.count_nonzero(each > 0.3))
    if heard < LEAST_SHARE * len(asked):
        return MarksFound(
            (), heard, 0.0, f"Only {heard} of {len(asked)} steps would fall on a click, wherever it began."
        )
    if _by_chance(heard, len(asked), len(at) / duration_s) > CHANCE_MOST:
        return MarksFound(
            (), heard, 0.0, "So many clicks are heard that its steps would fall on some wherever it began."
        )
    if ahead < LEAST_AHEAD:
        return MarksFound(
            (), heard, 0.5, "Its steps fit the clicks in more than one way: which mode a sound belongs to is open."
        )
    marks = [Mark(steps[0].mode, max(float(begins[best]), 0.0), UNHEARD_DOUBT_S)]
    for step, here, score in zip(steps[1:], begins[best] + asked, each, strict=True):
        nearest = float(at[int(np.argmin(np.abs(at - here - HAND_S)))])
        marks.append(
            Mark(step.mode, nearest, HEARD_DOUBT_S) if score > 0.3 else Mark(step.mode, float(here), UNHEARD_DOUBT_S)
        )
    kept = [marks[0], *(late for early, late in itertools.pairwise(marks) if late.at_s > early.at_s)]
    right = 1.0 / (1.0 + math.exp(-2.0 * (ahead - LEAST_AHEAD / 2.0)))
    when = ", ".join(f"{mark.mode} {mark.at_s:.1f} s ± {mark.doubt_s:g}" for mark in kept)
    says = (
        f"Nobody noted when its steps were done: {heard} of {len(asked)} were found from clicks and changes of "
        f"loudness, the others follow from the minute's own times ({when})."
    )
    return MarksFound(tuple(kept), heard, right, says)


def _score(wanted_s: Array, at_s: Array, sure: Array) -> Array:
    """Give for each step how well the click nearest to it fits, 0 to 1."""
    off = at_s[None, :] - wanted_s[:, None] - HAND_S
    return np.asarray((sure[None, :] * np.exp(-0.5 * (off / HAND_SPREAD_S) ** 2)).max(axis=1))


def _by_chance(heard: int, steps: int, clicks_per_s: float) -> float:
    """Give the chance that so many steps of one beginning fall on clicks that have nothing to do with them."""
    # One step is on a click by construction.
    one = min(1.0 - math.exp(-clicks_per_s * 2.0 * 1.55 * HAND_SPREAD_S), 1.0)
    return sum(math.comb(steps - 1, k) * one**k * (1.0 - one) ** (steps - 1 - k) for k in range(heard - 1, steps))


BEFORE_S, AFTER_S, GUARD_S = 0.8, 0.8, 0.1
CHANGES_BY: Final = 5.0
"""So many times its usual wavering a loudness has to change by at once."""
CHANGES_DB: Final = 2.0
CHANGE_SURE: Final = 0.8
"""A change is a motor's, or somebody's in the room; it is placed less well than a click. Trade judgement."""


def changes_in(powers: Array, step_s: float) -> list[Click]:
    """Find where loudness changes at once and stays so: motors that begin, end, or go on at another rate.

    Arguments:
        powers: of the bands, shape (bands, n), from `mechanism_bands.band_powers`.
        step_s: from value to value.

    Returns:
        As clicks: when, and how sure.
    """
    block = max(1, round(0.05 / step_s))
    count = powers.shape[1] // block
    levels = 10.0 * np.log10(powers[:, : count * block].reshape(len(powers), count, block).mean(axis=2))
    width_s = block * step_s
    before, after, guard = (max(1, round(one / width_s)) for one in (BEFORE_S, AFTER_S, GUARD_S))
    if count < before + after + 2 * guard:
        return []
    windows = np.lib.stride_tricks.sliding_window_view
    earlier = np.median(windows(levels, before, axis=1), axis=2)[:, : -(after + guard)]
    later = np.median(windows(levels, after, axis=1), axis=2)[:, before + guard :]
    moved = np.abs(later - earlier)
    usual = np.maximum(1.4826 * np.median(moved, axis=1, keepdims=True), 0.1)
    plain = np.where(moved > CHANGES_DB, moved / usual, 0.0).max(axis=0)
    tops = [
        at
        for at in np.flatnonzero(plain > CHANGES_BY)
        if plain[at] >= plain[max(0, at - before) : at + before + 1].max()
    ]
    return [Click(float((at + before + guard / 2.0) * width_s), CHANGE_SURE) for at in tops]
