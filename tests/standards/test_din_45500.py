"""Limits for home equipment, as they are quoted; the text itself was not at hand.

Clause by clause: mean speed within 1.5 % either way; averaged over 30 s; weighted flutter within 0.2 %, as a peak
(DIN 45507, the method of IEC 60386). Response, noise, crosstalk, balance and erasure are held against the rows of the
project's own collection of published limits, which quotes the same page.
"""

import csv
import math
import re
from pathlib import Path

import pytest

from tapewright.standards import din_45500
from tapewright.standards.iec_60094 import SPEED_TOLERANCE


def test_mean_speed() -> None:
    figure = din_45500.SPEED_ERROR_LIMIT_PCT
    assert (figure.low, figure.high) == (-1.5, 1.5)
    assert din_45500.SPEED_AVERAGING_S.value == 30.0
    assert figure.value < 100.0 * SPEED_TOLERANCE.value, "tighter than what the cassette standard lets a recorder do"


def test_weighted_flutter() -> None:
    assert din_45500.WEIGHTED_FLUTTER_LIMIT_PCT.high == 0.2


def test_each_limit_is_of_a_reading_and_says_how_it_is_known() -> None:
    assert set(din_45500.LIMITS) == {"speed_error_pct", "weighted_peak_pct"}
    for figure in din_45500.LIMITS.values():
        assert figure.basis == "quoted"
        assert figure.high is not None
        assert "DIN 45500 part 4" in figure.source


PRINTED = {
    "frequency range": (40, 12.5, 5, 250, 6300, 7, 40, 250, 6.3, 12.5),
    "weighted S/N": (56,),
    "unweighted S/N": (46,),
    "crosstalk, separate programmes": (60, 1, 45, 500, 6300),
    "crosstalk, stereo pair": (20, 1, 15, 500, 6300),
    "replay channel balance": (2,),
    "erasure": (60, 1),
    "10 kHz overload fall": (15, 10, 333),
}
"""Every number of a row of the summary, in its order: limit first, then condition."""


def figures(row: str) -> tuple[float, ...]:
    """Give what this project holds for the same row."""
    d = din_45500
    khz = d.CROSSTALK_AT_HZ.value / 1000.0
    wide = (d.CROSSTALK_LOW_HZ.value, d.CROSSTALK_HIGH_HZ.value)
    return {
        "frequency range": (
            d.RANGE_LOW_HZ.value, d.RANGE_HIGH_HZ.value / 1000, d.MIDDLE_SPREAD_DB.value, d.MIDDLE_LOW_HZ.value,
            d.MIDDLE_HIGH_HZ.value, d.WHOLE_SPREAD_DB.value, d.RANGE_LOW_HZ.value, d.MIDDLE_LOW_HZ.value,
            d.MIDDLE_HIGH_HZ.value / 1000, d.RANGE_HIGH_HZ.value / 1000,
        ),
        "weighted S/N": (d.WEIGHTED_SIGNAL_TO_NOISE_DB.value,),
        "unweighted S/N": (d.UNWEIGHTED_SIGNAL_TO_NOISE_DB.value,),
        "crosstalk, separate programmes": (
            d.CROSSTALK_PROGRAMMES_DB.value, khz, d.CROSSTALK_PROGRAMMES_WIDE_DB.value, *wide,
        ),
        "crosstalk, stereo pair": (d.CROSSTALK_STEREO_DB.value, khz, d.CROSSTALK_STEREO_WIDE_DB.value, *wide),
        "replay channel balance": (d.BALANCE_DB.value,),
        "erasure": (d.ERASURE_DB.value, khz),
        "10 kHz overload fall": (d.TREBLE_FALL_DB.value, 10, d.FULL_LEVEL_HZ.value),
    }[row]  # fmt: skip


@pytest.mark.parametrize("row", PRINTED)
def test_each_row_of_the_summary(row: str) -> None:
    """Source: the page that quotes DIN 45500 part 4, row by row as it was read off."""
    assert figures(row) == pytest.approx(PRINTED[row])


@pytest.mark.parametrize("row", PRINTED)
def test_the_rows_are_those_of_the_collected_limits(row: str) -> None:
    path = Path(__file__).parents[3] / "shared" / "reference" / "standards" / "test_limits.csv"
    if not path.exists():
        pytest.skip("The collection of published limits is not beside the project.")
    with path.open(encoding="utf-8") as file:
        rows = {one["quantity"]: one for one in csv.DictReader(file.readlines()[1:])}
    said = f"{rows[row]['limit']} {rows[row]['condition']}".replace("10 kHz vs", "10 vs")
    numbers = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", said)]
    assert numbers == pytest.approx(list(PRINTED[row]))
    assert "DIN 45500 part 4" in rows[row]["source"] or "same page" in rows[row]["source"]


def test_full_level_is_three_percent_at_333_hz() -> None:
    """Source: the same page; 3 % is "about -30.5 dB"."""
    level = 20.0 * math.log10(din_45500.FULL_LEVEL_THIRD_HARMONIC_PCT.value / 100.0)
    assert level == pytest.approx(-30.5, abs=0.05)
    assert din_45500.FULL_LEVEL_HZ.value == 333.0
