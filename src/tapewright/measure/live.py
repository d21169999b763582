"""Speed, flutter and level of a tone while it plays: the sound comes in block by block, and the last seconds are read.

Every tenth of a second of sound gives one `Moment`. It is judged by the same rules that judge a file: where no steady
tone has stood for long enough, where sound was lost on the way, or where the tone was let go a moment ago, it holds no
number but the reason.
"""

from collections import deque
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.frames import Frames, Levels
from tapewright.measure.live_follower import WINDOW_S, Follower, nothing_read
from tapewright.measure.speed import Clock
from tapewright.measure.survey import TONE_BAND_HZ, Survey, summed_up
from tapewright.measure.swinging import find_swinging_tone
from tapewright.measure.tone import Tone, find_tone, no_tone, nominal_tone_hz
from tapewright.words.reading import Reading

STEP_S: Final = 0.1
"""Sound between two moments."""
"""What "now" is the mean of: the screwdriver wants an answer, and a slower wow is then in it."""
JUDGED_S: Final = 6.0
"""Whether there is a tone is judged by so much of what came last."""
LEAST_TONE_S: Final = 3.0
"""Nobody holds a note dead steady for so long at the very pitch of a test tone."""


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
        self._follower: Follower | None = None
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
            self._follower = Follower(tone.frequency_hz, self._rate_hz)

    def _moment(self, tone: Tone, levels: Levels) -> Moment:
        shown = self._follower.read(self._tone_hz, self._clock) if self._follower is not None else None
        if shown is None:
            shown = nothing_read(tone.why_not or "The tone has only begun.")
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


__all__ = ["LiveMeter", "Moment"]
