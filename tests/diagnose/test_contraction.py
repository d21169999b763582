"""Exact sums: against brute force, against a published network, against an independent library."""

import json
import re
import warnings
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.diagnose.contraction import LARGE, Factor, contract, plan_for, products
from tapewright.diagnose.crossing import together
from tapewright.diagnose.relations import Joined, Relation, joined

with warnings.catch_warnings():
    # Its generated wrapper warns while it loads; that is not ours to mend, and as an error it ends the process.
    warnings.simplefilter("ignore")
    import pyagrum

gum: Any = pyagrum  # it says nothing of its types

Array = NDArray[np.float64]
MACHINE_EPSILON_SUMS = 1e-12


def brute_force(factors: list[Factor], sizes: dict[str, int], wanted: str) -> Array:
    """The slow obvious way: every combination of values."""
    names = list(sizes)
    total = np.zeros(sizes[wanted])
    for values in product(*(range(sizes[name]) for name in names)):
        at = dict(zip(names, values, strict=True))
        weight = float(np.prod([factor.table[tuple(at[v] for v in factor.variables)] for factor in factors]))
        total[at[wanted]] += weight
    return total


def marginals(
    factors: list[Factor], sizes: dict[str, int], said: dict[str, Array] | None = None
) -> tuple[dict[str, Array], float]:
    sums = contract(plan_for(factors, sizes), said or {}, list(sizes))
    return {name: sums.marginals[name][0] for name in sizes}, float(sums.log_total[0])


@st.composite
def networks(draw: st.DrawFn) -> tuple[list[Factor], dict[str, int]]:
    count = draw(st.integers(2, 6))
    sizes = {f"v{i}": draw(st.integers(2, 3)) for i in range(count)}
    seed = draw(st.integers(0, 2**32 - 1))
    random = np.random.default_rng(seed)
    factors = []
    for i, name in enumerate(sizes):
        earlier = [f"v{k}" for k in range(i)]
        parents = draw(st.lists(st.sampled_from(earlier), max_size=2, unique=True)) if earlier else []
        scope = (*parents, name)
        table = random.uniform(0.01, 1.0, tuple(sizes[v] for v in scope))
        if draw(st.booleans()):  # a function: of all its words one is certain
            table = np.eye(sizes[name])[table.argmax(axis=-1)]
        factors.append(Factor(scope, table))
    return factors, sizes


@given(networks())
def test_every_marginal_and_the_total_equal_brute_force(network: tuple[list[Factor], dict[str, int]]) -> None:
    factors, sizes = network
    found, log_total = marginals(factors, sizes)
    for name in sizes:
        expected = brute_force(factors, sizes, name)
        np.testing.assert_allclose(found[name], expected / expected.sum(), rtol=1e-10)
        assert np.exp(log_total) == pytest.approx(expected.sum(), rel=1e-10)


