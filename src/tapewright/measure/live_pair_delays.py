"""Delays between channels from tones that play now, coarse to fine, and what a single fine tone leaves open."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from tapewright.measure.askew import delay_s
from tapewright.measure.live_pair_tones import Run

NOW: Final = 8
"""Moments that a reading rests on."""
LEAST: Final = 4
MOST_ASKEW_RAD: Final = math.radians(1.0)
"""No head that plays at all stands further askew; own choice, as the test sequence's tones are laid out."""
OPEN_RAD: Final = 0.45 * math.pi
POLARITY: Final = 0.75
"""Up to this share of `clear_below_hz` a quarter turn is two thirds of a degree or more: what seems so far askew has
its wires crossed. Own choice."""
CAUTIOUS: Final = 1.5
CROSSTALK: Final = 0.01
"""As much of the neighbours may be on a track (-40 dB): it turns its phase by so much at most, radians."""
OVERLAP: Final = 4.0 / 3.0
"""Frames that overlap by half say less than as many apart: correlation 1/6 under a raised cosine (closed form)."""
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Delays:
    """What one tone says.

    Arguments:
        frequency_hz: of the tone.
        over_time: of each channel against the mean of those that take part, seconds, shape (n, channels).
        mean: of those over time, shape (channels,).
        doubt: of each, shape (channels,).
        resolved: whether no whole turn is left open.
    """

    frequency_hz: float
    over_time: Values
    mean: Values
    doubt: Values
    resolved: bool


def mean_doubt(values: Values) -> Values:
    """Give the half width of the 95 % interval of the mean over the first axis, overlapping frames allowed for."""
    count = len(values)
    if count < 2:
        return np.full(values.shape[1:], math.inf)
    quantile = float(special.stdtrit(count - 1, 0.975))
    return np.asarray(quantile * np.std(values, axis=0, ddof=1) * math.sqrt(OVERLAP / count))


def clear_below_hz(apart_m: float, speed_m_per_s: float) -> float:
    """Give the frequency up to which no head can be a whole turn off between two tracks so far apart.

    >>> round(clear_below_hz(0.9e-3, 0.047625))
    1516
    """
    return 0.5 / delay_s(MOST_ASKEW_RAD, apart_m, speed_m_per_s)


class Ladder:
    """Which turn each tone is read to, from moment to moment.

    Arguments:
        where_m: where each channel's track lies, shape (channels,), those that take part only.
        speed_m_per_s: of the tape.
    """

    def __init__(self, where_m: Values, speed_m_per_s: float) -> None:
        self._where_m = where_m
        self._clear_hz = clear_below_hz(max(float(np.ptp(where_m)), 1e-6), speed_m_per_s)
        self.inverted = np.zeros(len(where_m), dtype=np.bool_)
        self.told_polarity = False
        self._known: tuple[Values, float] | None = None

    def forget(self) -> None:
        """Forget what was known: too long ago."""
        self._known = None

    def read(self, runs: list[Run], part: NDArray[np.intp]) -> list[Delays]:
        """Read every tone that has stood for long enough, coarse to fine.

        Arguments:
            runs: the tones, the lowest first.
            part: the channels that take part, as many as `where_m`.
        """
        ready = [run for run in runs if len(run.phases) >= LEAST]
        self._polarity(ready, part)
        read = [self._one(run, part) for run in ready]
        clear = [one for one in read if one.resolved]
        if clear:
            finest = clear[-1]
            moved = float(np.max(np.ptp(finest.over_time, axis=0)))
            self._known = finest.mean, float(np.max(finest.doubt)) + moved
        return read

    def _polarity(self, runs: list[Run], part: NDArray[np.intp]) -> None:
        """See at a low tone which channels stand half a turn off: their wires are crossed. The majority is right."""
        low = [run for run in runs if run.frequency_hz <= POLARITY * self._clear_hz]
        if not low:
            return
        phases = np.mean(list(low[0].phases)[-NOW:], axis=0)[part]
        turned = np.cos(phases) < 0.0
        if 2 * np.count_nonzero(turned) > len(turned) or (2 * np.count_nonzero(turned) == len(turned) and turned[0]):
            turned = ~turned
        if not np.array_equal(turned, self.inverted):
            self._known = None
            for run in runs:
                run.turns, run.resolved = None, False
        self.inverted, self.told_polarity = turned, True

    def _one(self, run: Run, part: NDArray[np.intp]) -> Delays:
        phases = np.array(list(run.phases)[-NOW:])[:, part] - np.pi * self.inverted
        turn = 2.0 * np.pi * run.frequency_hz
        middle = phases.mean(axis=0)
        if not run.resolved:
            self._resolve(run, part, middle, turn)
        assert run.turns is not None
        whole = phases + 2.0 * np.pi * run.turns[part]
        over_time = -(whole - whole.mean(axis=1, keepdims=True)) / turn
        doubt = np.hypot(mean_doubt(over_time), CROSSTALK / turn)
        found = Delays(run.frequency_hz, over_time, over_time.mean(axis=0), doubt, run.resolved)
        if run.resolved:
            self._known = found.mean, float(np.max(found.doubt))
        return found

    def _resolve(self, run: Run, part: NDArray[np.intp], middle: Values, turn: float) -> None:
        """Choose the turns of a tone: by itself where it is low, by what coarser tones leave open, or the nearest."""
        turns = np.zeros(len(run.phases[-1]))
        first = middle - middle[0]
        if run.frequency_hz <= self._clear_hz:
            turns[part] = -np.round(first / (2.0 * np.pi))
            run.turns, run.resolved = turns, True
        elif self._known is not None and turn * self._known[1] * CAUTIOUS <= OPEN_RAD:
            wanted = -turn * (self._known[0] - self._known[0][0])
            turns[part] = np.round((wanted - first) / (2.0 * np.pi))
            run.turns, run.resolved = turns, True
        elif run.turns is None:
            turns[part] = -np.round(first / (2.0 * np.pi))
            run.turns = turns


__all__ = ["Delays", "Ladder", "clear_below_hz", "mean_doubt"]
