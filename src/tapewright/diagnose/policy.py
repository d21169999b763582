"""What to do next: ask, mend or hand the machine back, by the expected cost of repair.

The value of a state is what it is expected to cost to mend one thing after another until the complaint is gone, each
time the thing with the best chance of ending it per minute (the rule of chance over cost: J. B. Kadane and H. A. Simon,
1977; D. Heckerman, J. Breese and K. Rommelse, Commun. ACM 38(3), 1995). Three things are added, since the rule's
conditions fail on a real machine. Cases are weighed together, so what one repair left undone speaks for the next. What
lies inside is weighed as a group against what lies outside, since the opening is paid once. And questions are looked
ahead for: every question one step, the best of them and the first repairs two.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.cases import Cases, Complaint, Workings, words_of
from tapewright.diagnose.cures import Cures, cures
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.repairs import GIVE_UP_MINUTES, OPENING_MINUTES
from tapewright.faults.signs import Sign

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]

LONGEST: Final = 14
"""Repairs in a row that are thought through; what is left after them is handed back."""
DEEP: Final = 6
"""Questions, and repairs, that are looked at two steps deep."""
GROUPINGS: Final = 4
"""Rounds in which the best group of works inside is found; it hardly changes after three."""
ASKED_LATER: Final = 20
"""Questions that are thought of as the second step."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """Where the work stands.

    Arguments:
        weights: of the cases, shape (cases,); cases of one pattern lie together.
        yes: chance that each case says yes to each question, shape (cases, questions).
        starts: first case of each pattern, shape (patterns,).
        alone, jointly: as in `Cures`, 0 or 1, shape (patterns, works).
        work_minutes, work_inside: of each work, shape (works,).
        ask_minutes, ask_inside: of each question, shape (questions,).
        opened: whether the case lies open.
        opening: minutes to open and close it.
        give_up: minutes that a machine costs that goes back with its complaint.
    """

    weights: Array
    yes: Array
    starts: Codes
    alone: Array
    jointly: Array
    work_minutes: Array
    work_inside: Mask
    ask_minutes: Array
    ask_inside: Mask
    opened: bool
    opening: float
    give_up: float


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
    here = _narrowed(here, used, np.arange(len(here.ask_minutes)))
    of_patterns = np.add.reduceat(here.weights, here.starts)
    yes_patterns = np.add.reduceat(here.weights[:, None] * here.yes, here.starts, axis=0)
    asking = _asking(here, of_patterns, yes_patterns, opened=here.opened, done=_none(here))
    telling = _bits_told(of_patterns, yes_patterns) / _ask_price(here, opened=here.opened)
    by_telling = np.argsort(-telling, kind="stable")
    second = by_telling[:ASKED_LATER]
    deep = asking.copy()
    for q in dict.fromkeys([*np.argsort(asking, kind="stable")[:DEEP], *by_telling[:DEEP]]):
        deep[q] = min(asking[q], _asked(here, int(q), second))
    work, mending = _mending(here, of_patterns, second)
    stop = min(mending, here.give_up)
    saving = _saving(here, asking, deep, stop)
    best = _best_question(here, saving)
    if best >= 0:
        return Decision("ask", best, float(deep[best]), stop, saving)
    if mending < here.give_up:
        return Decision("mend", int(used[work]), mending, stop, saving)
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


def _narrowed(here: Bench, works: Codes, questions: Codes) -> Bench:
    return Bench(
        here.weights, here.yes[:, questions], here.starts, here.alone[:, works], here.jointly[:, works],
        here.work_minutes[works], here.work_inside[works], here.ask_minutes[questions], here.ask_inside[questions],
        here.opened, here.opening, here.give_up,
    )  # fmt: skip


def _none(here: Bench) -> Mask:
    return np.zeros(len(here.work_minutes), dtype=bool)


def _ask_price(here: Bench, *, opened: bool) -> Array:
    return here.ask_minutes + (0.0 if opened else here.opening) * here.ask_inside


def _asking(here: Bench, of_patterns: Array, yes_patterns: Array, *, opened: bool, done: Mask) -> Array:
    """Give the cost of asking each question and mending from there, shape (questions,)."""
    if not yes_patterns.shape[1]:
        return np.empty(0)
    ways = np.concatenate([yes_patterns.T, of_patterns - yes_patterns.T])
    open_then = np.tile(here.ask_inside | opened, 2)
    costs = _in_a_row(here, ways, open_then, np.tile(done, (len(ways), 1)))
    half = len(costs) // 2
    return np.asarray(of_patterns.sum() * _ask_price(here, opened=opened) + costs[:half] + costs[half:])


def _ahead(here: Bench, weights: Array, second: Codes, *, opened: bool, done: Mask) -> float:
    """Give the cost from a state when one more question may be asked at once."""
    of_patterns = np.add.reduceat(weights, here.starts)
    plain = float(_in_a_row(here, of_patterns[None], np.array([opened]), done[None])[0])
    if not len(second):
        return plain
    narrowed = _narrowed(here, np.arange(len(here.work_minutes)), second)
    yes_patterns = np.add.reduceat(weights[:, None] * narrowed.yes, here.starts, axis=0)
    return min(plain, float(_asking(narrowed, of_patterns, yes_patterns, opened=opened, done=done).min()))


def _asked(here: Bench, question: int, second: Codes) -> float:
    """Give the cost of asking a question, and one more if that is worth it, and then mending."""
    opened = here.opened or bool(here.ask_inside[question])
    left = second[second != question]
    ways = (here.weights * here.yes[:, question], here.weights * (1.0 - here.yes[:, question]))
    then = sum(_ahead(here, way, left, opened=opened, done=_none(here)) for way in ways)
    return float(_ask_price(here, opened=here.opened)[question]) + then


def _mending(here: Bench, of_patterns: Array, second: Codes) -> tuple[int, float]:
    """Choose the work to do first, when a question may follow where it does not help; give what that costs."""
    ended = here.alone + here.jointly * (here.jointly.sum(axis=1, keepdims=True) == 1)
    hope = of_patterns @ (here.alone + here.jointly / np.maximum(here.jointly.sum(axis=1, keepdims=True), 1.0))
    best, least = -1, np.inf
    for inside in (False, True):
        rate = np.where(here.work_inside == inside, hope / here.work_minutes, 0.0)
        for work in np.argsort(-rate, kind="stable")[: DEEP // 2]:
            if rate[work] > 0.0:
                opened = here.opened or inside
                price = here.work_minutes[work] + (here.opening if opened and not here.opened else 0.0)
                done = _none(here)
                done[work] = True
                sizes = np.diff(np.append(here.starts, len(here.weights)))
                left = here.weights * np.repeat(1.0 - ended[:, work], sizes)
                cost = price + _ahead(here, left, second, opened=opened, done=done)
                best, least = (int(work), float(cost)) if cost < least else (best, least)
    return best, float(least)


def _in_a_row(here: Bench, ways: Array, opened: Mask, done: Mask) -> Array:
    """Give the cost of mending one thing after another, for many states at once.

    Arguments:
        here: where the work stands.
        ways: weights of the patterns in each state, shape (states, patterns).
        opened: shape (states,).
        done: works done already, shape (states, works).

    Returns:
        Minutes times the state's weight, shape (states,).
    """
    ways, opened, done = ways.copy(), opened.copy(), done.copy()
    missing = here.jointly.sum(axis=1) - done @ here.jointly.T
    rows = np.arange(len(ways))
    spent: list[tuple[Array, Array]] = []
    for _ in range(LONGEST):
        mass = ways.sum(axis=1)
        if not (mass > 1e-9).any():
            break
        hope = ways @ here.alone + (ways / np.maximum(missing, 1.0)) @ here.jointly
        work = _best_work(here, np.where(done, 0.0, hope), opened)
        price = here.work_minutes[work] + here.opening * (here.work_inside[work] & ~opened)
        spent.append((mass, price))
        last = (missing == 1) & (here.jointly[:, work].T > 0)
        ways = ways * (1.0 - here.alone[:, work].T) * ~last
        missing = missing - here.jointly[:, work].T * ~done[rows, work][:, None]
        done[rows, work] = True
        opened |= here.work_inside[work]
    to_go = here.give_up * ways.sum(axis=1)
    for mass, price in reversed(spent):
        to_go = np.minimum(here.give_up * mass, price * mass + to_go)
    return np.asarray(to_go)


def _best_work(here: Bench, hope: Array, opened: Mask) -> Codes:
    """Choose by chance over cost; with the case shut the things inside share the opening, as the best group of them."""
    rate = hope / here.work_minutes
    inside = np.flatnonzero(here.work_inside)
    best = np.asarray(rate.argmax(axis=1))
    if not len(inside) or opened.all():
        return best
    chance, minutes, own = hope[:, inside], here.work_minutes[inside], rate[:, inside]
    shared = np.zeros(len(hope))
    for _ in range(GROUPINGS):
        # The best group holds what is better than the group itself (W. Dinkelbach, Manage. Sci. 13(7), 1967).
        worth = own > shared[:, None]
        shared = (chance * worth).sum(axis=1) / (here.opening + worth @ minutes)
    outside = np.where(here.work_inside, -1.0, rate)
    shut = np.where(shared > outside.max(axis=1), inside[own.argmax(axis=1)], outside.argmax(axis=1))
    return np.asarray(np.where(opened, best, shut))


def _bits_told(of_patterns: Array, yes_patterns: Array) -> Array:
    """Give what each question tells of the pattern, bits, shape (questions,)."""
    yes, no = yes_patterns, of_patterns[:, None] - yes_patterns
    return np.asarray(_spread(of_patterns[:, None])[0] - _spread(yes) - _spread(no))


def _spread(ways: Array) -> Array:
    """Give the entropy of unnormalised weights, times their sum, for each column."""
    ways = np.maximum(ways, 1e-300)
    return np.asarray(-(ways * np.log2(ways / ways.sum(axis=0))).sum(axis=0))
