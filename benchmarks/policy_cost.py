"""What jobs cost by the policy: against the exact optimum on small jobs, and on whole simulated machines.

Small jobs: on a shipped machine all but three to six parts are known to be sound, and three to five signs may be asked;
the cheapest course of all is worked out exactly, and so is what the policy costs on average.

Whole machines: drawn from the base rates with 1 to 4 bad parts and a complaint an owner would notice; answers as noisy
as the tool assumes people are; the job ends when the complaint is gone. Beside the policy: renewing in the order of the
base rates (all works, and only those that the complaint can hang on), and mending by chance over cost, nothing asked.
Machines, faults and answers are simulated: this measures decisions, not the base rates.

Run: python benchmarks/policy_cost.py [SMALL_JOBS] [MACHINES] [MACHINE ...]
"""

import sys

import numpy as np

from tapewright.diagnose.cases import Workings, workings
from tapewright.diagnose.course import cheapest_minutes, drawn_jobs, policy_minutes
from tapewright.diagnose.network import network
from tapewright.diagnose.trial import ByBaseRate, ByPolicy, Decider, Job, arriving, work_through
from tapewright.machine.library import shipped, shipped_ids

SMALL_JOBS = 40
MACHINES = 500
SHIPPED = ("one_motor_portable", "four_track")


def small(count: int) -> None:
    if not count:
        return
    networks = [network(shipped(name)) for name in shipped_ids() if not name.endswith("_starter")]
    pairs = [(policy_minutes(job), cheapest_minutes(job)) for job in drawn_jobs(networks, count)]
    ours, best = np.array(pairs).T
    ratio = ours / best
    print(f"{count} small jobs: policy {ours.mean():.1f} min, cheapest course of all {best.mean():.1f} min")
    print(f"  policy / cheapest: {ours.sum() / best.sum():.4f} in all, {ratio.mean():.4f} in the mean of the jobs, ")
    print(f"  {ratio.max():.4f} at worst; {np.mean(ratio < 1.0005):.0%} of the jobs at the cheapest itself", flush=True)


def row(name: str, jobs: list[Job]) -> np.ndarray:
    minutes = np.array([job.minutes for job in jobs])
    asked = np.mean([sum(does == "ask" for does, _, _ in job.steps) for job in jobs])
    mended = np.mean([sum(does == "mend" for does, _, _ in job.steps) for job in jobs])
    shut = np.mean([job.cured and not job.opened for job in jobs])
    cured = np.mean([job.cured for job in jobs])
    figures = f"{minutes.mean():7.1f} {np.median(minutes):7.1f} {asked:6.1f} {mended:6.1f} {shut:6.0%} {cured:7.1%}"
    print(f"  {name:32s} {figures}", flush=True)
    return minutes


def whole(inner: Workings, count: int) -> None:
    machines = arriving(inner, count)
    print(f"{inner.network.machine.id}, {count} machines with 1 to 4 bad parts")
    print(f"  {'':32s} {'mean':>7s} {'median':>7s} {'asked':>6s} {'mended':>6s} {'shut':>6s} {'cured':>7s}")
    who: dict[str, Decider] = {
        "policy": ByPolicy(inner),
        "chance over cost, nothing asked": ByPolicy(inner, asks=False),
        "base rate, what it can hang on": ByBaseRate(inner, only_behind=True),
        "base rate, all": ByBaseRate(inner),
    }
    minutes = {
        name: row(name, [work_through(inner, one, decider, seed) for seed, one in enumerate(machines)])
        for name, decider in who.items()
    }
    for name in list(who)[1:]:
        print(f"  policy / {name}: {minutes['policy'].mean() / minutes[name].mean():.3f}", flush=True)


def main() -> None:
    small(int(sys.argv[1]) if len(sys.argv) > 1 else SMALL_JOBS)
    count = int(sys.argv[2]) if len(sys.argv) > 2 else MACHINES
    names = sys.argv[3:] or SHIPPED
    for name in names:
        if count:
            whole(workings(network(shipped(name))), count // len(names))


if __name__ == "__main__":
    main()
