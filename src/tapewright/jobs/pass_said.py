"""A one-pass reading as data that travels: every reading by its name, its track and the tone as it was recorded."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from tapewright.jobs.acceptance import acceptance, response_fields
from tapewright.jobs.one_pass import PassHeard, has_room
from tapewright.machine.parts import Machine
from tapewright.measure.audio import open_recording
from tapewright.measure.one_pass_parts import OnePass, TrackReadings
from tapewright.measure.sequence_finding import FoundSequence
from tapewright.measure.sequence_other_speed import at_other_speed
from tapewright.measure.test_tape import KnownTape
from tapewright.words import one_pass as names
from tapewright.words.one_pass import DropoutHeard, Judgement, PassReading, PassSaid, summed_up
from tapewright.words.plain import plain
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.sequence import RESPONSE
from tapewright.words.sequence import Sequence as TestSequence
from tapewright.words.verdict import Verdict

OF_TRACK: Final = (
    (names.LEVEL, "level_db"),
    (names.BALANCE, "balance_db"),
    (names.DELAY, "delay_us"),
    (names.SCATTER, "gap_scatter_um"),
    (names.NOISE_A, "noise_a_db"),
    (names.NOISE_468, "noise_468_db"),
    (names.THREE_PERCENT, "level_at_three_percent_db"),
    (names.ERASURE, "erasure_db"),
    (names.HUM, "hum_total_db"),
    (names.DROPOUTS, "dropouts_per_minute"),
)
"""Name of the reading, and the field that holds it."""


def pass_said(found: FoundSequence, readings: OnePass | None) -> PassSaid:
    """Give everything that a pass said, as data that travels.

    Arguments:
        found: where the sequence stands.
        readings: what it says; None where no channel holds a track of its own.
    """
    listed = tuple(dict.fromkeys(one.kind for one in found.missing))
    about = (found.sequence.name, found.sequence.tape_speed_m_s, found.speed_ratio)
    if readings is None:
        return PassSaid(*about, (), (), missing=listed, notes=found.notes)
    return PassSaid(
        *about,
        tuple(track.track for track in readings.tracks),
        tuple(_all(readings, found)),
        None if readings.azimuth is None else readings.azimuth.course,
        tuple(
            DropoutHeard(readings.tracks[one.track].track, one.start_s, one.length_s, one.depth_db)
            for one in readings.dropouts
        ),
        readings.dropout_settings,
        listed,
        (*found.notes, *readings.notes),
    )


def _all(readings: OnePass, found: FoundSequence) -> Iterator[PassReading]:
    yield PassReading(names.AZIMUTH, readings.azimuth_arcmin)
    yield PassReading(names.WANDER, readings.azimuth_wander_arcmin)
    for track in readings.tracks:
        yield from _of_track(track, found)


def _of_track(track: TrackReadings, found: FoundSequence) -> Iterator[PassReading]:
    number = track.track
    for name, field in OF_TRACK:
        yield PassReading(name, getattr(track, field), number)
    if track.response is None:
        yield PassReading(names.RESPONSE, Reading(None, "dB", why_not="No response section was found."), number)
    else:
        for hz, reading in zip(track.response.frequencies_hz, track.response.deviations_db, strict=True):
            yield PassReading(
                names.RESPONSE, reading, number, at_hz=_recorded_hz(found.sequence, hz / found.speed_ratio)
            )
    if track.losses is not None:
        yield PassReading(names.SPACING, track.losses.spacing_um, number)
        yield PassReading(names.GAP, track.losses.gap_um, number)
    if track.multitone is not None:
        many = track.multitone.response
        for hz, reading in zip(many.frequencies_hz, many.deviations_db, strict=True):
            yield PassReading(names.BETWEEN, reading, number, at_hz=_of_many_hz(found.sequence, hz / found.speed_ratio))
        yield PassReading(names.INTERMODULATION, track.multitone.between_db, number)
    for one in track.crosstalk:
        yield PassReading(names.CROSSTALK, one.reading, number, one.from_track, one.frequency_hz)
    for each in track.third_harmonic:
        yield PassReading(names.THIRD, each.reading, number, at_db=each.level_db)


def _of_many_hz(sequence: TestSequence, hz: float) -> float:
    planned = [each for one in sequence.sections for each in one.frequencies_hz]
    return min(planned, key=lambda one: abs(math.log(one / hz)), default=hz)


def _recorded_hz(sequence: TestSequence, hz: float) -> float:
    """Give the tone of a response section that is nearest: what was played is some flutter off."""
    planned = [one.frequency_hz for one in sequence.sections if one.kind == RESPONSE and one.frequency_hz]
    return min(planned, key=lambda one: abs(math.log(one / hz)), default=hz)


def with_pass(
    heard: Sequence[Heard], found: PassHeard | None, machine: Machine | None = None, tape: KnownTape | None = None
) -> list[Heard]:
    """Put what a test sequence said, and its acceptance, with the first channel of its recording.

    Arguments:
        heard: the channels of one recording.
        found: the sequence in it; None where there is none.
        machine: whose sheet the readings are held against; None for the document alone.
        tape: the test tape, where it is known.
    """
    if found is None or not heard:
        return list(heard)
    said = pass_said(found.found, found.readings)
    speed = max(heard, key=lambda one: float(str(one.tone.get("snr_db") or 0.0)) if one.tone.get("found") else -1.0)
    judged = acceptance(said, machine, tape, speed.readings)
    return [
        replace(heard[0], one_pass=replace(said, acceptance=judged, response_fields=response_fields(machine))),
        *heard[1:],
    ]


def with_other_speed(heard: Sequence[Heard], path: Path, *, accept_truncated: bool = False) -> list[Heard]:
    """Note with the first channel that a test sequence plays at twice or half its speed, where it does.

    Arguments:
        heard: the channels of a recording in which no sequence was found at its own speed.
        path: the recording.
        accept_truncated: take what is there of a file that is cut short.
    """
    if not heard or not has_room(open_recording(path, accept_truncated).duration_s, heard):
        return list(heard)
    found = at_other_speed(path, accept_truncated)
    if found is None:
        return list(heard)
    return [replace(heard[0], notes=(*heard[0].notes, found.says())), *heard[1:]]


def listed_json(said: PassSaid) -> dict[str, Any]:
    """Give readings and acceptance as `measure` prints them beside the sections."""
    return {
        "sequence": said.sequence,
        "tape_speed_m_s": said.tape_speed_m_per_s,
        "speed_ratio": said.speed_ratio,
        "listed": [plain(one) for one in said.readings],
        "acceptance": {"says": summed_up(said.acceptance), "judged": [plain(one) for one in said.acceptance]},
    }


def listed_before(found: Mapping[str, Any]) -> PassSaid:
    """Read again what was printed of a pass, as far as it is needed to set another against it.

    Arguments:
        found: what `one_pass` holds in what `measure --json` printed.
    """
    readings = tuple(
        PassReading(
            str(row["name"]),
            _reading_before(row["reading"]),
            int(row["track"]),
            int(row["from_track"]),
            row["at_hz"],
            row["at_db"],
        )
        for row in found["listed"]
    )
    tracks = tuple(sorted({one.track for one in readings if one.track}))
    judged = tuple(_judged_before(row) for row in found.get("acceptance", {}).get("judged", ()))
    about = str(found["sequence"]), float(found["tape_speed_m_s"]), float(found["speed_ratio"])
    return PassSaid(*about, tracks, readings, acceptance=judged)


def _judged_before(row: Mapping[str, Any]) -> Judgement:
    verdict = None if row["verdict"] is None else Verdict(**row["verdict"])
    return Judgement(
        str(row["name"]),
        _reading_before(row["reading"]),
        verdict,
        int(row["track"]),
        int(row["from_track"]),
        row["at_hz"],
    )


def _reading_before(row: Mapping[str, Any]) -> Reading:
    ends = row.get("interval")
    interval = None if ends is None else (
        -math.inf if ends[0] is None else float(ends[0]), math.inf if ends[1] is None else float(ends[1])
    )  # fmt: skip
    if row["value"] is None:
        return Reading(None, str(row.get("unit", "dB")), why_not=str(row["why_not"]), interval=interval)
    doubt = row.get("doubt")
    return Reading(float(row["value"]), str(row["unit"]), None if doubt is None else float(doubt), interval=interval)
