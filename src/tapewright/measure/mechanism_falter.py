"""Faltering: the rustle of reels that turns louder and fainter at no steady rate, as of a take-up that slips.

What is driven by rubber that lets go, or by a clutch that grips and slips, turns by fits and starts, and its rustle
follows. A mechanism in order is as loud from one third of a second to the next.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from tapewright.measure.mechanism_bands import HIGH
from tapewright.measure.mechanism_frames import Array
from tapewright.words.mechanism_heard import OFF, SlipHeard, StretchHeard

BLOCK_S: Final = 0.3
"""Longer than a turn of what knocks or rubs in a wind, shorter than what falters keeps up."""
SETTLES_S, ENDS_S = 0.8, 0.25
SHORTEST_S: Final = 4.0
BEGUN_S: Final = 1.5
EVEN_DB, SPREAD_DB = 0.66, 0.12
"""Where the odds are even. In 182 tuning winds sound ones wavered by 0.6 dB at most, most by 0.2 to 0.4; those that
faltered by 0.4 to 3."""
ROOM_SHARE: Final = 3.0
"""What the room's own wavering makes of it has to be smaller by so much."""
SURE_MOST: Final = 0.93


def falterings(
    powers: Array,
    step_s: float,
    spans: Sequence[tuple[str, float, float]],
    stretches: Sequence[StretchHeard] = (),
    covered: Sequence[tuple[float, float]] = (),
) -> list[SlipHeard]:
    """Say of each stretch how far its loudness falters.

    Arguments:
        powers: of the bands, from `mechanism_bands.band_powers`.
        step_s: from value to value.
        spans: mode, beginning and end of each stretch; "off" where the machine is silent.
        stretches: what turned: a stretch is listened to up to where a motor ends or begins.
        covered: times in which a squeal or the like would pass for faltering: nothing is said of those.

    Without a stretch in which the room is heard alone nothing is said: nobody knows then whose wavering it is.
    """
    off = [(start, end) for mode, start, end in spans if mode == OFF and end - start > SHORTEST_S / 2]
    if not off or len(powers) < HIGH.stop:
        return []
    # Speech is silent for most of a short time: what it does at its worst counts, not what is usual.
    room = [_wavering(powers[HIGH], step_s, start + ENDS_S, end - ENDS_S, worst=True) for start, end in off]
    room_db, room_level = np.max([one for one, _ in room], axis=0), np.median([level for _, level in room], axis=0)
    found = []
    for mode, start, ends in spans:
        end = _until(start, ends, stretches)
        if mode == OFF or end - start < SHORTEST_S or any(a < end and start < b for a, b in covered):
            continue
        swings, level = _wavering(powers[HIGH], step_s, start + SETTLES_S, end - ENDS_S)
        of_room = room_db * 10.0 ** ((room_level - level) / 10.0)
        at = int(np.argmin(swings))
        if swings[at] < ROOM_SHARE * of_room[at]:
            continue
        sure = SURE_MOST / (1.0 + math.exp(-(float(swings[at]) - EVEN_DB) / SPREAD_DB))
        found.append(SlipHeard(mode, start, end, float(swings[at]), sure))
    return found


def _until(start_s: float, end_s: float, stretches: Sequence[StretchHeard]) -> float:
    """Give until when a mode goes on as it began: a motor that ends or begins within it changes how loud it is."""
    ends = [one.end_s for one in stretches if one.end_s > start_s + BEGUN_S and one.start_s < start_s + BEGUN_S]
    begins = [one.start_s for one in stretches if one.start_s > start_s + BEGUN_S]
    return min([end_s, *ends, *begins])


def _wavering(
    powers: Array, step_s: float, start_s: float, end_s: float, *, worst: bool = False
) -> tuple[Array, Array]:
    """Give how far each band wavers from block to block about a straight line, dB, and its level, dB."""
    block = max(1, round(BLOCK_S / step_s))
    cut = powers[:, round(start_s / step_s) : round(end_s / step_s)]
    count = cut.shape[1] // block
    if count < 3:
        return np.zeros(len(powers)), np.full(len(powers), -130.0)
    levels = 10.0 * np.log10(cut[:, : count * block].reshape(len(cut), count, block).mean(axis=2))
    at = np.arange(count)
    flat = np.array([row - np.polyval(np.polyfit(at, row, 1), at) for row in levels])
    away = np.abs(flat - np.median(flat, axis=1, keepdims=True))
    spread = away.std(axis=1) + away.mean(axis=1) if worst else 1.4826 * np.median(away, axis=1)
    return spread, np.asarray(10.0 * np.log10(cut.mean(axis=1)), dtype=np.float64)
