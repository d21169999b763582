"""Read a printed table that lies beside the code."""

import csv
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray


def table_rows(name: str) -> tuple[dict[str, str], ...]:
    """Give the rows of one printed table, each as column name to text.

    Arguments:
        name: file name without ending in `standards/tables`.

    Lines that begin with `#` are the table's own account of itself: document, edition, how it is known.

    >>> table_rows("flutter_weighting")[9]["frequency_hz"]
    '4.0'
    """
    text = files("tapewright.standards").joinpath("tables", f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def table_column(name: str, column: str) -> NDArray[np.float64]:
    """Give one column of a printed table as numbers, shape (rows,), in the unit its name says.

    >>> float(table_column("flutter_weighting", "response_db")[9])
    0.0
    """
    return np.array([float(row[column]) for row in table_rows(name)], dtype=np.float64)
