"""The trade's symptom chart against what follows from the descriptions.

Oracle: the rows marked "almost always" or "often" of the chart gathered in the reference notes on mechanics, with the
kind of source beside each. The chart says which of our faults and signs a row speaks of; that the one leads to the
other is worked out here, from the description alone.
"""

from functools import cache

import pytest

from tapewright.faults.applied import applied, parse_fault
from tapewright.faults.consequences import signs_shown
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.faults.speed_lines import fault_lines
from tapewright.faults.tape_speed import speed_ratio
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tests.faults.chart_page import PAGE, REASONS, Row, chart, page

HEARD_FROM = 0.005
"""Speed error from which a row that speaks of speed is met: half a percent, the least the chart names."""
GROWS = 3.0
"""A line belongs to a fault when it is three times what the sound part shows."""
CASES = [
    pytest.param(row, machine_id, fault, id=f"{number}-{row.fault_part}-{row.fault_kind}-{machine_id}-{fault}")
    for number, row in enumerate(chart())
    for machine_id in row.machines
    for fault in row.faults
]


@cache
def usual(machine_id: str) -> frozenset[str]:
    return frozenset(sign.id for sign in signs_shown(shipped(machine_id)))


def largest_line(machine: Machine, part: str) -> float:
    return max((line.peak_ratio for line in fault_lines(machine) if line.part == part), default=0.0)


def holds(sign: str, machine_id: str, worn: Machine, part: str, shown: frozenset[str]) -> bool:
    about, _, what = sign.rpartition(":")
    if about == "speed":
        off = speed_ratio(worn) - 1.0
        return off > HEARD_FROM if what == "fast" else off < -HEARD_FROM
    if about == "line":
        own = largest_line(worn, part) > GROWS * largest_line(shipped(machine_id), part)
        return own if what == "own" else not own
    assert sign.removeprefix("!") in {one.id for one in signs(mechanism(worn))}, f"no such sign: {sign}"
    return sign[1:] not in shown if sign.startswith("!") else sign in shown


@pytest.mark.parametrize(("row", "machine_id", "fault"), CASES)
def test_the_sign_follows_from_the_fault(row: Row, machine_id: str, fault: str) -> None:
    machine = shipped(machine_id)
    wrong = parse_fault(machine, fault)
    worn = applied(machine, [wrong])
    shown = frozenset(sign.id for sign in signs_shown(worn))
    assert [sign for sign in row.signs if not holds(sign, machine_id, worn, wrong.part, shown)] == []
    told = {sign for sign in row.signs if ":" not in sign and not sign.startswith("!")}
    assert told - usual(machine_id) or any(":" in sign for sign in row.signs), "says nothing a sound machine does not"


def test_a_row_has_signs_or_a_reason() -> None:
    for row in chart():
        assert bool(row.signs) == bool(row.machines) == bool(row.faults) != bool(row.reason)
        assert row.strength in ("almost always", "often")
        assert not row.reason or (row.reason in REASONS and not row.left_out)


def test_the_page_says_what_the_chart_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(chart())
