"""Printed and hand-worked examples of troubleshooting, causal networks and diagnosis from models, through our own code.

"From memory" says that the figure was remembered and its arithmetic done again; everything else was read where it says.
More of the same kind stand in `test_strategy`, `test_contraction` and `test_learning`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.diagnose.clash import smallest_sets
from tapewright.diagnose.contraction import Factor
from tapewright.diagnose.general import chances, doubt_bits, information_bits, joint
from tapewright.diagnose.learning import dirichlet_mean
from tapewright.diagnose.network import function_factors
from tapewright.diagnose.strategy import Problem, Question, Repair, best_strategy, sequence_cost
from tapewright.faults.graph import Node

Array = NDArray[np.float64]
NO_YES = ("no", "yes")


# --- which repair first -----------------------------------------------------------------------------------------------


DEPENDENT = Problem(
    {"f1": 0.20, "f2": 0.25, "f3": 0.40, "f4": 0.15},
    [
        Repair("a1", 1.0, {"f1": 1.0, "f2": 1.0}),
        Repair("a2", 1.0, {"f2": 1.0, "f3": 1.0}),
        Repair("a3", 1.0, {"f3": 1.0, "f4": 1.0}),
    ],
)


def test_dependent_actions_in_every_order() -> None:
    """The Aalborg group's example of repairs that overlap (values from memory, arithmetic checked): all six orders."""
    costs = sorted(sequence_cost(DEPENDENT, order) for order in permutations(("a1", "a2", "a3")))
    assert costs == pytest.approx([1.45, 1.50, 1.55, 1.55, 1.65, 1.70])
    assert sequence_cost(DEPENDENT, ["a3", "a1", "a2"]) == pytest.approx(1.45)


def test_dependent_actions_taken_greedily() -> None:
    """The same: chance over cost, worked out anew after each repair, takes a2, a1, a3 and pays 1.50 for 1.45."""
    helps = {one.name: sum(DEPENDENT.chances[f] for f in one.cures) for one in DEPENDENT.repairs}
    assert helps == pytest.approx({"a1": 0.45, "a2": 0.65, "a3": 0.55})
    left, order = dict(DEPENDENT.chances), list[str]()
    while sum(left.values()) > 1e-12:
        best = max(DEPENDENT.repairs, key=lambda one: sum(left.get(f, 0.0) for f in one.cures) / one.cost)
        order.append(best.name)
        left = {f: chance for f, chance in left.items() if f not in best.cures}
    assert order == ["a2", "a1", "a3"]
    assert sequence_cost(DEPENDENT, order) == pytest.approx(1.50)
    assert best_strategy(DEPENDENT).expected_cost == pytest.approx(1.45)


def independent(
    chance: Sequence[float], look: Sequence[float], mend: Sequence[float], inside: str = "", opening: float = 0.0
) -> Problem:
    names = [str(i + 1) for i in range(len(chance))]
    repairs = [Repair(n, c, {n: 1.0}, n in inside, m) for n, c, m in zip(names, look, mend, strict=True)]
    return Problem(dict(zip(names, chance, strict=True)), repairs, opening=opening)


def test_what_mending_costs_changes_the_sum_and_not_the_order() -> None:
    """D. Heckerman, J. Breese and K. Rommelse (Commun. ACM 38(3), 1995; formula from memory): expected cost of repair
    with a price for looking and one for mending. Figures our own, by hand: 7.80 without mending, 34.80 with it."""
    looking = independent([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], [0, 0, 0, 0])
    mending = independent([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], [50, 10, 5, 30])
    for problem in (looking, mending):
        costs = {"".join(order): sequence_cost(problem, order) for order in permutations("1234")}
        assert costs["3214"] == min(costs.values())
    assert sequence_cost(looking, "3214") == pytest.approx(7.80)
    assert sequence_cost(mending, "3214") == pytest.approx(34.80)
    assert best_strategy(mending).expected_cost == pytest.approx(34.80)


def test_a_shared_opening_makes_another_order_best() -> None:
    """Figures our own, by hand, on the setting of T. J. Ottosen and F. V. Jensen (2012): opening costs 6, once, on 2
    and 4; chance over cost alone pays 12.60, the best order 3, 1, 2, 4 pays 11.40."""
    problem = independent([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], [0, 0, 0, 0], inside="24", opening=6.0)
    costs = {"".join(order): sequence_cost(problem, order) for order in permutations("1234")}
    assert costs["3214"] == pytest.approx(12.60)
    assert min(costs, key=lambda order: costs[order]) == "3124"
    assert costs["3124"] == pytest.approx(11.40)


