"""Charts show what they are given: gaps stay gaps, peaks stay peaks, lines are named, nothing needs a network."""

import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.library import shipped
from tapewright.show.charts import Tag, beliefs_chart, set_out, spectrum_chart, speed_chart
from tapewright.show.plotting import MOST_POINTS, thinned
from tapewright.show.svg import inlined
from tapewright.words.findings import Belief, BudgetItem
from tapewright.words.signal import Trace
from tests.show.sample import heard, record

MACHINE = shipped("four_track")


def spectrum() -> str:
    return spectrum_chart(heard().spectrum_hz, heard().spectrum_pct, heard().budget, MACHINE)


def words(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter() if node.tag.endswith("}text")]


CHARTS: dict[str, Callable[[], str]] = {
    "speed": lambda: speed_chart(heard().trace or Trace(np.zeros(0), 1.0)),
    "spectrum": spectrum,
    "beliefs": lambda: beliefs_chart(record().beliefs, MACHINE, record().none_of_these),
    "nothing left": lambda: speed_chart(Trace(np.full(100, np.nan), 10.0)),
    "no spectrum": lambda: spectrum_chart([], []),
    "no beliefs": lambda: beliefs_chart([], MACHINE),
}


@pytest.mark.parametrize("name", CHARTS)
def test_each_is_a_picture_with_a_title_that_needs_nothing(name: str) -> None:
    svg = CHARTS[name]()
    root = ET.fromstring(svg)
    kinds = [node.tag.rpartition("}")[2] for node in root]
    assert kinds[:2] == ["title", "desc"]
    assert root.get("role") == "img"
    for forbidden in ("http", "<style", " style=", "<script", "<metadata", "<image"):
        assert forbidden not in inlined(svg)
    assert svg == CHARTS[name](), "not the same twice"


@pytest.mark.parametrize("name", CHARTS)
def test_ids_are_not_shared_and_all_that_are_asked_for_exist(name: str) -> None:
    svg = CHARTS[name]() + CHARTS["speed"]() * (name != "speed")
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    asked = re.findall(r"url\(#([^)]+)\)", svg) + re.findall(r'href="#([^"]+)"', svg)
    assert set(asked) <= set(ids)


# --- thinning ---------------------------------------------------------------------------------------------------------


@given(st.integers(0, 30000), st.integers(0, 2**32 - 1))
def test_thinning_keeps_extremes_and_order(count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(count)
    times = np.arange(count) / 100.0
    x, y = thinned(times, values)
    assert len(x) <= MOST_POINTS
    assert np.all(np.diff(x) > 0)
    if count:
        assert y.max() == values.max()
        assert y.min() == values.min()


def test_a_gap_stays_a_gap() -> None:
    values = np.sin(np.arange(100000) / 50.0)
    values[40000:40500] = np.nan
    x, y = thinned(np.arange(100000.0), values)
    assert len(x) <= MOST_POINTS
    hidden = [b - a for (a, u), (b, v) in pairwise(zip(x, y, strict=True)) if np.isfinite(u) and np.isfinite(v)]
    assert max(hidden) < 200, "a line was drawn across what was left out"
    assert np.isnan(y).any()


def path_pieces(svg: str) -> int:
    """Count the strokes of the longest path: how often the pen is put down."""
    return max((node.get("d", "") for node in ET.fromstring(svg).iter()), key=len).count("M ")


def test_the_pen_is_lifted_where_the_trace_is_masked() -> None:
    values = 0.001 * np.sin(np.arange(3000) / 40.0)
    whole, broken = values.copy(), values.copy()
    broken[1000:1200] = np.nan
    assert path_pieces(speed_chart(Trace(whole, 100.0))) == 1
    assert path_pieces(speed_chart(Trace(broken, 100.0))) == 2


def test_a_long_trace_makes_a_light_picture() -> None:
    rng = np.random.default_rng(3)
    svg = speed_chart(Trace(0.001 * rng.standard_normal(1_000_000), 500.0))
    assert len(svg) < 200_000


# --- what is written --------------------------------------------------------------------------------------------------


def test_lines_are_named_by_part_and_nobodys_with_a_question_mark() -> None:
    said = words(spectrum())
    assert {"capstan 12.1", "take-up reel 0.55", "? 8.3"} <= set(said)
    lines = [node.attrib for node in ET.fromstring(spectrum()).iter() if "stroke-dasharray" in node.attrib]
    assert len({one["stroke-dasharray"] for one in lines}) >= 2, "told apart by colour alone"


@given(st.lists(st.tuples(st.floats(0.3, 190.0), st.text("abc ", min_size=1, max_size=24)), max_size=12))
def test_names_over_a_spectrum_never_touch(wanted: list[tuple[float, str]]) -> None:
    tags = set_out(wanted, (0.2, 200.0))

    def span(tag: Tag) -> tuple[float, float]:
        middle = np.log(tag.middle_hz / 0.2) / np.log(1000.0)
        return middle - 0.0072 * len(tag.says), middle + 0.0072 * len(tag.says)

    for (here, a), (_, b) in permutations(tags.items(), 2):
        (low_a, high_a), (low_b, high_b) = span(a), span(b)
        assert a.row != b.row or high_a <= low_b or high_b <= low_a
        leader = np.log(here / 0.2) / np.log(1000.0)
        assert a.row <= b.row or not low_b < leader < high_b, "a leader runs through a name"
        assert min(low_a, 1.0 - high_a) >= -1e-9


def test_a_name_that_has_room_is_not_left_out() -> None:
    assert len(set_out([(f, "reel") for f in (0.3, 1.0, 3.0, 10.0, 30.0, 100.0)], (0.2, 200.0))) == 6


def test_a_crowd_of_lines_is_named_whole() -> None:
    crowd = [2.33, 2.51, 4.66, 7.0, 8.67, 12.1, 57.6, 173.0]
    assert len(set_out([(f, f"pinch roller {f}") for f in crowd], (0.2, 200.0))) == len(crowd)


def test_a_harmonic_says_which() -> None:
    item = BudgetItem("capstan", 3, 36.15, 0.05, 0.01, 0.9)
    assert "capstan ×3 36.1" in words(spectrum_chart([1.0, 36.15, 100.0], [0.01, 0.05, 0.01], [item], MACHINE))


def test_what_people_named_is_escaped() -> None:
    item = BudgetItem("<b>$x$&", 1, 10.0, 0.05, 0.01, 0.9)
    assert "<b>$x$& 10" in words(spectrum_chart([1.0, 10.0, 100.0], [0.01, 0.05, 0.01], [item]))
    belief = Belief("<script>", "slack", 0.5, 0.5, 0.1)
    assert "<script>" in words(beliefs_chart([belief], MACHINE))


def test_bars_are_as_long_as_their_shares_and_told_apart_by_pattern() -> None:
    belief = Belief("capstan_belt", "slack", 0.75, 0.25, 0.1)
    bars = [n for n in ET.fromstring(beliefs_chart([belief], MACHINE)).iter() if n.get("height") == "6"]
    explains, out = bars
    assert float(out.get("width", 0)) == pytest.approx(3 * float(explains.get("width", 0)))
    assert (explains.get("fill") or "").startswith("url(#")
    assert not (out.get("fill") or "").startswith("url(#")


def test_nothing_loads_the_plotting_library_until_a_plot_is_drawn() -> None:
    script = "import sys, tapewright.show.report, tapewright.show.charts; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
