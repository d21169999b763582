"""What to do next: cases that agree with the exact beliefs, jobs worked out exactly, a policy close to the best."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.cases import (
    Cases,
    Stage,
    believed_of,
    complaint_by,
    complaint_of,
    drawn_cases,
    every_case,
    mended,
    owners_signs,
    showing,
    words_of,
    workings,
)
from tapewright.diagnose.course import SmallJob, cheapest_minutes, drawn_jobs, in_order_minutes, policy_minutes
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.mending import Bench
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.policy import decide
from tapewright.diagnose.repairs import OPENING_MINUTES
from tapewright.diagnose.strategy import Problem, Question, Repair, best_strategy
from tapewright.diagnose.trial import ByBaseRate, ByPolicy, arriving, work_through
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import sound
from tapewright.words.evidence import Observation

PORTABLE = "one_motor_portable"
LAYOUTS = [name for name in shipped_ids() if not name.endswith("_starter")]


def networks() -> list[Network]:
    return [network(shipped(name)) for name in LAYOUTS]


# --- cases ------------------------------------------------------------------------------------------------------------


def test_a_case_does_what_the_engine_says_of_the_same_machine() -> None:
    """An independent road: the engine runs the description with the faults; the cases look words up in tables."""
    net = network(shipped(PORTABLE))
    inner = workings(net)
    random = np.random.default_rng(3)
    states = np.array(
        [[random.integers(len(own)) * (random.random() < 0.15) for own in inner.mends] for _ in range(12)]
    )
    signs = [sign for sign in net.signs.values() if sign.node in net.words]
    words = words_of(inner, states, {sign.node for sign in signs})
    for row, drawn in enumerate(states):
        pairs = [(name, net.parts[name].states[k]) for name, k in zip(inner.parts, drawn, strict=True) if k]
        faults = [Fault(name, kind, severity) for name, (kind, severity) in pairs]
        does = outcome(applied(sound(net.machine), faults)).values
        for sign in signs:
            found = net.words[sign.node][words[sign.node][row]]
            assert sign.chance(found) == pytest.approx(sign.chance(does[sign.node])), (sign.id, faults)


def test_drawn_cases_agree_with_the_exact_beliefs() -> None:
    """The network is summed exactly by another road; 2,500 draws leave about a hundredth of doubt in a chance."""
    net = network(shipped(PORTABLE))
    told = [Observation("play_tape_uneven", True), Observation("rewind_weak", False)]
    said = of_observations(net, told)
    exact = posterior(net, said, with_words=False)
    inner = workings(net)
    believed = [exact.states[name][0] for name in inner.parts]
    cases = drawn_cases(inner, [Stage(frozenset(), said)], {}, believed)
    assert cases is not None
    for name, chances in zip(inner.parts, believed_of(inner, cases), strict=True):
        assert np.abs(chances - exact.states[name][0]).max() < 0.06, name
    flat = [np.full(len(own), 1.0 / len(own)) for own in inner.mends]
    worse = drawn_cases(inner, [Stage(frozenset(), said)], {}, flat)
    assert worse is not None
    assert 1.0 / (worse.weights @ worse.weights) < 1.0 / (cases.weights @ cases.weights)


def test_what_is_not_mended_stays_as_it_was() -> None:
    inner = workings(network(shipped(PORTABLE)))
    cases = every_case(inner, (), {}, ["capstan_belt", "capstan"])
    belt = [i for i, work in enumerate(inner.works) if work.part == "capstan_belt"]
    after = mended(inner, cases.states, belt)
    where = {name: i for i, name in enumerate(inner.parts)}
    assert (after[:, where["capstan_belt"]] == 0).all()
    others = [i for i in range(len(inner.parts)) if i != where["capstan_belt"]]
    assert (after[:, others] == cases.states[:, others]).all()
    assert (cases.states[:, where["capstan_belt"]] > 0).any()


def test_a_swab_does_not_free_a_dry_bearing() -> None:
    """Common practice: cleaning, oiling and renewing are works of their own; a new belt ends what ails the old one."""
    inner = workings(network(shipped(PORTABLE)))
    kinds = [set(work.kinds) for work in inner.works if work.part == "capstan"]
    assert not any({"dirty", "dry_bearing"} <= one for one in kinds)
    assert any({"missing", "slack", "tarry"} <= set(w.kinds) for w in inner.works if w.part == "capstan_belt")


# --- exact ------------------------------------------------------------------------------------------------------------


def with_one_fault(job: SmallJob, parts: int = 4) -> SmallJob:
    cases = job.cases
    single = np.count_nonzero(cases.states, axis=1) == 1
    weights = cases.weights[single] / cases.weights[single].sum()
    return replace(job, cases=Cases(cases.states[single], cases.now[single], weights), give_up=1e6)


@pytest.mark.parametrize("number", [0, *(pytest.param(one, marks=pytest.mark.slow) for one in range(1, 6))])
def test_with_a_single_fault_it_is_the_published_setting(number: int) -> None:
    """`strategy` solves that setting by itself and is held against published examples."""
    job = with_one_fault(drawn_jobs(networks(), 8)[number])
    inner, net = job.inner, job.inner.network
    names = [str(i) for i in range(len(job.cases.weights))]
    repairs = []
    for work in job.works:
        gone = ~showing(inner, mended(inner, job.cases.states, [work]), job.complaint)
        cures = {name: 1.0 for name, ended in zip(names, gone, strict=True) if ended}
        if cures:
            done = inner.works[work]
            repairs.append(Repair(str(work), done.minutes, cures, done.opens_case))
    questions = []
    for sign_id in job.signs:
        sign = net.signs[sign_id]
        codes = words_of(inner, job.cases.states, [sign.node])[sign.node]
        chances = [sign.chance(net.words[sign.node][code]) for code in codes]
        yes = dict(zip(names, chances, strict=True))
        questions.append(Question(sign_id, sign.minutes + sign.risk_minutes, yes, sign.opens_case))
    weights = dict(zip(names, job.cases.weights, strict=True))
    published = best_strategy(Problem(weights, repairs, questions, OPENING_MINUTES))
    assert cheapest_minutes(job) == pytest.approx(published.expected_cost, rel=1e-6)


@pytest.mark.parametrize("number", [0, *(pytest.param(one, marks=pytest.mark.slow) for one in range(1, 8))])
def test_without_questions_the_cheapest_course_is_the_best_order(number: int) -> None:
    """The slow way: every order of the works, with several parts bad at once, what is not mended left as it was."""
    job = replace(drawn_jobs(networks(), 8)[number], signs=(), give_up=1e6)
    if len(job.works) > 6:
        job = replace(job, works=job.works[:6])
        gone = ~showing(job.inner, mended(job.inner, job.cases.states, job.works), job.complaint)
        weights = np.where(gone, job.cases.weights, 0.0)
        job = replace(job, cases=replace(job.cases, weights=weights / weights.sum()))
    slow = min(in_order_minutes(job, order) for order in permutations(job.works))
    assert cheapest_minutes(job) == pytest.approx(slow, rel=1e-9)


@pytest.mark.parametrize("count", [pytest.param(8, id="some"), pytest.param(40, id="all", marks=pytest.mark.slow)])
def test_the_policy_costs_at_most_a_twentieth_more_than_the_cheapest_course(count: int) -> None:
    pairs = [(policy_minutes(job), cheapest_minutes(job)) for job in drawn_jobs(networks(), count)]
    ours, best = np.array(pairs).T
    assert (ours >= best * (1 - 1e-9)).all()  # nothing is cheaper than the cheapest
    assert ours.sum() <= 1.05 * best.sum()
    assert np.mean(ours / best) <= 1.05


# --- the policy -------------------------------------------------------------------------------------------------------


def toy(
    chances: list[float], minutes: list[float], inside: list[bool], yes: list[list[float]], ask: list[float],
    ask_inside: list[bool], opening: float = 0.0,
) -> Bench:  # fmt: skip
    """One fault at a time, each with a work of its own; `yes` by fault, then question."""
    count = len(chances)
    alone = np.eye(count)
    answers = np.array(yes, dtype=float).reshape(count, len(ask))
    return Bench(
        np.array(chances), answers, np.arange(count), alone, np.zeros_like(alone), np.array(minutes),
        np.array(inside, dtype=bool), np.array(ask), np.array(ask_inside, dtype=bool), False, opening, 1e4,
    )  # fmt: skip


@pytest.mark.parametrize(("cost", "does"), [(2.5, "ask"), (2.7, "mend")])
def test_it_asks_as_long_as_asking_is_worth_its_price(cost: float, does: str) -> None:
    """Closed form of our own, as for the exact strategy: 14.0 without the question, 11.4 and its price with it."""
    choice = decide(toy([0.6, 0.4], [10, 10], [False] * 2, [[0.9], [0.2]], [cost], [False]))
    assert choice.does == does
    assert choice.minutes == pytest.approx(min(14.0, 11.4 + cost))


def test_a_cheap_renewal_comes_before_a_dear_question() -> None:
    """Common practice: at some point it is cheaper to renew the belt than to ask on."""
    choice = decide(toy([0.7, 0.3], [5, 60], [False] * 2, [[1.0], [0.0]], [8.0], [False]))
    assert (choice.does, choice.number) == ("mend", 0)


def test_without_questions_it_is_chance_over_cost_and_the_opening_is_shared() -> None:
    """Our own figures by hand, as for the exact strategy: 7.80; with 6 to open for the second and fourth 11.40."""
    plain = decide(toy([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], [False] * 4, [[]] * 4, [], []))
    assert plain.number == 2
    assert plain.minutes == pytest.approx(7.80)
    opened = decide(toy([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], [False, True, False, True], [[]] * 4, [], [], 6.0))
    assert opened.number == 2
    assert opened.minutes == pytest.approx(11.40)


def test_the_case_stays_shut_while_a_shut_check_is_worth_it_and_no_longer() -> None:
    told = [[0.95, 0.95], [0.05, 0.05]]
    both = toy([0.5, 0.5], [40, 40], [True, True], told, [6.0, 1.0], [False, True], 25.0)
    assert decide(both).number == 0
    # A question that tells nothing is not asked for the sake of the one after it.
    idle = toy([0.5, 0.5], [40, 40], [True, True], [[0.5, 0.95], [0.5, 0.05]], [1.0, 1.0], [False, True], 25.0)
    assert decide(idle).number == 1


# --- whole machines ---------------------------------------------------------------------------------------------------


def test_a_job_costs_what_its_steps_cost_and_ends_with_the_complaint() -> None:
    inner = workings(network(shipped(PORTABLE)))
    for seed, machine in enumerate(arriving(inner, 3, seed=4)):
        job = work_through(inner, machine, ByPolicy(inner), seed)
        minutes, opened, done = 0.0, False, []
        for does, name, _ in job.steps:
            sign = inner.network.signs[name] if does == "ask" else None
            own = sign.minutes + sign.risk_minutes if sign else inner.works[int(name)].minutes
            inside = sign.opens_case if sign else inner.works[int(name)].opens_case
            done += [] if sign else [int(name)]
            minutes += own + (OPENING_MINUTES if inside and not opened else 0.0)
            opened = opened or inside
        assert job.cured
        assert job.minutes == pytest.approx(minutes)
        assert job.opened == opened
        complaint = complaint_by(inner.network, machine.sign)
        assert showing(inner, machine.states, complaint)[0]
        assert not showing(inner, mended(inner, machine.states, done), complaint)[0]
        assert [gone for does, _, gone in job.steps if does == "mend"][:-1] == [False] * (len(done) - 1)


@pytest.mark.slow
def test_it_costs_less_than_four_fifths_of_renewing_by_base_rate() -> None:
    inner = workings(network(shipped(PORTABLE)))
    machines = arriving(inner, 40)
    who = (ByPolicy(inner), ByBaseRate(inner, only_behind=True))
    ours, theirs = ([work_through(inner, one, each, i).minutes for i, one in enumerate(machines)] for each in who)
    assert sum(ours) <= 0.8 * sum(theirs)


def test_what_an_owner_complains_of_is_nothing_a_working_machine_shows() -> None:
    net = network(shipped(PORTABLE))
    owners = {sign.id for sign in owners_signs(net)}
    assert "play_tape_uneven" in owners
    assert "play_tape_right" not in owners
    assert complaint_of(net, of_observations(net, [Observation("play_tape_right", True)])) == {}
    assert set(complaint_of(net, of_observations(net, [Observation("play_tape_uneven", True)]))) == {"tape@play"}
