"""The shop's stock list (CSV): one line an item, every mistake said with its line."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from tapewright.machine.belt_sizes import RULE_DOUBT_M, inside_length
from tapewright.words.estimate import Estimate
from tapewright.words.problem import InputAtFaultError, Problem

Kind = Literal["flat belt", "square belt", "tyre", "roller"]
KINDS: Final[tuple[Kind, ...]] = ("flat belt", "square belt", "tyre", "roller")
COLUMNS: Final = (
    "item", "kind", "inside_length_mm", "inside_diameter_mm", "lay_flat_mm", "width_mm", "thickness_mm", "section_mm",
    "outer_diameter_mm", "material", "count", "price", "note",
)  # fmt: skip
_LENGTHS: Final = {
    "inside_length_mm": "inside length", "inside_diameter_mm": "inside diameter", "lay_flat_mm": "lay-flat length",
}  # fmt: skip
_RANGES: Final = {
    "inside_length_mm": (20.0, 3000.0), "inside_diameter_mm": (5.0, 1000.0), "lay_flat_mm": (10.0, 1500.0),
    "width_mm": (0.2, 20.0), "thickness_mm": (0.1, 20.0), "section_mm": (0.2, 10.0), "outer_diameter_mm": (2.0, 200.0),
    "count": (0.0, 1e6), "price": (0.0, 1e6),
}  # fmt: skip
BOUGHT: Final = 0.01
"""Bought belts keep their stated length to about 1 to 2 %; from memory. Measure on arrival."""


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the stock list.

    Arguments:
        item: what the shop calls it.
        kind: one of `KINDS`.
        line: line of the file it stands on.
        length: a belt's relaxed inside length, metres; None for what is no belt.
        section_m: width and thickness of a belt, metres; None where not stated.
        outer: outer diameter of a tyre or roller, metres; None where not stated.
        width: of a tyre or roller, metres; None where not stated.
        material: as stated.
        count: how many there are; None where not stated.
        price: for one; None where not stated.
        note: as stated.
    """

    item: str
    kind: Kind
    line: int
    length: Estimate | None = None
    section_m: tuple[float, float] | None = None
    outer: Estimate | None = None
    width: float | None = None
    material: str = ""
    count: int | None = None
    price: float | None = None
    note: str = ""


def read_stock(path: str) -> tuple[Item, ...]:
    """Read a stock list.

    Arguments:
        path: of a CSV file with a header line; columns in any order, see `COLUMNS`; comma or semicolon between them.

    Raises:
        InputAtFaultError: with every mistake, by line.
    """
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputAtFaultError(Problem(path, "This file is not UTF-8 text.", "Save it as CSV in UTF-8.")) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputAtFaultError(Problem(path, f"The file cannot be read: {reason}.", "Check its name.")) from error
    return read_stock_text(text, Path(path).name)


def read_stock_text(text: str, source: str) -> tuple[Item, ...]:
    r"""Read a stock list from its text.

    Raises:
        InputAtFaultError: with every mistake, by line.

    >>> read_stock_text("item,kind,lay_flat_mm,section_mm\nB1,square belt,53.5,1.2\n", "stock.csv")[0].length.value
    0.107
    """
    first = text.lstrip().partition("\n")[0]
    between = ";" if first.count(";") > first.count(",") else ","
    try:
        rows = csv.DictReader(io.StringIO(text), delimiter=between, strict=True)
        header = [name.strip() for name in rows.fieldnames or []]
        rows.fieldnames = header
        problems = _header_problems(header, source)
        if problems:
            raise InputAtFaultError(problems)
        found = []
        for row in rows:
            item = _item(row, rows.line_num, f"{source}, line {rows.line_num}", problems)
            found += [item] if item else []
    except csv.Error as error:
        do = "Look for a quotation mark that is not closed."
        raise InputAtFaultError(Problem(source, f"This is no table: {error}.", do)) from error
    if not problems and not found:
        problems.append(Problem(source, "There is no line below the header.", "List one item a line."))
    if problems:
        raise InputAtFaultError(problems)
    return tuple(found)


def _header_problems(header: Sequence[str], source: str) -> list[Problem]:
    where = f"{source}, line 1"
    found = [Problem(where, f'There is no column "{name}".', f"Columns: {', '.join(COLUMNS)}.") for name in COLUMNS[:2]
             if name not in header]  # fmt: skip
    for name in dict.fromkeys(header):
        if name not in COLUMNS:
            found.append(Problem(where, f'"{name}" is not a column.', f"Columns: {', '.join(COLUMNS)}."))
        elif header.count(name) > 1:
            found.append(Problem(where, f'"{name}" stands here twice.', "Keep one."))
    return found


def _item(row: dict[str, str | None], line: int, where: str, problems: list[Problem]) -> Item | None:
    if None in row:
        problems.append(Problem(where, "This line has more cells than the header.", "Quote texts that hold commas."))
        return None
    cells = {name: (text or "").strip() for name, text in row.items()}
    if not any(cells.values()):
        return None
    before = len(problems)
    numbers = {name: _number(cells, name, where, problems) for name in _RANGES}
    kind = cells["kind"]
    if not cells["item"]:
        problems.append(Problem(where, "This item has no name.", "Write what the shop calls it under item."))
    if kind not in KINDS:
        problems.append(Problem(where, f'"{kind}" is not a kind.', f"Valid here: {', '.join(KINDS)}."))
    lengths = [name for name in _LENGTHS if numbers[name] is not None]
    belt = kind in ("flat belt", "square belt")
    if belt and len(lengths) != 1 and not any(cells.get(name) and numbers[name] is None for name in _LENGTHS):
        said = "no length" if not lengths else f"{len(lengths)} lengths"
        problems.append(Problem(where, f"This belt has {said}.", f"Fill one of {', '.join(_LENGTHS)}."))
    if kind in ("tyre", "roller") and not cells.get("outer_diameter_mm"):
        problems.append(Problem(where, f"This {kind} has no outer_diameter_mm.", "Measure it over the rubber."))
    if len(problems) > before:
        return None
    length = None
    if belt:
        stated = numbers[lengths[0]]
        assert stated is not None
        length = inside_length(Estimate(stated * 1e-3), _LENGTHS[lengths[0]])
        length = Estimate(length.value, max(BOUGHT * length.value, RULE_DOUBT_M))
    outer, width, count = (numbers[name] for name in ("outer_diameter_mm", "width_mm", "count"))
    return Item(
        cells["item"], kind, line,  # type: ignore[arg-type]
        length, _section(numbers) if belt else None,
        None if outer is None else Estimate(outer * 1e-3), None if width is None else width * 1e-3,
        cells.get("material", ""), None if count is None else int(count), numbers["price"], cells.get("note", ""),
    )  # fmt: skip


def _section(numbers: dict[str, float | None]) -> tuple[float, float] | None:
    side, width, thickness = (numbers[name] for name in ("section_mm", "width_mm", "thickness_mm"))
    if width is not None and thickness is not None:
        return width * 1e-3, thickness * 1e-3
    return (side * 1e-3, side * 1e-3) if side is not None else None


def _number(cells: dict[str, str], name: str, where: str, problems: list[Problem]) -> float | None:
    text = cells.get(name, "")
    if not text:
        return None
    low, high = _RANGES[name]
    try:
        value = float(text)
    except ValueError:
        do = "Write the number alone, with a decimal point; the unit stands in the column's name."
        problems.append(Problem(where, f'{name}: "{text}" is not a number.', do))
        return None
    if not low <= value <= high:
        problems.append(Problem(where, f"{name}: {text} lies outside {low:g} to {high:g}.", "Check number and unit."))
        return None
    return value
