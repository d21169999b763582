"""Numbers -> SVG: speed over time, the spectrum of flutter with its lines named, beliefs as bars."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Final

import numpy as np

from tapewright.machine.parts import Machine
from tapewright.show.lines_said import short_name
from tapewright.show.plotting import DRAWN_AS, empty, plain_number, plotted, thinned
from tapewright.show.said import name_of, percent
from tapewright.show.svg import FAINT, INK, MUTED, PAPER, SECOND, SUSPECT, element, picture, text
from tapewright.words.findings import Belief, BudgetItem
from tapewright.words.signal import Trace

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN_LINES: Final = 8
"""How many lines of a spectrum are named; more names would cover each other."""
ROWS, ROW = 8, 0.06
"""Rows of names over a spectrum, and the height of one as a share of the axis."""
LETTER_OF_AXIS: Final = 0.0145
"""Width of a letter of those names as a share of the axis: half of 8.5 points, of 320, and some air."""
SIDES: Final = tuple(sides for count in (3, 2, 1) for sides in permutations((0.0, 0.96, -0.96), count))
"""Where to try a name: over its line (0), as a flag right or left of it; some crowds need flags of one kind only."""


def speed_chart(trace: Trace, title: str = "Speed over time") -> str:
    """Draw the speed deviation over time, percent, fast upward; gaps where it was masked.

    Arguments:
        trace: a ratio.
        title: the picture's name.
    """
    times, values = thinned(trace.times_s, 100.0 * trace.values)
    finite = values[np.isfinite(values)]

    def draw(axes: "Axes") -> None:
        axes.axhline(0.0, color=DRAWN_AS[MUTED], linewidth=0.8, linestyle=(0, (4, 3)))
        axes.plot(times, values, color=DRAWN_AS[INK], linewidth=0.7)
        axes.set_xlabel("time in the recording, s")
        axes.set_ylabel("speed deviation, %")
        axes.margins(x=0.01)

    if not len(finite):
        return empty(title, "Nothing was left of the recording.")
    said = (
        f"From {times[0]:.1f} s to {times[-1]:.1f} s the speed lies between {finite.min():+.2f} % and "
        f"{finite.max():+.2f} % of its mean. Fast is upward; gaps are stretches that were left out."
    )
    return plotted(title, said, draw)


def spectrum_chart(
    frequency_hz: Sequence[float],
    peak_pct: Sequence[float],
    budget: Sequence[BudgetItem] = (),
    machine: Machine | None = None,
    title: str = "Spectrum of the flutter",
) -> str:
    """Draw the flutter over frequency, both axes logarithmic, the largest lines named by the part that makes them.

    Arguments:
        frequency_hz: rising, shape (n,).
        peak_pct: size of a steady line there, percent peak, shape (n,).
        budget: which part makes which line; one that is nobody's is marked "?".
        machine: whose parts they are.
        title: the picture's name.
    """
    frequencies, sizes = np.asarray(frequency_hz, dtype=np.float64), np.asarray(peak_pct, dtype=np.float64)
    good = np.isfinite(sizes) & (frequencies > 0) & (sizes > 0)
    if not good.any():
        return empty(title, "There is no spectrum.")
    frequencies, sizes = thinned(frequencies[good], sizes[good])
    named = sorted(budget, key=lambda item: -item.peak_pct)[:SHOWN_LINES]
    ends = float(frequencies.min()) / 1.1, float(frequencies.max()) * 1.1
    tags = set_out([(item.frequency_hz, _tag(item, machine)) for item in named], ends)
    named.sort(key=lambda item: item.frequency_hz)

    def draw(axes: "Axes") -> None:
        axes.loglog(frequencies, sizes, color=DRAWN_AS[INK], linewidth=0.7)
        top = max([float(sizes.max()), *(item.peak_pct for item in named)]) * 1.3
        low = max(float(sizes.min()), top * 1e-4) * 0.8
        rows = 1 + max((tag.row for tag in tags.values()), default=-1)
        high = float(low * (top / low) ** (1.0 / (1.0 - ROW * rows - 0.02)))
        axes.set_xlim(*ends)
        axes.set_ylim(low, high)
        for item in named:
            tag = tags.get(item.frequency_hz)
            height = None if tag is None else float(low * (high / low) ** (1.0 - ROW * (rows - tag.row)))
            _name_line(axes, item, tag, height)
        axes.set_xlabel("frequency, Hz")
        axes.set_ylabel("flutter, % peak")
        axes.xaxis.set_major_formatter(plain_number)
        axes.yaxis.set_major_formatter(plain_number)

    told = "; ".join(f"{item.frequency_hz:.3g} Hz {item.peak_pct:.2g} % {short_name(item, machine)}" for item in named)
    return plotted(title, f"Steady lines: {told}." if told else "No line stands out.", draw, tall=3.5)


def _tag(item: BudgetItem, machine: Machine | None) -> str:
    return f"{short_name(item, machine)} {item.frequency_hz:.3g}"


@dataclass(frozen=True, slots=True)
class Tag:
    """A name over a spectrum.

    Arguments:
        says: the name.
        middle_hz: where its middle stands.
        row: 0 for the lowest row of names.
    """

    says: str
    middle_hz: float
    row: int


def set_out(wanted: Sequence[tuple[float, str]], ends_hz: tuple[float, float]) -> dict[float, Tag]:
    """Set names out in rows over a spectrum, so that none touches another or another's leader.

    Arguments:
        wanted: frequency and name, the most important first; one that finds no room is left out.
        ends_hz: lowest and highest frequency of the axis, which is logarithmic.

    >>> tags = set_out([(10.0, "capstan 10"), (11.0, "idler tyre 11")], (1.0, 100.0))
    >>> [tag.row for tag in tags.values()]
    [0, 0]
    """
    orders = (wanted, sorted(wanted), sorted(wanted, reverse=True))
    tries = [_set_out(order, sides, ends_hz) for order in orders for sides in SIDES]
    return max(tries, key=lambda found: (len(found), -max((tag.row for tag in found.values()), default=0)))


def _set_out(
    wanted: Sequence[tuple[float, str]], sides: tuple[float, ...], ends_hz: tuple[float, float]
) -> dict[float, Tag]:
    """Set names out in a given order, each in the lowest row that is free, over its line or as a flag beside it."""
    octaves = np.log(ends_hz[1] / ends_hz[0])
    taken: list[list[tuple[float, float]]] = [[] for _ in range(ROWS)]
    found: dict[float, Tag] = {}
    for frequency, says in wanted:
        at = float(np.log(max(frequency, 1e-9) / ends_hz[0]) / octaves)
        half = len(says) * LETTER_OF_AXIS / 2
        leader = (at - 0.004, at + 0.004)
        places = [(row, at + side * half) for row in range(ROWS) for side in sides]
        for row, middle in places:
            span = (middle - half, middle + half)
            inside = span[0] >= 0.0 and span[1] <= 1.0
            passes = not any(_meet(leader, other) for below in taken[:row] for other in below)
            if inside and passes and frequency not in found and not any(_meet(span, other) for other in taken[row]):
                for below in taken[:row]:
                    below.append(leader)
                taken[row].append(span)
                found[frequency] = Tag(says, float(ends_hz[0] * np.exp(middle * octaves)), row)
    return found


def _meet(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[0] < other[1] and other[0] < one[1]


def _name_line(axes: "Axes", item: BudgetItem, tag: Tag | None, height: float | None) -> None:
    """Mark one line and name it, with a leader; one that is nobody's has another mark, another dash, another colour."""
    nobody = not item.order
    colour = DRAWN_AS[SUSPECT if nobody else SECOND]
    axes.plot([item.frequency_hz], [item.peak_pct], marker="D" if nobody else "o", markersize=4, color=colour,
              linestyle="none")  # fmt: skip
    if tag is None or height is None:
        return
    axes.plot([item.frequency_hz] * 2, [item.peak_pct, height], color=colour, linewidth=0.9,
              linestyle=":" if nobody else "--")  # fmt: skip
    axes.text(tag.middle_hz, height, tag.says, ha="center", va="bottom", fontsize=8.5, parse_math=False,
              color=DRAWN_AS[SUSPECT if nobody else INK])  # fmt: skip


