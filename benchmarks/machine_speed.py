"""How long all rates, forces and sizes of the largest shipped machine take, against one FFT of 2^20 in the same run.

Run: python benchmarks/machine_speed.py [id of a shipped machine]
"""

import sys
import time
from collections.abc import Callable

import tapewright  # noqa: F401  first, since it sets the number of BLAS threads before numpy is loaded

# isort: split
import numpy as np

from tapewright.machine.all_forces import all_forces
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.machine.sizes import sizes

TARGET_MS = 50.0
REPEATS = 15


def largest() -> str:
    """Name the shipped machine with most rotors and couplings."""
    return max(shipped_ids(), key=lambda one: len(shipped(one).rotors) + len(shipped(one).couplings))


def best_s(work: Callable[[], object]) -> float:
    """Time the quickest of some repeats, after one to warm up."""
    work()
    took = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def all_rates(machine: Machine) -> None:
    for mode in machine.modes:
        rates(machine, mode)


def main() -> None:
    name = sys.argv[1] if len(sys.argv) > 1 else largest()
    machine = shipped(name)
    noise = np.random.default_rng(1).standard_normal(1 << 20)
    fft = best_s(lambda: np.fft.fft(noise))
    parts = {
        "rates": best_s(lambda: all_rates(machine)),
        "forces": best_s(lambda: all_forces(machine)),
        "sizes": best_s(lambda: sizes(machine)),
    }
    total = sum(parts.values())
    print(f"{name}: {len(machine.rotors)} rotors, {len(machine.couplings)} couplings, {len(machine.modes)} modes")
    print(f"one FFT of 2^20  {1e3 * fft:8.2f} ms")
    for what, seconds in {**parts, "all": total}.items():
        print(f"{what:15}  {1e3 * seconds:8.2f} ms   {seconds / fft:6.3f} of the FFT")
    print(f"target           {TARGET_MS:8.2f} ms   {'met' if 1e3 * total < TARGET_MS else 'missed'}")


if __name__ == "__main__":
    main()
