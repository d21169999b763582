"""Before and after, for eyes: as text, as two curves on one plot, and as a page that needs nothing beside it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from tapewright.machine.parts import Machine
from tapewright.show.acceptance_rows import unit_said, value_said, what_said
from tapewright.show.columns import heading, paragraph, table
from tapewright.show.paper import inline, template
from tapewright.show.plotting import DRAWN_AS, Points, empty, plain_number, plotted, thinned
from tapewright.show.said import name_of, reading_name, reading_said, with_doubt
from tapewright.show.svg import INK, MUTED, SUSPECT
from tapewright.words.comparison import (
    NEITHER,
    WITHIN_DOUBT,
    ChannelChange,
    LineChange,
    PassChange,
    ReadingChange,
)
from tapewright.words.one_pass import BETWEEN, CROSSTALK, DELAY, LEVEL, NAMES, RESPONSE, THIRD, Judgement
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.verdict import FAIL, PASS
from tapewright.words.verdict import WITHIN_DOUBT as NEAR

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STEPS_PER_OCTAVE: Final = 36
PASS_SAID: Final = (
    "What changed beyond doubt, and what a limit holds for. Of response, third harmonic and crosstalk the "
    "largest change of each track is shown. Levels and delays have no aim of their own and are left out."
)


PASS_HEADINGS: Final = ("reading", "verdict", "before", "after", "change", "limit before, after")
SHORT: Final = {PASS: "✓ pass", FAIL: "✗ fail", NEAR: "≈ near"}
MANY_TONES: Final = (RESPONSE, BETWEEN, THIRD, CROSSTALK)
"""Readings that a pass has at many tones or levels: of each track the largest change tells."""


def comparison_text(
    changes: Sequence[ChannelChange],
    says: str,
    machine: Machine | None = None,
    heads: Sequence[PassChange] = (),
) -> str:
    """Set out what changed, channel by channel, and of heads and levels.

    Arguments:
        changes: one for each channel.
        says: what it comes to, a sentence.
        machine: whose parts make the lines.
        heads: of a test sequence, where both recordings hold one.
    """
    pieces = [paragraph(says)]
    for channel in changes:
        pieces.append("\n" + heading(f"Channel {channel.channel}"))
        if channel.why_not is not None:
            pieces.append(paragraph(f"Cannot be compared. {channel.why_not}"))
            continue
        pieces.append(table(["reading", "verdict", "before", "after", "change"], reading_rows(channel.readings)))
        if channel.lines:
            rows = line_rows(channel.lines, machine)
            pieces += ["", table(["line", "what makes it", "verdict", "before, %", "after, %", "change, %"], rows)]
    if heads:
        pieces += [
            "\n" + heading("Heads and levels"),
            table(list(PASS_HEADINGS), pass_rows(heads)),
            paragraph(PASS_SAID),
        ]
    return "\n".join(pieces)


def pass_rows(heads: Sequence[PassChange]) -> list[list[str]]:
    """Put each reading of a test sequence into words; of those at many tones the largest change of each track."""
    shown: dict[tuple[str, int, object], PassChange] = {}
    for one in heads:
        unchanged = one.verdict in (NEITHER, WITHIN_DOUBT) and not (one.judged_before or one.judged_after)
        once = one.change.value is None and one.after.name in MANY_TONES
        if unchanged or once or one.after.name in (LEVEL, DELAY):
            continue
        name, track = one.after.name, one.after.track
        key = (name, track, None if name in MANY_TONES else one.after.key)
        if key not in shown or _moved(one) > _moved(shown[key]):
            shown[key] = one
    return [
        [_tone_said(one), one.verdict, value_said(one.before.reading), value_said(one.after.reading),
         _change_said(replace(one.change, unit=unit_said(one.change.unit))), _limits_said(one)]
        for one in sorted(shown.values(), key=lambda one: (NAMES.index(one.after.name), one.after.track))
    ]  # fmt: skip


def _moved(one: PassChange) -> float:
    return abs(one.change.value or 0.0)


def _tone_said(one: PassChange) -> str:
    read = one.after
    said = what_said(Judgement(read.name, read.reading, None, read.track, read.from_track, read.at_hz))
    return said if read.at_db is None else f"{said}, {read.at_db:+g} dB"


def _limits_said(one: PassChange) -> str:
    pair = [one.judged_before, one.judged_after]
    return " → ".join(SHORT.get(each, "-") for each in pair) if any(pair) else ""


def reading_rows(changes: Sequence[ReadingChange]) -> list[list[str]]:
    """Put each reading into words: its name, the verdict, before, after, the change."""
    return [
        [reading_name(one.name), one.verdict, reading_said(one.name, one.before), reading_said(one.name, one.after),
         _change_said(one.change)]
        for one in changes
    ]  # fmt: skip


def line_rows(changes: Sequence[LineChange], machine: Machine | None) -> list[list[str]]:
    """Put each line into words: where it stands, whose it is, the verdict, before, after, the change."""
    return [
        [_where(one), _whose(one, machine), one.verdict, _size(one.before_pct), _size(one.after_pct),
         _change_said(one.change, unit=False)]
        for one in changes
    ]  # fmt: skip


def _change_said(change: Reading, *, unit: bool = True) -> str:
    if change.value is None:
        return "-"
    return with_doubt(change.value, change.doubt, change.unit if unit else "", sign=True)


def _where(line: LineChange) -> str:
    rates = [rate for rate in (line.before_hz, line.after_hz) if rate is not None]
    said = list(dict.fromkeys(f"{rate:.3g}" for rate in rates))
    return f"{' → '.join(said)} Hz"


def _whose(line: LineChange, machine: Machine | None) -> str:
    if not line.part:
        return "-" if machine is None else "nobody's"
    return name_of(machine, line.part) + ("" if line.order == 1 else f", {line.order} times its rate")


def _size(peak_pct: float | None) -> str:
    return "-" if peak_pct is None else f"{peak_pct:.3g}"


# --- on one plot ------------------------------------------------------------------------------------------------------


def speeds_chart(before: Heard, after: Heard, title: str = "Speed before and after") -> str:
    """Draw the speed of two recordings, one after the other on one scale, percent from nominal, fast upward.

    Arguments:
        before: one channel.
        after: the same of the later recording.
        title: the picture's name.
    """
    drawn = []
    for heard in (before, after):
        if heard.trace is None:
            return empty(title, "There is no tone in one of the recordings.")
        speed = heard.readings["speed_error_pct"].value or 0.0
        times, values = thinned(heard.trace.times_s - heard.trace.start_s, speed + 100.0 * heard.trace.values)
        drawn.append((times, values))

    ends = [float(times[-1]) for times, _ in drawn]
    gap = 0.04 * sum(ends)

    def draw(axes: "Axes") -> None:
        axes.axhline(0.0, color=DRAWN_AS[MUTED], linewidth=0.8, linestyle=(0, (4, 3)))
        ticks: list[tuple[float, str]] = []
        for (times, values), start, when, colour in zip(
            drawn, (0.0, ends[0] + gap), ("before", "after"), (SUSPECT, INK), strict=True
        ):
            axes.plot(start + times, values, color=DRAWN_AS[colour], linewidth=0.6)
            middle = (start + 0.5 * float(times[-1]), 1.02)
            axes.text(*middle, when, transform=axes.get_xaxis_transform(), ha="center", color=DRAWN_AS[colour])
            ticks += [(start + share * float(times[-1]), f"{share * times[-1]:.3g}") for share in (0.0, 0.5, 1.0)]
        axes.set_xticks([at for at, _ in ticks], [says for _, says in ticks])
        axes.set_xlabel("time since each tone began, s")
        axes.set_ylabel("speed error, %")
        axes.margins(x=0.01)

    ranges = [f"{np.nanmin(values):+.2f} to {np.nanmax(values):+.2f} %" for _, values in drawn]
    return plotted(title, f"Before: {ranges[0]} from nominal. After: {ranges[1]}. Fast is upward.", draw)


def spectra_chart(before: Heard, after: Heard, title: str = "Flutter before and after") -> str:
    """Draw the flutter of two recordings over frequency, both axes logarithmic.

    Arguments:
        before: one channel.
        after: the same of the later recording.
        title: the picture's name.
    """
    drawn = []
    for heard in (before, after):
        frequencies, sizes = np.asarray(heard.spectrum_hz), np.asarray(heard.spectrum_pct)
        good = np.isfinite(sizes) & (frequencies > 0) & (sizes > 0)
        if not good.any():
            return empty(title, "There is no spectrum of one of the recordings.")
        drawn.append(_tallest(frequencies[good], sizes[good]))

    def draw(axes: "Axes") -> None:
        axes.loglog(*drawn[0], color=DRAWN_AS[SUSPECT], linewidth=0.8, linestyle=(0, (5, 1.5)), label="before")
        axes.loglog(*drawn[1], color=DRAWN_AS[INK], linewidth=0.8, label="after")
        axes.set_xlabel("frequency, Hz")
        axes.set_ylabel("flutter, % peak")
        axes.xaxis.set_major_formatter(plain_number)
        axes.yaxis.set_major_formatter(plain_number)
        axes.legend(loc="upper right", frameon=False, ncols=2)

    most = [(float(sizes.max()), float(frequencies[sizes.argmax()])) for frequencies, sizes in drawn]
    said = [f"largest {size:.2g} % at {rate:.3g} Hz" for size, rate in most]
    return plotted(title, f"Before: {said[0]}. After: {said[1]}.", draw, tall=3.0)


def _tallest(frequencies: Points, sizes: Points) -> tuple[Points, Points]:
    """Keep the tallest of each small step of a logarithmic axis: two spectra of noise would hide each other."""
    step = np.floor(np.log2(frequencies) * STEPS_PER_OCTAVE).astype(int)
    order = np.lexsort((sizes, step))
    last = np.append(np.flatnonzero(np.diff(step[order])), len(order) - 1)
    return frequencies[order][last], sizes[order][last]


# --- the page ---------------------------------------------------------------------------------------------------------


def comparison_page(
    changes: Sequence[ChannelChange],
    says: str,
    before: Sequence[Heard],
    after: Sequence[Heard],
    machine: Machine | None = None,
    heads: Sequence[PassChange] = (),
) -> str:
    """Write a comparison as one HTML file: no script, no network, light and dark, for screen and paper.

    Arguments:
        changes: one for each channel.
        says: what it comes to, a sentence.
        before: the channels of the earlier recording, for the plots; those without a curve are not drawn.
        after: the same of the later one.
        machine: whose parts make the lines.
        heads: of a test sequence, where both recordings hold one.
    """
    earlier, later = ({one.channel: one for one in heard} for heard in (before, after))
    channels = []
    for one in changes:
        pair = earlier.get(one.channel), later.get(one.channel)
        pictures = []
        if pair[0] is not None and pair[1] is not None and pair[0].trace is not None and pair[1].trace is not None:
            pictures = [inline(speeds_chart(pair[0], pair[1])), inline(spectra_chart(pair[0], pair[1]))]
        channels.append({
            "number": one.channel, "why_not": one.why_not, "pictures": pictures,
            "readings": reading_rows(one.readings), "lines": line_rows(one.lines, machine),
        })  # fmt: skip
    files = [next((one.file for one in heard), "") for heard in (before, after)]
    return template("comparison.html.j2").render(
        says=says,
        channels=channels,
        files=files,
        machine=machine,
        heads=pass_rows(heads),
        heads_said=PASS_SAID,
        pass_headings=PASS_HEADINGS,
    )