# --- beliefs ----------------------------------------------------------------------------------------------------------


def beliefs_chart(
    beliefs: Sequence[Belief],
    machine: Machine,
    none: float | None = None,
    most: int = 8,
    title: str = "What explains it",
) -> str:
    """Draw beliefs as two bars each: what a part explains, hatched, and how likely it is out of order, plain.

    Arguments:
        beliefs: the best explanation first.
        machine: whose parts they are.
        none: share that none of them explains; None to leave it out.
        most: how many to draw.
        title: the picture's name.
    """
    shown = beliefs[:most]
    rows = [(name_of(machine, b.part), b.explains_complaint, b.out_of_order) for b in shown]
    bars: list[tuple[str, float, float | None]] = [
        *rows,
        *([("none of these", none, None)] if none is not None else []),
    ]
    key = "b" + hashlib.sha256(repr((machine.id, bars, title)).encode()).hexdigest()[:8]
    told = "; ".join(
        f"{name}: explains {percent(explains)}" + (f", out of order {percent(out)}" if out is not None else "")
        for name, explains, out in bars
    )
    if not bars:
        return empty(title, "Nothing has been worked out.")
    drawn = "".join(_bar_row(key, k, *bar) for k, bar in enumerate(bars))
    height = _TOP + _ROW * len(bars) + 4.0
    ticks = "".join(_tick(share, height) for share in (0.0, 0.25, 0.5, 0.75, 1.0))
    pieces = (_bar_hatch(key), _bar_key(key), ticks, drawn)
    return picture(title, told + ".", (0.0, 0.0, _WIDE, height), key, *pieces, kind="chart")


