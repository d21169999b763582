"""The cheapest strategy of questions and repairs, exactly, for small problems.

A strategy says what to do next for every history of answers and repairs, until the machine works. Its expected cost is
worked out by dynamic programming over those histories: exact, and exponential in the number of things that can be done.
It is the yardstick for the quick choice of the next check, and does the choosing where the problem is small enough.

The setting is that of decision-theoretic troubleshooting (D. Heckerman, J. Breese and K. Rommelse, Commun. ACM 38(3),
1995): every repair ends with a test of the machine, whose cost is in the repair's.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

LARGEST_PROBLEM: Final = 14
"""Questions and repairs together; beyond that the histories are too many."""


@dataclass(frozen=True, slots=True)
class Repair:
    """Something that may put the machine right.

    Arguments:
        name: what it is.
        cost: of doing it and testing the machine, minutes.
        cures: for each hypothesis, the chance that it puts that right; 0 where it is not named.
        inside: whether the case must be open.
        mending: what it costs besides where it does put the machine right: looking is paid each time, mending once.
    """

    name: str
    cost: float
    cures: Mapping[str, float]
    inside: bool = False
    mending: float = 0.0


@dataclass(frozen=True, slots=True)
class Question:
    """Something that can be asked or looked at.

    Arguments:
        name: what it is.
        cost: minutes.
        yes: for each hypothesis, the chance of a yes.
        inside: whether the case must be open.
    """

    name: str
    cost: float
    yes: Mapping[str, float]
    inside: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """What may be wrong, and what can be done.

    Arguments:
        chances: of each hypothesis; they sum to one.
        repairs: together they must be able to put every hypothesis right.
        questions: may be empty.
        opening: cost of opening the case, paid once, minutes.
    """

    chances: Mapping[str, float]
    repairs: Sequence[Repair]
    questions: Sequence[Question] = ()
    opening: float = 0.0


@dataclass(frozen=True, slots=True)
class Strategy:
    """The best there is to do first, and what it all costs on average.

    Arguments:
        expected_cost: minutes until the machine works.
        first: name of the first repair or question.
    """

    expected_cost: float
    first: str


def best_strategy(problem: Problem) -> Strategy:
    """Find the cheapest strategy.

    Arguments:
        problem: at most `LARGEST_PROBLEM` questions and repairs together.

    Raises:
        ValueError: for a larger problem, or one whose repairs cannot put every hypothesis right.

    >>> two = {"belt": 0.6, "tyre": 0.4}
    >>> repairs = [Repair("renew belt", 10, {"belt": 1.0}), Repair("renew tyre", 10, {"tyre": 1.0})]
    >>> best_strategy(Problem(two, repairs)).expected_cost
    14.0
    """
    if len(problem.repairs) + len(problem.questions) > LARGEST_PROBLEM:
        raise ValueError(f"at most {LARGEST_PROBLEM} questions and repairs together")
    for hypothesis in problem.chances:
        if not any(repair.cures.get(hypothesis, 0.0) == 1.0 for repair in problem.repairs):
            raise ValueError(f"no repair puts {hypothesis} right for certain")
    weights = tuple(problem.chances.values())
    return _Search(problem).cheapest(weights, frozenset(), opened=False)


def sequence_cost(problem: Problem, names: Sequence[str]) -> float:
    """Give the expected cost of doing repairs in a fixed order until the machine works.

    Arguments:
        problem: its questions are not asked.
        names: repairs, in order.
    """
    by_name = {repair.name: repair for repair in problem.repairs}
    weights, total, opened = dict(problem.chances), 0.0, False
    for name in names:
        repair = by_name[name]
        left = sum(weights.values())
        total += left * (repair.cost + (problem.opening if repair.inside and not opened else 0.0))
        opened = opened or repair.inside
        weights = {h: w * (1.0 - repair.cures.get(h, 0.0)) for h, w in weights.items()}
        total += (left - sum(weights.values())) * repair.mending
    return total


class _Search:
    """Dynamic programming over histories; weights are unnormalised, so a history is its weights and what is done."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.names = tuple(problem.chances)
        self.known: dict[tuple[tuple[float, ...], frozenset[str], bool], Strategy] = {}

    def cheapest(self, weights: tuple[float, ...], done: frozenset[str], *, opened: bool) -> Strategy:
        """Give the expected cost from here, per unit of weight that was there at the start."""
        if sum(weights) <= 1e-15:
            return Strategy(0.0, "")
        key = (tuple(float(f"{w:.12g}") for w in weights), done, opened)
        if key not in self.known:
            self.known[key] = min(self._options(weights, done, opened=opened), key=lambda one: one.expected_cost)
        return self.known[key]

    def _options(self, weights: tuple[float, ...], done: frozenset[str], *, opened: bool) -> list[Strategy]:
        found = [Strategy(math.inf, "")]
        for repair in self.problem.repairs:
            if repair.name not in done:
                left = self._times(weights, [1.0 - repair.cures.get(name, 0.0) for name in self.names])
                if sum(left) < sum(weights):
                    then = self.cheapest(left, done | {repair.name}, opened=opened or repair.inside)
                    cost = sum(weights) * self._price(repair, opened=opened) + then.expected_cost
                    cost += (sum(weights) - sum(left)) * repair.mending
                    found.append(Strategy(cost, repair.name))
        for question in self.problem.questions:
            if question.name not in done:
                yes = [question.yes.get(name, 0.0) for name in self.names]
                ways = (self._times(weights, yes), self._times(weights, [1.0 - chance for chance in yes]))
                after = done | {question.name}
                open_then = opened or question.inside
                later = sum(self.cheapest(way, after, opened=open_then).expected_cost for way in ways)
                found.append(Strategy(sum(weights) * self._price(question, opened=opened) + later, question.name))
        return found

    def _price(self, step: Repair | Question, *, opened: bool) -> float:
        return step.cost + (self.problem.opening if step.inside and not opened else 0.0)

    @staticmethod
    def _times(weights: tuple[float, ...], chances: Sequence[float]) -> tuple[float, ...]:
        return tuple(weight * chance for weight, chance in zip(weights, chances, strict=True))
