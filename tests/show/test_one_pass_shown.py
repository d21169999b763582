"""One pass set out for reading: what was read stands in it, what was not is said, and shapes tell tracks apart."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from tapewright.jobs.acceptance import acceptance, response_fields
from tapewright.jobs.pass_changes import heads_said, pass_changes
from tapewright.jobs.pass_said import listed_before, listed_json
from tapewright.show.comparing import pass_rows
from tapewright.show.one_pass_charts import course_chart, crosstalk_chart, dropouts_chart, response_chart
from tapewright.show.one_pass_shown import owners_section, pass_sections, plainly
from tapewright.words import one_pass as names
from tapewright.words.comparison import BETTER, NEITHER, WORSE
from tapewright.words.one_pass import DropoutHeard, PassReading, PassSaid
from tapewright.words.plain import plain
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace
from tests.jobs.test_acceptance import said


def whole(angle: float = 5.0, noise: float = -45.0) -> PassSaid:
    """An invented pass with everything in it."""
    one = replace(
        said(angle=angle, noise=noise, levels=(-18.0, -18.5, -18.2, -18.1), tracks=4),
        course=Trace(np.linspace(angle - 0.5, angle + 0.5, 400), 100.0),
        dropouts=(DropoutHeard(1, 2.0, 0.03, 12.0), DropoutHeard(3, 5.0, 0.4, 21.0)),
        dropout_settings="6 dB and 10 ms and more",
        missing=("erasure",),
    )
    return replace(one, acceptance=acceptance(one), response_fields=response_fields(None))


def test_the_bench_gets_acceptance_readings_and_pictures() -> None:
    accepted, heads = pass_sections(whole(), "After: x.wav")
    assert accepted.title == "After: x.wav: acceptance"
    assert "fail" in accepted.texts[0]
    rows = {row[0]: row for row in accepted.tables[0].rows}
    assert rows["azimuth"][2] == "✗ fail"
    assert any("not read" in point for point in accepted.points)
    assert {table.caption.split(" ")[0] for table in heads.tables} >= {"Readings", "Response", "Crosstalk", "Third"}
    assert len(heads.pictures) == 4
    assert "Not there: erasure." in heads.texts
    assert len(pass_sections(whole(), "x", drawn=False)[1].pictures) == 0


@pytest.mark.parametrize("draw", [response_chart, course_chart, crosstalk_chart, dropouts_chart])
def test_pictures_are_whole_say_what_they_show_and_hold_no_colour_of_their_own(draw) -> None:  # type: ignore[no-untyped-def]
    svg = draw(whole())
    root = ET.fromstring(svg)
    assert root.find("{*}desc") is not None
    assert re.search(r"\d", root.find("{*}desc").text or "")  # type: ignore[union-attr]
    assert set(re.findall(r"(?:fill|stroke)=\"(#[0-9a-f]{6})\"", svg)) <= {"#000000", "#ffffff"}


@pytest.mark.parametrize("draw", [response_chart, course_chart, crosstalk_chart, dropouts_chart])
def test_where_nothing_was_read_the_picture_says_so(draw) -> None:  # type: ignore[no-untyped-def]
    svg = draw(PassSaid("cassette", 0.047625, 1.0, (1, 2), ()))
    assert re.search(r"No |Nothing ", svg)


def test_tracks_differ_by_stroke_and_mark() -> None:
    strokes = set(re.findall(r'stroke-dasharray="([^"]+)"', response_chart(whole())))
    assert len(strokes) >= 3  # the first is unbroken


def test_the_owner_reads_plain_words_and_the_bad_first() -> None:
    section = owners_section(whole(), "after the repair")
    assert section is not None
    assert section.points[0] == "The head does not stand straight to the tape, which takes treble away."
    assert any(point == "All tracks are about equally loud." for point in section.points)
    assert not re.search(r"dB|arcmin|′|BS\.468", " ".join(section.points))
    assert owners_section(PassSaid("cassette", 0.047625, 1.0, (), ()), "x") is None
    assert plainly(()) == []


def test_before_and_after_kind_by_kind() -> None:
    before, after = whole(), whole(angle=0.5, noise=-55.0)
    changes = pass_changes(before, after)
    assert len(changes) == len(before.readings)
    found = {(one.after.name, one.after.track): one for one in changes}
    assert found[names.AZIMUTH, 0].verdict == BETTER
    assert (found[names.AZIMUTH, 0].judged_before, found[names.AZIMUTH, 0].judged_after) == ("fail", "pass")
    assert found[names.NOISE_A, 3].verdict == BETTER
    assert {one.verdict for one in pass_changes(after, before) if one.after.name == names.NOISE_A} == {WORSE}
    assert re.fullmatch(r"Heads and levels: of \d+ kinds of readings 3 better, 0 worse\.", heads_said(changes))
    assert next(row[0] for row in pass_rows(changes)) == "azimuth"


def test_what_is_gone_below_the_noise_is_better() -> None:
    hum = PassReading(names.HUM, Reading(-40.0, "dB", 0.2), 1)
    gone = PassReading(names.HUM, Reading(None, "dB", why_not="None.", interval=(-np.inf, -60.0)), 1)
    one, two = (PassSaid("a", 0.05, 1.0, (1,), (each,)) for each in (hum, gone))
    assert pass_changes(one, two)[0].verdict == BETTER
    assert pass_changes(two, one)[0].verdict == WORSE
    assert pass_changes(two, two)[0].verdict == NEITHER


def test_what_was_printed_can_be_read_again() -> None:
    pass_said = whole()
    about = {"sequence": "cassette", "tape_speed_m_s": 0.047625, "speed_ratio": 1.0}
    again = listed_before(about | listed_json(pass_said))
    assert [one.key for one in again.readings] == [one.key for one in pass_said.readings]
    assert [plain(one.reading) for one in again.readings] == [plain(one.reading) for one in pass_said.readings]
    changes = pass_changes(pass_said, again)
    assert {one.verdict for one in changes} == {"no more than doubt"}
    assert all(one.judged_before == one.judged_after for one in changes)
    assert {one.judged_after for one in changes} >= {"pass", "fail"}
