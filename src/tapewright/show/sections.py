"""Headings with texts, pictures and tables under them: one set of sections for a page, for paper and for the bench."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing, and what it shows for those who cannot see it."""

    svg: str
    says: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table: headings, rows of as many cells, and a caption."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    title: str
    texts: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
