"""Imports go down only, rooms on one floor never meet, and no modules import each other in a ring."""

from pathlib import Path

import pytest

from tests.house.floors import broken_floors, imports_of, modules_of, rings

FLOORS = {
    "words": 0,
    "standards": 1,
    "machine": 2,
    "measure": 2,
    "faults": 3,
    "simulate": 4,
    "diagnose": 4,
    "jobs": 5,
    "show": 5,
    "cli": 6,
    "web": 6,
    "__main__": 7,
}


# `tapewright bench` opens the page: the one place where one door knows of the other.
OPENS_THE_OTHER_DOOR = ("tapewright.cli.shop", "tapewright.web.serve")


@pytest.fixture(scope="module")
def house(repository: Path) -> dict[str, str]:
    return modules_of(repository / "src" / "tapewright")


def test_imports_go_down_only(house: dict[str, str]) -> None:
    imports = imports_of(house)
    doors = [each for each in imports if (each.source, each.target) == OPENS_THE_OTHER_DOOR]
    assert len(doors) <= 1
    assert broken_floors([each for each in imports if each not in doors], FLOORS) == []


def test_no_ring(house: dict[str, str]) -> None:
    assert rings(imports_of(house)) == []


def test_every_room_is_on_a_floor(house: dict[str, str]) -> None:
    rooms = {name.split(".")[1] for name in house if "." in name}
    assert rooms <= set(FLOORS)
    assert "words" in rooms, "the checker looks in the wrong place"


# The checker itself, on made-up houses: each of these must be seen, or the tests above could not fail.

CELLAR, ATTIC = "h.cellar", "h.attic"
SMALL = {"cellar": 0, "left": 1, "right": 1, "attic": 2}


def said(**texts: str) -> list[str]:
    """Name modules with a double underscore for the dot: `left__a` is `h.left.a`."""
    sources = {f"h.{name.replace('__', '.')}": text for name, text in texts.items()}
    rooms = {f"h.{room}": "" for room in SMALL}
    return broken_floors(imports_of({"h": "", **rooms, **sources}), SMALL)


@pytest.mark.parametrize(
    "text",
    [
        "import h.attic",
        "import os, h.attic as a",
        "from h import attic",
        "from h.attic import thing",
        "from .. import attic",
        "from ..attic import thing",
        "from ..attic.deep import thing",
        "def f():\n    from h.attic import thing",
        "class C:\n    def f(self):\n        import h.attic",
        "if TYPE_CHECKING:\n    from h.attic import Thing",
        "try:\n    import h.attic\nexcept ImportError:\n    pass",
        "importlib.import_module('h.attic')",
        "__import__('h.attic')",
        "def f():\n    import_module('h.attic.deep')",
    ],
)
def test_an_import_that_goes_up_is_seen(text: str) -> None:
    (only,) = said(left__a=text)
    assert "imports up, from attic" in only


@pytest.mark.parametrize("text", ["from h.right import thing", "from ..right import b", "import h.right.b"])
def test_rooms_on_one_floor_that_meet_are_seen(text: str) -> None:
    (only,) = said(left__a=text, right__b="")
    assert "imports sideways, from right" in only


def test_the_line_is_said() -> None:
    assert said(left__a="x = 1\n\nimport h.attic") == ["h.left.a, line 3: left imports up, from attic"]


def test_a_name_worked_out_at_run_time_is_seen() -> None:
    (only,) = said(left__a="importlib.import_module(f'h.{name}')")
    assert "worked out at run time" in only


def test_a_front_door_that_imports_a_room_is_seen() -> None:
    sources = {"h": "from h.cellar import thing", "h.cellar": "thing = 1"}
    assert "front door" in broken_floors(imports_of(sources), SMALL)[0]


def test_a_room_that_nobody_planned_is_seen() -> None:
    assert "shed is no room" in said(left__a="import h.shed", shed="")[0]


@pytest.mark.parametrize(
    "text",
    [
        "import os\nfrom collections import abc",
        "from h.cellar import thing",
        "from ..cellar import thing",
        "from . import b",
        "from h.left.b import thing",
        "from h import version",
        "from __future__ import annotations",
        "run('h.attic')",
        "'import h.attic'",
    ],
)
def test_what_is_allowed_is_left_alone(text: str) -> None:
    assert said(left__a=text, left__b="") == []


def test_relative_imports_of_a_packages_own_file_start_one_level_higher() -> None:
    imports = imports_of({"h": "", "h.left": "from . import a\nfrom ..cellar import b", "h.left.a": "", "h.cellar": ""})
    assert [each.target for each in imports] == ["h.left.a", "h.cellar"]


@pytest.mark.parametrize(
    ("sources", "expected"),
    [
        ({"h.l": "", "h.l.a": "import h.l.b", "h.l.b": "import h.l.a"}, [["h.l.a", "h.l.b"]]),
        (
            {"h.l.a": "import h.l.b", "h.l.b": "import h.l.c", "h.l.c": "def f():\n    from h.l import a"},
            [["h.l.a", "h.l.b", "h.l.c"]],
        ),
        ({"h.l": "from h.l.a import x", "h.l.a": "from h.l import y"}, [["h.l", "h.l.a"]]),
        ({"h.l.a": "import h.l.a"}, [["h.l.a"]]),
        ({"h.l": "from h.l.a import x", "h.l.a": "from h.l import b", "h.l.b": ""}, []),
        ({"h.l.a": "import h.l.b\nimport h.l.c", "h.l.b": "import h.l.c", "h.l.c": ""}, []),
    ],
    ids=["two", "three, one inside a function", "through the room's own front door", "itself", "no ring", "a diamond"],
)
def test_rings_are_found(sources: dict[str, str], expected: list[list[str]]) -> None:
    assert rings(imports_of(sources)) == expected
