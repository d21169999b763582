"""The quick looks ahead against slow obvious ones: one state, one repair and one case at a time, in plain loops."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.cases import Stage, complaint_of, drawn_cases, mended, showing, workings
from tapewright.diagnose.cures import cures
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.mending import LONGEST, Bench, in_a_row
from tapewright.diagnose.network import network
from tapewright.diagnose.policy import ASKED_LATER, DEEP, decide
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation

Array = NDArray[np.float64]


@st.composite
def benches(draw: st.DrawFn) -> Bench:
    """Patterns that one of some works ends, or several together, or nothing; questions inside and outside."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    patterns, works, questions = (draw(st.integers(1, most)) for most in (6, 6, 30))
    sizes = random.integers(1, 4, patterns)
    kind = random.integers(0, 3, patterns)[:, None]
    some = (random.random((patterns, works)) < 0.4).astype(float)
    weights = random.random(sizes.sum())
    starts = np.cumsum(sizes) - sizes
    return Bench(
        weights / weights.sum(), random.random((sizes.sum(), questions)), starts, some * (kind == 0),
        some * (kind == 1), random.uniform(1.0, 60.0, works), random.random(works) < 0.5,
        random.uniform(0.5, 6.0, questions), random.random(questions) < 0.4, draw(st.booleans()), 25.0, 300.0,
    )  # fmt: skip


def slow_row(here: Bench, ways: Sequence[float], done: set[int], *, opened: bool) -> float:
    """Mend one thing after another; what is not ended after all of it is handed back, or before where that is less."""
    left = dict(enumerate(ways))
    spent: list[tuple[float, float]] = []
    for _ in range(LONGEST):
        mass = sum(left.values())
        if mass <= 1e-9:
            break
        best = slow_work(here, left, done, opened=opened)
        if best is None:
            break
        inside = bool(here.work_inside[best])
        spent.append((mass, here.work_minutes[best] + (here.opening if inside and not opened else 0.0)))
        done, opened = done | {best}, opened or inside
        for p in left:
            needs = set(np.flatnonzero(here.jointly[p]))
            if here.alone[p, best] or (best in needs and needs <= done):
                left[p] = 0.0
    cost = here.give_up * sum(left.values())
    for mass, price in reversed(spent):
        cost = min(here.give_up * mass, price * mass + cost)
    return float(cost)


def slow_work(here: Bench, left: dict[int, float], done: set[int], *, opened: bool) -> int | None:
    hope = {w: 0.0 for w in range(len(here.work_minutes)) if w not in done}
    for p, weight in left.items():
        missing = set(np.flatnonzero(here.jointly[p])) - done
        for w in hope:
            hope[w] += weight * here.alone[p, w] + (weight / len(missing) if w in missing else 0.0)
    hope = {w: chance for w, chance in hope.items() if chance > 0.0}
    if not hope:
        return None
    rate = {w: chance / here.work_minutes[w] for w, chance in hope.items()}
    inside = [w for w in hope if here.work_inside[w]]
    if opened or not inside:
        return max(rate, key=lambda w: rate[w])
    # The best group of works inside by going through all that hold the best few.
    inside.sort(key=lambda w: -rate[w])
    groups = (inside[: count + 1] for count in range(len(inside)))
    shared = max(sum(hope[w] for w in g) / (here.opening + sum(here.work_minutes[w] for w in g)) for g in groups)
    outside = [w for w in hope if not here.work_inside[w]]
    first = max(outside, key=lambda w: rate[w], default=None)
    return inside[0] if first is None or shared > rate[first] else first


def slow_ahead(
    here: Bench, weights: Array, done: set[int], questions: Sequence[int], *, opened: bool, deeper: bool
) -> float:
    """Mend from here, or ask one more question first; `deeper` for a state from which that may be."""
    bounds = [*here.starts, len(here.weights)]
    ways = [float(weights[first:end].sum()) for first, end in pairwise(bounds)]
    plain = slow_row(here, ways, done, opened=opened)
    costs = [slow_asked(here, weights, done, q, (), opened=opened) for q in questions] if deeper else []
    return min([plain, *costs])


def slow_asked(
    here: Bench, weights: Array, done: set[int], question: int, second: Sequence[int], *, opened: bool
) -> float:
    inside = bool(here.ask_inside[question])
    cost = weights.sum() * (here.ask_minutes[question] + (here.opening if inside and not opened else 0.0))
    for chance in (here.yes[:, question], 1.0 - here.yes[:, question]):
        left = [q for q in second if q != question]
        cost += slow_ahead(here, weights * chance, done, left, opened=opened or inside, deeper=bool(left))
    return float(cost)


