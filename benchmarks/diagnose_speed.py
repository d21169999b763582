"""How large a machine's network is, how long it takes to weigh every check, and that against pyAgrum.

Each machine has its two likeliest faults. It is weighed after the complaint, after three and eight more answers (to the
checks that were proposed), and after both parts were renewed and all was looked at again. Times are of one processor,
so that other work on the machine does not count.

Run: python benchmarks/diagnose_speed.py [machine ...]
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import sys
import time
import warnings
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.contraction import largest_table, plan_for, products
from tapewright.diagnose.network import Network, derive
from tapewright.diagnose.next_check import next_check
from tapewright.diagnose.pairs import pairs
from tapewright.faults.applied import Fault, applied
from tapewright.faults.graph import evaluate
from tapewright.jobs.rounds import latest_round
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import sound
from tapewright.words.evidence import Evidence, Observation

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyagrum

gum: Any = pyagrum  # it says nothing of its types

REPEATS = 5
SHOWS = 0.5


def timed_ms(run: Callable[[], object]) -> float:
    taken = []
    for _ in range(REPEATS):
        start = time.process_time()
        run()
        taken.append(time.process_time() - start)
    return 1e3 * sorted(taken)[REPEATS // 2]


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


def agrum_once(other: Any, said: Mapping[str, NDArray[np.float64]], targets: Sequence[str]) -> None:
    engine = gum.LazyPropagation(other)
    engine.setEvidence({node: [float(x) for x in chance] for node, chance in said.items()})
    engine.eraseAllTargets()
    for name in targets:
        engine.addTarget(name)
    engine.makeInference()
    for name in targets:
        engine.posterior(name)


class Patient:
    """A machine with its two likeliest faults, and what one would answer."""

    def __init__(self, net: Network) -> None:
        self.net = net
        self.bad = sorted(net.parts, key=lambda name: net.parts[name].prior[0])[:2]
        faults = [Fault(name, *net.parts[name].states[-1]) for name in self.bad]
        ideal = sound(net.machine)
        conditions, nodes = net.mechanism.conditions, net.mechanism.nodes
        worn, usual = (
            evaluate(nodes, {c.name: c.read(one) for c in conditions}) for one in (applied(ideal, faults), ideal)
        )
        self.shows = {name: sign.chance(worn[sign.node]) >= SHOWS for name, sign in net.signs.items()}
        self.usual = {name: sign.chance(usual[sign.node]) >= SHOWS for name, sign in net.signs.items()}
        spoken = [name for name, sign in net.signs.items() if sign.node in net.words and sign.mode == "play"]
        self.complaint = next((name for name in spoken if self.shows[name] and not self.usual[name]), spoken[0])

    def told(self, answers: int) -> list[Observation]:
        """Answer the complaint and as many of the checks that are proposed."""
        told = [Observation(self.complaint, self.shows[self.complaint])]
        for _ in range(answers):
            latest = latest_round(self.net, Evidence(tuple(told)))
            check = next_check(latest.network, latest.likelihoods, {one.id for one in told}, case_open=True)
            if check is None:
                break
            told.append(Observation(check.id, self.shows[check.id]))
        return told

    def mended(self, told: Sequence[Observation]) -> list[Observation]:
        """Renew both parts, one after the other, and look at all again each time."""
        first, both = tuple(self.bad[:1]), tuple(self.bad)
        again = [Observation(one.id, one.present, after=first) for one in told]
        return [*told, *again, *(Observation(one.id, self.usual[one.id], after=both) for one in told)]


def main(names: Sequence[str]) -> None:
    print("milliseconds of one processor; a pair is `pairs` alone / `next_check`, which weighs policies too;")
    print("the first time after a repair: laying out the sums anew + `next_check`")
    print(
        f"{'machine':26s} parts words signs largest products  derive  search |  complaint        +3        +8   "
        "renewed twice  (first time) products | posterior pyAgrum  pairs/pyAgrum"
    )
    for name in names:
        show(name)


def show(name: str) -> None:
    machine = shipped(name)
    start = time.process_time()
    net = derive(machine)
    derived = time.process_time() - start
    # The plan is searched for again, for its time alone.
    sizes = {v: n for factor in net.factors for v, n in zip(factor.variables, factor.table.shape, strict=True)}
    start = time.process_time()
    plan_for(net.factors, sizes)
    search = time.process_time() - start
    patient = Patient(net)
    all_told = patient.told(8)
    columns = [
        weighed(latest_round(net, Evidence(tuple(told))), told) for told in (all_told[:1], all_told[:4], all_told)
    ]
    evidence = Evidence(tuple(patient.mended(all_told)))
    start = time.process_time()
    latest = latest_round(net, evidence)
    first = time.process_time() - start
    start = time.process_time()
    next_check(latest.network, latest.likelihoods, {one.id for one in all_told})
    first_check = time.process_time() - start
    columns.append(weighed(latest, all_told))
    said = latest_round(net, Evidence(tuple(all_told))).likelihoods
    one = timed_ms(partial(posterior, net, said))
    ranking = timed_ms(partial(pairs, net, said))
    agrum = timed_ms(partial(agrum_once, as_agrum(net), said, [f"part:{part}" for part in net.parts]))
    print(
        f"{name:26s} {len(net.parts):5d} {len(net.words):5d} {len(net.signs):5d} {largest_table(net.plan):7d} "
        f"{products(net.plan):8d} {derived:6.2f}s {search:6.2f}s | {columns[0]} {columns[1]} {columns[2]} {columns[3]} "
        f"({1e3 * first:4.0f} + {1e3 * first_check:3.0f}) {products(latest.network.plan):8d} | "
        f"{one:8.1f} {agrum:7.1f} {ranking / agrum:8.1f}",
        flush=True,
    )


def weighed(latest: Any, told: Sequence[Observation]) -> str:
    alone = timed_ms(partial(pairs, latest.network, latest.likelihoods))
    whole = timed_ms(partial(next_check, latest.network, latest.likelihoods, {one.id for one in told}))
    return f"{alone:4.0f}/{whole:4.0f}"


if __name__ == "__main__":
    main(sys.argv[1:] or shipped_ids())
