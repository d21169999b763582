"""Ranges that stand in, and how doubt is carried."""

import csv
import math
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.doubt import columns, estimate
from tapewright.machine.library import shipped
from tapewright.machine.typical import all_sizes, diameter, is_flat, source_of, typical
from tapewright.words.estimate import Estimate


def rows() -> list[dict[str, str]]:
    text = (files("tapewright.machine") / "tables" / "typical_values.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["quantity"])
def test_every_range_holds_its_typical_value_and_says_where_it_comes_from(row: dict[str, str]) -> None:
    found = typical(row["quantity"])
    assert float(row["low"]) <= float(row["typical"]) <= float(row["high"])
    assert found.basis == "typical"
    assert found.value > 0
    assert found.doubt >= 0
    assert len(source_of(row["quantity"])) > 10


def test_units_of_the_table_are_brought_to_si() -> None:
    assert typical("capstan_diameter").value == pytest.approx(0.002)
    assert typical("capstan_diameter").doubt == pytest.approx((3.0 - 1.49) / 2 * 1e-3)
    assert typical("motor_speed").value == pytest.approx(40.0)
    assert typical("pinch_force").value == pytest.approx(3.432, abs=0.001)  # 350 gf
    assert typical("takeup_torque").value == pytest.approx(4.903e-3, abs=1e-6)  # 50 g·cm
    with pytest.raises(KeyError):
        typical("colour")


def test_what_stands_in_follows_from_a_rotors_work() -> None:
    machine = shipped("four_track_starter")
    expected = {
        "motor_pulley": "motor_pulley_diameter",
        "reel_pulley": "reel_motor_pulley_diameter",
        "cam_pulley": "small_motor_pulley_diameter",
        "cam_wheel": "belt_wheel_diameter",
        "flywheel": "flywheel_belt_track_diameter",
        "takeup_reel": "reel_table_rim_diameter",
        "idler_tyre": "idler_tyre_outer_diameter",
    }
    assert {name: diameter(machine, name) for name in expected} == {k: typical(v) for k, v in expected.items()}
    portable = shipped("one_motor_portable_starter")
    assert diameter(portable, "flywheel_groove") == typical("flywheel_groove_diameter")
    assert diameter(portable, "clutch_pulley") == typical("clutch_pulley_diameter")


def test_a_described_size_wins() -> None:
    machine = shipped("four_track")
    assert diameter(machine, "flywheel") == machine.rotors["flywheel"].diameter
    assert all_sizes(machine)["nip.force"] == machine.couplings["nip"].force


def test_a_belt_from_motor_to_flywheel_is_taken_for_flat() -> None:
    machine = shipped("four_track_starter")
    flat = {name: is_flat(machine, belt) for name, belt in machine.couplings.items() if belt.kind == "belt"}
    assert flat == {"capstan_belt": True, "cam_belt": False, "counter_belt": False}


SIZE = st.builds(Estimate, st.floats(0.5, 2.0), st.floats(0.001, 0.3))


@given(SIZE, SIZE, SIZE)
def test_doubt_is_carried_as_the_textbook_says(a: Estimate, b: Estimate, c: Estimate) -> None:
    """For a product of powers the squares of the relative doubts add, each times its power."""
    table = columns({"a": a, "b": b, "c": c})
    found = estimate(table["a"] * table["b"] ** 2 / table["c"], table)
    expected = math.hypot(a.relative_doubt, 2 * b.relative_doubt, c.relative_doubt)
    # Steps of 2 % of a size leave 4e-4 of the derivative of 1 / c.
    assert found.relative_doubt == pytest.approx(expected, rel=1e-3)
    assert found.value == pytest.approx(a.value * b.value**2 / c.value)


def test_doubt_agrees_with_drawing_the_sizes_at_random() -> None:
    """The slow road: ten thousand machines with a belt ratio from two diameters and a thickness."""
    sizes = {"d": Estimate(0.010, 2e-4), "D": Estimate(0.050, 5e-4), "t": Estimate(0.0005, 1e-4)}
    table = columns(sizes)
    found = estimate((table["d"] + table["t"]) / (table["D"] + table["t"]), table)
    draw = np.random.default_rng(7)
    d, big, t = (draw.normal(size.value, size.doubt / 1.96, 10_000) for size in sizes.values())
    # The spread of ten thousand draws is itself good to 0.7 %, three of which are allowed.
    assert found.doubt == pytest.approx(1.96 * np.std((d + t) / (big + t)), rel=0.021)


def test_only_what_counts_makes_a_result_typical() -> None:
    table = columns({"a": Estimate(1.0, 0.1), "b": Estimate(1.0, 0.1, "typical")})
    assert estimate(2 * table["a"], table).basis == "derived"
    assert estimate(table["a"] + table["b"], table).basis == "typical"
