"""Whether a reading that is followed live gets better or worse, or cannot be told from the best there was."""

import math
from collections import deque
from typing import Final

APART: Final = 15
"""Moments between now and what it is held against: the two then rest on different sound."""
TOO_EARLY: Final = "listening has only begun"
BETTER: Final = "getting better"
WORSE: Final = "getting worse"
BEST: Final = "at the best so far, within doubt"
STEADY: Final = "neither better nor worse, and not at its best"


class Course:
    """How far a reading is off its target, moment by moment.

    >>> course = Course()
    >>> [course.add(off, 0.1) for off in [2.0 - 0.05 * step for step in range(20)]][-1]
    'getting better'
    """

    def __init__(self) -> None:
        self._last: deque[tuple[float, float]] = deque(maxlen=APART)
        self._best: tuple[float, float] | None = None

    def add(self, off: float, doubt: float) -> str:
        """Take the next moment; give what it is against those before.

        Arguments:
            off: how far from the target, either way.
            doubt: half width of the 95 % interval of that.
        """
        before = self._last[0] if len(self._last) == APART else None
        if before is not None and (self._best is None or before[0] < self._best[0]):
            self._best = before
        self._last.append((off, doubt))
        if before is None or self._best is None:
            return TOO_EARLY
        change, open_ = off - before[0], math.hypot(doubt, before[1])
        if abs(change) > open_:
            return BETTER if change < 0.0 else WORSE
        return BEST if off <= self._best[0] + math.hypot(doubt, self._best[1]) else STEADY


__all__ = ["BEST", "BETTER", "STEADY", "TOO_EARLY", "WORSE", "Course"]
