"""The base rates of the catalogue follow one rule from the trade's bounds, never from the cases the tool is scored on.

The rows stand in `base_rates.csv` beside this file: judgement of the trade for machines of 30 to 45 years, with
bounds; no counted figures were found. The rule: all kinds of fault that a row speaks of come together to its middle
value, those of one part shutting each other out, those of different parts met independently. What no row speaks of is
judgement below the rows of its like, and is held here to that.
"""

import csv
from functools import cache
from math import prod
from pathlib import Path
from typing import Final

import pytest

from tapewright.faults.catalogue import possible_faults
from tapewright.machine.library import shipped, shipped_ids

ROWS: Final = Path(__file__).with_name("base_rates.csv")
SHARE: Final = 0.2
"""How far a row's kinds may lie from its middle: a fifth. The bounds themselves are a factor of two and more apart."""


@cache
def rows() -> tuple[dict[str, str], ...]:
    with ROWS.open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def at_least_one(machine_id: str, parts: list[str], kinds: list[str], age_years: float | None = None) -> float:
    return 1.0 - prod(1.0 - rate for rate in _rates(machine_id, parts, kinds, age_years))


def _rates(machine_id: str, parts: list[str], kinds: list[str], age_years: float | None) -> list[float]:
    rate = dict.fromkeys(parts, 0.0)
    for one in possible_faults(shipped(machine_id), age_years):
        if one.part in rate and (kinds == ["*"] or one.fault.kind in kinds):
            rate[one.part] += one.base_rate
    return list(rate.values())


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["row"])
def test_the_kinds_of_a_row_come_to_its_middle_value(row: dict[str, str]) -> None:
    together = at_least_one(row["machine"], row["parts"].split(), row["kinds"].split())
    middle = float(row["middle"])
    assert together == pytest.approx(middle, rel=SHARE)
    assert float(row["low"]) <= together <= float(row["high"])


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_what_no_row_speaks_of_stays_below_the_rows_of_its_like(machine_id: str) -> None:
    """A solenoid, a brake, a lever fails less often than a switch or the grease; a coil or a mesh than a motor."""
    rate: dict[str, float] = {}
    for one in possible_faults(shipped(machine_id)):
        rate[one.part] = rate.get(one.part, 0.0) + one.base_rate
    machine = shipped(machine_id)
    middles = {row["row"]: float(row["middle"]) for row in rows()}
    for name in machine.solenoids:
        assert rate[name] < middles["cassette_or_mode_switch"]
    for name in machine.levers:
        assert rate[name] < middles["hardened_grease"]
    for name, rotor in machine.rotors.items():
        if rotor.kind == "motor":
            assert rate[name] <= middles["capstan_motor"] + middles["servo_or_power_electronics"]


def test_belts_come_first_then_the_idler_then_the_rest() -> None:
    """The order that independent trade pages give; of mechanical parts, and whatever the tool is scored on."""
    rate = {row["row"]: at_least_one(row["machine"], row["parts"].split(), row["kinds"].split()) for row in rows()}
    del rate["dirty_head_or_path"]
    order = sorted(rate, key=lambda name: -rate[name])
    assert order[0] == "capstan_belt"
    assert set(order[1:3]) == {"cam_belt", "idler_tyre"}


@pytest.mark.parametrize("machine_id", ["one_motor_portable", "two_motor_deck"])
def test_faults_come_in_company(machine_id: str) -> None:
    """Of machines unopened for twenty years half to four fifths have two or more faults: the reference's bounds.

    Such a machine's rubber is twenty years old and more: 25 are taken. Dirt and the cassette, which any machine has,
    are left out.
    """
    machine = shipped(machine_id)
    parts = list(dict.fromkeys(one.part for one in possible_faults(machine)))
    rates = _rates(machine_id, [p for p in parts if p not in ("heads", "cassette")], ["*"], 25.0)
    none = prod(1.0 - rate for rate in rates)
    one = none * sum(rate / (1.0 - rate) for rate in rates)
    assert 0.5 <= 1.0 - none - one <= 0.8
