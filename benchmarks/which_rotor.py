"""How often lines are given to the right rotor, and whether its chances come true, on badly described random machines.

    python benchmarks/which_rotor.py [MACHINES] [FIRST]

MACHINES (200) are drawn by `tests/diagnose/random_machines.py`, from number FIRST (0): sizes 0.3 to 1.5 % wrong, packs
anywhere, lines ten times their background in power and more. The rates behind the lines are closed forms of their own.
"""

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from tapewright.diagnose.budget import UNEXPLAINED, budget
from tests.diagnose.random_machines import bench, near_a_rotor, separable

EDGES = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.01)


def main(machines: int, first: int) -> None:
    """Print the shares, then what was said against what was so."""
    found: dict[str, list[bool]] = {}
    said: list[float] = []
    so: list[bool] = []
    for seed in range(first, first + machines):
        one = bench(seed)
        items = budget(one.described, [made.line for made in one.made], one.speed_error_pct)
        for made, item in zip(one.made, items, strict=True):
            right = (item.part, item.order) == (made.part or UNEXPLAINED, made.order)
            said.append(item.probability)
            so.append(right)
            if not made.part:
                kind = "undescribed, within 3 % of an order" if near_a_rotor(made, one) else "undescribed, alone"
            elif separable(made, one):
                kind = "separable"
            else:
                kind = "close to another part's, right or named beside it"
                right = right or (made.part, made.order) in [(rival.part, rival.order) for rival in item.rivals]
            found.setdefault(kind, []).append(right)
    for kind, rights in sorted(found.items()):
        print(f"{kind}: {np.mean(rights):.1%} of {len(rights)}")
    chances, rights_ = np.array(said), np.array(so)
    for low, high in pairwise(EDGES):
        inside = (chances >= low) & (chances < high)
        if inside.any():
            print(
                f"said {low:.2f} to {min(high, 1.0):.2f} (mean {chances[inside].mean():.3f}): "
                f"so {rights_[inside].mean():.1%} of {int(inside.sum())}"
            )


if __name__ == "__main__":
    main(*(int(one) for one in [*sys.argv[1:], *("200", "0")[len(sys.argv) - 1 :]]))