@given(networks(), st.integers(0, 2**32 - 1))
def test_pairs_of_variables_equal_brute_force(network: tuple[list[Factor], dict[str, int]], seed: int) -> None:
    factors, sizes = network
    random = np.random.default_rng(seed)
    said = {name: random.uniform(0.1, 1.0, size) for name, size in sizes.items()}
    entering = [Factor((name,), chance) for name, chance in said.items()]
    plan = plan_for(factors, sizes)
    names = list(sizes)
    wanted = names[1:]
    # To some of its values, perhaps to all, however likely they are said to be.
    to = {name: random.random(sizes[name]) < 0.6 for name in names[: len(names) // 2 + 1]}
    chances, crossed = together(plan, said, {name: (values, random.random()) for name, values in to.items()}, wanted)
    ends = np.cumsum([sizes[name] for name in wanted])
    for other, end in zip(wanted, ends, strict=True):
        here = slice(end - sizes[other], end)
        expected = brute_force([*factors, *entering], sizes, other)
        np.testing.assert_allclose(chances[here], expected / expected.sum(), atol=1e-12)
        for row, (name, values) in enumerate(to.items()):
            clamp = Factor((name,), values.astype(float))
            there = brute_force([*factors, *entering, clamp], sizes, other)
            if there.sum() > 1e-9 * expected.sum():
                np.testing.assert_allclose(crossed[here, row], there / (there.sum() or 1.0), atol=1e-6)


@given(networks(), st.integers(0, 2**32 - 1))
def test_pairs_keep_their_digits_where_it_is_known_what_is_likely(
    network: tuple[list[Factor], dict[str, int]], seed: int
) -> None:
    """Values of any chance, down to one in a million million: the smaller row is gone through, and no digit is lost."""
    factors, sizes = network
    random = np.random.default_rng(seed)
    said = {name: 10.0 ** random.uniform(-12.0, 0.0, size) for name, size in sizes.items()}
    entering = [Factor((name,), chance) for name, chance in said.items()]
    plan = plan_for(factors, sizes)
    known = contract(plan, said, list(sizes)).marginals
    held = {name: (np.arange(size) == 0, float(known[name][0, 0])) for name, size in sizes.items()}
    last = list(sizes)[-1]
    _, crossed = together(plan, said, held, [last])
    for row, name in enumerate(sizes):
        clamp = Factor((name,), (np.arange(sizes[name]) == 0).astype(float))
        there = brute_force([*factors, *entering, clamp], sizes, last)
        if there.sum() > 0.0:
            np.testing.assert_allclose(crossed[:, row], there / there.sum(), atol=1e-9)


@given(networks(), st.integers(0, 2**32 - 1))
def test_cases_of_a_batch_do_not_touch_each_other(network: tuple[list[Factor], dict[str, int]], seed: int) -> None:
    factors, sizes = network
    random = np.random.default_rng(seed)
    plan = plan_for(factors, sizes)
    said = {name: random.uniform(0.1, 1.0, (4, size)) for name, size in list(sizes.items())[::2]}
    batch = contract(plan, said, list(sizes))
    for case in range(4):
        alone = contract(plan, {name: chance[case] for name, chance in said.items()}, list(sizes))
        for name in sizes:
            np.testing.assert_allclose(batch.marginals[name][case], alone.marginals[name][0], rtol=MACHINE_EPSILON_SUMS)
        assert batch.log_total[case] == pytest.approx(float(alone.log_total[0]), abs=1e-12)


@given(networks(), st.randoms(use_true_random=False))
def test_every_order_gives_the_same_sum(network: tuple[list[Factor], dict[str, int]], chance: Random) -> None:
    factors, sizes = network
    order = list(sizes)
    chance.shuffle(order)
    order = order[: chance.randint(0, len(order))]  # what it does not name comes last
    plain, turned = (contract(plan_for(factors, sizes, one), {}, list(sizes)) for one in (None, order))
    assert turned.log_total[0] == pytest.approx(float(plain.log_total[0]), abs=1e-12)
    for name in sizes:
        np.testing.assert_allclose(turned.marginals[name], plain.marginals[name], rtol=1e-10)


def test_large_sums_go_another_way_and_give_the_same() -> None:
    """A sparse matrix takes over from gathered products where there are many: the same numbers either way."""
    random = np.random.default_rng(5)
    sizes = {"a": 12, "b": 11, "c": 10, "d": 9}
    factors = [Factor(scope, random.uniform(size=tuple(sizes[v] for v in scope)))
               for scope in (("a",), ("a", "b"), ("a", "b", "c"), ("b", "c", "d"))]  # fmt: skip
    plan = plan_for(factors, sizes)
    said = {"a": random.uniform(size=(30, 12))}
    assert products(plan) * 30 > LARGE
    batch = contract(plan, said, ["d"])
    for case in range(30):
        alone = contract(plan, {"a": said["a"][case]}, ["d"])
        np.testing.assert_allclose(batch.marginals["d"][case], alone.marginals["d"][0], rtol=1e-12)


def test_impossible_evidence_has_no_probability() -> None:
    plan = plan_for([Factor(("a", "b"), np.eye(2))], {"a": 2, "b": 2})
    said = {"a": np.array([1.0, 0.0]), "b": np.array([0.0, 1.0])}
    sums = contract(plan, said, ["a"])
    assert sums.log_total[0] == -np.inf
    assert sums.marginals["a"].tolist() == [[0.0, 0.0]]
    alone, crossed = together(plan, said, {"a": (np.array([True, False]), 0.5)}, ["b"])
    assert alone.tolist() == [0.0, 0.0]
    assert not crossed.any()


def test_factors_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(ValueError, match="no combination"):
        plan_for([Factor(("a",), np.array([1.0, 0.0])), Factor(("a",), np.array([0.0, 1.0]))], {"a": 2})


def test_more_combinations_than_numbers_of_64_bits() -> None:
    """Forty variables of eight values in one table: they are numbered all the same."""
    names = [f"v{i}" for i in range(40)]
    sizes = dict.fromkeys(names, 8)
    values = np.random.default_rng(2).integers(0, 8, (40, 50))
    one, other = (Relation(tuple(names), values[:, part].astype(np.int16)) for part in (slice(0, 30), slice(20, 50)))
    join = joined(one, other, names, sizes)
    assert isinstance(join, Joined)
    both = {tuple(column) for column in one.values.T} & {tuple(column) for column in other.values.T}
    assert {tuple(column) for column in join.relation.values.T} == both
    assert len(both) == 10


def test_car_start_as_printed() -> None:
    """Jensen's car-start example (inputs from memory, arithmetic by hand): P(plugs bad | no start) = 0.5806,
    P(no fuel | no start) = 0.2932."""
    fuel, plugs = np.array([0.98, 0.02]), np.array([0.96, 0.04])
    start = np.array([[0.99, 0.01], [0.0, 0.0]])  # P(start | fuel, plugs)
    no_start = Factor(("fuel", "plugs"), 1.0 - start)
    found, _ = marginals([Factor(("fuel",), fuel), Factor(("plugs",), plugs), no_start], {"fuel": 2, "plugs": 2})
    assert found["plugs"][1] == pytest.approx(0.5806, abs=5e-5)
    assert found["fuel"][1] == pytest.approx(0.2932, abs=5e-5)


def test_random_networks_as_an_independent_library_has_them() -> None:
    """pyAgrum's exact lazy propagation on ten seeded random networks."""
    for seed in range(10):
        gum.initRandom(seed)
        net = gum.randomBN(n=9, ratio_arc=1.4, domain_size=3)
        sizes = {name: net.variable(name).domainSize() for name in net.names()}
        factors = []
        for name in net.names():
            table = net.cpt(name)
            scope = tuple(reversed(table.names))
            factors.append(Factor(scope, np.array(table.toarray(), dtype=float)))
        found, _ = marginals(factors, sizes)
        engine = gum.LazyPropagation(net)
        engine.makeInference()
        for name in sizes:
            np.testing.assert_allclose(found[name], engine.posterior(name).toarray(), atol=1e-9)


def test_public_networks(shared_data: Path) -> None:
    """Small public belief networks with exact posteriors by an independent elimination (see the data's own notice)."""
    folder = shared_data / "networks"
    expected = json.loads((folder / "reference_posteriors.json").read_text(encoding="utf-8"))
    checked = 0
    for path in sorted(folder.glob("*.bif")):
        factors, states = read_bif(path.read_text(encoding="utf-8"))
        sizes = {name: len(values) for name, values in states.items()}
        for case in expected[path.stem]["cases"]:
            said = {n: np.array([float(v == value) for v in states[n]]) for n, value in case["evidence"].items()}
            found, log_total = marginals(factors, sizes, said)
            for name, posterior in case["posterior"].items():
                ours = dict(zip(states[name], found[name], strict=True))
                assert ours == pytest.approx(posterior, abs=1e-9)
                checked += 1
            assert np.exp(log_total) == pytest.approx(case["p_evidence"], abs=1e-9)
    assert checked > 20


def read_bif(text: str) -> tuple[list[Factor], dict[str, tuple[str, ...]]]:
    states = {
        name: tuple(v.strip() for v in values.split(","))
        for name, values in re.findall(r"variable (\w+) \{\s*type discrete \[ \d+ \] \{ ([^}]*) \};", text)
    }
    factors = []
    for head, body in re.findall(r"probability \( ([^)]*) \) \{(.*?)\n\}", text, re.DOTALL):
        child, _, rest = head.partition("|")
        parents = [p.strip() for p in rest.split(",") if p.strip()]
        scope = (*parents, child.strip())
        table = np.zeros(tuple(len(states[v]) for v in scope))
        for given_values, numbers in re.findall(r"(?:\(([^)]*)\)|table) ([\d., eE+-]+);", body):
            at = tuple(states[p].index(v.strip()) for p, v in zip(parents, given_values.split(","), strict=False) if v)
            table[at] = [float(x) for x in numbers.split(",")]
        factors.append(Factor(scope, table))
    return factors, states
