"""Speed, flutter and level of a tone while it plays: the sound comes in block by block, and the last seconds are read.

Every tenth of a second of sound gives one `Moment`. It is judged by the same rules that judge a file: where no steady
tone has stood for long enough, where sound was lost on the way, or where the tone was let go a moment ago, it holds no
number but the reason.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from tapewright.measure.flutter import ready_trace
from tapewright.measure.follow import Course, Followed, followed_part, tone_noise
from tapewright.measure.frames import Frames, Levels
from tapewright.measure.lines import FittedLines
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.speed import Clock, mean_frequency, speed_error
from tapewright.measure.speed_trace import speed_trace
from tapewright.measure.survey import TONE_BAND_HZ, Survey, summed_up
from tapewright.measure.swinging import find_swinging_tone
from tapewright.measure.tone import Tone, find_tone, no_tone, nominal_tone_hz
from tapewright.standards.iec_60386 import SETTLING_S, TWO_SIGMA_LEAST_S, two_sigma, weighted
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

STEP_S: Final = 0.1
"""Sound between two moments."""
STEPS_PER_READING: Final = 5
"""The means over the window change slowly: they are taken anew every half second."""
WINDOW_S: Final = 12.0
"""What is read: ten seconds and the time that the weighting network settles in."""
NOW_S: Final = 0.5
"""What "now" is the mean of: the screwdriver wants an answer, and a slower wow is then in it."""
JUDGED_S: Final = 6.0
"""Whether there is a tone is judged by so much of what came last."""
LEAST_TONE_S: Final = 3.0
"""Nobody holds a note dead steady for so long at the very pitch of a test tone."""
LEAST_MEAN_S: Final = 2.0
LEAST_RMS_S: Final = 2.0
CURVE_RATE_HZ: Final = 40.0
"""Points of the curve a second: what an eye follows."""
STRAYED: Final = 0.03
"""A tone this far, ratio, from the one that is followed is followed anew."""
_ENDLESS: Final = 2**62


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What one channel says at one moment.

    Arguments:
        channel: counted from 1.
        time_s: end of the sound that it rests on, since the first sample.
        tone: the tone of the last seconds, or why there is none.
        now: speed error over the last half second, percent; it holds whatever slow wow there was.
        mean: the same over the window.
        weighted_peak: IEC 60386 two-sigma over the window, percent.
        weighted_rms: the same as a root mean square.
        level_db: of the tone, decibels under full scale; None without one.
        peak_db: the largest sample since the last moment, decibels under full scale; None for silence.
        curve_pct: speed error since the last moment, evenly spaced, percent; nan where there is none.
        remarks: what spoils it, sentences.
    """

    channel: int
    time_s: float
    tone: Tone
    now: Reading
    mean: Reading
    weighted_peak: Reading
    weighted_rms: Reading
    level_db: float | None
    peak_db: float | None
    curve_pct: tuple[float, ...]
    remarks: tuple[str, ...] = ()


class LiveMeter:
    """Read a tone while it comes in.

    Arguments:
        rate_hz: sample rate, 8000 and more.
        channels: how many.
        tone_hz: what the tone was recorded at; None takes the usual one that is nearest.
        clock: how far the sound card's clock is off.

    Errors:
        ValueError: a rate below 8000 or no channel.

    >>> meter = LiveMeter(48_000.0, 1)
    >>> moments = meter.add(np.zeros((4800, 1), dtype=np.float32))
    >>> moments[0].now.value is None
    True
    """

    def __init__(self, rate_hz: float, channels: int, tone_hz: float | None = None, clock: Clock | None = None) -> None:
        if rate_hz < 8000.0 or channels < 1:
            raise ValueError(f"{channels} channels at {rate_hz:g} Hz cannot be read")
        self._step = round(STEP_S * rate_hz)
        self._rest = np.zeros((0, channels), dtype=np.float32)
        self._channels = [_Channel(number, rate_hz, tone_hz, clock) for number in range(1, channels + 1)]

    def add(self, block: NDArray[np.float32]) -> list[Moment]:
        """Take the next samples, shape (n, channels), full scale 1; give a moment per channel for each whole step."""
        joined = np.concatenate([self._rest, block])
        count = len(joined) // self._step
        self._rest = joined[count * self._step :].copy()
        return [
            channel.add(joined[at * self._step : (at + 1) * self._step, index])
            for at in range(count)
            for index, channel in enumerate(self._channels)
        ]

    def lost(self, seconds: float) -> None:
        """Hear that sound was lost on the way: what came before and what comes after are not one stretch.

        Arguments:
            seconds: how much is lacking; 0 when it is not known.
        """
        self._rest = self._rest[:0]
        for channel in self._channels:
            channel.begin_anew(seconds)


