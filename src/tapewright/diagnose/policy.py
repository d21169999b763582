"""What to do next: ask, mend or hand the machine back, by the expected cost of repair.

The value of a state is what it is expected to cost to mend one thing after another until the complaint is gone, each
time the thing with the best chance of ending it per minute (the rule of chance over cost: J. B. Kadane and H. A. Simon,
1977; D. Heckerman, J. Breese and K. Rommelse, Commun. ACM 38(3), 1995). Three things are added, since the rule's
conditions fail on a real machine. Cases are weighed together, so what one repair left undone speaks for the next. What
lies inside is weighed as a group against what lies outside, since the opening is paid once. And questions are looked
ahead for: every question one step, the best of them and the first repairs two.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.cases import Cases, Complaint, Workings, words_of
from tapewright.diagnose.cures import Cures, cures
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.mending import Bench, in_a_row
from tapewright.diagnose.repairs import GIVE_UP_MINUTES, OPENING_MINUTES
from tapewright.faults.signs import Sign

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]

DEEP: Final = 6
"""Questions, and repairs, that are looked at two steps deep."""
ASKED_LATER: Final = 20
"""Questions that are thought of as the second step."""


@dataclass(frozen=True, slots=True, eq=False)
class Decision:
    """What is best to do.

    Arguments:
        does: "ask", "mend" or "hand back".
        number: of the question or work.
        minutes: what the job is expected to cost from here.
        without_asking: the same when something is mended now.
        saving: what asking each question now takes off that, its price taken off, shape (questions,).
    """

    does: str
    number: int
    minutes: float
    without_asking: float
    saving: Array


def bench(
    found: Cures,
    weights: Array,
    yes: Array,
    works: tuple[Array, Mask],
    questions: tuple[Array, Mask],
    *,
    opened: bool,
    opening: float,
    give_up: float,
) -> Bench:
    """Lay out where the work stands.

    Arguments:
        found: from `cures`.
        weights: of the cases, shape (cases,).
        yes: chance that each case says yes to each question, shape (cases, questions).
        works: minutes of each work, and whether it wants the case open, shape (works,) each.
        questions: the same of each question, shape (questions,) each.
        opened: whether the case lies open.
        opening: minutes to open and close it.
        give_up: minutes that a machine costs that goes back with its complaint.
    """
    order = np.argsort(found.pattern, kind="stable")
    there, starts = np.unique(found.pattern[order], return_index=True)
    return Bench(
        weights[order] / weights.sum(),
        yes[order],
        starts.astype(np.intp),
        found.alone[there].astype(float),
        found.jointly[there].astype(float),
        *works,
        *questions,
        opened,
        opening,
        give_up,
    )


def choose(inner: Workings, cases: Cases, complaint: Complaint, left: Sequence[Sign], *, opened: bool) -> Decision:
    """Lay a machine on the bench as the cases have it, and decide.

    Arguments:
        inner: the machine's workings.
        cases: what may be wrong.
        complaint: what has to end.
        left: the signs that may be asked.
        opened: whether the case lies open.
    """
    words = words_of(inner, cases.now, {sign.node for sign in left})
    columns = [of_answer(sign, inner.network.words[sign.node], present=True)[words[sign.node]] for sign in left]
    yes = np.stack(columns, axis=1) if columns else np.empty((len(cases.weights), 0))
    minutes = np.array([sign.minutes + sign.risk_minutes for sign in left])
    here = bench(
        cures(inner, cases, complaint),
        cases.weights,
        yes,
        (np.array([w.minutes for w in inner.works]), np.array([w.opens_case for w in inner.works])),
        (minutes, np.array([sign.opens_case for sign in left], dtype=bool)),
        opened=opened,
        opening=OPENING_MINUTES,
        give_up=GIVE_UP_MINUTES,
    )
    return decide(here)


def decide(here: Bench) -> Decision:
    """Choose what to do.

    While a question with the case shut is worth asking, none that opens it is chosen.

    Arguments:
        here: where the work stands.
    """
    used = np.flatnonzero((here.alone + here.jointly).any(axis=0))
    here = _narrowed(here, used)
    of_patterns = np.add.reduceat(here.weights, here.starts)
    yes_patterns = _by_pattern(here, here.weights[:, None], here.yes)[:, 0]
    then = _then(here, of_patterns, yes_patterns)
    asking = of_patterns.sum() * _ask_price(here) + then.sum(axis=0)
    telling = _bits_told(of_patterns, yes_patterns) / _ask_price(here)
    by_telling = np.argsort(-telling, kind="stable")
    firsts = np.array([*dict.fromkeys([*np.argsort(asking, kind="stable")[:DEEP], *by_telling[:DEEP]])], dtype=np.intp)
    works = _likely_works(here, of_patterns)
    # All states from which one more question is thought of go through together.
    second = by_telling[:ASKED_LATER]
    asked = _after_asking(here, of_patterns, yes_patterns, then, firsts, second)
    mended = _after_mending(here, of_patterns, yes_patterns, works, second)
    ahead = _ahead(here, _both(asked, mended), second)
    deep = asking.copy()
    deep[firsts] = np.minimum(asking[firsts], _ask_price(here)[firsts] + ahead[: 2 * len(firsts)].reshape(2, -1).sum(0))
    costs = _work_price(here, works) + ahead[2 * len(firsts) :]
    first = int(costs.argmin()) if len(works) else -1
    mending = float(costs[first]) if len(works) else np.inf
    stop = min(mending, here.give_up)
    saving = _saving(here, asking, deep, stop)
    best = _best_question(here, saving)
    if best >= 0:
        return Decision("ask", best, float(deep[best]), stop, saving)
    if mending < here.give_up:
        return Decision("mend", int(used[works[first]]), mending, stop, saving)
    return Decision("hand back", -1, here.give_up, stop, saving)


def _saving(here: Bench, asking: Array, deep: Array, stop: float) -> Array:
    """Give what each question saves.

    A question looked at two steps deep may owe its worth to the second alone. One with the case shut must not borrow it
    from one that opens the case: it counts by itself, or against opening the case at once.
    """
    opening_now = np.where(here.ask_inside, asking, np.inf).min(initial=np.inf)
    by_itself = np.maximum(stop - asking, min(stop, opening_now) - deep)
    return np.asarray(np.where(here.ask_inside | here.opened, stop - deep, by_itself))


def _best_question(here: Bench, saving: Array) -> int:
    """Choose the question: with the case shut while any such saves something; -1 when none does."""
    worth = saving > 0.0
    if not here.opened and (worth & ~here.ask_inside).any():
        worth = worth & ~here.ask_inside
    return int(np.where(worth, saving, -np.inf).argmax()) if worth.any() else -1


def _narrowed(here: Bench, works: Codes) -> Bench:
    return replace(
        here, alone=here.alone[:, works], jointly=here.jointly[:, works],
        work_minutes=here.work_minutes[works], work_inside=here.work_inside[works],
    )  # fmt: skip


def _by_pattern(here: Bench, weights: Array, yes: Array) -> Array:
    """Sum the chances of a yes over the cases of each pattern.

    Arguments:
        here: where the work stands.
        weights: of the cases, once or more, shape (cases, times).
        yes: shape (cases, questions).

    Returns:
        Shape (patterns, times, questions).
    """
    bounds = [*here.starts, len(here.weights)]
    return np.stack([weights[first:end].T @ yes[first:end] for first, end in pairwise(bounds)])


def _ask_price(here: Bench) -> Array:
    return here.ask_minutes + (0.0 if here.opened else here.opening) * here.ask_inside


def _work_price(here: Bench, works: Codes) -> Array:
    return here.work_minutes[works] + (0.0 if here.opened else here.opening) * here.work_inside[works]


def _then(here: Bench, of_patterns: Array, yes_patterns: Array) -> Array:
    """Give the cost of mending after each answer to each question, yes and no, shape (2, questions)."""
    ways = np.concatenate([yes_patterns.T, of_patterns - yes_patterns.T])
    done = np.zeros((len(ways), len(here.work_minutes)), dtype=bool)
    return in_a_row(here, ways, np.tile(here.ask_inside | here.opened, 2), done).reshape(2, -1)


@dataclass(frozen=True, slots=True, eq=False)
class _States:
    """States from which one more question may be asked.

    Arguments:
        ways: weights of the patterns, shape (states, patterns).
        yes: the part of them that says yes to each question, shape (states, patterns, questions).
        opened: shape (states,).
        done: works done already, shape (states, works).
        asked: question that was asked on the way, -1 where none was, shape (states,).
        plain: cost of mending without one more question, shape (states,).
    """

    ways: Array
    yes: Array
    opened: Mask
    done: Mask
    asked: Codes
    plain: Array


def _both(one: _States, other: _States) -> _States:
    return _States(*(np.concatenate([getattr(one, name), getattr(other, name)]) for name in _States.__slots__))


def _after_asking(
    here: Bench, of_patterns: Array, yes_patterns: Array, then: Array, firsts: Codes, second: Codes
) -> _States:
    """Give the states after some questions, those of a yes first; `then` is what mending costs from there."""
    yes = yes_patterns.T[firsts]
    both = _by_pattern(here, here.weights[:, None] * here.yes[:, firsts], here.yes[:, second]).transpose(1, 0, 2)
    return _States(
        np.concatenate([yes, of_patterns - yes]),
        np.concatenate([both, yes_patterns[:, second] - both]),
        np.tile(here.ask_inside[firsts] | here.opened, 2),
        np.zeros((2 * len(firsts), len(here.work_minutes)), dtype=bool),
        np.tile(firsts, 2),
        then[:, firsts].ravel(),
    )


def _after_mending(here: Bench, of_patterns: Array, yes_patterns: Array, works: Codes, second: Codes) -> _States:
    """Give the states after some works that did not help."""
    ended = here.alone + here.jointly * (here.jointly.sum(axis=1, keepdims=True) == 1)
    left = 1.0 - ended.T[works]
    opened = here.work_inside[works] | here.opened
    done = np.arange(len(here.work_minutes)) == works[:, None]
    ways = of_patterns * left
    plain = in_a_row(here, ways, opened, done)
    return _States(ways, left[:, :, None] * yes_patterns[:, second], opened, done, np.full(len(works), -1), plain)


def _ahead(here: Bench, states: _States, second: Codes) -> Array:
    """Give the cost from each state when one more question may be asked at once, shape (states,)."""
    count, patterns, width = states.yes.shape
    if not width:
        return states.plain
    yes = states.yes.transpose(0, 2, 1)
    ways = np.stack([yes, states.ways[:, None] - yes]).reshape(-1, patterns)
    open_then = np.tile((states.opened[:, None] | here.ask_inside[second]).ravel(), 2)
    done = np.tile(np.repeat(states.done, width, axis=0), (2, 1))
    costs = in_a_row(here, ways, open_then, done).reshape(2, count, width).sum(axis=0)
    price = here.ask_minutes[second] + here.opening * (here.ask_inside[second] & ~states.opened[:, None])
    costs += states.ways.sum(axis=1, keepdims=True) * price
    return np.asarray(np.minimum(states.plain, np.where(states.asked[:, None] == second, np.inf, costs).min(axis=1)))


def _likely_works(here: Bench, of_patterns: Array) -> Codes:
    """Choose the works that may be done first: the best by chance over cost, outside and inside."""
    hope = of_patterns @ (here.alone + here.jointly / np.maximum(here.jointly.sum(axis=1, keepdims=True), 1.0))
    chosen: list[int] = []
    for inside in (False, True):
        rate = np.where(here.work_inside == inside, hope / here.work_minutes, 0.0)
        chosen += [int(work) for work in np.argsort(-rate, kind="stable")[: DEEP // 2] if rate[work] > 0.0]
    return np.array(chosen, dtype=np.intp)


def _bits_told(of_patterns: Array, yes_patterns: Array) -> Array:
    """Give what each question tells of the pattern, bits, shape (questions,)."""
    yes, no = yes_patterns, of_patterns[:, None] - yes_patterns
    return np.asarray(_spread(of_patterns[:, None])[0] - _spread(yes) - _spread(no))


def _spread(ways: Array) -> Array:
    """Give the entropy of unnormalised weights, times their sum, for each column."""
    ways = np.maximum(ways, 1e-300)
    return np.asarray(-(ways * np.log2(ways / ways.sum(axis=0))).sum(axis=0))
