"""The quick sums over a machine's network against slow roads and an independent library."""

import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchmarks.diagnose_speed import as_agrum
from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.contraction import contract, largest_table, products
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.pairs import after, pairs
from tapewright.diagnose.pruning import pruned
from tapewright.machine.library import shipped, shipped_ids
from tapewright.words.evidence import Observation

with warnings.catch_warnings():
    # Its generated wrapper warns while it loads; that is not ours to mend, and as an error it ends the process.
    warnings.simplefilter("ignore")
    import pyagrum

gum: Any = pyagrum  # it says nothing of its types

Array = NDArray[np.float64]
MACHINES = ("four_track", "one_motor_portable", "direct_reels_deck_starter")


@st.composite
def told(draw: st.DrawFn, net: Network, most: int) -> list[Observation]:
    known = sorted(name for name, sign in net.signs.items() if sign.node in net.words)
    ids = draw(st.lists(st.sampled_from(known), max_size=most, unique=True))
    return [Observation(one, draw(st.booleans()), draw(st.sampled_from([1.0, 0.7]))) for one in ids]


@pytest.mark.parametrize("machine_id", MACHINES)
@settings(max_examples=6, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_posteriors_are_those_of_an_independent_library(machine_id: str, data: st.DataObject) -> None:
    """pyAgrum's exact lazy propagation on the network of a shipped machine."""
    net = network(shipped(machine_id))
    said = of_observations(net, data.draw(told(net, 12)))
    found = posterior(net, said)
    engine = gum.LazyPropagation(as_agrum(net))
    engine.setEvidence({node: [float(x) for x in chance] for node, chance in said.items()})
    engine.makeInference()
    for name, states in found.states.items():
        np.testing.assert_allclose(states[0], engine.posterior(f"part:{name}").toarray(), atol=1e-9)
    for node, words in found.words.items():
        np.testing.assert_allclose(words[0], engine.posterior(node).toarray(), atol=1e-9)
    if said:
        assert found.log_evidence[0] == pytest.approx(np.log(engine.evidenceProbability()), abs=1e-9)


@pytest.mark.parametrize("machine_id", MACHINES)
@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_pairs_equal_the_slow_road_of_one_part_held_at_a_time(machine_id: str, data: st.DataObject) -> None:
    """Every part held sound in turn, and the whole network summed for it."""
    net = network(shipped(machine_id))
    said = of_observations(net, data.draw(told(net, 10)))
    found = pairs(net, said)
    now = posterior(net, said)
    for node in net.observed:
        np.testing.assert_allclose(found.chances[found.places[node]], now.words[node][0], atol=1e-9)
    for name in data.draw(st.lists(st.sampled_from(sorted(net.parts)), min_size=1, max_size=6, unique=True)):
        place, prior = found.parts.index(name), np.zeros(len(net.parts[name].states))
        prior[0] = net.parts[name].prior[0]
        held = posterior(net, said, priors={name: prior})
        assert found.sound[place] == pytest.approx(now.states[name][0, 0], abs=1e-9)
        assert found.sound[place] == pytest.approx(np.exp(held.log_evidence[0] - now.log_evidence[0]), abs=1e-9)
        for node in net.observed:
            np.testing.assert_allclose(found.had_it_been[found.places[node], place], held.words[node][0], atol=1e-9)


@pytest.mark.parametrize("machine_id", MACHINES)
@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_hypothetical_answer_does_what_the_answer_does(machine_id: str, data: st.DataObject) -> None:
    net = network(shipped(machine_id))
    observations = data.draw(told(net, 8))
    ids = sorted(s for s in net.signs if net.signs[s].node in net.words)
    asked = [
        Observation(one, data.draw(st.booleans())) for one in data.draw(st.lists(st.sampled_from(ids), max_size=3))
    ]
    found = pairs(net, of_observations(net, observations))
    speaks = np.zeros((len(asked), len(found.chances)))
    for row, one in zip(speaks, asked, strict=True):
        node = net.signs[one.id].node
        row[found.places[node]] = of_observations(net, [one])[node]
    now = posterior(net, of_observations(net, observations))
    for one, chance, sound in zip(asked, *after(found, speaks), strict=True):
        then = posterior(net, of_observations(net, [*observations, one]))
        assert chance == pytest.approx(float(np.exp(then.log_evidence[0] - now.log_evidence[0])), abs=1e-9)
        np.testing.assert_allclose(sound, [then.states[name][0, 0] for name in net.parts], atol=1e-9)


@pytest.mark.parametrize("machine_id", MACHINES)
@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_what_is_left_of_a_pruned_network_says_the_same(machine_id: str, data: st.DataObject) -> None:
    """Words are allowed or not, node by node: the chance that all of it holds, by what is left and by the whole."""
    net = network(shipped(machine_id))
    nodes = data.draw(st.lists(st.sampled_from(sorted(net.observed)), min_size=1, max_size=5, unique=True))
    allowed = {}
    for node in nodes:
        count = len(net.words[node])
        allowed[node] = np.array(data.draw(st.lists(st.sampled_from([0.0, 1.0]), min_size=count, max_size=count)))
    left = pruned(net, {node: [(float(one),) for one in chance] for node, chance in allowed.items()})
    expected = posterior(net, allowed, with_words=False).log_evidence[0]
    if left is None:  # every word of every node is allowed, or none is
        assert all(np.ptp(chance) == 0.0 for chance in allowed.values())
        return
    told_apart = {node: chance[list(left.words[node])] for node, chance in allowed.items() if node in left.words}
    alike = [chance[0] for node, chance in allowed.items() if node not in left.words]
    found = contract(left.plan, {**left.priors, **told_apart}).log_total[0]
    found = found if all(alike) else -np.inf
    assert found == pytest.approx(expected, abs=1e-9)
    assert products(left.plan) <= products(net.plan)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_the_tables_stay_small(machine_id: str) -> None:
    """What exactness costs: combinations in the largest table, products in one sum."""
    net = network(shipped(machine_id))
    assert largest_table(net.plan) < 15_000
    assert products(net.plan) < 220_000, "`benchmarks/find_orders.py` finds a better order for a large machine"
