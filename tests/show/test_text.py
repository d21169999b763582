"""The report for a terminal: no line too long, nothing left out, the tape first."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.faults.catalogue import possible_faults
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.jobs.sizing import sizing
from tapewright.machine.all_forces import all_forces
from tapewright.machine.forces import margins
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.rate_twins import rate_twins
from tapewright.machine.rates import rates
from tapewright.machine.sizes import sizes
from tapewright.show.columns import WIDTH, table
from tapewright.show.force_tables import forces_text
from tapewright.show.question import question_text
from tapewright.show.said import against_limit, percent, reading_said, with_doubt
from tapewright.show.sizing_text import sizing_text
from tapewright.show.tables import faults_text, margins_text, rates_text, signs_text, sizes_text, twins_text
from tapewright.show.text import text_report
from tapewright.words.evidence import Evidence
from tapewright.words.reading import Reading
from tapewright.words.record import Record
from tapewright.words.verdict import judged
from tests.show.sample import COMPLAINT, record

MACHINES = shipped_ids()


def flat(text: str) -> str:
    """Undo the wrapping."""
    return " ".join(text.replace("\n! ", "\n").split())


def too_long(text: str) -> list[str]:
    return [line for line in text.splitlines() if len(line) > WIDTH]


def bare(machine_id: str = "four_track") -> Record:
    """Nothing noticed, nothing measured, nothing worked out."""
    full = record(machine_id)
    return replace(
        full, complaint="", evidence=Evidence(), answered=(), beliefs=(), none_of_these=1.0, next_check=None, plan=(),
        clash=(), heard=(), notes=(),
    )  # fmt: skip


@pytest.mark.parametrize("name", MACHINES)
def test_no_line_is_longer_than_the_page(name: str) -> None:
    machine = shipped(name)
    graph = mechanism(machine)
    faults = [
        {"part": one.part, "kind": one.fault.kind, "base_rate": one.base_rate, "signs": ["play_tape_still"] * 9}
        for one in possible_faults(machine)
    ]
    for text in (
        text_report(record(name), machine),
        text_report(bare(name), machine),
        rates_text(machine, {mode: rates(machine, mode) for mode in machine.modes}),
        margins_text(machine, margins(machine)),
        sizes_text(machine, sizes(machine)),
        signs_text(machine, signs(graph)),
        faults_text(machine, faults),
    ):
        assert_fits(text)


@pytest.mark.parametrize("name", MACHINES)
def test_forces_twins_questions_and_order_lists_keep_to_the_page(name: str, tmp_path: Path) -> None:
    machine = shipped(name)
    belts = [c.name for c in machine.couplings.values() if c.kind == "belt"]
    stock = tmp_path / "stock.csv"
    stock.write_text("item,kind,inside_length_mm,price\nA belt with a long name on the shelf,square belt,258,1.5\n")
    measured = sizing(machine, [f"{belt}=258.5" for belt in belts], near=[f"{b}=255" for b in belts], stock=stock)
    for text in (
        forces_text(machine, all_forces(machine)),
        twins_text(machine, {mode: rate_twins(machine, mode) for mode in machine.modes}),
        sizing_text(machine, measured),
        question_text(record(name), machine),
        question_text(bare(name), machine),
    ):
        assert_fits(text)


def assert_fits(text: str) -> None:
    assert too_long(text) == []
    assert "nan" not in text.split()
    assert "None" not in text.replace("None: mending", "").replace("none of these", "").split()


@given(st.text(max_size=400))
def test_whatever_the_complaint_no_line_is_too_long_and_nothing_obeys_it(complaint: str) -> None:
    text = text_report(replace(record(with_recordings=False), complaint=complaint), shipped("four_track"))
    assert too_long(text) == []
    assert all(c == "\n" or c.isprintable() for c in text)


def test_the_tape_comes_first() -> None:
    text = text_report(record(), shipped("four_track"))
    order = ["First of all, the tape", "What was noticed", "What explains it", "Next check", "\nPlan\n", "Recording "]
    found = [text.index(words) for words in order]
    assert found == sorted(found)
    assert COMPLAINT in flat(text)


def test_no_tape_in_danger_no_rescue() -> None:
    assert "First of all" not in text_report(bare(), shipped("four_track"))


@pytest.mark.parametrize("name", MACHINES)
def test_every_caution_action_size_and_reason_is_there(name: str) -> None:
    made = record(name)
    told = tuple(replace(b, reasons=("Because of <this>.",)) for b in made.beliefs[:3])
    text = flat(text_report(replace(made, beliefs=told), shipped(name)))
    wanted = [text_ for step in made.plan for text_ in (step.action, step.size, *step.cautions)]
    if made.next_check is not None:
        wanted += [made.next_check.says, made.next_check.how, made.next_check.why, *made.next_check.cautions]
    wanted += ["Because of <this>.", *(clash.says for clash in made.clash)]
    assert [words for words in wanted if flat(words) not in text.replace("! ", "")] == []


def test_readings_are_rounded_to_their_doubt_and_a_refusal_says_why() -> None:
    text = flat(text_report(record(), shipped("four_track")))
    assert "+0.422 ± 0.053 %" in text
    assert "0.1432 ± 0.0091 %" in text
    assert "no reading:" in text
    assert "The level never holds still" in text
    assert "? no part explains it" in text


def test_what_is_invented_and_from_memory_is_said() -> None:
    text = flat(text_report(record(), shipped("four_track")))
    assert "nobody built it" in text
    assert "From memory:" in text
    assert "weighting table" in text
    assert "weighting table" not in flat(text_report(bare(), shipped("four_track")))


# --- small ones -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("share", "said"), [(0.0, "under 1 %"), (0.5, "50 %"), (0.9999, "over 99 %")])
def test_a_share_never_claims_certainty(share: float, said: str) -> None:
    assert percent(share) == said


@pytest.mark.parametrize(
    ("value", "doubt", "said"),
    [(0.05, 0.01, "pass:"), (0.2, 0.01, "fail:"), (-0.2, 0.01, "fail:"), (0.1, 0.02, "within doubt of the limit:")],
)
def test_a_limit_that_the_doubt_straddles_is_left_open(value: float, doubt: float, said: str) -> None:
    assert against_limit(judged(Reading(value, "%", doubt), 0.1, "its sheet")).startswith(said)


def test_an_interval_is_said_in_place_of_the_doubt() -> None:
    assert reading_said("x", Reading(0.12, "%", 0.3, interval=(0.08, 0.42))) == "0.12 % (0.08 to 0.42 %)"
    assert reading_said("x", Reading(0.12, "%", 0.01, interval=(0.0, 0.13))) == "0.12 % (at most 0.13 %)"


def test_no_doubt_no_plus_or_minus() -> None:
    assert with_doubt(6.0, 0.0, "Hz") == "6 Hz"
    assert with_doubt(6.0, None, "Hz") == "6 Hz"


@given(st.lists(st.lists(st.text(max_size=120), min_size=3, max_size=3), max_size=4))
def test_a_table_keeps_to_the_page_and_loses_no_letter(rows: list[list[str]]) -> None:
    text = table(["a", "b", "c"], rows)
    assert too_long(text) == []
    letters = [c for row in rows for cell in row for c in cell if c.isprintable() and not c.isspace()]
    kept = [c for c in text if not c.isspace()]
    assert len(kept) - sum(len(line.replace(" ", "")) for line in text.splitlines()[1:2]) - 3 == len(letters)
