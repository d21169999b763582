"""Shipped orders: followed where they fit, harmless where they do not, and the sums are those of any other order."""

from pathlib import Path

import numpy as np
import pytest

from tapewright.diagnose import contraction, kept_orders, known_orders
from tapewright.diagnose.contraction import contract, plan_of
from tapewright.diagnose.kept_orders import kept_cheapest, kept_order
from tapewright.diagnose.known_orders import DEARER, KnownOrder, known_order
from tapewright.diagnose.network import Network, network, sizes_of, with_groups
from tapewright.diagnose.ordering import Order, best_order, cheapest_order, given_order
from tapewright.diagnose.relations import Relation, relation_of
from tapewright.machine.library import shipped, shipped_ids
from tests.diagnose.test_kept_orders import RELATIONS, SIZES, same


def relations_of(net: Network) -> tuple[list[Relation], dict[str, int]]:
    factors = with_groups(net.factors, net.alike)
    return [relation_of(one.variables, one.table)[0] for one in factors], sizes_of(net.words, net.alike)


@pytest.mark.parametrize("machine_id", known_orders.known_orders())
def test_a_shipped_order_is_followed_on_its_machine(machine_id: str) -> None:
    """Where this fails the catalogue has grown: `python benchmarks/find_orders.py 2500 MACHINE` finds one anew."""
    assert machine_id in shipped_ids()
    known = known_orders.known_orders()[machine_id]
    relations, sizes = relations_of(network(shipped(machine_id)))
    order = known_order(relations, sizes)
    assert order is not None
    assert order.pairs <= DEARER * known.pairs
    assert same(kept_order(relations, sizes, {"TAPEWRIGHT_CACHE": "off"}), order)


@pytest.fixture
def shuffled(monkeypatch: pytest.MonkeyPatch) -> KnownOrder:
    """An order that nobody would take, shipped for the small network of meshed variables."""
    names = sorted(SIZES, key=lambda name: (name[-1], name))
    order = given_order(RELATIONS, SIZES, names)
    assert order is not None
    known = KnownOrder(order.pairs, tuple(names))
    monkeypatch.setattr(known_orders, "known_orders", lambda: {"some_machine": known})
    return known


def test_it_comes_before_any_search(shuffled: KnownOrder, tmp_path: Path) -> None:
    found = kept_order(RELATIONS, SIZES, {"TAPEWRIGHT_CACHE": str(tmp_path)})
    assert found.pairs == shuffled.pairs
    assert not [*tmp_path.rglob("*.json")], "what is shipped need not be kept"


def test_one_that_has_become_dear_is_passed_over(shuffled: KnownOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    cheap = KnownOrder(int(shuffled.pairs / DEARER) - 1, shuffled.variables)
    monkeypatch.setattr(known_orders, "known_orders", lambda: {"some_machine": cheap})
    assert known_order(RELATIONS, SIZES) is None
    assert same(kept_order(RELATIONS, SIZES, {"TAPEWRIGHT_CACHE": "off"}), best_order(RELATIONS, SIZES))


def test_the_sums_are_the_same_in_every_order(shuffled: KnownOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    chance = np.random.default_rng(0)
    inputs = [(relation, chance.uniform(0.1, 1.0, relation.count)) for relation in RELATIONS]
    said = {name: chance.uniform(0.1, 1.0, size) for name, size in SIZES.items()}
    shipped_one = plan_of(inputs, SIZES)
    monkeypatch.setattr(contraction, "kept_order", lambda relations, sizes: best_order(relations, sizes))
    searched = plan_of(inputs, SIZES)
    assert shipped_one.order != searched.order
    one, other = (contract(plan, said, list(SIZES)) for plan in (shipped_one, searched))
    np.testing.assert_allclose(one.log_total, other.log_total, rtol=1e-12)
    for name in SIZES:
        np.testing.assert_allclose(one.marginals[name], other.marginals[name], rtol=1e-9)


def test_what_was_searched_for_beside_dear_orders_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    searches = []
    whole = cheapest_order

    def counted(relations: list[Relation], sizes: dict[str, int], orders: list[list[str]]) -> Order:
        searches.append(len(relations))
        return whole(relations, sizes, orders)

    monkeypatch.setattr(kept_orders, "cheapest_order", counted)
    home = {"TAPEWRIGHT_CACHE": str(tmp_path)}
    given = [sorted(SIZES)]
    assert same(kept_cheapest(RELATIONS, SIZES, given, home), whole(RELATIONS, SIZES, given))
    assert not searches, "an order that is cheap needs no search"
    monkeypatch.setattr(kept_orders, "DEAR", 10)
    first = kept_cheapest(RELATIONS, SIZES, given, home)
    assert len(searches) == 1
    assert same(kept_cheapest(RELATIONS, SIZES, given, home), first)
    assert len(searches) == 1
    assert same(kept_cheapest(RELATIONS, SIZES, given, {"TAPEWRIGHT_CACHE": "off"}), first)
    assert len(searches) == 2
