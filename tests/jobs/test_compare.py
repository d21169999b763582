"""A change is called one when it is more than doubt, and lines are paired by what makes them or by where they stand."""

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.compare import compared, hear_one, line_changes, measured_before, reading_change, said_in_all
from tapewright.jobs.examine import channel_json
from tapewright.words.comparison import BETTER, GONE, NEW, ONLY_AFTER, OTHER, WITHIN_DOUBT, WORSE
from tapewright.words.findings import BudgetItem
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.signal import Line

SPEED = "speed_error_pct"
sizes = st.floats(-3.0, 3.0).map(lambda x: round(x, 4))
doubts = st.floats(0.001, 0.5).map(lambda x: round(x, 4))


def heard(channel: int = 1, speed_pct: float = 0.0, lines: tuple[Line, ...] = (), **more: object) -> Heard:
    one = Heard("a.wav", channel, {"found": True}, {SPEED: Reading(speed_pct, "%", 0.01)}, lines)
    return replace(one, **more)  # type: ignore[arg-type]


def line(frequency_hz: float, peak_pct: float, doubt_pct: float = 0.001) -> Line:
    return Line(frequency_hz, peak_pct, doubt_pct, 0.002, 1e-6)


@given(sizes, sizes, doubts, doubts)
def test_doubts_add_as_independent_and_swapping_turns_the_verdict_round(
    a: float, b: float, da: float, db: float
) -> None:
    one = reading_change(SPEED, Reading(a, "%", da), Reading(b, "%", db))
    back = reading_change(SPEED, Reading(b, "%", db), Reading(a, "%", da))
    assert one.change.value == pytest.approx(b - a, abs=1e-12)
    assert one.change.doubt == pytest.approx(math.sqrt(da**2 + db**2), rel=1e-12)  # law of propagation, independent
    turned = {BETTER: WORSE, WORSE: BETTER}
    assert back.verdict == turned.get(one.verdict, one.verdict)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [(2.0, 0.3, BETTER), (-2.0, 0.3, BETTER), (0.3, -2.0, WORSE), (1.0, -1.0, OTHER), (0.30, 0.31, WITHIN_DOUBT)],
)
def test_nearer_to_nothing_is_better_on_either_side(before: float, after: float, verdict: str) -> None:
    assert reading_change(SPEED, Reading(before, "%", 0.01), Reading(after, "%", 0.01)).verdict == verdict


def test_a_reading_that_is_there_once_is_said_to_be() -> None:
    change = reading_change("drift_pct", Reading(None, "%", why_not="Too short."), Reading(0.1, "%", 0.01))
    assert change.verdict == ONLY_AFTER
    assert change.change.why_not is not None
    assert "Too short." in change.change.why_not


def test_a_line_moves_with_the_speed_and_is_still_the_same() -> None:
    # Every rate in a machine goes with its speed: 10 Hz at 3 % fast is 9.709 Hz at the right speed.
    before, after = heard(speed_pct=3.0, lines=(line(10.0, 0.2),)), heard(lines=(line(10.0 / 1.03, 0.05),))
    (only,) = line_changes(before, after)
    assert (only.before_hz, only.after_hz, only.verdict) == (10.0, 10.0 / 1.03, BETTER)


def test_a_line_at_another_place_is_another_line() -> None:
    before, after = heard(lines=(line(10.0, 0.2),)), heard(lines=(line(10.3, 0.1),))
    assert [one.verdict for one in line_changes(before, after)] == [GONE, NEW]


def test_lines_of_one_part_are_one_though_the_reel_has_filled() -> None:
    def reel(rate_hz: float) -> Heard:
        item = BudgetItem("take_up", 1, rate_hz, 0.1, 0.001, 0.99)
        return heard(lines=(line(rate_hz, 0.1),), budget=(item,))

    (only,) = line_changes(reel(0.60), reel(0.45))
    assert (only.part, only.order, only.verdict) == ("take_up", 1, WITHIN_DOUBT)


def test_two_near_lines_each_find_their_own() -> None:
    pair = (line(10.0, 0.2), line(10.02, 0.1))
    found = line_changes(heard(lines=pair), heard(lines=(line(10.02, 0.1), line(10.0, 0.2))))
    assert sorted((one.before_pct, one.after_pct) for one in found) == [(0.1, 0.1), (0.2, 0.2)]


def test_a_channel_without_a_tone_says_why() -> None:
    silent = replace(heard(), tone={"found": False, "why_not": "Nothing but noise."})
    (only,) = compared([heard()], [silent])
    assert only.why_not == "After: Nothing but noise."
    assert said_in_all([only]) == "Nothing can be compared."


def test_a_channel_that_only_one_has_is_said_to_be() -> None:
    changes = compared([heard(1), heard(2)], [heard(1)])
    assert [one.channel for one in changes] == [1, 2]
    assert changes[1].why_not == "The recording from after has no channel 2."


def test_what_measuring_printed_reads_back_as_it_was(tmp_path: Path) -> None:
    item = BudgetItem("capstan", 2, 10.0, 0.1, 0.001, 0.9)
    one = heard(speed_pct=1.5, lines=(line(10.0, 0.2),), budget=(item,))
    path = tmp_path / "measured.json"
    path.write_text(json.dumps({"file": "a.wav", "channels": [channel_json(one, with_budget=True)]}))
    (read,) = hear_one(path)
    assert (read.tone, dict(read.readings), read.lines, read.budget) == (one.tone, one.readings, one.lines, one.budget)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "7",
        "{}",
        '{"channels": 3, "file": ""}',
        '{"recordings": []}',
        '{"channels": [{"tone": 1}]}',
        "[" * 99_999,
    ],
)
def test_a_file_that_is_something_else_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "measured.json"
    path.write_text(text)
    with pytest.raises(InputAtFaultError) as refused:
        measured_before(path)
    assert refused.value.problems[0].where == str(path)
