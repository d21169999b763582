"""What a test sequence said, for a terminal: where it stands, and every reading, a column for each track."""

import math
from collections.abc import Callable, Sequence
from itertools import groupby
from typing import Final

from tapewright.measure.one_pass_parts import OnePass, TrackReadings
from tapewright.measure.replay_response import Response
from tapewright.measure.sequence_finding import FoundSequence
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.said import with_doubt
from tapewright.show.sequence_sheet import ERASE, SAID
from tapewright.words.clock import clock
from tapewright.words.reading import Reading
from tapewright.words.sequence import Section

LEAST_DOUBT: Final = 0.01
"""A doubt below this is written as this: a machine has none so small, only a file has."""
NO: Final = "-"
ROWS: Final[tuple[tuple[str, Callable[[TrackReadings], Reading]], ...]] = (
    ("reference level, dB re full scale", lambda track: track.level_db),
    ("against the mean of all tracks, dB", lambda track: track.balance_db),
    ("delay against the mean, µs", lambda track: track.delay_us),
    ("gap off the line, µm", lambda track: track.gap_scatter_um),
    ("noise, A-weighted, dB", lambda track: track.noise_a_db),
    ("noise, BS.468 quasi-peak, dB", lambda track: track.noise_468_db),
    ("level at 3 % third harmonic, dB", lambda track: track.level_at_three_percent_db),
    ("left by erasing, dB", lambda track: track.erasure_db),
    ("between many tones, dB", lambda track: _between(track)),
    ("hum, all harmonics, dB", lambda track: track.hum_total_db),
    ("dropouts, a minute", lambda track: track.dropouts_per_minute),
)


def _between(track: TrackReadings) -> Reading:
    none = Reading(None, "dB", why_not="No section of many tones was found.")
    return none if track.multitone is None else track.multitone.between_db


def found_text(found: FoundSequence) -> str:
    """Say which test sequence was found, where, and what is missing of it.

    Arguments:
        found: from `find_sequence`.
    """
    first, last = found.sections[0], found.sections[-1]
    said = (
        f"From {clock(first.start_s)} to {clock(last.end_s)} in the file, {len(found.sections)} of "
        f"{len(found.sequence.sections)} sections. Speed ratio {found.speed_ratio:.5f}."
    )
    held = [
        f"track {track} on channel {channel + 1}{_turned(found.polarity[track - 1])}"
        for track, channel in enumerate(found.channel_of_track, 1)
        if channel is not None
    ]
    pieces = [
        heading(f"Test sequence: {found.sequence.name}"),
        paragraph(said),
        paragraph(f"{'; '.join(held)}.".capitalize()) if held else paragraph("No channel holds a track of its own."),
    ]
    if found.missing:
        pieces.append(paragraph(f"Missing: {_counted(found.missing)}."))
    if found.notes:
        pieces.append(bullets(found.notes))
    return "\n".join(pieces)


def _turned(polarity: int) -> str:
    return {1: "", -1: ", polarity turned over", 0: ", polarity not told"}[polarity]


def _counted(sections: Sequence[Section]) -> str:
    """Name sections, those alike and next to each other once."""
    named = [ERASE if one.to_be_erased else SAID[one.kind] for one in sections]
    runs = [(name, len(list(each))) for name, each in groupby(named)]
    return ", ".join(name if count == 1 else f"{name} ({count})" for name, count in runs)


def pass_text(readings: OnePass, speed_ratio: float = 1.0) -> str:
    """Set out the readings of a test sequence.

    Arguments:
        readings: from `read_one_pass`.
        speed_ratio: how fast the tape played, to name the tones as they were recorded.
    """
    tracks = readings.tracks
    headings = ["", *(f"track {one.track}" for one in tracks)]
    rows = [[name, *(_said(of(one)) for one in tracks)] for name, of in ROWS]
    pieces = [
        paragraph(f"Azimuth: {_or_why(readings.azimuth_arcmin)}; wander {_or_why(readings.azimuth_wander_arcmin)}."),
        table(headings, rows),
    ]
    response = _response(tracks, speed_ratio)
    if response:
        pieces.append(table(["response, dB, at, Hz", *headings[1:]], response, right=(0,)))
    many = _many(tracks, speed_ratio)
    if many:
        pieces.append(table(["many tones at once, dB, at, Hz", *headings[1:]], many, right=(0,)))
    crosstalk = _crosstalk(tracks)
    if crosstalk:
        pieces.append(
            table(["crosstalk, dB, from", "at, Hz", *(f"onto {one}" for one in headings[1:])], crosstalk, right=(1,))
        )
    if readings.notes:
        pieces.append(bullets(readings.notes))
    return "\n\n".join(pieces)


def _said(reading: Reading) -> str:
    if reading.value is None:
        return NO if reading.interval is None else _one_end(reading.interval)
    return with_doubt(reading.value, max(reading.doubt or 0.0, LEAST_DOUBT), "")


def _one_end(interval: tuple[float, float]) -> str:
    low, high = interval
    return f"over {low:.1f}" if math.isinf(high) else f"under {high:.1f}"


def _or_why(reading: Reading) -> str:
    return (
        f"{_said(reading)} {reading.unit}"
        if reading.value is not None
        else f"no reading ({(reading.why_not or '').rstrip('.')})"
    )


def _response(tracks: Sequence[TrackReadings], speed_ratio: float) -> list[list[str]]:
    return _rows_of([one.response for one in tracks], speed_ratio)


def _many(tracks: Sequence[TrackReadings], speed_ratio: float) -> list[list[str]]:
    return _rows_of([None if one.multitone is None else one.multitone.response for one in tracks], speed_ratio)


def _rows_of(responses: Sequence[Response | None], speed_ratio: float) -> list[list[str]]:
    some = next((one for one in responses if one is not None and one.frequencies_hz), None)
    if some is None:
        return []
    return [
        [f"{hz / speed_ratio:.0f}", *(NO if one is None else _said(one.deviations_db[at]) for one in responses)]
        for at, hz in enumerate(some.frequencies_hz)
    ]


def _crosstalk(tracks: Sequence[TrackReadings]) -> list[list[str]]:
    onto = {(each.from_track, each.frequency_hz, one.track): each.reading for one in tracks for each in one.crosstalk}
    rows = []
    for source, hz in sorted({(source, hz) for source, hz, _ in onto}, key=lambda pair: (pair[1], pair[0])):
        cells = [_said(onto[source, hz, one.track]) if (source, hz, one.track) in onto else NO for one in tracks]
        rows.append([f"track {source}", f"{hz:.0f}", *cells])
    return rows


__all__ = ["found_text", "pass_text"]
