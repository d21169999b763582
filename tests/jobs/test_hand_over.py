"""The hand-over says what was found, done and proved, and what a mended speed does to the owner's tapes."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.examine import examine
from tapewright.jobs.hand_over import hand_over, tapes_advice
from tapewright.jobs.store.nouns import Cost, Money, Owner, Particulars, PartUsed, SoakTest, Work
from tapewright.jobs.store.opened import open_store
from tapewright.machine.library import shipped
from tapewright.show.handing_over import as_html, as_pdf, bench_page, owners_page
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.hand_over import HandOver
from tapewright.words.reading import Reading
from tests.show.sample import heard

MACHINE = shipped("four_track")
CRUEL = '#panic("x") $a$ [b] *c* <script>alert(1)</script> \\ @d "e" \u202e'


def percent(value: float) -> Reading:
    return Reading(value, "%", 0.01)


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> HandOver:
    with open_store(Path(tmp_path_factory.mktemp("shop"))) as store:
        job = store.begin(Particulars(machine_id="four_track", complaint=CRUEL, serial=CRUEL), Owner(name=CRUEL))
        store.add(job.id, PartUsed(f"Belt {CRUEL}", "capstan_belt", cost=Money(850, "EUR")), Work("Fitted", 45))
        sheet = store.add(job.id, SoakTest(120, passed=True), Cost("Postage", Money(690, "EUR")))
        record = examine(MACHINE, Evidence((Observation("play_tape_races", True),)))
        return hand_over(sheet, MACHINE, record, [heard()], [heard()], store.history(job.id))


def test_found_done_and_costs_are_said(said: HandOver) -> None:
    assert said.found[0].startswith("The capstan belt, most likely ")
    assert "Soak test of 120 minutes: passed." in said.done
    assert said.total == "15.40 EUR"
    assert said.proof == "No reading changed by more than its doubt."  # one recording against itself


@pytest.mark.parametrize("whose", ["owner", "bench"])
def test_what_people_wrote_is_words_on_the_page_and_on_paper(said: HandOver, whose: str) -> None:
    page = owners_page(said) if whose == "owner" else bench_page(said, MACHINE)
    html = as_html(page)
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
    pdf = as_pdf(page)
    assert pdf.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in pdf, "a screen reader needs the structure (PDF/UA-1, ISO 14289-1, 7.1)"


def test_the_owner_reads_no_more_than_three_readings_and_the_bench_all(said: HandOver) -> None:
    def rows(sections: object) -> int:
        assert isinstance(sections, tuple)
        return sum(len(table.rows) for one in sections for table in one.tables if "reading" in table.headings)

    assert rows(owners_page(said).sections) == 3
    assert rows(bench_page(said, MACHINE).sections) > 6


def test_three_percent_is_half_a_semitone() -> None:
    # A semitone is a ratio of 2^(1/12) (definition of equal temperament): 1.03 is 51.17 cents.
    assert 1200.0 * math.log2(1.03) == pytest.approx(51.17, abs=0.01)
    (first, *_) = tapes_advice(percent(3.0), percent(0.0))
    assert "51 cents lower" in first
    assert "2.9 % slower" in first
    assert "cents higher" in tapes_advice(percent(-3.0), percent(0.0))[0]


@given(st.floats(-5.0, 5.0), st.floats(-5.0, 5.0))
def test_pitch_goes_with_the_ratio_of_speeds(before: float, after: float) -> None:
    # Two roads: the tape's own frequencies, as the machine played them then and now.
    recorded_hz = 440.0 / (1.0 + before / 100.0)  # what stands on the tape, at nominal speed
    heard_hz = recorded_hz * (1.0 + after / 100.0)
    said = tapes_advice(percent(before), percent(after))[0]
    cents = 1200.0 * math.log2(heard_hz / 440.0)
    if abs(cents) > 5.0:
        assert f"{abs(cents):.0f} cents {'higher' if cents > 0 else 'lower'}" in said
    elif abs(cents) < 4.99:
        assert "the pitch they had" in said


def test_a_speed_nobody_measured_is_not_made_up() -> None:
    assert "not measured" in tapes_advice(None, percent(0.0))[0]


def test_of_several_channels_the_clearest_is_set_out_and_the_others_stand_beside_it(said: HandOver) -> None:
    """A bench keeps two sheets for four channels, not eight; no reading is lost by it."""
    one = heard()
    channels = [replace(one, channel=at, tone={**one.tone, "found": True, "snr_db": snr}) for at, snr in
                ((1, 30.0), (2, 44.0), (3, 41.0))]  # fmt: skip
    page = bench_page(replace(said, before=(), after=tuple(channels)), MACHINE)
    about = [section for section in page.sections if section.title.startswith("After: ")]
    assert [section.title.partition(", ")[2] for section in about] == ["channel 2", "the other channels"]
    (table,) = about[1].tables
    assert table.headings == ("reading", "channel 1", "channel 3")
    assert len(table.rows) == sum(reading.value is not None for reading in one.readings.values())
    assert not about[1].pictures