def test_chance_over_cost_is_the_best_order_of_independent_repairs() -> None:
    """Published theorem (J. B. Kadane and H. A. Simon, 1977, as cited later), against every order of 5 repairs, over
    300 random cases; mending costs do not matter."""
    random = np.random.default_rng(11)
    for _ in range(300):
        chance, look, mend = random.dirichlet(np.ones(5)), random.uniform(0.5, 20, 5), random.uniform(0, 90, 5)
        problem = independent(list(chance), list(look), list(mend))
        by_rule = [str(i + 1) for i in np.argsort(-chance / look)]
        lowest = min(sequence_cost(problem, order) for order in permutations(by_rule))
        assert sequence_cost(problem, by_rule) == pytest.approx(lowest)


@dataclass(frozen=True)
class Step:
    """A whole strategy, written out: what to do, and how to go on."""

    does: Repair | Question
    then: tuple["Step | None", ...]


def every_strategy(problem: Problem, left: frozenset[str], done: frozenset[str]) -> Iterator[Step | None]:
    """Write out every strategy there is, whatever it costs; hypotheses that may still be there have to be put right."""
    if not left:
        yield None
        return
    for repair in problem.repairs:
        after = frozenset(h for h in left if repair.cures.get(h, 0.0) < 1.0)
        if repair.name not in done:
            for then in every_strategy(problem, after, done | {repair.name}):
                yield Step(repair, (then,))
    for question in problem.questions:
        if question.name not in done:
            ways = [list(every_strategy(problem, left, done | {question.name})) for _ in range(2)]
            for yes, no in product(*ways):
                yield Step(question, (yes, no))


def cost_of(step: Step | None, hypothesis: str) -> float:
    """Follow a strategy on a machine with one thing wrong, taking the mean over answers and repairs that may fail."""
    if step is None:
        return 0.0
    if isinstance(step.does, Question):
        yes = step.does.yes.get(hypothesis, 0.0)
        ways = yes * cost_of(step.then[0], hypothesis) + (1 - yes) * cost_of(step.then[1], hypothesis)
        return step.does.cost + ways
    cured = step.does.cures.get(hypothesis, 0.0)
    return step.does.cost + cured * step.does.mending + (1 - cured) * cost_of(step.then[0], hypothesis)


@settings(max_examples=25)
@given(st.data())
def test_with_questions_no_strategy_that_can_be_written_out_is_cheaper(data: st.DataObject) -> None:
    """The slow obvious way: every strategy written out and followed on every hypothesis, no dynamic programming."""
    share, cost = st.floats(0.05, 0.95), st.floats(0.5, 20.0)
    a, b = data.draw(share), data.draw(share)
    hypotheses = {"x": a, "y": (1 - a) * b, "z": (1 - a) * (1 - b)}
    repairs = [
        Repair("x", data.draw(cost), {"x": 1.0}),
        Repair("yz", data.draw(cost), {"y": 1.0, "z": 1.0}, mending=data.draw(cost)),
        Repair("y", data.draw(cost), {"y": 1.0, "x": data.draw(share)}),
    ]
    questions = [Question("look", data.draw(cost), {name: data.draw(st.floats(0.0, 1.0)) for name in hypotheses})]
    problem = Problem(hypotheses, repairs, questions)
    written = every_strategy(problem, frozenset(hypotheses), frozenset())
    slow = min(sum(p * cost_of(one, name) for name, p in hypotheses.items()) for one in written)
    assert best_strategy(problem).expected_cost == pytest.approx(slow)


# --- causes that may each do it ---------------------------------------------------------------------------------------


def any_of(*carried: str) -> str:
    return "yes" if "yes" in carried else "no"


def carries(cause: str, link: str, idle: str) -> str:
    return link if cause == "yes" else idle


def noisy_or(effect: str, links: Mapping[str, float], leak: float = 0.0, idle: float = 0.0) -> list[Factor]:
    """Each cause does it over its own link, which may hold it back: functions of independent causes, as in a machine.

    A leak does it without any cause, an idle link without its own.
    """
    nodes, free = [], dict[str, float]()
    for cause, chance in links.items():
        free |= {f"link:{effect}:{cause}": chance, f"idle:{effect}:{cause}": idle}
        nodes.append(Node(f"by:{effect}:{cause}", (cause, *list(free)[-2:]), carries))
    by = tuple(node.name for node in nodes)
    if leak:
        free[f"leak:{effect}"] = leak
        by = (*by, f"leak:{effect}")
    nodes.append(Node(effect, by, any_of))
    words = dict.fromkeys((*links, *free, *(node.name for node in nodes)), NO_YES)
    before = [Factor((name,), np.array([1.0 - p, p])) for name, p in free.items()]
    return [*before, *function_factors(nodes, words, {})]


