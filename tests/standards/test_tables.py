"""Printed tables say where they come from and hold what the code expects."""

from importlib.resources import files

import numpy as np
import pytest

from tapewright.standards.tables import table_column, table_rows

TABLES = ["flutter_weighting", "flutter_pulse_response", "a_weighting", "bs468_weighting", "bs468_bursts"]


@pytest.mark.parametrize("name", TABLES)
def test_each_table_says_how_it_is_known(name: str) -> None:
    text = files("tapewright.standards").joinpath("tables", f"{name}.csv").read_text(encoding="utf-8")
    heading = "".join(line for line in text.splitlines() if line.startswith("#")).lower()
    assert "document:" in heading
    assert "from memory" in heading


def test_weighting_table_is_whole() -> None:
    frequency = table_column("flutter_weighting", "frequency_hz")
    assert len(frequency) == 17
    assert np.all(np.diff(frequency) > 0.0)
    assert (frequency[0], frequency[-1]) == (0.1, 200.0)


def test_rows_have_every_column() -> None:
    assert all(None not in row.values() for name in TABLES for row in table_rows(name))
