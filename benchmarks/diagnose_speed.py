"""How large a machine's network is, how long one posterior and one ranking of all checks take, and against pyAgrum.

Run: python benchmarks/diagnose_speed.py
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import time
import warnings
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.contraction import largest_table, products
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, derive
from tapewright.diagnose.next_check import next_check
from tapewright.machine.library import shipped, shipped_ids
from tapewright.words.evidence import Observation

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyagrum

gum: Any = pyagrum  # it says nothing of its types

REPEATS = 7
TOLD = 12


def median_s(run: Callable[[], object]) -> float:
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return sorted(taken)[REPEATS // 2]


def as_agrum(net: Network) -> Any:
    """Give the same network to pyAgrum: parts as roots, functions as deterministic tables."""
    other = gum.BayesNet()
    for name, states in net.parts.items():
        other.add(gum.LabelizedVariable(f"part:{name}", "", len(states.states)))
        other.cpt(f"part:{name}").fillWith(list(states.prior))
    for name, words in net.words.items():
        other.add(gum.LabelizedVariable(name, "", len(words)))
    for factor in net.factors:
        *parents, child = factor.variables
        for parent in parents:
            other.addArc(parent, child)
    for factor in net.factors:
        *parents, child = factor.variables
        table = other.cpt(child)
        order = [list(factor.variables).index(name) for name in reversed(table.names)]
        table[:] = np.ascontiguousarray(factor.table.transpose(order))
    return other


def agrum_once(other: Any, said: dict[str, list[float]], targets: list[str]) -> None:
    engine = gum.LazyPropagation(other)
    engine.setEvidence(said)
    engine.eraseAllTargets()
    for name in targets:
        engine.addTarget(name)
    engine.makeInference()
    for name in targets:
        engine.posterior(name)


def main() -> None:
    print(f"{'machine':28s} parts words signs largest products   derive  posterior  ranking  pyAgrum  ranking/pyAgrum")
    for name in shipped_ids():
        machine = shipped(name)
        start = time.perf_counter()
        net = derive(machine)
        derived = time.perf_counter() - start
        told = [Observation(sign, number % 3 == 0) for number, sign in enumerate(list(net.signs)[:TOLD])]
        said = of_observations(net, told)
        one = median_s(partial(posterior, net, said))
        ranking = median_s(partial(next_check, net, said, [o.id for o in told]))
        targets = [f"part:{part}" for part in net.parts]
        soft = {node: [float(x) for x in chance] for node, chance in said.items()}
        agrum = median_s(partial(agrum_once, as_agrum(net), soft, targets))
        print(
            f"{name:28s} {len(net.parts):5d} {len(net.words):5d} {len(net.signs):5d} "
            f"{largest_table(net.plan):7d} {products(net.plan):8d} {derived:7.2f}s "
            f"{1e3 * one:8.1f}ms {1e3 * ranking:6.0f}ms {1e3 * agrum:6.1f}ms {ranking / agrum:10.1f}"
        )


if __name__ == "__main__":
    main()
