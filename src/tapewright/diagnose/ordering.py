"""In which order to sum a network's variables out, and what is then joined with what.

Each variable in turn: all relations that speak of it are joined, the smallest first, and it is summed out. The search
takes, at each turn, the variable after which least is left to carry on, counted in combinations that can really occur;
that needs the joins themselves, so they are kept for the plan. As long as each turn leaves less than there was, there
is nothing to choose; from there on several searches with chance in them, always the same, try to be the cheapest. The
one that gets by with the smallest join goes on, so that none does a large one which another can do without. What they
go through is counted, never timed: the more it is, the fewer of them go on, and the same order is found everywhere.
"""

import math
import random
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from tapewright.diagnose.relations import Joined, Relation, joined, summed

CHANCES: Final = (0.0, 0.25, 0.25, 0.25, 0.25, 0.25, 0.25)
"""How much chance each search has in it; more searches find little that is cheaper (`benchmarks/diagnose_speed.py`)."""
MOST_PAIRS: Final = 50_000
"""A join of more pairs is only done once there is no smaller one."""
MOST_TRIED: Final = 80_000_000
"""Combinations gone through, some four seconds, after which the best order so far is taken, or the first to come."""
STILL_RUNNING: Final = 3
"""So many searches go on after that until one is through: a single one might be in a dead end."""
ONE_JOIN: Final = 1_000
"""Even a join of nothing takes as long as going through so many combinations."""
DEAR: Final = 3_000_000
"""Pairs from which a search is worth its time where an order is known."""


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """One join, or one sum where there is nothing to join.

    Arguments:
        left: number of a relation: those one starts with first, then the results of the steps.
        right: number of the other; None for a sum.
        join: what comes of it.
    """

    left: int
    right: int | None
    join: Joined


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """What is joined with what.

    Arguments:
        variables: in the order in which they are summed out.
        steps: down to a relation of no variables.
        pairs: pairs of combinations in all the joins: what one sum costs.
    """

    variables: tuple[str, ...]
    steps: tuple[Step, ...]
    pairs: int


def best_order(relations: Sequence[Relation], sizes: Mapping[str, int]) -> Order:
    """Find a cheap order, the same one every time.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
    """
    start = _Search(relations, sizes)
    start.go_on(only_shrinking=True)
    running = [start.copy(random.Random(seed), much) for seed, much in enumerate(CHANCES)]
    best, tried = None, 0
    while best is None or running:
        search = running.pop(0)
        before = search.tried_so_far
        end = search.go_on(math.inf if best is None else best.pairs, turn=MOST_TRIED / len(CHANCES))
        tried += search.tried_so_far - before
        if end is _End.DONE:
            best = search.finished()
        elif end is _End.STUCK:
            running.append(search)
        running.sort(key=_Search.standing)
        if tried > MOST_TRIED:
            running = running[:STILL_RUNNING] if best is None else []
    return best


def cheapest_order(relations: Sequence[Relation], sizes: Mapping[str, int], orders: Sequence[Sequence[str]]) -> Order:
    """Take the cheapest of some known orders; search for a cheaper one where even that is dear.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
        orders: of the variables.
    """
    most, best = float(DEAR), None
    while best is None:
        best = cheapest_given(relations, sizes, orders, most)
        if best is None or best.pairs > DEAR:
            search = _Search(relations, sizes)
            end = _End.STUCK
            while end is _End.STUCK:
                end = search.go_on(most if best is None else best.pairs)
            best = search.finished() if end is _End.DONE else best
        most *= 8.0
    return best


def cheapest_given(
    relations: Sequence[Relation], sizes: Mapping[str, int], orders: Sequence[Sequence[str]], most: float
) -> Order | None:
    """Take the cheapest of some known orders; None where all take more than so many pairs."""
    best: Order | None = None
    for variables in orders:
        best = given_order(relations, sizes, variables, most if best is None else best.pairs) or best
    return best


def given_order(
    relations: Sequence[Relation], sizes: Mapping[str, int], variables: Sequence[str], most: float = math.inf
) -> Order | None:
    """Join and sum in an order that is known; None once it takes too many pairs.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
        variables: those that it does not name come last.
        most: pairs of combinations beyond which it is given up.
    """
    search = _Search(relations, sizes)
    for name in (*variables, *sorted(search.holders.keys() - set(variables))):
        if search.holders.get(name):
            tried = search.tried(name, most - search.pairs)
            if not tried.chain:
                return None
            search.take(name, tried)
    return search.finished()


@dataclass(frozen=True, slots=True, eq=False)
class _Tried:
    """What summing a variable out would do; without steps where it was too large to be done."""

    chain: tuple[tuple[int, int | None, Joined], ...]
    pairs: int
    growth: int


class _End(Enum):
    """Why a search stops: all is summed out, it costs too much, or it had its turn or needs larger joins to go on."""

    DONE = auto()
    DEAR = auto()
    STUCK = auto()


