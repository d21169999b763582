"""A tone followed while it plays: its last seconds mixed down, and what they read."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from tapewright.measure.flutter import ready_trace
from tapewright.measure.follow import Course, Followed, followed_part, tone_noise
from tapewright.measure.lines import FittedLines
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.speed import Clock, mean_frequency, speed_error
from tapewright.measure.speed_trace import speed_trace
from tapewright.measure.tone import Tone
from tapewright.standards.iec_60386 import SETTLING_S, TWO_SIGMA_LEAST_S, two_sigma, weighted
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

STEPS_PER_READING: Final = 5
"""The means over the window change slowly: they are taken anew every half second."""
WINDOW_S: Final = 12.0
"""What is read: ten seconds and the time that the weighting network settles in."""
NOW_S: Final = 0.5
LEAST_MEAN_S: Final = 2.0
LEAST_RMS_S: Final = 2.0
CURVE_RATE_HZ: Final = 40.0
"""Points of the curve a second: what an eye follows."""
STRAYED: Final = 0.03
"""A tone this far, ratio, from the one that is followed is followed anew."""
_ENDLESS: Final = 2**62


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What a follower reads."""

    now: Reading
    mean: Reading
    weighted_peak: Reading
    weighted_rms: Reading
    amplitude: float | None = None
    curve_pct: tuple[float, ...] = ()


def nothing_read(why_not: str) -> Shown:
    """Give the reason in place of every reading."""
    none = Reading(None, "%", why_not=why_not)
    return Shown(none, none, none, none)


_NO_LINES: Final = FittedLines((), np.zeros(0), np.zeros(0), np.zeros(0), 0.0, 0.0)


