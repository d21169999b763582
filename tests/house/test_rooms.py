"""Each room says what is in it, and no file has grown into two."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "tapewright"
ROOMS = sorted(path.parent for path in PACKAGE.glob("*/__init__.py"))
MOST_LINES = 600  # past this there is a second idea inside


def captions(text: str) -> set[str]:
    """Give the names that a front door's docstring captions: a name, two blanks or more, what it holds."""
    lines = (ast.get_docstring(ast.parse(text)) or "").splitlines()
    found = (re.match(r"((?:\w+, )*\w+/?)(?:  +)\S", line) for line in lines)
    return {name.rstrip("/") for match in found if match for name in match.group(1).split(", ")}


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_captions_every_file_in_it_and_no_other(room: Path) -> None:
    held = {path.stem for path in room.glob("*.py")} - {"__init__", "__main__"}
    folders = {path.name for path in room.iterdir() if path.is_dir()} - {"__pycache__"}
    said = captions((room / "__init__.py").read_text(encoding="utf-8"))
    assert held - said == set(), "files without a caption"
    assert said - held - folders == set(), "captions without a file"


def test_captions_are_read() -> None:
    assert captions('"""Room.\n\nbelts       how long\nlibrary/    what ships\na, b        two\n\nNot  one."""') == {
        "belts", "library", "a", "b", "Not",
    }  # fmt: skip


def test_there_are_rooms() -> None:
    assert {"words", "machine", "measure"} <= {room.name for room in ROOMS}


def test_no_file_is_too_long() -> None:
    ours = [path for folder in ("src", "tests", "benchmarks") for path in (ROOT / folder).rglob("*.py")]
    lengths = {path.relative_to(ROOT): len(path.read_text(encoding="utf-8").splitlines()) for path in ours}
    assert len(lengths) > 20, "the test looks in the wrong place"
    assert {str(path): lines for path, lines in lengths.items() if lines > MOST_LINES} == {}