@settings(max_examples=60, deadline=None)
@given(benches(), st.integers(0, 2**32 - 1))
def test_many_states_at_once_cost_what_each_costs_alone(here: Bench, seed: int) -> None:
    """Repairs in plain loops; the best group inside by trying every group, where the quick way has Dinkelbach's."""
    random = np.random.default_rng(seed)
    ways = random.random((5, len(here.starts))) * (random.random((5, len(here.starts))) < 0.8)
    done = random.random((5, len(here.work_minutes))) < 0.2
    for row, works in zip(ways, done, strict=True):  # what is done has ended what it ends
        row[here.alone[:, works].any(axis=1) | ((here.jointly > 0) <= works).all(axis=1) & here.jointly.any(axis=1)] = 0
    opened = random.random(5) < 0.5
    found = in_a_row(here, ways, opened, done)
    for cost, row, works, is_open in zip(found, ways, done, opened, strict=True):
        expected = slow_row(here, list(row), set(np.flatnonzero(works)), opened=bool(is_open))
        assert cost == pytest.approx(expected, rel=1e-9, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(benches())
def test_looking_ahead_at_once_is_looking_ahead_one_by_one(here: Bench) -> None:
    found = decide(here)
    count = len(here.ask_minutes)
    one_step = np.array([slow_asked(here, here.weights, set(), q, (), opened=here.opened) for q in range(count)])
    told = _bits_per_minute(here)
    by_telling = list(np.argsort(-told, kind="stable"))
    deep = one_step.copy()
    for q in {*np.argsort(one_step, kind="stable")[:DEEP], *by_telling[:DEEP]}:
        two = slow_asked(here, here.weights, set(), int(q), by_telling[:ASKED_LATER], opened=here.opened)
        deep[q] = min(one_step[q], two)
    stop = found.without_asking
    opening = min(one_step[here.ask_inside], default=np.inf)
    outside = np.maximum(stop - one_step, min(stop, opening) - deep)
    expected = np.where(here.ask_inside | here.opened, stop - deep, outside)
    np.testing.assert_allclose(found.saving, expected, rtol=1e-9, atol=1e-7)
    if found.does == "ask":
        assert found.minutes == pytest.approx(deep[found.number])


def _bits_per_minute(here: Bench) -> Array:
    price = here.ask_minutes + (0.0 if here.opened else here.opening) * here.ask_inside
    bounds = [*here.starts, len(here.weights)]
    told = np.zeros(len(price))
    for chance in (np.ones_like(here.yes), here.yes, 1.0 - here.yes):
        sums = np.array([here.weights[a:b] @ chance[a:b] for a, b in pairwise(bounds)])
        doubt = -(sums * np.log2(np.maximum(sums, 1e-300) / sums.sum(axis=0))).sum(axis=0)
        told += doubt if chance is not here.yes and (chance == 1.0).all() else -doubt
    return np.asarray(told / price)


@pytest.mark.parametrize("complaint", ["play_tape_uneven", "play_tape_races"])
def test_what_ends_a_complaint_is_found_case_by_case(complaint: str) -> None:
    """Each bad part of each case mended alone; then all mended, and one after the other left out, the dearest first."""
    net = network(shipped("one_motor_portable"))
    inner = workings(net)
    said = of_observations(net, [Observation(complaint, True)])
    shows = complaint_of(net, said)
    now = posterior(net, said, with_words=False)
    cases = drawn_cases(inner, [Stage(frozenset(), said)], shows, [now.states[name][0] for name in inner.parts])
    assert cases is not None
    found = cures(inner, cases, shows)
    dear = [max((inner.works[w].minutes for w in own if w >= 0), default=0.0) for own in inner.mends]
    whole = 0
    for case in range(0, len(cases.weights), 15):
        states = cases.now[case : case + 1]
        bad = [int(i) for i in np.flatnonzero(states[0])]
        works = {i: int(inner.mends[i][states[0, i]]) for i in bad}
        ends = {works[i] for i in bad if not showing(inner, _without(states, [i]), shows)[0]}
        needed = list(bad)
        for i in sorted(bad, key=lambda i: -dear[i]):
            rest = [one for one in needed if one != i]
            needed = needed if showing(inner, _without(states, rest), shows)[0] else rest
        alone, jointly = found.alone[found.pattern[case]], found.jointly[found.pattern[case]]
        # Of rare patterns only the work that ends most is kept.
        assert set(np.flatnonzero(alone)) <= ends or not ends
        if set(np.flatnonzero(alone)) == ends and (ends or jointly.any()):
            whole += 1
            assert set(np.flatnonzero(jointly)) == (set() if ends else {works[i] for i in needed})
            assert not showing(inner, mended(inner, states, np.flatnonzero(alone | jointly).tolist()), shows)[0]
    assert whole > 5


def _without(states: NDArray[np.intp], parts: Sequence[int]) -> NDArray[np.intp]:
    left = states.copy()
    left[0, list(parts)] = 0
    return left