class _Search:
    """Relations that are left, and what has been done so far."""

    def __init__(self, relations: Sequence[Relation], sizes: Mapping[str, int]) -> None:
        self.sizes = sizes
        self.live = dict(enumerate(relations))
        self.count = len(relations)
        self.holders: dict[str, set[int]] = {}
        for number, relation in self.live.items():
            for name in relation.variables:
                self.holders.setdefault(name, set()).add(number)
        self.order: list[str] = []
        self.steps: list[Step] = []
        self.pairs = 0
        self.options: dict[str, _Tried] = {}
        self.stale = sorted(self.holders)
        self.bound = float(MOST_PAIRS)
        self.need = 0.0
        self.tried_so_far = 0
        self.chance, self.much = random.Random(0), 0.0

    def copy(self, chance: random.Random, much: float) -> "_Search":
        """Give a search that goes on from here on its own.

        Arguments:
            chance: where chance comes from.
            much: how much of it.
        """
        other = copy(self)
        other.chance, other.much = chance, much
        other.live, other.options = dict(self.live), dict(self.options)
        other.holders = {name: set(numbers) for name, numbers in self.holders.items()}
        other.order, other.steps, other.stale = list(self.order), list(self.steps), list(self.stale)
        return other

    def standing(self) -> tuple[float, int]:
        """Say how far it is from the end: the pairs of the join it needs next, and how many variables are left."""
        return self.need, sum(map(bool, self.holders.values()))

    def go_on(self, most: float = math.inf, turn: float = math.inf, *, only_shrinking: bool = False) -> _End:
        """Choose variable after variable.

        Arguments:
            most: pairs that the best so far has.
            turn: combinations to go through before it is the turn of another.
            only_shrinking: stop once every choice leaves more than there was.
        """
        turn += self.tried_so_far
        self._widen()
        while any(self.holders.values()):
            if not self._try_stale(most, turn):
                return _End.STUCK
            name = min(sorted(self.options), key=lambda one: _blurred(self.options[one], self.chance, self.much))
            best = self.options[name]
            if not best.chain:
                self.need = float(min(option.pairs for option in self.options.values()))
                return _End.DEAR if self.pairs + self.need >= most else _End.STUCK
            if only_shrinking and best.growth > 0:
                return _End.STUCK
            if self.pairs + best.pairs >= most:
                return _End.DEAR
            neighbours = {v for number in self.holders[name] for v in self.live[number].variables} - {name}
            self.take(name, best)
            del self.options[name]
            self.stale = sorted(neighbours)
        return _End.DONE

    def _widen(self) -> None:
        """Let joins be as large as they must, and try again those that were larger."""
        while self.bound < self.need:
            self.bound *= 4.0
        larger = (name for name, option in self.options.items() if not option.chain and option.pairs <= self.bound)
        self.stale = sorted({*self.stale, *larger})

    def _try_stale(self, most: float, turn: float) -> bool:
        """Try what has changed; False when the turn is over before all is."""
        while self.stale:
            if self.tried_so_far > turn:
                return False
            name = self.stale.pop()
            if self.holders[name]:
                self.options[name] = self.tried(name, min(self.bound, most - self.pairs))
            else:
                self.options.pop(name, None)
        return True

    def tried(self, name: str, most: float) -> _Tried:
        """See what summing a variable out does."""
        waiting = sorted(self.holders[name], key=lambda number: (self.live[number].count, number))
        inside = {number: self.live[number] for number in waiting}
        before = sum(relation.count for relation in inside.values())
        chain: list[tuple[int, int | None, Joined]] = []
        pairs, fresh = 0, -1
        while len(waiting) > 1 or not chain:
            left = waiting.pop(0)
            right = waiting.pop(0) if waiting else None
            kept = self._kept(name, inside, waiting)
            if right is None:
                join: Joined | int = summed(inside[left], kept, self.sizes)
            else:
                join = joined(inside[left], inside[right], kept, self.sizes, most - pairs)
            self.tried_so_far += ONE_JOIN + sum(inside[number].count for number in (left, right) if number is not None)
            if isinstance(join, int):
                return _Tried((), pairs + join, pairs + join)
            pairs += len(join.left)
            self.tried_so_far += len(join.left)
            chain.append((left, right, join))
            inside[fresh] = join.relation
            waiting = sorted([*waiting, fresh], key=lambda number: (inside[number].count, number))
            fresh -= 1
        return _Tried(tuple(chain), pairs, chain[-1][2].relation.count - before)

    def _kept(self, name: str, inside: Mapping[int, Relation], waiting: Sequence[int]) -> set[str]:
        """Name the variables that something beside the two now joined still speaks of."""
        bucket = self.holders[name]
        kept = {v for number in bucket for v in self.live[number].variables if self.holders[v] - bucket}
        return kept | {v for number in waiting for v in inside[number].variables}

    def take(self, name: str, tried: _Tried) -> None:
        """Do what was tried."""
        known: dict[int, int] = {}
        gone = {name}
        for number in tuple(self.holders[name]):
            gone.update(self.live[number].variables)
            for variable in self.live.pop(number).variables:
                self.holders[variable].discard(number)
        fresh = -1
        for left, right, join in tried.chain:
            self.steps.append(Step(known.get(left, left), None if right is None else known.get(right, right), join))
            known[fresh] = self.count
            self.count += 1
            fresh -= 1
        last = tried.chain[-1][2].relation
        self.live[self.count - 1] = last
        for variable in last.variables:
            self.holders[variable].add(self.count - 1)
        # Variables that nothing else spoke of went with it.
        self.order += [name, *sorted(one for one in gone - {name} if not self.holders[one])]
        self.pairs += tried.pairs

    def finished(self) -> Order:
        """Multiply the numbers that are left of parts of the network that have nothing to do with each other."""
        waiting = sorted(self.live)
        assert not any(relation.variables for relation in self.live.values())  # all has been summed out
        while len(waiting) > 1:
            left, right = waiting.pop(0), waiting.pop(0)
            join = joined(self.live[left], self.live[right], (), self.sizes)
            assert isinstance(join, Joined)  # no bound was set
            self.steps.append(Step(left, right, join))
            self.live[self.count] = join.relation
            waiting.append(self.count)
            self.count += 1
        return Order(tuple(self.order), tuple(self.steps), self.pairs)


def _blurred(option: _Tried, chance: random.Random, much: float) -> float:
    if not option.chain:
        return math.inf
    return option.growth + much * abs(option.growth) * chance.gauss(0.0, 1.0) if much else float(option.growth)
