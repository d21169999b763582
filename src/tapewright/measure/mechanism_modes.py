"""What somebody noted of a recording: which mode each moment belongs to, and when the machine was off."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Array
from tapewright.words.mechanism_heard import OFF, Mark

RUNS_DOWN_S: Final = 2.5
"""A machine switched off runs on for this long at most; from memory."""


def modes_of(times_s: Array, marks: Sequence[Mark]) -> list[str]:
    """Give the mode of each moment; "" where nobody said.

    >>> modes_of(np.array([0.5, 2.0]), [Mark("play", 1.0)])
    ['', 'play']
    """
    if not marks:
        return [""] * len(times_s)
    at = np.searchsorted([mark.at_s for mark in marks], times_s, side="right")
    return [marks[k - 1].mode if k else "" for k in at]


def longest_off(marks: Sequence[Mark], duration_s: float) -> tuple[float, float]:
    """Give the longest time for which the machine is known to be off, what runs down and the hand's delay left out.

    >>> longest_off([Mark("off", 0.0), Mark("play", 4.0), Mark("off", 10.0)], 18.0)
    (12.5, 18.0)
    """
    ends = [*(mark.at_s for mark in marks[1:]), duration_s]
    spans = [
        (mark.at_s + (RUNS_DOWN_S if k else 0.0), end)
        for k, (mark, end) in enumerate(zip(marks, ends, strict=False)) if mark.mode == OFF
    ]  # fmt: skip
    return max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))


def spans(marks: Sequence[Mark], duration_s: float) -> list[tuple[str, float, float]]:
    """Give the stretches between marks with their modes; the whole, of no mode, where there are none.

    >>> spans([Mark("play", 1.0)], 3.0)
    [('', 0.0, 1.0), ('play', 1.0, 3.0)]
    """
    edges = [0.0, *(mark.at_s for mark in marks), duration_s] if marks else [0.0, duration_s]
    modes = ["", *(mark.mode for mark in marks)] if marks else [""]
    return [(mode, a, b) for (a, b), mode in zip(pairwise(edges), modes, strict=True) if b > a]