def given_causes(factors: list[Factor], causes: Sequence[str], effect: str) -> list[float]:
    """The chance of the effect for every combination of causes, the last cause changing fastest."""
    table = joint(factors, [*causes, effect])
    return list((table[..., 1] / table.sum(axis=-1)).ravel())


def test_fever() -> None:
    """The noisy-OR table of cold, flu and malaria with inhibitors 0.6, 0.2 and 0.1, as printed in lecture slides; the
    example is from S. Russell and P. Norvig, "Artificial Intelligence: A Modern Approach", from memory."""
    links = {"cold": 0.4, "flu": 0.8, "malaria": 0.9}
    found = given_causes(noisy_or("fever", links), list(links), "fever")
    assert found == pytest.approx([0.0, 0.9, 0.8, 0.98, 0.4, 0.94, 0.88, 0.988])


def test_a_leak_is_one_more_cause() -> None:
    """Leak 0.1, links 0.6 and 0.8: the formula in a general package's manual; pyAgrum's `addNoisyORNet` gave
    the same four."""
    links = {"a": 0.8, "b": 0.6}
    assert given_causes(noisy_or("e", links, leak=0.1), "ab", "e") == pytest.approx([0.1, 0.64, 0.82, 0.928])


def test_five_nodes_of_chained_noisy_or() -> None:
    """A published report on noisy-or in a language of probabilistic logic prints 0.81441875 for this network: two roots
    of 0.5, links that carry with 0.8 when their cause is there and with 0.1 when it is not. (Which of several readings
    of the 0.1 it means was found by trying: this one alone gives the printed figure.)"""
    parents = {"1": "0", "2": "04", "3": "124"}
    factors = [Factor((root,), np.array([0.5, 0.5])) for root in "04"]
    for node, above in parents.items():
        factors += noisy_or(node, dict.fromkeys(above, 0.8), idle=0.1)
    assert chances(factors).of["3"][1] == pytest.approx(0.81441875, abs=1e-12)


# --- a car that does not start ----------------------------------------------------------------------------------------


CAR = [
    Factor(("fuel",), np.array([0.98, 0.02])),  # yes, no
    Factor(("plugs",), np.array([0.96, 0.04])),  # clean, bad
    Factor(("fuel", "meter"), np.array([[0.39, 0.60, 0.01], [0.001, 0.001, 0.998]])),  # full, half, empty
    Factor(("fuel", "plugs", "start"), np.array([[[0.99, 0.01], [0.01, 0.99]], [[0.0, 1.0], [0.0, 1.0]]])),
]
DOES_NOT_START = np.array([0.0, 1.0])


@pytest.mark.parametrize(
    ("meter", "bad_plugs", "no_fuel"),
    [(None, 0.5806, 0.2932), ([0.0, 1.0, 0.0], 0.8043, 0.0007), ([0.0, 0.0, 1.0], 0.0580, 0.9764)],
    ids=["not looked", "half", "empty"],
)
def test_car_start_with_its_fuel_meter(meter: list[float] | None, bad_plugs: float, no_fuel: float) -> None:
    """F. V. Jensen's car start (inputs from memory, structure published, posteriors worked out by hand)."""
    said = {"start": DOES_NOT_START} | ({} if meter is None else {"meter": np.array(meter)})
    found = chances(CAR, said)
    assert found.of["plugs"][1] == pytest.approx(bad_plugs, abs=5e-5)
    assert found.of["fuel"][1] == pytest.approx(no_fuel, abs=5e-5)


# --- diagnosis from a model: three multipliers, two adders ------------------------------------------------------------

BOX = ("A1", "A2", "M1", "M2", "M3")
INPUTS = {"a": 3, "b": 2, "c": 2, "d": 3, "e": 3}
F_SEEN, G_SEEN = 10, 12


