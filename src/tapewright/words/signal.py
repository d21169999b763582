"""One quantity over time; steady components, single events and orders found in it."""

from dataclasses import dataclass, field

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


@dataclass(frozen=True, slots=True)
class SpeedEvent:
    """Something that happens to the speed once: no line, and no part's rate.

    Arguments:
        time_s: its middle, time in the recording.
        lasts_s: how long it stands at more than half of its depth.
        depth_pct: how far the speed goes, percent; slow is negative.
        doubt_pct: half-width of the 95 % interval of that.
        false_alarm: chance that noise alone would have shown such an event anywhere in the recording.
        kind: "dip", "snatch" (fast), "stick-slip" (one of several dips soon after one another), "stall" (the speed
            loses a tenth and more).
    """

    time_s: float
    lasts_s: float
    depth_pct: float
    doubt_pct: float
    false_alarm: float
    kind: str


@dataclass(frozen=True, slots=True, eq=False)
class OrderPicture:
    """Speed deviation over the turning angle of one part: how large it is at each order, stretch by stretch.

    Arguments:
        part: whose turns are counted; "" for a rate that nobody named.
        turns_per_s: its rate at the mean speed; where it drifts, half way through.
        times_s: middle of each stretch, time in the recording, shape (n,).
        turns: turns of the part until then, shape (n,).
        orders: how often per turn, shape (m,), evenly spaced.
        peak_pct: peak size of a steady line there, percent of speed, shape (n, m); nan where a stretch was left out.
        turns_in_stretch: length of one stretch, turns; orders closer than two over this run together.
        tape_m: tape that has passed until then, metres, shape (n,); empty where the tape's speed was not told.
    """

    part: str
    turns_per_s: float
    times_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    orders: NDArray[np.float64]
    peak_pct: NDArray[np.float64]
    turns_in_stretch: float
    tape_m: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
