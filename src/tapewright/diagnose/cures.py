"""What would end a complaint, case by case: which pieces of work, alone or only together."""

from collections.abc import Sequence
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
    doing = np.stack([inner.mends[i][states[:, i]] for i in matter], axis=1) if matter else np.empty((len(few), 0))
    alone = np.zeros((len(few), len(inner.works)), dtype=bool)
    for column, i in enumerate(matter):
        bad = np.flatnonzero(states[:, i])
        without = states[bad]
        without[:, i] = 0
        ended = bad[~showing(inner, without, complaint)]
        alone[ended, doing[ended, column]] = True
    jointly = _jointly(inner, states, matter, complaint, np.asarray(~alone.any(axis=1)))
    kept, pattern = _commonest(np.concatenate([alone, jointly], axis=1), cases.weights, place)
    width = len(inner.works)
    return Cures(pattern, kept[:, :width], kept[:, width:])


def _jointly(inner: Workings, states: Codes, matter: Sequence[int], complaint: Complaint, wanted: Mask) -> Mask:
    """Find works that together end what none ends alone: begin with all, and leave out what need not be done."""
    found = np.zeros((len(states), len(inner.works)), dtype=bool)
    rows = np.flatnonzero(wanted)
    if not len(rows):
        return found
    before, left = states[rows], np.zeros_like(states[rows])
    dear = sorted(matter, key=lambda i: -max((inner.works[w].minutes for w in inner.mends[i] if w >= 0), default=0.0))
    for i in dear:
        trial = left.copy()
        trial[:, i] = before[:, i]
        spared = ~showing(inner, trial, complaint)
        left[spared] = trial[spared]
    for i in matter:
        done = np.flatnonzero(left[:, i] != before[:, i])
        found[rows[done], inner.mends[i][before[done, i]]] = True
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
