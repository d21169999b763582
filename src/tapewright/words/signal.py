"""One quantity over time, and a steady component found in it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One quantity over time, evenly sampled.

    Arguments:
        values: shape (n,), in `unit`; nan where there is no value (a dropout is masked, never bridged).
        rate_hz: samples per second.
        start_s: time of the first sample in the recording.
        unit: for a speed deviation a ratio, fast positive: 0.001 is 0.1 % fast.
    """

    values: NDArray[np.float64]
    rate_hz: float
    start_s: float = 0.0
    unit: str = "1"

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Give the time of each sample in the recording, shape (n,), seconds."""
        return self.start_s + np.arange(len(self.values)) / self.rate_hz


@dataclass(frozen=True, slots=True)
class Line:
    """A steady component of the speed deviation.

    Arguments:
        frequency_hz: its rate.
        peak_pct: its peak size, percent of speed.
        doubt_pct: half-width of the 95 % interval of the size.
        frequency_doubt_hz: the same of the frequency.
        false_alarm: chance that noise alone would have shown such a line anywhere in the spectrum.
        slowing_per_s: relative loss of frequency per second, as a reel's whose pack grows; 0 where none was seen.
    """

    frequency_hz: float
    peak_pct: float
    doubt_pct: float
    frequency_doubt_hz: float
    false_alarm: float
    slowing_per_s: float = 0.0
