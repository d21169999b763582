"""Before and after for eyes: both curves on one plot, a table behind them, nothing from outside, nothing unescaped."""

import re
from dataclasses import replace

import numpy as np

from tapewright.jobs.compare import compared, said_in_all
from tapewright.machine.library import shipped
from tapewright.show.comparing import comparison_page, comparison_text, spectra_chart, speeds_chart
from tapewright.words.reading import Reading
from tapewright.words.signal import Line, Trace
from tests.show.sample import heard

MACHINE = shipped("four_track")
BEFORE = heard()
AFTER = replace(
    BEFORE,
    file="<b>after</b>.wav",
    readings={name: replace(one, value=0.5 * one.value) if one.value else one for name, one in BEFORE.readings.items()},
)


def page() -> str:
    changes = compared([BEFORE], [AFTER])
    return comparison_page(changes, said_in_all(changes), [BEFORE], [AFTER], MACHINE)


def test_both_curves_stand_on_one_plot_and_are_named() -> None:
    for drawn in (speeds_chart(BEFORE, AFTER), spectra_chart(BEFORE, AFTER)):
        assert ">before<" in drawn
        assert ">after<" in drawn
    assert "stroke-dasharray" in spectra_chart(BEFORE, AFTER)  # told apart without colour


def test_speed_is_drawn_from_nominal_so_that_a_mended_speed_shows() -> None:
    trace = Trace(np.zeros(100), 10.0)
    fast, right = (
        replace(BEFORE, trace=trace, readings={"speed_error_pct": Reading(speed, "%", 0.01)}) for speed in (3.0, 0.0)
    )
    assert "Before: +3.00 to +3.00 % from nominal. After: +0.00 to +0.00 %" in speeds_chart(fast, right)


def test_the_page_needs_nothing_from_outside_and_escapes_names() -> None:
    shown = page()
    assert "<b>after</b>" not in shown
    assert "&lt;b&gt;after&lt;/b&gt;.wav" in shown
    assert not re.search(r"(?:src|href)\s*=\s*[\"']?\s*(?:https?:|//)", shown)
    assert "<script" not in shown


def test_every_reading_stands_in_the_table_and_the_text() -> None:
    changes = compared([BEFORE], [AFTER])
    text = comparison_text(changes, said_in_all(changes), MACHINE)
    for one in changes[0].readings:
        assert one.verdict in text
    assert page().count("<tr><th") >= len(changes[0].readings) + len(changes[0].lines)


def test_a_line_found_once_shows_a_dash_and_its_verdict() -> None:
    gone = replace(BEFORE, lines=(Line(7.77, 0.1, 0.001, 0.001, 1e-9),), budget=())
    text = comparison_text(compared([gone], [replace(gone, lines=())]), "", None)
    assert re.search(r"7\.77 Hz +- +no longer found +0\.1 +- +-", text)
