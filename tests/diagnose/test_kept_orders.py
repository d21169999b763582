"""Orders kept on disk: followed where they are what was kept, searched for in every other case, never in the way."""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tapewright.diagnose import kept_orders, ordering
from tapewright.diagnose.kept_orders import WORTH_KEEPING, cache_home, kept_order
from tapewright.diagnose.ordering import MOST_PAIRS, MOST_TRIED, Order, best_order
from tapewright.diagnose.relations import Relation, relation_of


def meshed(rows: int, values: int = 2) -> tuple[list[Relation], dict[str, int]]:
    """A square mesh of variables, each a chance table with its neighbours: no order shrinks it all the way."""
    random = np.random.default_rng(3)
    names = [[f"v{i}_{k}" for k in range(rows)] for i in range(rows)]
    relations = []
    for i in range(rows):
        for k in range(rows):
            for other in ((i + 1, k), (i, k + 1)):
                if max(other) < rows:
                    table = random.uniform(size=(values, values)) * (random.uniform(size=(values, values)) > 0.1)
                    relations.append(relation_of((names[i][k], names[other[0]][other[1]]), table)[0])
    return relations, {name: values for row in names for name in row}


RELATIONS, SIZES = meshed(6)
assert len(RELATIONS) >= WORTH_KEEPING


def same(one: Order, other: Order) -> bool:
    return (
        one.variables == other.variables
        and one.pairs == other.pairs
        and [(step.left, step.right) for step in one.steps] == [(step.left, step.right) for step in other.steps]
        and all(
            np.array_equal(a.join.left, b.join.left) and np.array_equal(a.join.into, b.join.into)
            for a, b in zip(one.steps, other.steps, strict=True)
        )
    )


def in_folder(folder: Path) -> Order:
    return kept_order(RELATIONS, SIZES, {"TAPEWRIGHT_CACHE": str(folder)})


@pytest.fixture
def plain() -> Order:
    return best_order(RELATIONS, SIZES)


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """One entry for each search."""
    done: list[int] = []

    def counted(relations: list[Relation], sizes: dict[str, int]) -> Order:
        done.append(len(relations))
        return best_order(relations, sizes)

    monkeypatch.setattr(kept_orders, "best_order", counted)
    return done


def test_what_is_followed_is_what_was_found(tmp_path: Path, plain: Order, searches: list[int]) -> None:
    assert same(in_folder(tmp_path), plain)
    assert len(searches) == 1
    assert same(in_folder(tmp_path), plain)
    assert len(searches) == 1, "the second time it was there"


@pytest.mark.parametrize("values", [7, 5])
def test_another_network_has_another_file(tmp_path: Path, searches: list[int], values: int) -> None:
    """One combination less, or another size: an order is never followed for a network it was not found for."""
    in_folder(tmp_path)
    first = RELATIONS[0]
    fewer = [Relation(first.variables, first.values[:, :-1]), *RELATIONS[1:]]
    home = {"TAPEWRIGHT_CACHE": str(tmp_path)}
    kept_order(fewer, SIZES, home)
    kept_order(RELATIONS, {**SIZES, "v0_0": values}, home)
    assert len(searches) == 3
    assert len(list((tmp_path / "orders").iterdir())) == 3


@pytest.mark.parametrize("version", ["0.0.0", "99"])
def test_another_version_searches_for_itself(
    tmp_path: Path, searches: list[int], monkeypatch: pytest.MonkeyPatch, version: str
) -> None:
    in_folder(tmp_path)
    monkeypatch.setattr(kept_orders, "__version__", version)
    in_folder(tmp_path)
    assert len(searches) == 2


