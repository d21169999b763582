"""Slow speed change without a test tone, for a terminal and as plain data: a part of its own, under its own grade."""

from typing import Any, Final

import numpy as np

from tapewright.measure.slow_speed import SlowSpeed
from tapewright.measure.without_tone import ChannelWithoutTone
from tapewright.show.columns import heading, paragraph, table
from tapewright.show.said import reading_said, with_doubt
from tapewright.words.plain import plain

ROWS: Final = 12
"""So many moments of the course are shown; --json has all of them."""
SOURCES: Final = {"hum": "mains hum on the tape", "programme": "steady partials of the programme"}
LESS: Final = (
    "Lower grade than a reading of a test tone: it goes into no diagnosis and is held against no limit. It is the "
    "recording's and the playback's change together."
)


def without_tone_text(channels: tuple[ChannelWithoutTone, ...]) -> str:
    """Set out what hum and programme tell of slow speed change, channel by channel.

    Arguments:
        channels: from `measure_without_tone`.
    """
    pieces = []
    for number, channel in enumerate(channels, 1):
        pieces.append(heading(f"Without a test tone, channel {number}: an estimate") + "\n" + paragraph(LESS))
        pieces += [_source(found) for found in (channel.hum, channel.programme)]
    return "\n\n".join(pieces)


def _source(found: SlowSpeed) -> str:
    lines = [paragraph(f"By {SOURCES[found.source]}:")]
    if found.trace is None:
        lines.append(paragraph(f"No reading: {found.drift_pct.why_not}", "  "))
    else:
        for name, reading in (("drift", found.drift_pct), ("mean speed error", found.speed_error_pct)):
            said = "; ".join(filter(None, (reading.method, reading.conditions)))
            lines.append(
                paragraph(f"{name} {reading_said('drift_pct', reading)}" + (f" ({said})" if said else ""), "  ")
            )
        lines.append(_course(found))
    return "\n".join([*lines, *(paragraph(note, "  ") for note in found.notes)])


def _course(found: SlowSpeed) -> str:
    if found.trace is None:
        return ""
    times, values = found.trace.times_s, found.trace.values
    there = np.flatnonzero(np.isfinite(values))
    shown = there[np.unique(np.linspace(0, len(there) - 1, min(ROWS, len(there))).round().astype(int))]
    rows = [
        [f"{times[at]:.0f}", with_doubt(100.0 * float(values[at]), 100.0 * float(found.doubt[at]), "", sign=True)]
        for at in shown
    ]
    return table(["at, s", "speed against its mean, %"], rows, right=[0, 1])


def without_tone_json(channels: tuple[ChannelWithoutTone, ...]) -> list[dict[str, Any]]:
    """Give the same as plain data, one for each channel.

    Arguments:
        channels: from `measure_without_tone`.
    """
    return [{"hum": _plain(channel.hum), "programme": _plain(channel.programme)} for channel in channels]


def _plain(found: SlowSpeed) -> dict[str, Any]:
    shown = {
        "grade": "estimate",
        "drift_pct": plain(found.drift_pct),
        "speed_error_pct": plain(found.speed_error_pct),
        "course": [],
        "notes": list(found.notes),
    }
    if found.trace is not None:
        columns = (found.trace.times_s, 100.0 * found.trace.values, 100.0 * found.doubt)
        shown["course"] = [
            {"time_s": plain(float(at)), "speed_pct": plain(float(value)), "doubt_pct": plain(float(doubt))}
            for at, value, doubt in zip(*columns, strict=True)
        ]
    return shown


__all__ = ["without_tone_json", "without_tone_text"]
