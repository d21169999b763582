"""A machine over the years, for eyes: rows for a table, and how one reading went."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from tapewright.machine.parts import Machine
from tapewright.show.plotting import DRAWN_AS, empty, plain_number, plotted
from tapewright.show.said import name_of, reading_name, with_doubt
from tapewright.show.svg import INK, MUTED
from tapewright.words.visits import Trend

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LINE: Final = "line "


def trend_name(name: str, machine: Machine | None) -> str:
    """Say what a trend is of: a reading, or the line of a part."""
    if not name.startswith(LINE):
        return reading_name(name)
    part, _, order = name.removeprefix(LINE).rpartition(" ")
    times = "" if order == "1" else f", {order} times its rate"
    return f"line of the {name_of(machine, part)}{times}"


def trend_rows(trends: Sequence[Trend], machine: Machine | None) -> list[list[str]]:
    """Put each trend into words: what, the last value, the change in a year, whether it grows."""
    return [
        [trend_name(one.name, machine), _last(one), _change(one), "growing" if one.rising else "not more than doubt"]
        for one in trends
        if one.per_year.value is not None
    ]


def _last(trend: Trend) -> str:
    reading = trend.points[-1][1]
    return "" if reading.value is None else with_doubt(reading.value, reading.doubt, reading.unit)


def _change(trend: Trend) -> str:
    assert trend.per_year.value is not None
    return with_doubt(trend.per_year.value, trend.per_year.doubt, "% a year", sign=True)


def trend_chart(trend: Trend, machine: Machine | None) -> str:
    """Draw one reading over the years, each visit with its doubt, what repairs changed taken out.

    Arguments:
        trend: with its points.
        machine: whose parts make the lines.
    """
    title = f"{trend_name(trend.name, machine).capitalize()} over the years"
    kept = [(on, one.value, one.doubt or 0.0) for on, one in trend.points if one.value is not None]
    if not kept:
        return empty(title, "It was never measured.")
    days, values, doubts = zip(*kept, strict=True)

    def draw(axes: "Axes") -> None:
        years = [_year(day) for day in days]
        axes.errorbar(
            years, values, yerr=doubts, fmt="o-", color=DRAWN_AS[INK], ecolor=DRAWN_AS[MUTED], capsize=3, linewidth=0.9
        )
        axes.set_xlabel("year")
        axes.set_ylabel("%")
        axes.xaxis.set_major_formatter(plain_number)
        axes.margins(x=0.06)

    said = "; ".join(f"{day.isoformat()} {value:.3g} %" for day, value in zip(days, values, strict=True))
    return plotted(title, f"{said}. What repairs changed is taken out.", draw)


def _year(day: date) -> float:
    return day.year + (day.timetuple().tm_yday - 1) / 365.25