@pytest.mark.parametrize(
    "spoil",
    [
        lambda kept: b"",
        lambda kept: kept[: len(kept) // 2],
        lambda kept: b"\xff\xfe\x00" + kept,
        lambda kept: b"[" * 100_000,
        lambda kept: b"[]",
        lambda kept: b'{"pairs": "many", "variables": []}',
        lambda kept: b'{"pairs": 5, "variables": [1, 2, null]}',
        lambda kept: json.dumps({**json.loads(kept), "pairs": 3}).encode(),
        lambda kept: json.dumps({**json.loads(kept), "pairs": json.loads(kept)["pairs"] + 1}).encode(),
        lambda kept: json.dumps({**json.loads(kept), "variables": json.loads(kept)["variables"][1:]}).encode(),
        lambda kept: json.dumps({**json.loads(kept), "variables": sorted(json.loads(kept)["variables"])}).encode(),
    ],
)
def test_a_spoilt_file_is_ignored_and_put_right(
    tmp_path: Path, plain: Order, searches: list[int], spoil: Callable[[bytes], bytes]
) -> None:
    in_folder(tmp_path)
    (path,) = (tmp_path / "orders").iterdir()
    good = path.read_bytes()
    path.write_bytes(spoil(good))
    assert same(in_folder(tmp_path), plain)
    assert len(searches) == 2
    assert path.read_bytes() == good


def test_a_folder_that_cannot_be_written_does_no_harm(tmp_path: Path, plain: Order) -> None:
    """A file stands where the folder should be: nobody can make it, not even who may write everywhere."""
    (tmp_path / "taken").write_text("not a folder", encoding="utf-8")
    assert same(in_folder(tmp_path / "taken"), plain)
    (tmp_path / "orders").mkdir()
    in_folder(tmp_path)
    (path,) = (tmp_path / "orders").iterdir()
    path.unlink()
    path.mkdir()  # a folder where the file should be
    assert same(in_folder(tmp_path), plain)
    assert [one.name for one in (tmp_path / "orders").iterdir()] == [path.name], "nothing half written is left"


def test_the_oldest_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_orders, "MOST_KEPT", 2)
    for size in (2, 3, 4, 5):
        kept_order(RELATIONS, {**SIZES, "v0_0": size}, {"TAPEWRIGHT_CACHE": str(tmp_path)})
    assert len(list((tmp_path / "orders").iterdir())) == 2


def test_small_networks_and_those_who_want_none_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    kept_order(RELATIONS[: WORTH_KEEPING - 1], SIZES, {"TAPEWRIGHT_CACHE": str(tmp_path)})
    kept_order(RELATIONS, SIZES, {"TAPEWRIGHT_CACHE": "off"})
    assert not list(tmp_path.iterdir())


def test_a_search_that_has_tried_enough_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is tried is bounded by count: here by a budget that the first search alone exceeds."""
    tried = []
    whole = ordering._Search.tried

    def counted(self: ordering._Search, name: str, most: float) -> ordering._Tried:
        before = self.tried_so_far
        found = whole(self, name, most)
        tried.append(self.tried_so_far - before)
        return found

    monkeypatch.setattr(ordering._Search, "tried", counted)
    best_order(RELATIONS, SIZES)
    freely = sum(tried)
    tried.clear()
    monkeypatch.setattr(ordering, "MOST_TRIED", 1)
    order = best_order(RELATIONS, SIZES)
    assert sum(tried) < freely / 2
    assert set(order.variables) == SIZES.keys(), "and still gives a whole order"
    assert MOST_TRIED > MOST_PAIRS


def test_where_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where each system keeps caches: XDG Base Directory Specification 0.8 on Linux; the others from memory."""
    monkeypatch.setattr(sys, "platform", "linux")
    assert cache_home({"XDG_CACHE_HOME": str(tmp_path)}) == tmp_path / "tapewright"
    assert cache_home({"XDG_CACHE_HOME": "not/absolute"}) == Path.home() / ".cache" / "tapewright"
    assert cache_home({}) == Path.home() / ".cache" / "tapewright"
    monkeypatch.setattr(sys, "platform", "darwin")
    assert cache_home({}) == Path.home() / "Library" / "Caches" / "tapewright"
    monkeypatch.setattr(sys, "platform", "win32")
    assert cache_home({"LOCALAPPDATA": str(tmp_path)}) == tmp_path / "tapewright" / "cache"
