"""Clicks of keys, lids and solenoids: short, and loud in every octave at once."""

from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Array
from tapewright.words.mechanism_heard import Click

RISE_DB: Final = 8.0
"""By how much an octave rises above what was before; noise of a band 500 Hz wide wavers by 2 dB in 5 ms."""
BEFORE_S, AFTER_S = 0.06, 0.3
APART_S: Final = 0.09


def find_clicks(levels: Array, step_s: float) -> list[Click]:
    """Find what rises at once in at least three octaves and is gone soon.

    Arguments:
        levels: from `mechanism_bands.octave_levels`.
        step_s: from value to value.

    What begins with the file counts from its median: a file cut to one key's sound has no before.
    """
    if levels.shape[0] < 2 or levels.shape[1] < 4:
        return []
    before, after = max(2, round(BEFORE_S / step_s)), max(4, round(AFTER_S / step_s))
    usual = np.median(levels, axis=1, keepdims=True)
    padded = np.concatenate([np.repeat(usual, before, axis=1), levels], axis=1)
    past = np.median(np.lib.stride_tricks.sliding_window_view(padded, before, axis=1)[:, : levels.shape[1]], axis=2)
    rise = levels - past
    wanted = min(3, levels.shape[0])
    # The weakest of the octaves that have to rise together tells how plain it is.
    together = np.sort(rise, axis=0)[::-1][wanted - 1]
    found: list[Click] = []
    at = 0
    while at < len(together):
        if together[at] < RISE_DB:
            at += 1
            continue
        reach = min(len(together), at + max(2, round(APART_S / step_s)))
        top = at + int(np.argmax(together[at:reach]))
        later = levels[:, top + 1 : top + after]
        falls = later.shape[1] == 0 or bool(
            np.sum(np.median(later[:, later.shape[1] // 2 :], axis=1) < levels[:, top] - 5.0) >= wanted - 1
        )
        if falls:
            # Beyond the criterion each 2 dB, the wavering of noise, makes chance e times less likely.
            sure = 1.0 / (1.0 + float(np.exp(-(together[top] - RISE_DB) / 2.0)))
            found.append(Click(float(at * step_s), sure))
        at = reach
    return found
