"""What would end a complaint, case by case: which pieces of work, alone or only together."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.cases import Cases, Complaint, Workings, hangs_on, showing
from tapewright.diagnose.distinct import distinct_rows

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]

PATTERNS: Final = 40
"""Ways of ending the complaint that are kept apart as they are; of rarer ones one work is kept."""


@dataclass(frozen=True, slots=True, eq=False)
class Cures:
    """What would end the complaint, pattern by pattern.

    Arguments:
        pattern: the pattern of each case, shape (cases,).
        alone: works each of which ends it alone, shape (patterns, works).
        jointly: where none does alone, works that do all together, shape (patterns, works).
    """

    pattern: Codes
    alone: Mask
    jointly: Mask


def cures(inner: Workings, cases: Cases, complaint: Complaint) -> Cures:
    """Find for each case what would end the complaint.

    Arguments:
        inner: the machine's workings.
        cases: in each of which the complaint shows.
        complaint: what has to end.
    """
    matter = hangs_on(inner, complaint)
    few, place = distinct_rows(cases.now[:, matter])
    states = np.zeros((len(few), len(inner.parts)), dtype=np.intp)
    states[:, matter] = few
    doing = np.stack([inner.mends[i].take(states[:, i]) for i in range(len(inner.parts))], axis=1)
    # Every bad part of every case is mended by itself, all at once.
    bad, part = np.nonzero(states)
    without = states[bad]
    without[np.arange(len(bad)), part] = 0
    ends = ~showing(inner, without, complaint)
    alone = np.zeros((len(few), len(inner.works)), dtype=bool)
    alone[bad[ends], doing[bad[ends], part[ends]]] = True
    jointly = _jointly(inner, states, doing, complaint, np.asarray(~alone.any(axis=1)))
    kept, pattern = _commonest(np.concatenate([alone, jointly], axis=1), cases.weights, place)
    width = len(inner.works)
    return Cures(pattern, kept[:, :width], kept[:, width:])


def _jointly(inner: Workings, states: Codes, doing: Codes, complaint: Complaint, wanted: Mask) -> Mask:
    """Find works that together end what none ends alone: begin with all, and leave out what need not be done.

    Each case goes through its own bad parts, the dearest to mend first; the first of every case go through together,
    then the second, and so on.
    """
    found = np.zeros((len(states), len(inner.works)), dtype=bool)
    rows = np.flatnonzero(wanted)
    if not len(rows):
        return found
    dearest = [max((inner.works[w].minutes for w in own if w >= 0), default=0.0) for own in inner.mends]
    dear = np.argsort(-np.array(dearest), kind="stable")
    before, left = states[rows], np.zeros_like(states[rows])
    case, place = np.nonzero(before[:, dear])
    turn = np.arange(len(case)) - np.searchsorted(case, case)
    for number in range(int(turn.max(initial=-1)) + 1):
        now, part = case[turn == number], dear[place[turn == number]]
        trial = left[now]
        trial[np.arange(len(now)), part] = before[now, part]
        spared = ~showing(inner, trial, complaint)
        left[now[spared]] = trial[spared]
    done, part = np.nonzero(left != before)
    found[rows[done], doing[rows[done], part]] = True
    return found


def _commonest(patterns: Mask, weights: Array, place: Codes) -> tuple[Mask, Codes]:
    """Keep the commonest patterns; of the others only the work that ends most, and what is left then nothing ends."""
    few, of_case = _told_apart(patterns, place)
    if len(few) <= PATTERNS:
        return few, of_case
    mass = np.bincount(of_case, weights, len(few))
    rare = np.argsort(-mass, kind="stable")[PATTERNS:]
    width = few.shape[1] // 2
    often = np.where(few[rare, :width], mass @ few[:, :width], -1.0)
    some = np.flatnonzero(often.max(axis=1) >= 0.0)
    few[rare[some]] = False
    few[rare[some], often[some].argmax(axis=1)] = True
    few, of_case = _told_apart(few, of_case)
    if len(few) <= 2 * PATTERNS:
        return few, of_case
    common = np.argsort(-np.bincount(of_case, weights, len(few)), kind="stable")[: 2 * PATTERNS - 1]
    number = np.full(len(few), len(common), dtype=np.intp)
    number[common] = np.arange(len(common))
    return np.concatenate([few[common], np.zeros((1, few.shape[1]), dtype=bool)]), number[of_case]


def _told_apart(patterns: Mask, place: Codes) -> tuple[Mask, Codes]:
    few, which = distinct_rows(patterns)
    return few, which[place]