class Follower:
    """A tone mixed down as it comes in; its last seconds are kept.

    The wide band is taken from the start: a tone that swings strongly later need not be followed anew then.
    """

    def __init__(self, frequency_hz: float, rate_hz: float) -> None:
        self._mixer = ToneMixer(Tone(True, frequency_hz, 0.0, _ENDLESS / rate_hz), rate_hz, _ENDLESS, swinging=True)
        self._kept = np.zeros(0, dtype=np.complex64)
        self._most = round(WINDOW_S * self._mixer.rate_hz)
        self._first = 0
        self._told = 0
        self._reads = 0
        self._slow: tuple[Reading, Reading, Reading] | None = None

    def strayed_from(self, frequency_hz: float) -> bool:
        """Tell whether a tone is another than the one that is followed."""
        return abs(frequency_hz / self._mixer.frequency_hz - 1.0) > STRAYED

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples, shape (n,)."""
        self._mixer.add(samples)
        joined = np.concatenate([self._kept, self._mixer.take(self._mixer.pending)])
        dropped = max(0, len(joined) - self._most)
        self._kept, self._first = joined[dropped:], self._first + dropped

    def read(self, tone_hz: float | None, clock: Clock | None) -> Shown | None:
        """Read what is kept; None while that is too short."""
        mixed = self._kept
        begins = self._first == 0
        followed = followed_part(mixed, self._first / self._mixer.rate_hz, self._mixer, 0.0, (begins, False))
        if followed is None or len(followed.phase_rad) < NOW_S * followed.rate_hz:
            return None
        trace = speed_trace(followed)
        if self._slow is None or self._reads % STEPS_PER_READING == 0:
            self._slow = (_mean(_course(followed), trace, tone_hz, clock), *_weighted(trace))
        self._reads += 1
        level = float(np.median(np.abs(mixed[-max(1, round(NOW_S * self._mixer.rate_hz)) :])))
        now, curve = self._now(trace, tone_hz, clock), self._curve(trace, tone_hz, clock)
        return Shown(now, *self._slow, amplitude=level, curve_pct=curve)

    def _now(self, trace: Trace, tone_hz: float | None, clock: Clock | None) -> Reading:
        count = round(NOW_S * trace.rate_hz)
        last = trace.values[-count:]
        if np.count_nonzero(np.isfinite(last)) < 0.8 * count:
            return Reading(None, "%", why_not="The tone drops out.")
        mean = float(np.nanmean(last))
        spread = 1.96 * float(np.nanstd(last)) / np.sqrt(max(1.0, NOW_S * 4.0))
        frequency_hz = self._mixer.frequency_hz
        return speed_error(frequency_hz * (1.0 + mean), frequency_hz * spread, NOW_S, tone_hz, clock)

    def _curve(self, trace: Trace, tone_hz: float | None, clock: Clock | None) -> tuple[float, ...]:
        """Give the points of the curve that were not given yet."""
        at = speed_error(self._mixer.frequency_hz, 0.0, 1.0, tone_hz, clock).value
        if at is None:
            return ()
        group = max(1, round(trace.rate_hz / CURVE_RATE_HZ))
        end = round((trace.start_s * trace.rate_hz) + len(trace.values)) // group
        fresh = min(end - self._told, len(trace.values) // group) if self._told else min(len(trace.values) // group, 4)
        self._told = end
        if fresh <= 0:
            return ()
        offset = round(trace.start_s * trace.rate_hz)
        stop = end * group - offset
        pieces = trace.values[stop - fresh * group : stop].reshape(fresh, group)
        means = np.where(np.isfinite(pieces).all(axis=1), pieces.mean(axis=1), np.nan)
        return tuple(float(one) for one in at + (100.0 + at) * means)


def _course(followed: Followed) -> Course:
    """Give what the speed reading needs to know of the tone."""
    return Course(
        followed.start_s,
        followed.end_s,
        followed.frequency_hz,
        followed.dropouts,
        followed.masked_s,
        tone_noise(followed.phase_rad, followed.envelope, followed.rate_hz),
        followed.amplitude,
        followed.swing,
    )


def _seconds(trace: Trace) -> float:
    return float(np.count_nonzero(np.isfinite(trace.values))) / trace.rate_hz


def _mean(course: Course, trace: Trace, tone_hz: float | None, clock: Clock | None) -> Reading:
    seconds = _seconds(trace)
    if seconds < LEAST_MEAN_S:
        return Reading(None, "%", why_not=f"{seconds:.1f} s of tone so far; a mean needs {LEAST_MEAN_S:g} s.")
    frequency_hz, doubt_hz = mean_frequency(course, trace, _NO_LINES)
    return speed_error(frequency_hz, doubt_hz, seconds, tone_hz, clock)


def _weighted(trace: Trace) -> tuple[Reading, Reading]:
    """Give the weighted two-sigma and rms readings of the window, their doubt from how they scatter inside it."""
    ready = ready_trace(trace, _NO_LINES, settle_long_gaps=True)
    counted = ready.counted.copy()
    counted[: round(SETTLING_S * ready.rate_hz)] = False
    seconds = float(np.count_nonzero(counted)) / ready.rate_hz
    if seconds < LEAST_RMS_S:
        why = f"{seconds:.1f} s count so far, after {SETTLING_S:g} s of settling; {{}} needs {{:g}} s."
        return (
            Reading(None, "%", why_not=why.format("a peak reading", TWO_SIGMA_LEAST_S)),
            Reading(None, "%", why_not=why.format("an rms reading", LEAST_RMS_S)),
        )
    values = weighted(ready.values, ready.rate_hz)[counted]
    pieces = np.array_split(values, max(2, int(seconds)))
    rms = float(np.sqrt(np.mean(values**2)))
    conditions = f"over {seconds:.1f} s; weighting table from memory"
    rms_said = Reading(
        100.0 * rms, "%", 100.0 * _scatter([float(np.sqrt(np.mean(one**2))) for one in pieces]),
        method="root mean square of the weighted deviation", conditions=conditions,
    )  # fmt: skip
    if seconds < TWO_SIGMA_LEAST_S:
        why = f"{seconds:.1f} s count so far; a peak reading needs {TWO_SIGMA_LEAST_S:g} s."
        return Reading(None, "%", why_not=why), rms_said
    peak_said = Reading(
        100.0 * two_sigma(values), "%", 100.0 * _scatter([two_sigma(one) for one in pieces]),
        method="IEC 60386 two-sigma: exceeded 5 % of the time, either way", conditions=conditions,
    )  # fmt: skip
    return peak_said, rms_said


def _scatter(pieces: Sequence[float]) -> float:
    """Give the half width of the 95 % interval of the mean of pieces that are taken as independent."""
    quantile = float(special.stdtrit(len(pieces) - 1, 0.975))
    return quantile * float(np.std(pieces, ddof=1)) / float(np.sqrt(len(pieces)))
