"""Exact sums: against brute force, against a published network, against an independent library."""

import json
import re
import warnings
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.diagnose.contraction import Factor, contract, find_path

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


def marginals(factors: list[Factor], sizes: dict[str, int]) -> tuple[dict[str, Array], float]:
    leaves = [Factor((name,), np.ones(size)) for name, size in sizes.items()]
    path = find_path([f.variables for f in (*leaves, *factors)], sizes)
    sums = contract(path, [f.table for f in (*leaves, *factors)], range(len(leaves)))
    found = {name: sums.around[i][0] / sums.around[i][0].sum() for i, name in enumerate(sizes)}
    return found, float(sums.log_total[0])


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
        factors.append(Factor(scope, random.uniform(0.01, 1.0, tuple(sizes[v] for v in scope))))
    return factors, sizes


@given(networks())
def test_every_marginal_and_the_total_equal_brute_force(network: tuple[list[Factor], dict[str, int]]) -> None:
    factors, sizes = network
    found, log_total = marginals(factors, sizes)
    for name in sizes:
        expected = brute_force(factors, sizes, name)
        np.testing.assert_allclose(found[name], expected / expected.sum(), rtol=1e-10)
        assert np.exp(log_total) == pytest.approx(expected.sum(), rel=1e-10)


def test_cases_of_a_batch_do_not_touch_each_other() -> None:
    random = np.random.default_rng(3)
    sizes = {"a": 2, "b": 3, "c": 2}
    tables = [random.uniform(size=(2, 3)), random.uniform(size=(3, 2))]
    scopes: list[tuple[str, ...]] = [("a",), ("b",), ("c",), ("a", "b"), ("b", "c")]
    path = find_path(scopes, sizes)
    said = random.uniform(size=(4, 3))
    batch = contract(path, [np.ones(2), said, np.ones(2), *tables], [0, 2])
    for case in range(4):
        alone = contract(path, [np.ones(2), said[case], np.ones(2), *tables], [0, 2])
        for leaf in (0, 2):
            both = batch.around[leaf][case], alone.around[leaf][0]
            np.testing.assert_allclose(both[0] / both[0].sum(), both[1] / both[1].sum(), rtol=MACHINE_EPSILON_SUMS)
        assert batch.log_total[case] == pytest.approx(float(alone.log_total[0]), abs=1e-12)


def test_impossible_evidence_has_no_probability() -> None:
    path = find_path([("a",), ("a",)], {"a": 2})
    sums = contract(path, [np.array([1.0, 0.0]), np.array([0.0, 1.0])], [0])
    assert sums.log_total[0] == -np.inf


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
            clamped = list(factors)
            for name, value in case["evidence"].items():
                clamped.append(Factor((name,), np.array([float(v == value) for v in states[name]])))
            found, log_total = marginals(clamped, sizes)
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
