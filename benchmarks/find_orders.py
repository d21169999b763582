"""Find better orders of summing for the largest machines than a search of seconds does, and write them down.

Starts from the order that is followed now, moves one variable after another to another place, and keeps what costs no
more. A machine whose sums are small needs no such order.

Run: python benchmarks/find_orders.py MOVES machine ...
"""

import json
import random
import sys
from collections.abc import Sequence
from pathlib import Path

import tapewright
from tapewright.diagnose.known_orders import FILE
from tapewright.diagnose.network import derive, sizes_of, with_groups
from tapewright.diagnose.ordering import given_order
from tapewright.diagnose.relations import relation_of
from tapewright.machine.library import shipped

FAR = 36.0
"""Standard deviation of how far a variable is moved."""


def improved(name: str, moves: int) -> tuple[int, list[str]]:
    net = derive(shipped(name))
    relations = [relation_of(f.variables, f.table)[0] for f in with_groups(net.factors, net.alike)]
    sizes = sizes_of(net.words, net.alike)
    chance, best = random.Random(0), list(net.plan.order)
    start = given_order(relations, sizes, best)
    assert start is not None  # no bound was set
    pairs = start.pairs
    print(f"{name}: {pairs}", flush=True)
    for move in range(moves):
        here = chance.randrange(len(best))
        there = min(max(0, here + round(chance.gauss(0.0, FAR))), len(best) - 1)
        moved = [*best[:here], *best[here + 1 :]]
        moved.insert(there, best[here])
        found = None if here == there else given_order(relations, sizes, moved, pairs)
        if found is not None and found.pairs <= pairs:
            if found.pairs < pairs:
                print(f"{name}: {found.pairs} after {move + 1}", flush=True)
            pairs, best = found.pairs, moved
    return pairs, best


def main(moves: int, names: Sequence[str]) -> None:
    path = Path(tapewright.__file__).parent / "diagnose" / FILE
    for name in names:
        pairs, variables = improved(name, moves)
        told = json.loads(path.read_text("utf-8")) if path.exists() else {}
        told[name] = {"pairs": pairs, "variables": variables}
        path.write_text(json.dumps(told, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:])