_WIDE, _ROW, _TOP, _LEFT, _SPAN = 374.0, 30.0, 46.0, 4.0, 300.0
_NAME, _BAR = 10.5, 6.0


def _bar_row(key: str, k: int, name: str, explains: float, out: float | None) -> str:
    y = _TOP + _ROW * k
    pieces = [element("text", text(name), x=_LEFT, y=y + 9.5, font_size=_NAME, fill=INK)]
    pieces.append(_bar(y + 12.5, explains, f"url(#{key}-h)", SUSPECT))
    if out is not None:
        pieces.append(_bar(y + 12.5 + _BAR + 1.0, out, FAINT, MUTED))
    ends = f"{percent(explains)}" + (f" / {percent(out)}" if out is not None else "")
    pieces.append(element("text", text(ends), x=_WIDE - 4.0, y=y + 9.5, font_size=9.0, fill=INK, text_anchor="end"))
    return element("g", *pieces)


def _bar(y: float, share: float, fill: str, edge: str) -> str:
    width = max(0.8, _SPAN * min(1.0, max(0.0, share)))
    return element("rect", x=_LEFT, y=y, width=width, height=_BAR, fill=fill, stroke=edge, stroke_width=0.8)


def _tick(share: float, height: float) -> str:
    x = _LEFT + _SPAN * share
    line = element("line", x1=x, y1=_TOP - 4.0, x2=x, y2=height - 2.0, stroke=FAINT, stroke_width=0.8)
    anchor = "start" if share == 0 else "middle"
    return line + element("text", f"{share:.0%}", x=x, y=_TOP - 8.0, font_size=8.5, fill=MUTED, text_anchor=anchor)


def _bar_key(key: str) -> str:
    pieces = []
    hatched = (_LEFT, f"url(#{key}-h)", SUSPECT, "explains the complaint")
    for x, fill, edge, says in (hatched, (160.0, FAINT, MUTED, "out of order at all")):
        pieces.append(
            element("rect", x=x, y=8.0, width=18.0, height=_BAR + 2.0, fill=fill, stroke=edge, stroke_width=0.8)
        )
        pieces.append(element("text", says, x=x + 23.0, y=15.5, font_size=10.0, fill=INK))
    return element("g", *pieces)


def _bar_hatch(key: str) -> str:
    ground = element("rect", width=4.0, height=4.0, fill=PAPER)
    line = element("line", x1=0.0, y1=0.0, x2=0.0, y2=4.0, stroke=SUSPECT, stroke_width=3.0)
    return element("defs", element("pattern", ground, line, id=f"{key}-h", patternUnits="userSpaceOnUse", width=4.0,
                                   height=4.0, patternTransform="rotate(45)"))  # fmt: skip
