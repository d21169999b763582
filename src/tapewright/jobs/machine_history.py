"""The same machine over the years: its visits, and the trend of each reading and of each line of its flutter."""

from collections.abc import Sequence
from datetime import date
from typing import Final

import numpy as np

from tapewright.jobs.setting_up_kept import PREFIX
from tapewright.jobs.store.nouns import Measured, Sheet, Stage
from tapewright.jobs.store.opened import Store
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.visits import Trend, Visit

LINE: Final = "line"
YEAR_DAYS: Final = 365.25
LEAST_VISITS: Final = 3
"""Two points always lie on a line: they cannot tell a trend from chance."""
MOST_LINES: Final = 12
QUANTILE: Final = 1.96


def line_name(part: str, order: int) -> str:
    """Name a line of the flutter for the store.

    >>> line_name("capstan", 2)
    'line capstan 2'
    """
    return f"{LINE} {part} {order}"


def to_write_down(heard: Sequence[Heard], stage: Stage, sha256: str) -> list[Measured]:
    """Give what is kept of a measured recording: its best channel's readings, and the lines that parts explain.

    Arguments:
        heard: channel by channel.
        stage: of the recording.
        sha256: of the recording.
    """
    with_tone = [one for one in heard if one.tone.get("found")]
    if not with_tone:
        return []
    best = max(with_tone, key=lambda one: float(str(one.tone.get("snr_db") or 0.0)))
    kept = [
        Measured(
            name, reading.value, reading.unit, reading.doubt, "", reading.method, reading.conditions, stage, sha256
        )
        for name, reading in best.readings.items()
        if reading.value is not None
    ]
    largest = sorted((item for item in best.budget if item.order), key=lambda item: -item.peak_pct)[:MOST_LINES]
    lines = {line_name(item.part, item.order): item for item in reversed(largest)}
    return kept + [
        Measured(name, item.peak_pct, "%", item.doubt_pct, "", "peak size of a steady line", "", stage, sha256)
        for name, item in lines.items()
    ]


def visits(store: Store, serial: str) -> list[Visit]:
    """List the recordings of all visits of a machine, the earliest first.

    Arguments:
        store: where jobs are kept.
        serial: the machine's serial number; "" gives nothing.
    """
    if not serial:
        return []
    found: list[Visit] = []
    page = 1
    while True:
        lines = store.jobs(serial=serial, page=page, per_page=100)
        found += [visit for line in lines.lines for visit in _visits(store.job(line.id))]
        if page >= lines.pages:
            break
        page += 1
    return sorted(found, key=lambda visit: (visit.on, visit.ticket, visit.stage == "after"))


def _visits(sheet: Sheet) -> list[Visit]:
    """Give one visit for each stage that was measured; of several recordings the last one counts."""
    by_stage: dict[str, dict[str, Reading]] = {}
    days: dict[str, date] = {}
    there = {entry.what.sha256 for entry in sheet.files} | {""}
    for entry in sheet.readings:
        one = entry.what
        if one.value is None or one.sha256 not in there:  # of a recording that was taken out
            continue
        if one.name.startswith(PREFIX):  # what was set by hand is no wear
            continue
        stage = one.stage.value or "before"
        by_stage.setdefault(stage, {})[one.name] = Reading(one.value, one.unit, one.doubt, None, one.method)
        days[stage] = entry.at.astimezone().date()
    renewed = tuple(dict.fromkeys(entry.what.part for entry in sheet.parts if entry.what.part))
    return [
        Visit(sheet.id, sheet.ticket, days[stage], stage, sheet.particulars.complaint, renewed, readings)
        for stage, readings in by_stage.items()
    ]


def trends(made: Sequence[Visit]) -> list[Trend]:
    """Say of each reading how it goes from visit to visit.

    What a repair changed is no wear: each visit's reading from before the repair is set against the last one from after
    the repair before it, and only the change in between counts.

    Arguments:
        made: from `visits`.
    """
    names = dict.fromkeys(name for visit in made for name in visit.readings)
    return [_trend(name, made) for name in names]


def _trend(name: str, made: Sequence[Visit]) -> Trend:
    points: list[tuple[date, Reading]] = []
    shift = 0.0
    latest: float | None = None
    for visit in made:
        reading = visit.readings.get(name)
        if reading is None or reading.value is None:
            continue
        if visit.stage == "after" and latest is not None:
            shift += latest - reading.value  # the repair's own change, taken out of all that follows
        else:
            points.append((visit.on, Reading(reading.value + shift, reading.unit, reading.doubt)))
        latest = reading.value
    shown = tuple(points)
    if len({on for on, _ in points}) < LEAST_VISITS:
        why = f"Measured at {len(points)} visits; {LEAST_VISITS} days are needed to tell a trend from chance."
        return Trend(name, Reading(None, "%/year", why_not=why), shown, False)
    per_year = slope(
        [on.toordinal() / YEAR_DAYS for on, _ in points],
        [reading.value or 0.0 for _, reading in points],
        [max(reading.doubt or 0.0, 1e-9) for _, reading in points],
    )
    value, doubt = per_year.value or 0.0, per_year.doubt or 0.0
    last = points[-1][1].value or 0.0
    return Trend(name, per_year, shown, abs(value) > doubt and value * last > 0.0)


def slope(times_years: Sequence[float], values: Sequence[float], doubts: Sequence[float]) -> Reading:
    """Give the weighted least-squares slope through some points, percent a year.

    Arguments:
        times_years: shape (n,), at least two different ones.
        values: shape (n,).
        doubts: half widths of their 95 % intervals, shape (n,), over zero.

    The doubt is the larger of what the readings' own doubts give and what the points' scatter round the line gives.

    >>> round(slope([0.0, 1.0, 2.0], [1.0, 3.0, 5.0], [0.1, 0.1, 0.1]).value, 6)
    2.0
    """
    time, value = np.asarray(times_years), np.asarray(values)
    weight = (QUANTILE / np.asarray(doubts)) ** 2
    centre = float(weight @ time / weight.sum())
    spread = float(weight @ (time - centre) ** 2)
    found = float(weight @ ((time - centre) * value)) / spread
    mean = float(weight @ value / weight.sum())
    left = value - mean - found * (time - centre)
    scatter = float(weight @ left**2) / max(1, len(time) - 2)
    doubt = QUANTILE * float(np.sqrt(max(1.0, scatter) / spread))
    return Reading(found, "%/year", doubt, method="weighted least squares over the visits")
