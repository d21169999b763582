"""The replay response: what each tone of a response section reads against one of them, on every track.

A test tape carries flux by the replay curve of its kind (`standards.replay_curve`), so a machine that is set to the
same kind plays it flat. What is read is therefore the deviation from the curve. Where the machine's switch stood on
the other kind, the deviation follows a curve that is known, and that is said.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.levels import levels_of
from tapewright.measure.section_tone import Baseband
from tapewright.standards.replay_curve import other_switch_db
from tapewright.words.reading import Reading

TREBLE_CONSTANTS_S: Final = (120e-6, 70e-6)
SWITCH_LEFT: Final = 0.25
"""The other switch explains a response when it leaves less than this share of the deviation's power."""
SWITCH_LEAST_DB: Final = 1.5
"""A deviation below this is not worth the sentence; the other switch makes 4.4 dB at 10 kHz."""


@dataclass(frozen=True, slots=True)
class Response:
    """The response of one track.

    Arguments:
        frequencies_hz: of the tones, as they play.
        deviations_db: each against the reference tone, with its doubt; a good machine reads nought everywhere.
        notes: what its shape could be besides a loss.
    """

    frequencies_hz: tuple[float, ...]
    deviations_db: tuple[Reading, ...]
    notes: tuple[str, ...]


def response_of(tones: Sequence[tuple[Baseband, float]], reference_hz: float = 315.0) -> tuple[Response, ...]:
    """Give the response of every track.

    Arguments:
        tones: each mixed down, with the level it was recorded at over the reference, dB.
        reference_hz: the tone nearest to this is the one all others are held against.
    """
    ordered = sorted(tones, key=lambda one: one[0].frequency_hz)
    at = int(np.argmin([abs(math.log(one.frequency_hz / reference_hz)) for one, _ in ordered]))
    levels = [levels_of(tone, recorded_db) for tone, recorded_db in ordered]
    frequencies = tuple(tone.frequency_hz for tone, _ in ordered)
    tracks = len(levels[0])
    return tuple(_track(frequencies, [each[track] for each in levels], at) for track in range(tracks))


def _track(frequencies: tuple[float, ...], levels: Sequence[Reading], at: int) -> Response:
    reference = levels[at]
    deviations = tuple(
        Reading(0.0, "dB", 0.0, method="the reference itself")
        if index == at and reference.value is not None
        else _against(one, reference, frequencies[at])
        for index, one in enumerate(levels)
    )
    return Response(frequencies, deviations, _other_switch(frequencies, deviations))


def _against(one: Reading, reference: Reading, reference_hz: float) -> Reading:
    if one.value is None or reference.value is None:
        return (
            one if one.value is None else Reading(None, "dB", why_not="The reference tone was not read on this track.")
        )
    return Reading(
        one.value - reference.value,
        "dB",
        math.hypot(one.doubt or 0.0, reference.doubt or 0.0),
        method=f"level over that at {reference_hz:.0f} Hz, each over what was recorded",
        conditions=one.conditions,
    )


def as_numbers(response: Response) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Give frequencies, deviations and doubts as arrays; nan where a tone was not read.

    What a fit of losses takes.
    """
    values = [math.nan if one.value is None else one.value for one in response.deviations_db]
    doubts = [math.inf if one.doubt is None else one.doubt for one in response.deviations_db]
    return np.array(response.frequencies_hz), np.array(values), np.array(doubts)


def _other_switch(frequencies: tuple[float, ...], deviations: Sequence[Reading]) -> tuple[str, ...]:
    """Say so when the deviation is what the other position of the tape switch would make."""
    read = np.array([math.nan if one.value is None else one.value for one in deviations])
    there = np.isfinite(read)
    if np.count_nonzero(there) < 4 or float(np.max(np.abs(read[there]))) < SWITCH_LEAST_DB:
        return ()
    tones = np.array(frequencies)[there]
    for recorded_s, replayed_s in (TREBLE_CONSTANTS_S, TREBLE_CONSTANTS_S[::-1]):
        left = read[there] - other_switch_db(tones, recorded_s, replayed_s)
        left = left - float(np.mean(left))
        moved = read[there] - float(np.mean(read[there]))
        if float(left @ left) < SWITCH_LEFT * float(moved @ moved):
            kinds = f"{1e6 * recorded_s:.0f} µs", f"{1e6 * replayed_s:.0f} µs"
            return (
                f"The shape is that of a tape recorded for {kinds[0]} and replayed for {kinds[1]}: check the "
                "tape switch before the head.",
            )
    return ()


__all__ = ["Response", "as_numbers", "response_of"]
