"""The exact strategy, against published and hand-checked examples."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.diagnose.strategy import Problem, Question, Repair, best_strategy, sequence_cost


def test_dependent_actions() -> None:
    """An example of the Aalborg group on dependent actions (values from memory, arithmetic checked): four faults, three
    repairs that overlap. Taking the best at each step costs 1.50, the best order 1.45."""
    chances = {"1": 0.20, "2": 0.25, "3": 0.40, "4": 0.15}
    cover = {"a1": "12", "a2": "23", "a3": "34"}
    problem = Problem(chances, [Repair(name, 1.0, dict.fromkeys(faults, 1.0)) for name, faults in cover.items()])
    assert sequence_cost(problem, ["a2", "a1", "a3"]) == pytest.approx(1.50)
    assert sequence_cost(problem, ["a3", "a1"]) == pytest.approx(1.45)
    best = best_strategy(problem)
    assert best.expected_cost == pytest.approx(1.45)
    assert best.first == "a3"


def test_the_textbook_computer() -> None:
    """F. V. Jensen and T. D. Nielsen's exercise: inputs published, no printed answer; 27.8750 is arithmetic by hand."""
    problem = Problem(
        {"program": 0.8, "virus": 0.15, "hardware": 0.05},
        [
            Repair("1", 1, {"program": 1.0}),
            Repair("2", 2, {"virus": 0.95}),
            Repair("3", 25, {"program": 0.99, "virus": 0.99}),
            Repair("4", 500, {"program": 1.0, "virus": 1.0, "hardware": 1.0}),
        ],
    )
    assert sequence_cost(problem, ["1", "2", "3", "4"]) == pytest.approx(27.8750)
    assert sequence_cost(problem, ["2", "1", "3", "4"]) == pytest.approx(29.3325)
    assert sequence_cost(problem, ["1", "2", "4"]) == pytest.approx(30.1500)
    assert best_strategy(problem).expected_cost == pytest.approx(27.8750)


def single(chances: list[float], costs: list[float], inside: tuple[int, ...] = (), opening: float = 0.0) -> Problem:
    names = [str(i + 1) for i in range(len(chances))]
    repairs = [Repair(n, c, {n: 1.0}, int(n) in inside) for n, c in zip(names, costs, strict=True)]
    return Problem(dict(zip(names, chances, strict=True)), repairs, opening=opening)


def test_chance_over_cost() -> None:
    """Closed form: with independent repairs of equal certainty the order of chance over cost is best (J. B. Kadane and
    H. A. Simon, 1977, as cited by later papers); the figures are our own."""
    problem = single([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4])
    assert sequence_cost(problem, "3214") == pytest.approx(7.80)
    assert sequence_cost(problem, "1234") == pytest.approx(10.50)
    assert best_strategy(problem).expected_cost == pytest.approx(7.80)


def test_opening_the_case_is_paid_once() -> None:
    """Our own figures, by hand: with an opening cost of 6 on two of them the best order is another one."""
    problem = single([0.4, 0.3, 0.2, 0.1], [8, 3, 1, 4], inside=(2, 4), opening=6.0)
    assert sequence_cost(problem, "3214") == pytest.approx(12.60)
    assert sequence_cost(problem, "3124") == pytest.approx(11.40)
    assert best_strategy(problem).expected_cost == pytest.approx(11.40)


@pytest.mark.parametrize(("cost", "asks"), [(2.5, True), (2.7, False)])
def test_a_question_is_worth_asking_below_its_price(cost: float, asks: bool) -> None:
    """Closed form of our own: two faults 0.6 and 0.4, repairs of 10, a test that says yes to 0.9 and 0.2 of them. It
    brings 14.0 down to 11.4, so it is worth asking as long as it costs less than 2.6."""
    problem = single([0.6, 0.4], [10, 10])
    asking = Problem(problem.chances, problem.repairs, [Question("look", cost, {"1": 0.9, "2": 0.2})])
    best = best_strategy(asking)
    assert (best.first == "look") == asks
    assert best.expected_cost == pytest.approx(min(14.0, 11.4 + cost))


@given(st.lists(st.tuples(st.floats(0.05, 1.0), st.floats(0.5, 20.0)), min_size=1, max_size=5))
def test_without_questions_it_is_the_best_order(rows: list[tuple[float, float]]) -> None:
    total = sum(chance for chance, _ in rows)
    problem = single([chance / total for chance, _ in rows], [cost for _, cost in rows], inside=(1, 3), opening=4.0)
    names = [repair.name for repair in problem.repairs]
    slow = min(sequence_cost(problem, order) for order in permutations(names))
    assert best_strategy(problem).expected_cost == pytest.approx(slow)


def test_what_cannot_be_solved_is_said() -> None:
    with pytest.raises(ValueError, match="no repair puts 2 right"):
        best_strategy(Problem({"1": 0.5, "2": 0.5}, [Repair("a", 1, {"1": 1.0, "2": 0.9})]))
    with pytest.raises(ValueError, match="at most"):
        best_strategy(single([1 / 15] * 15, [1.0] * 15))
