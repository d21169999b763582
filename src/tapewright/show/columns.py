"""Paragraphs and tables of plain text, no wider than the page."""

import textwrap
from collections.abc import Sequence
from typing import Final

WIDTH: Final = 100
"""Characters across a page of text."""
LEAST: Final = 8
"""A column of a table is not squeezed below this."""
GAP: Final = "  "


def paragraph(text: str, indent: str = "", first: str | None = None, width: int = WIDTH) -> str:
    """Wrap a paragraph; a word that is too long for a line is cut.

    Arguments:
        text: line breaks in it are not kept.
        indent: before every line.
        first: before the first line; None for the same.
        width: characters across.
    """
    start = indent if first is None else first
    return textwrap.fill(clean(text), width, initial_indent=start, subsequent_indent=indent) or start


def clean(text: str) -> str:
    r"""Take line breaks and what a terminal would obey out of a text.

    >>> clean("a\x1b[31m\n b")
    'a [31m b'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def heading(text: str) -> str:
    """Underline a heading; one that is wider than the page takes more lines."""
    lines = paragraph(text)
    return f"{lines}\n{'-' * max(map(len, lines.splitlines()))}"


def kept_within(text: str, width: int = WIDTH) -> str:
    """Wrap those lines of a finished text that are wider than the page, what follows set in under the words.

    >>> print(kept_within("[ ] 2 x drive belt: 71.5 mm inside", 20))
    [ ] 2 x drive belt:
          71.5 mm inside
    """
    return "\n".join(_set_in(line, width) if len(line) > width else line for line in text.split("\n"))


def _set_in(line: str, width: int) -> str:
    indent = " " * (len(line) - len(line.lstrip()))
    return paragraph(line, indent or " " * 6, indent, width)


def bullets(texts: Sequence[str], indent: str = "") -> str:
    """List texts, one paragraph each."""
    return "\n".join(paragraph(text, indent + "  ", indent + "- ") for text in texts)


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = (), width: int = WIDTH) -> str:
    """Set a table; columns that are too wide are wrapped, the widest first.

    Arguments:
        headings: one for each column.
        rows: cells; each row as long as `headings`.
        right: numbers of the columns that are set flush right.
        width: characters across.

    >>> print(table(["part", "share"], [["belt", "62 %"]], right=[1]))
    part  share
    ----  -----
    belt   62 %
    """
    cleaned = [[clean(cell) for cell in row] for row in (headings, *rows)]
    widths = _widths(cleaned, width)
    lines = _row(cleaned[0], widths, right)
    lines.append(GAP.join("-" * one for one in widths))
    for row in cleaned[1:]:
        lines += _row(row, widths, right)
    return "\n".join(lines)


def _widths(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    widths = [max(len(row[i]) for row in rows) or 1 for i in range(len(rows[0]))]
    room = width - len(GAP) * (len(widths) - 1)
    while sum(widths) > room and max(widths) > LEAST:
        widest = widths.index(max(widths))
        widths[widest] -= 1
    return widths


def _row(cells: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> list[str]:
    wrapped = [textwrap.wrap(cell, size) or [""] for cell, size in zip(cells, widths, strict=True)]
    lines = []
    for k in range(max(len(cell) for cell in wrapped)):
        parts = [cell[k] if k < len(cell) else "" for cell in wrapped]
        set_out = [
            part.rjust(size) if i in right else part.ljust(size)
            for i, (part, size) in enumerate(zip(parts, widths, strict=True))
        ]
        lines.append(GAP.join(set_out).rstrip())
    return lines