def polybox(values: int) -> list[Factor]:
    """J. de Kleer and B. C. Williams (Artificial Intelligence 32, 1987): X = ac, Y = bd, Z = ce, F = X + Y, G = Y + Z.
    A part that is not sound gives any of `values` numbers, each as likely: our own choice."""
    wrong = np.full(values, 1.0 / values)

    def output(at: int) -> Array:
        return np.stack([np.eye(values)[at] if at < values else np.zeros(values), wrong])

    times = {"X": ("M1", "a", "c"), "Y": ("M2", "b", "d"), "Z": ("M3", "c", "e")}
    factors = [Factor((part,), np.array([0.99, 0.01])) for part in BOX]
    factors += [Factor((part, out), output(INPUTS[p] * INPUTS[q])) for out, (part, p, q) in times.items()]
    for part, first, second, seen in (("A1", "X", "Y", F_SEEN), ("A2", "Y", "Z", G_SEEN)):
        table = np.array([[output(i + j)[:, seen] for j in range(values)] for i in range(values)])
        factors.append(Factor((first, second, part), table))
    return factors


def possible(sound: Sequence[str], broken: Sequence[str] = ()) -> bool:
    said = dict.fromkeys(sound, np.array([1.0, 0.0])) | dict.fromkeys(broken, np.array([0.0, 1.0]))
    return chances(polybox(16), said).evidence > 0.0


def test_smallest_conflicts() -> None:
    """The smallest sets of parts that cannot all be sound: {A1, M1, M2} and {A1, A2, M1, M3} (the paper; the second in
    lecture slides; both worked out again)."""
    found = smallest_sets(5, 5, lambda sets: [not possible([BOX[i] for i in one]) for one in sets])
    assert {frozenset(BOX[i] for i in one) for one in found} == {
        frozenset({"A1", "M1", "M2"}),
        frozenset({"A1", "A2", "M1", "M3"}),
    }


def test_smallest_diagnoses() -> None:
    """The smallest sets of parts whose failing explains it, all others sound: [A1], [M1], [A2, M2], [M2, M3]."""

    def explains(one: tuple[int, ...]) -> bool:
        return possible([part for i, part in enumerate(BOX) if i not in one])

    found = smallest_sets(5, 5, lambda sets: [explains(one) for one in sets])
    assert [tuple(BOX[i] for i in one) for one in found] == [("A1",), ("M1",), ("A2", "M2"), ("M2", "M3")]


@pytest.mark.parametrize(
    ("values", "single", "pair", "other_pair", "gains"),
    [(16, 0.49623, 0.00501, 0.00031, (1.0330, 0.0078, 0.0043)), (64, 0.49717, 0.00502, 8e-5, (1.0384, 0.0022, 0.0012))],
)
def test_where_to_probe(
    values: int, single: float, pair: float, other_pair: float, gains: tuple[float, float, float]
) -> None:
    """Figures our own, worked out by enumeration: X tells more than a bit, Y and Z next to nothing."""
    factors = polybox(values)
    health = joint(factors, BOX)
    chance = health / health.sum()
    assert chance[1, 0, 0, 0, 0] == pytest.approx(single, abs=5e-6)
    assert chance[0, 0, 1, 0, 0] == pytest.approx(single, abs=5e-6)
    assert chance[1, 0, 1, 0, 0] == pytest.approx(pair, abs=5e-6)
    assert chance[0, 1, 0, 1, 0] == pytest.approx(other_pair, abs=5e-6)
    assert chance[0, 0, 0, 1, 1] == pytest.approx(other_pair, abs=5e-6)
    found = [information_bits(joint(factors, [*BOX, probe]), first=5) for probe in "XYZ"]
    assert found == pytest.approx(gains, abs=5e-5)
    if values == 16:
        assert doubt_bits(health) == pytest.approx(1.0713, abs=5e-5)


# --- what counts teach ------------------------------------------------------------------------------------------------


def test_a_beta_and_a_dirichlet() -> None:
    """Closed forms: Beta(2, 8) and 3 of 4 more give 5/14; (0.5, 0.3, 0.2) worth ten and counts 4, 0, 1 give 0.6, 0.2,
    0.2 (an equivalent sample size: D. J. Spiegelhalter and S. L. Lauritzen, Networks 20, 1990)."""
    found = dirichlet_mean({"bad": 0.2, "sound": 0.8}, 10.0, {"bad": 3, "sound": 1})
    assert found["bad"] == pytest.approx(0.35714, abs=5e-6)
    three = dirichlet_mean({"a": 0.5, "b": 0.3, "c": 0.2}, 10.0, {"a": 4, "c": 1})
    assert three == pytest.approx({"a": 0.6, "b": 0.2, "c": 0.2})
