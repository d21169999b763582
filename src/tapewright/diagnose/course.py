"""A job on a machine of which few parts may fail, worked out exactly: the yardstick for the quick policy.

Every course of questions and repairs is gone through, with what a repair leaves as it was, the opening paid once, and
answers as noisy as people are (dynamic programming over histories, cut short where even full knowledge could not make a
course cheaper). The same job can be put through the policy, every answer it may get weighed by its chance: both costs
are exact, so their ratio is how far the policy is from the best that anybody could do.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.cases import (
    Cases,
    Complaint,
    Workings,
    complaint_by,
    every_case,
    hangs_on,
    mended,
    owners_signs,
    showing,
    words_of,
    workings,
)
from tapewright.diagnose.cures import cures
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.network import Network
from tapewright.diagnose.policy import bench, decide
from tapewright.diagnose.repairs import OPENING_MINUTES

Array = NDArray[np.float64]

_Way = tuple[Array, int, tuple[int, ...], bool]
_Option = tuple[float, float, list[_Way]]

GIVE_UP_SMALL_MINUTES: Final = 400.0
"""Handing a small job back: more than most cost to put right, and little enough for the search to stay short."""
MOST_CASES: Final = 60_000
MOST_WORKS: Final = 7
TELLS_FROM: Final = 0.004
"""Variance over the cases of the chance of a yes, from which a sign tells something about a job that is drawn."""
NEGLIGIBLE: Final = 1e-9
"""Weight of histories that are not followed."""


@dataclass(frozen=True, slots=True, eq=False)
class SmallJob:
    """A complaint, the few parts that may be behind it, and what may be asked.

    Arguments:
        inner: the machine's workings.
        complaint: what has to end.
        cases: every case in which it shows.
        works: numbers of the works that may be needed.
        signs: ids of what may be asked.
        opening: minutes to open and close the case.
        give_up: minutes that a machine costs that goes back with its complaint.
    """

    inner: Workings
    complaint: Complaint
    cases: Cases
    works: tuple[int, ...]
    signs: tuple[str, ...]
    opening: float = OPENING_MINUTES
    give_up: float = GIVE_UP_SMALL_MINUTES


def small_job(network: Network, complaint: Complaint, may_fail: Collection[str], signs: Sequence[str]) -> SmallJob:
    """Set up a job in which all but a few parts are known to be sound.

    Arguments:
        network: the machine's belief network.
        complaint: node -> which of its words show it, shape (words,).
        may_fail: the parts that are not known to be sound.
        signs: ids of what may be asked.
    """
    inner = workings(network)
    cases = every_case(inner, (), {}, may_fail)
    shown = showing(inner, cases.now, complaint)
    kept = Cases(cases.states[shown], cases.now[shown], cases.weights[shown] / cases.weights[shown].sum())
    used = sorted({int(w) for name, own in zip(inner.parts, inner.mends, strict=True) if name in may_fail for w in own})
    return SmallJob(inner, complaint, kept, tuple(w for w in used if w >= 0), tuple(signs))


def drawn_jobs(networks: Sequence[Network], count: int, seed: int = 5) -> list[SmallJob]:
    """Draw small jobs: a complaint, three to six parts that it hangs on, and three to five signs that tell something.

    Arguments:
        networks: taken in turn.
        count: how many.
        seed: the same jobs each time.
    """
    random = np.random.default_rng(seed)
    found: list[SmallJob] = []
    while len(found) < count:
        job = _drawn_job(networks[len(found) % len(networks)], random)
        found += [] if job is None else [job]
    return found


def _drawn_job(network: Network, random: np.random.Generator) -> SmallJob | None:
    inner = workings(network)
    owners = [sign for sign in owners_signs(network) if not sign.part]
    sign = owners[int(random.integers(len(owners)))]
    complaint = complaint_by(network, sign)
    behind = [inner.parts[i] for i in hangs_on(inner, complaint)]
    parts = list(random.permutation(behind)[: int(random.integers(3, 7))])
    if len(parts) < 3 or np.prod([len(network.parts[name].states) for name in parts]) > MOST_CASES:
        return None
    asked = [s.id for s in network.signs.values() if s.id != sign.id and s.node in network.words]
    job = small_job(network, complaint, parts, asked)
    if len(job.cases.weights) < 3 or len(job.works) > MOST_WORKS:
        return None
    yes = _yes(job, job.cases.now)
    spread = job.cases.weights @ yes**2 - (job.cases.weights @ yes) ** 2
    telling = [name for name, tells in zip(asked, spread, strict=True) if tells > TELLS_FROM]
    if len(telling) < 3:
        return None
    return replace(job, signs=tuple(random.permutation(telling)[: int(random.integers(3, 6))]))


@dataclass(frozen=True, slots=True, eq=False)
class _Tables:
    """A small job as tables, one row for each set of works done (a number whose bits are the works).

    Arguments:
        weights: of the cases, those that nothing tells apart taken together, shape (cases,).
        shows: whether the complaint shows, shape (sets, cases).
        yes: chance of a yes, shape (sets, cases, questions).
        least: what the cheapest works that end the complaint cost, the opening paid or not, shape (2, sets, cases).
        work_minutes, work_inside, ask_minutes, ask_inside: as in `policy.Bench`.
    """

    weights: Array
    shows: NDArray[np.bool_]
    yes: Array
    least: Array
    work_minutes: Array
    work_inside: NDArray[np.bool_]
    ask_minutes: Array
    ask_inside: NDArray[np.bool_]


def _tables(job: SmallJob) -> _Tables:
    sets = 1 << len(job.works)
    shows, yes = [], []
    for done in range(sets):
        now = mended(job.inner, job.cases.states, [w for bit, w in enumerate(job.works) if done >> bit & 1])
        shows.append(showing(job.inner, now, job.complaint))
        yes.append(_yes(job, now))
    together = np.concatenate([np.array(shows), np.concatenate(yes, axis=1).T])
    _, first, place = np.unique(together, axis=1, return_index=True, return_inverse=True)
    work_minutes, work_inside = _works(job)
    kept = np.array(shows)[:, first]
    least = np.array([_least(job, kept, work_minutes, work_inside, opened=opened) for opened in (False, True)])
    asked = _questions(job)
    weights = np.asarray(np.bincount(place.ravel(), job.cases.weights), dtype=np.float64)
    return _Tables(weights, kept, np.array(yes)[:, first], least, work_minutes, work_inside, *asked)


def _yes(job: SmallJob, now: NDArray[np.intp]) -> Array:
    net = job.inner.network
    asked = [net.signs[name] for name in job.signs]
    codes = words_of(job.inner, now, {sign.node for sign in asked})
    columns = [of_answer(sign, net.words[sign.node], present=True)[codes[sign.node]] for sign in asked]
    return np.stack(columns, axis=1) if columns else np.empty((len(now), 0))


def _works(job: SmallJob) -> tuple[Array, NDArray[np.bool_]]:
    done = [job.inner.works[w] for w in job.works]
    return np.array([work.minutes for work in done]), np.array([work.opens_case for work in done], dtype=bool)


def _questions(job: SmallJob) -> tuple[Array, NDArray[np.bool_]]:
    asked = [job.inner.network.signs[name] for name in job.signs]
    minutes = np.array([sign.minutes + sign.risk_minutes for sign in asked])
    return minutes, np.array([sign.opens_case for sign in asked], dtype=bool)


def _least(
    job: SmallJob, shows: NDArray[np.bool_], minutes: Array, inside: NDArray[np.bool_], *, opened: bool
) -> Array:
    """Give the cost of the cheapest works that end the complaint, for who knows the case, shape (sets, cases)."""
    sets = np.arange(len(shows))
    bits = (sets[:, None] >> np.arange(len(minutes))) & 1
    price = bits @ minutes
    opens = np.asarray((bits * inside).any(axis=1))
    least = np.full(shows.shape, job.give_up)
    for done in sets:
        for then in sets:
            if then & done == done:
                new = sets[then] & ~done
                cost = price[new] + (job.opening if opens[new] and not (opened or opens[done]) else 0.0)
                least[done] = np.where(shows[then], least[done], np.minimum(least[done], cost))
    return least


def cheapest_minutes(job: SmallJob) -> float:
    """Give what the best course of all is expected to cost, minutes."""
    tables = _tables(job)
    return _Search(job, tables).cost(tables.weights, 0, (), opened=False)


@dataclass(slots=True)
class _Search:
    job: SmallJob
    tables: _Tables
    known: dict[tuple[int, tuple[int, ...], bool, bytes], float] = field(default_factory=dict)

    def cost(self, weights: Array, done: int, asked: tuple[int, ...], *, opened: bool) -> float:
        """Give the least cost from here, times the weight that is left."""
        mass = float(weights.sum())
        if mass <= NEGLIGIBLE:
            return 0.0
        key = (done, asked, opened, np.round(weights, 13).tobytes())
        if key in self.known:
            return self.known[key]
        best = self.job.give_up * mass
        for bound, price, ways in sorted(self._options(weights, done, asked, opened=opened), key=lambda one: one[0]):
            if bound >= best:
                break
            then = sum(self.cost(way, set_, said, opened=open_then) for way, set_, said, open_then in ways)
            best = min(best, price + then)
        self.known[key] = best
        return best

    def _options(self, weights: Array, done: int, asked: tuple[int, ...], *, opened: bool) -> list[_Option]:
        tables, mass = self.tables, float(weights.sum())
        found: list[_Option] = []
        for bit in range(len(tables.work_minutes)):
            if not done >> bit & 1:
                then, inside = done | 1 << bit, bool(tables.work_inside[bit])
                price = mass * (tables.work_minutes[bit] + (self.job.opening if inside and not opened else 0.0))
                way = weights * tables.shows[then]
                found.append(self._option(price, [(way, then, asked, opened or inside)]))
        for q in range(len(tables.ask_minutes)):
            if q not in asked:
                said, inside = tuple(sorted((*asked, q))), bool(tables.ask_inside[q])
                price = mass * (tables.ask_minutes[q] + (self.job.opening if inside and not opened else 0.0))
                yes = weights * tables.yes[done, :, q]
                ways = [(way, done, said, opened or inside) for way in (yes, weights - yes)]
                found.append(self._option(price, ways))
        return found

    def _option(self, price: float, ways: list[_Way]) -> _Option:
        least = sum(float(way @ self.tables.least[int(open_then), done]) for way, done, _, open_then in ways)
        return price + least, price, ways


def policy_minutes(job: SmallJob) -> float:
    """Give what the policy is expected to cost, every answer weighed by its chance, minutes."""
    return _Followed(job).cost(job.cases.weights, frozenset(), frozenset(), opened=False)


@dataclass(slots=True)
class _Followed:
    job: SmallJob

    def cost(self, weights: Array, done: frozenset[int], asked: frozenset[str], *, opened: bool) -> float:
        """Give the policy's cost from here, times the weight that is left."""
        job, mass = self.job, float(weights.sum())
        if mass <= NEGLIGIBLE:
            return 0.0
        kept = weights > 0.0
        now = mended(job.inner, job.cases.states[kept], done)
        cases = Cases(job.cases.states[kept], now, weights[kept] / mass)
        left = replace(job, signs=tuple(name for name in job.signs if name not in asked))
        works = tuple(w for w in job.works if w not in done)
        yes = _yes(left, now)
        found = cures(job.inner, cases, job.complaint)
        narrowed = replace(found, alone=found.alone[:, works], jointly=found.jointly[:, works])
        here = bench(
            narrowed, cases.weights, yes, _works(replace(job, works=works)), _questions(left),
            opened=opened, opening=job.opening, give_up=job.give_up,
        )  # fmt: skip
        choice = decide(here)
        if choice.does == "hand back":
            return job.give_up * mass
        if choice.does == "mend":
            work = works[choice.number]
            inside = job.inner.works[work].opens_case
            price = job.inner.works[work].minutes + (job.opening if inside and not opened else 0.0)
            then = mended(job.inner, job.cases.states, done | {work})
            still = weights * showing(job.inner, then, job.complaint)
            return price * mass + self.cost(still, done | {work}, asked, opened=opened or inside)
        sign = job.inner.network.signs[left.signs[choice.number]]
        price = sign.minutes + sign.risk_minutes + (job.opening if sign.opens_case and not opened else 0.0)
        said = np.zeros_like(weights)
        said[kept] = weights[kept] * yes[:, choice.number]
        open_then = opened or sign.opens_case
        ways = (said, weights - said)
        return price * mass + sum(self.cost(way, done, asked | {sign.id}, opened=open_then) for way in ways)


def in_order_minutes(job: SmallJob, order: Sequence[int]) -> float:
    """Give the expected cost of doing works in a fixed order until the complaint is gone, nothing asked.

    Arguments:
        job: the job.
        order: numbers of works.
    """
    weights, total, opened = job.cases.weights, 0.0, False
    for count, number in enumerate(order, 1):
        work = job.inner.works[number]
        total += float(weights.sum()) * (work.minutes + (job.opening if work.opens_case and not opened else 0.0))
        opened = opened or work.opens_case
        now = mended(job.inner, job.cases.states, order[:count])
        weights = weights * showing(job.inner, now, job.complaint)
    return total + float(weights.sum()) * job.give_up