class _Channel:
    """One channel: features of the last seconds, the tone mixed down, and what was said last."""

    def __init__(self, number: int, rate_hz: float, tone_hz: float | None, clock: Clock | None) -> None:
        self._number, self._rate_hz, self._tone_hz, self._clock = number, rate_hz, tone_hz, clock
        self._band_hz = TONE_BAND_HZ if tone_hz is None else (0.9 * tone_hz, 1.1 * tone_hz)
        self._frames = Frames(rate_hz, self._band_hz, 0)
        self._seen: deque[NDArray[np.float32]] = deque(maxlen=max(3, round(JUDGED_S * rate_hz / self._frames.hop)))
        self._levels: deque[Levels] = deque(maxlen=round(JUDGED_S / STEP_S))
        self._follower: _Follower | None = None
        self._samples = 0
        self._lost_at: float | None = None

    @property
    def _time_s(self) -> float:
        return self._samples / self._rate_hz

    def begin_anew(self, seconds: float) -> None:
        self._frames = Frames(self._rate_hz, self._band_hz, 0)
        self._seen.clear()
        self._follower = None
        self._samples += round(seconds * self._rate_hz)
        self._lost_at = self._time_s

    def add(self, samples: NDArray[np.float32]) -> Moment:
        levels = Levels()
        sound = levels.add(np.ascontiguousarray(samples))
        self._levels.append(levels)
        self._samples += len(sound)
        self._frames.add(sound)
        for rows in self._frames.rows:
            self._seen.extend(rows.T)
        self._frames.rows.clear()
        if self._follower is not None:
            self._follower.add(sound)
        tone = self._judged()
        self._follow(tone)
        return self._moment(tone, levels)

    def _judged(self) -> Tone:
        """Judge the last seconds by the rules for files, a tone that swings strongly included."""
        if not self._seen:
            return no_tone("Listening has only begun.")
        held = Frames(self._rate_hz, self._band_hz, 0)
        held.rows.append(np.stack(list(self._seen), axis=1))
        found = self._as_survey(held)
        steady = find_tone(found, self._tone_hz)
        if steady.found:
            return self._worth_reading(steady, found)
        swinging = find_swinging_tone(found, self._tone_hz)
        return self._worth_reading(swinging, found) if swinging.found else steady

    def _as_survey(self, held: Frames) -> Survey:
        whole = Levels()
        whole.peak = max(one.peak for one in self._levels)
        whole.low, whole.high = (min(one.low for one in self._levels), max(one.high for one in self._levels))
        whole.off_rails = 1
        return summed_up(held, whole, self._rate_hz)

    def _worth_reading(self, tone: Tone, found: Survey) -> Tone:
        """Pass a tone on that is a usual one, has stood for long enough to be no held note, and stands still."""
        assert tone.frequency_hz is not None
        assert tone.start_s is not None
        assert tone.end_s is not None
        if nominal_tone_hz(tone.frequency_hz, self._tone_hz) is None:
            return no_tone(f"A tone at {tone.frequency_hz:.0f} Hz is near neither 3150 nor 3000 Hz: say what it is.")
        if tone.end_s < float(found.times_s[-1]) - 1.5 * found.step_s:
            return no_tone("The tone has stopped.")
        if tone.end_s - tone.start_s < LEAST_TONE_S:
            return no_tone(f"The tone must stand for {LEAST_TONE_S:g} s before it is read.")
        return tone

    def _follow(self, tone: Tone) -> None:
        if not tone.found or tone.frequency_hz is None:
            self._follower = None
        elif self._follower is None or self._follower.strayed_from(tone.frequency_hz):
            self._follower = _Follower(tone.frequency_hz, self._rate_hz)

    def _moment(self, tone: Tone, levels: Levels) -> Moment:
        shown = self._follower.read(self._tone_hz, self._clock) if self._follower is not None else None
        if shown is None:
            shown = _nothing(tone.why_not or "The tone has only begun.")
        return Moment(
            channel=self._number,
            time_s=self._time_s,
            tone=replace(tone, start_s=None, end_s=None),
            now=shown.now,
            mean=shown.mean,
            weighted_peak=shown.weighted_peak,
            weighted_rms=shown.weighted_rms,
            level_db=None if shown.amplitude is None else _decibels(shown.amplitude),
            peak_db=_decibels(levels.peak) if levels.peak > 0.0 else None,
            curve_pct=shown.curve_pct,
            remarks=tuple(self._remarks()),
        )

    def _remarks(self) -> list[str]:
        said = []
        if any(one.clipped for one in self._levels):
            said.append("The input is overdriven: turn the record level down. Flutter then reads wrong.")
        if any(one.not_numbers for one in self._levels):
            said.append("Some samples are no numbers; they were taken as silence.")
        if self._lost_at is not None and self._time_s - self._lost_at < WINDOW_S:
            said.append("Sound was lost on its way from the browser: reading began anew after it.")
        return said


def _decibels(amplitude: float) -> float:
    return float(20.0 * np.log10(max(amplitude, 1e-9)))


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """What a follower reads."""

    now: Reading
    mean: Reading
    weighted_peak: Reading
    weighted_rms: Reading
    amplitude: float | None = None
    curve_pct: tuple[float, ...] = ()


def _nothing(why_not: str) -> _Shown:
    none = Reading(None, "%", why_not=why_not)
    return _Shown(none, none, none, none)


_NO_LINES: Final = FittedLines((), np.zeros(0), np.zeros(0), np.zeros(0), 0.0, 0.0)


class _Follower:
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
        return abs(frequency_hz / self._mixer.frequency_hz - 1.0) > STRAYED

    def add(self, samples: NDArray[np.float32]) -> None:
        self._mixer.add(samples)
        joined = np.concatenate([self._kept, self._mixer.take(self._mixer.pending)])
        dropped = max(0, len(joined) - self._most)
        self._kept, self._first = joined[dropped:], self._first + dropped

    def read(self, tone_hz: float | None, clock: Clock | None) -> _Shown | None:
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
        return _Shown(now, *self._slow, amplitude=level, curve_pct=curve)

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


__all__ = ["LiveMeter", "Moment"]
