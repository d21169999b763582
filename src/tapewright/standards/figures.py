"""A number out of a document, with how surely it is known."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Figure:
    """One published number.

    Arguments:
        value: in the unit that the owner's name says.
        source: document and clause, or the page that quotes it.
        basis: "document", "quoted" (a page that quotes the document), "from memory" (check before relying on it) or
            "derived" (arithmetic on other figures).
        low: lower limit, same unit; None where none is known.
        high: upper limit, same unit; None where none is known.
    """

    value: float
    source: str
    basis: str
    low: float | None = None
    high: float | None = None
