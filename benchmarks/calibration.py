"""Whether the chances come true: simulated machines with one to four faults, noisy answers, beliefs and truth.

Machines of every shipped layout in turn. Each one's parts are drawn at the catalogue's proportions, so many that 1 to 4
of them are bad; people miss signs and report false ones as often as the tool assumes. The tool is told how often each
part is bad on such machines (as a shop knows that has closed many jobs), asks its own checks, case shut, and what it
then believes of every part is held against the truth. The answers are read off the engine that runs the description,
not off the network. This proves that the sums are right and that asking the tool's own questions does not bend them;
whether base rates and people are as assumed, only closed jobs can tell: `tapewright knowledge`.

With `--as-drawn` any number of parts may be bad, at the catalogue's own rates.

Run: python benchmarks/calibration.py [--machines 500] [--layout ID]... [--most-seconds 600] [--as-drawn]
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import argparse
import time
from dataclasses import dataclass, field, replace

import numpy as np

from tapewright.diagnose.beliefs import posterior, shares
from tapewright.diagnose.calibration import (
    brier_with_doubt,
    calibration_error_with_interval,
    count_with_interval,
    reliability_table,
)
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, PartStates, network
from tapewright.diagnose.next_check import next_check
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome
from tapewright.machine.library import shipped, shipped_ids
from tapewright.words.evidence import Observation

ANSWERS = 6
SEED = 11
FEWEST, MOST = 1, 4
MEAN_BAD = 2.3
"""Bad parts a machine has on average before those with none, or with more than four, are set aside."""


def with_bad(known: PartStates, bad: float) -> PartStates:
    """Give a part with this chance of being bad; its kinds keep their proportions."""
    was = 1.0 - known.prior[0]
    return replace(known, prior=(1.0 - bad, *(p * bad / was for p in known.prior[1:])))


def counts_without(odds: np.ndarray, left_out: int | None) -> np.ndarray:
    """Give the weight of every number of bad parts, up to `MOST`: a product of (1 + odds x), part by part."""
    weights = np.zeros(MOST + 1)
    weights[0] = 1.0
    for i, one in enumerate(odds):
        if i != left_out:
            weights[1:] = weights[1:] + one * weights[:-1]
    return weights


def few_bad(net: Network) -> tuple[Network, Network]:
    """Give the network to draw from, and the one with the chances that parts are bad where 1 to 4 of them are."""
    bad = np.array([1.0 - known.prior[0] for known in net.parts.values()])
    odds, low, high = bad / (1.0 - bad), 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if (middle * odds / (1.0 + middle * odds)).sum() < MEAN_BAD else (low, middle)
    odds = low * odds
    total = counts_without(odds, None)[FEWEST:].sum()
    marginal = [odds[i] * counts_without(odds, i)[max(FEWEST - 1, 0) : MOST].sum() / total for i in range(len(odds))]
    drawn_from, told = dict(net.parts), dict(net.parts)
    for i, (name, known) in enumerate(net.parts.items()):
        drawn_from[name] = with_bad(known, float(odds[i] / (1.0 + odds[i])))
        told[name] = with_bad(known, float(marginal[i]))
    return replace(net, parts=drawn_from), replace(net, parts=told)


def drawn(net: Network, random: np.random.Generator, *, any_number: bool) -> list[Fault]:
    """Draw what is wrong with one machine."""
    while True:
        faults = []
        for name, known in net.parts.items():
            kind, severity = known.states[random.choice(len(known.states), p=np.array(known.prior))]
            if kind != "sound":
                faults.append(Fault(name, kind, severity))
        if any_number or FEWEST <= len(faults) <= MOST:
            return faults


def examined(net: Network, faults: list[Fault], random: np.random.Generator) -> list[Observation]:
    """Ask the tool's own checks, case shut, and answer as people do."""
    values = outcome(applied(net.machine, faults)).values
    told: list[Observation] = []
    for _ in range(ANSWERS):
        check = next_check(net, of_observations(net, told), [o.id for o in told])
        if check is None or check.opens_case:
            break
        sign = net.signs[check.id]
        told.append(Observation(check.id, bool(random.uniform() < sign.chance(values[sign.node]))))
    return told


@dataclass
class Cases:
    """What was said of every part, and what was so."""

    said: list[float] = field(default_factory=list)
    so: list[bool] = field(default_factory=list)
    machine: list[int] = field(default_factory=list)
    leading: list[tuple[float, bool]] = field(default_factory=list)
    faults: list[int] = field(default_factory=list)

    def add(self, net: Network, faults: list[Fault], told: list[Observation]) -> None:
        bad = {fault.part for fault in faults}
        found = posterior(net, of_observations(net, told))
        shared = shares(net, found)
        first = int(np.argmax(shared.share[0]))
        self.leading.append((float(shared.share[0, first]), shared.parts[first] in bad))
        for part, states in found.states.items():
            self.said.append(1.0 - float(states[0, 0]))
            self.so.append(part in bad)
            self.machine.append(len(self.faults))
        self.faults.append(len(bad))


def shown(cases: Cases) -> None:
    print("said    came true (95 % interval)   parts")
    for one in reliability_table(cases.said, cases.so):
        print(f"{one.predicted:5.2f}   {one.came_true:5.2f} ({one.low:.2f} to {one.high:.2f})   {one.count:6d}")
    error = calibration_error_with_interval(cases.said, cases.so, cases.machine)
    brier = brier_with_doubt(cases.said, cases.so, cases.machine)
    first = count_with_interval(cases.leading)
    print(
        f"calibration error {error.error:.3f} ({error.low:.3f} to {error.high:.3f}); perfect chances would give "
        f"{error.by_chance:.3f} by chance"
    )
    print(f"Brier score {brier.value:.4f} +- {brier.doubt:.4f}")
    print(f"the leading suspect was a bad part in {first.came_true:.1%} ({first.low:.1%} to {first.high:.1%})")


def main() -> None:
    parser = argparse.ArgumentParser(description="Whether the chances come true.")
    parser.add_argument("--machines", type=int, default=500)
    parser.add_argument("--layout", action="append", default=[], metavar="ID")
    parser.add_argument("--most-seconds", type=float, default=600.0)
    parser.add_argument("--as-drawn", action="store_true")
    options = parser.parse_args()
    names = options.layout or [name for name in shipped_ids() if not name.endswith("_starter")]
    random, begun = np.random.default_rng(SEED), time.monotonic()
    nets = {name: network(shipped(name)) for name in names}
    pairs = {name: (net, net) if options.as_drawn else few_bad(net) for name, net in nets.items()}
    cases = Cases()
    for number in range(options.machines):
        if time.monotonic() - begun > options.most_seconds:
            break
        drawn_from, told = pairs[names[number % len(names)]]
        faults = drawn(drawn_from, random, any_number=options.as_drawn)
        cases.add(told, faults, examined(told, faults, random))
    by_number = ", ".join(f"{cases.faults.count(n)} with {n}" for n in sorted(set(cases.faults)))
    print(f"{len(cases.faults)} machines of {len(names)} layouts ({by_number} bad parts); {ANSWERS} answers, case shut")
    shown(cases)


if __name__ == "__main__":
    main()
