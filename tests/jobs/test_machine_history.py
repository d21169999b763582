"""A machine over the years: the repair's own change is no wear, and a trend is one when it is more than doubt."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.machine_history import line_name, slope, to_write_down, trends, visits
from tapewright.jobs.store.nouns import Measured, Particulars, Stage
from tapewright.jobs.store.opened import open_store
from tapewright.words.reading import Reading
from tapewright.words.visits import Visit
from tests.show.sample import heard

PEAK = "weighted_peak_pct"


def visit(year: int, value: float, stage: str = "before", doubt: float = 0.01) -> Visit:
    return Visit("0" * 16, "26-0001", date(year, 6, 1), stage, "", (), {PEAK: Reading(value, "%", doubt)})


def test_wear_between_visits_is_the_trend() -> None:
    (trend,) = trends([visit(2020, 0.10), visit(2022, 0.14), visit(2024, 0.18)])
    assert trend.per_year.value == pytest.approx(0.02, abs=1e-4)
    assert trend.rising


def test_what_a_repair_changed_is_taken_out() -> None:
    # 0.10 rises by 0.02 a year; each repair brings it down to 0.05.
    made = [
        visit(2020, 0.10),
        visit(2020, 0.05, "after"),
        visit(2022, 0.09),
        visit(2022, 0.05, "after"),
        visit(2024, 0.09),
    ]
    (trend,) = trends(made)
    assert trend.per_year.value == pytest.approx(0.02, abs=1e-4)
    assert trend.rising


def test_two_visits_tell_no_trend_and_noise_none_either() -> None:
    (few,) = trends([visit(2020, 0.1), visit(2024, 0.3)])
    assert few.per_year.value is None
    (noise,) = trends([visit(2020, 0.10), visit(2021, 0.12), visit(2022, 0.10), visit(2023, 0.11)])
    assert not noise.rising


@given(
    st.lists(
        st.tuples(st.floats(0.0, 20.0), st.floats(-1.0, 1.0), st.floats(0.01, 0.5)), min_size=3, max_size=9
    ).filter(lambda rows: np.ptp([row[0] for row in rows]) > 0.5)
)
def test_the_slope_is_numpys(rows: list[tuple[float, float, float]]) -> None:
    # An independent program: numpy.polyfit with weights 1/sigma.
    times, values, doubts = (list(column) for column in zip(*rows, strict=True))
    found = slope(times, values, doubts)
    wanted, _ = np.polyfit(times, values, 1, w=1.96 / np.asarray(doubts))
    assert found.value == pytest.approx(wanted, rel=1e-6, abs=1e-8)


def test_the_doubt_of_a_slope_is_that_of_its_points() -> None:
    # Closed form for equal doubts: half width of the points over the root sum of squares of the times.
    times = np.array([0.0, 1.0, 2.0, 3.0])
    found = slope(times.tolist(), (2.0 * times).tolist(), [0.1] * 4)
    assert found.doubt == pytest.approx(0.1 / np.sqrt(np.sum((times - times.mean()) ** 2)), rel=1e-9)


def test_visits_come_from_the_store_by_serial_number(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for value in (0.1, 0.2):
            job = store.begin(Particulars(machine_id="four_track", serial="0017"))
            store.add(job.id, Measured(PEAK, value, "%", 0.01, stage=Stage.BEFORE))
        store.begin(Particulars(machine_id="four_track", serial="0018"))
        found = visits(store, "0017")
        assert [one.readings[PEAK].value for one in found] == [0.1, 0.2]
        assert visits(store, "") == []


def test_readings_and_explained_lines_are_kept_and_nobodys_are_not() -> None:
    kept = {one.name: one for one in to_write_down([heard()], Stage.AFTER, "ab" * 32)}
    named = [item for item in heard().budget if item.order]
    assert named
    for item in named:
        assert kept[line_name(item.part, item.order)].unit == "%"
    assert not [name for name in kept if "unexplained" in name]
    assert all(one.value is not None for one in kept.values())
