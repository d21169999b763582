"""Lines with their parts, events and orders, as a reader meets them: names of both, words beside every picture."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tapewright.machine.library import shipped
from tapewright.show.lines_said import ONCE, order_rows, orders_shown, short_name, whose_line
from tapewright.show.order_chart import order_chart
from tapewright.show.report import html_report
from tapewright.show.text import budget_text, heard_text
from tapewright.words.findings import BudgetItem, Rival
from tapewright.words.record import Heard
from tapewright.words.signal import OrderPicture, SpeedEvent
from tests.show.sample import heard, record

MACHINE = shipped("four_track")
TWINS = BudgetItem(
    "takeup_reel", 1, 0.82, 0.1, 0.01, 0.5, (Rival("supply_reel", 1, 0.5, False),), share=0.25, share_doubt=0.02
)


def orders(stretches: int = 20, gap: bool = True) -> OrderPicture:
    """An invented part with 0.2 % once a turn, 0.05 % three times, one stretch left out."""
    axis = np.arange(1, 33) / 4
    sizes = np.full((stretches, len(axis)), 0.001)
    sizes[:, axis == 1.0], sizes[:, axis == 3.0] = 0.2, 0.05
    if gap:
        sizes[4] = np.nan
    times = np.asarray(2.0 + 3.0 * np.arange(stretches), dtype=np.float64)
    return OrderPicture("capstan", 12.05, times, np.asarray(12.05 * times, dtype=np.float64), axis, sizes, 48.0)


def told() -> Heard:
    events = (SpeedEvent(12.34, 0.16, -0.82, 0.1, 1e-9, "dip"), SpeedEvent(31.0, 0.5, 0.4, 0.1, 1e-5, "snatch"))
    return replace(heard(), budget=(TWINS, *heard().budget), events=events, in_angle=orders(), in_no_line=0.31)


def test_what_cannot_be_told_apart_is_said_with_both_names() -> None:
    said = whose_line(TWINS, MACHINE)
    assert "take-up reel" in said
    assert "supply reel" in said
    assert "not to be told apart" in said
    assert short_name(TWINS, MACHINE) == "take-up reel or supply reel"


def test_another_part_that_may_make_it_is_said_as_that() -> None:
    item = BudgetItem("capstan", 1, 12.0, 0.1, 0.01, 0.8, (Rival("idler_tyre", 6, 0.2, True),), ("flywheel",))
    assert whose_line(item, MACHINE) == (
        "capstan (on one shaft with flywheel); else idler tyre, 6 times its rate (20 %)"
    )
    assert short_name(item, MACHINE) == "capstan"


def test_text_and_page_say_the_same() -> None:
    text, page = heard_text([told()], MACHINE), html_report(replace(record(), heard=(told(),)), MACHINE)
    for words in ("supply reel", "-0.82", "snatch", "31 % is in no line"):
        assert words in text, words
        assert words in page, words
    assert " ".join(ONCE.split()) in " ".join(text.split())
    assert ONCE in page
    assert "25 %" in budget_text([TWINS], MACHINE)


def test_the_picture_of_orders_has_its_words_and_its_table() -> None:
    found = orders()
    drawn = order_chart(found, MACHINE)
    assert "1 a turn 0.2 %" in drawn
    assert "capstan" in drawn
    assert "stroke-dasharray" in drawn  # the stretch that was left out
    assert orders_shown(found) == [0.25, 0.5, 1.0, 2.0, 3.0, 4.0]
    rows = order_rows(orders(gap=False))
    assert len(rows) == 12
    assert {row[3] for row in rows} == {"0.200"}
    assert {row[5] for row in rows} == {"0.050"}


def test_a_stretch_that_was_left_out_is_said_to_be() -> None:
    found = orders(stretches=8)
    assert [row[1] for row in order_rows(found)].count("left out") == 1


@pytest.mark.parametrize("sizes", [np.full((3, 32), np.nan), np.zeros((3, 32))])
def test_a_picture_of_nothing_says_so(sizes: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    assert "Nothing was left" in order_chart(replace(orders(3, gap=False), peak_pct=sizes), MACHINE)


def test_darker_is_larger() -> None:
    """The shade of each rectangle rises with its size: read back from the drawing."""

    found = orders(1, gap=False)
    shades = [float(one) for one in re.findall(r'<rect x="40"[^>]*fill-opacity="([0-9.]+)"', order_chart(found, None))]
    assert sorted(shades)[-1] == 1.0
    assert len(set(shades)) == 2


def test_a_picture_stays_small() -> None:
    assert len(order_chart(orders(36), MACHINE)) < 60_000
