"""Whether the chances come true: simulated machines with any number of faults, noisy answers, beliefs and truth.

Each machine's parts are drawn from the base rates; people miss signs and report false ones as often as the tool
assumes. The tool asks its own checks, case shut. What it then believes of every part is held against the truth. This
proves that the sums are right and that asking the tool's own questions does not bend them; whether base rates and
people are as assumed, only closed jobs can tell.

Run: python benchmarks/calibration.py [MACHINE [MACHINES]]
"""

import tapewright  # noqa: F401, I001  # before numpy: it asks the linear algebra library for one thread
import sys

import numpy as np

from tapewright.diagnose.beliefs import posterior, shares
from tapewright.diagnose.calibration import brier_score, calibration_error, reliability_table
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.next_check import next_check
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation

ANSWERS = 6
SEED = 11


def drawn(net: Network, random: np.random.Generator) -> list[Fault]:
    """Draw what is wrong with one machine."""
    faults = []
    for name, known in net.parts.items():
        kind, severity = known.states[random.choice(len(known.states), p=np.array(known.prior))]
        if kind != "sound":
            faults.append(Fault(name, kind, severity))
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


def main() -> None:
    name = sys.argv[1] if len(sys.argv) > 1 else "one_motor_portable"
    machines = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    net, random = network(shipped(name)), np.random.default_rng(SEED)
    predicted: list[float] = []
    came_true: list[bool] = []
    counts, led = [], 0
    for _ in range(machines):
        faults = drawn(net, random)
        bad = {fault.part for fault in faults}
        found = posterior(net, of_observations(net, examined(net, faults, random)))
        shared = shares(net, found)
        led += shared.parts[int(np.argmax(shared.share[0]))] in bad
        counts.append(len(bad))
        for part, states in found.states.items():
            predicted.append(1.0 - float(states[0, 0]))
            came_true.append(part in bad)
    table = reliability_table(predicted, came_true)
    print(f"{name}: {machines} machines, {np.mean(counts):.1f} bad parts each, {ANSWERS} answers at most, case shut")
    print("said    came true (95 % interval)   parts")
    for one in table:
        print(f"{one.predicted:5.2f}   {one.came_true:5.2f} ({one.low:.2f} to {one.high:.2f})   {one.count:6d}")
    print(f"calibration error {calibration_error(table):.3f}, Brier score {brier_score(predicted, came_true):.3f}")
    print(f"the leading suspect was a bad part in {led / machines:.0%} of the machines")


if __name__ == "__main__":
    main()
