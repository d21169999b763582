"""A computer's square wave, and lines that come of how a tone was made or sampled, not of a machine.

A square wave's edges land on whole samples. That shifts each edge by up to half a sample, in a pattern that repeats:
its harmonics beyond half the sample rate fold back and stand beside the fundamental as lines in the speed would
(|n f - k fs| from it; closed form of our own). Mains hum has harmonics close to the tone, which beat with it alike.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.measure.audio import Recording
from tapewright.measure.follow import followed
from tapewright.measure.frames import FLOOR_HZ
from tapewright.measure.lines import find_lines
from tapewright.measure.mixer import TRACE_RATE_HZ, ToneMixer
from tapewright.measure.plain import channel_blocks
from tapewright.measure.speed_trace import speed_trace
from tapewright.measure.survey import Survey
from tapewright.measure.tone import LEAST_S, Tone
from tapewright.words.signal import Line

ODD: Final = 0.1
"""Least power of the odd harmonics over the fundamental's; a square wave of its full width has 0.23."""
EVEN: Final = 0.05
"""Most power of the even harmonics over that of the odd ones; an instrument or a pulse has as much."""
SHARE: Final = 0.75
"""Least share of the power above 300 Hz that is harmonics; what folds back holds the rest."""
STEADY: Final = 0.002
"""A computer holds its note within this, ratio, from frame to frame."""
LOOKED_AT_S: Final = 2.0
FOLLOWED_S: Final = 30.0
MAINS_HZ: Final = (50.0, 60.0)
NEAR_HZ: Final = 0.15
LEAST_BEAT_HZ: Final = 5.0
"""Slower lines are too often near such a distance by chance, and hum so close is rare."""
FOLDS: Final = 40
"""Whole multiples of the sample rate that are looked at: beyond, a folded harmonic is lost in noise."""
FEIGNED: Final = 0.6
LEAST_FEIGNED: Final = 3
"""A tone of which so many lines, and that share, stand where a square wave feigns them, is one."""


@dataclass(frozen=True, slots=True)
class SquareWave:
    """A square wave that a computer made.

    Arguments:
        frequency_hz: of its fundamental.
        lines: what looks like lines in its speed.
        rate_hz: samples per second.
    """

    frequency_hz: float
    lines: tuple[Line, ...]
    rate_hz: float

    def says(self) -> str:
        """Say what it is, and which lines not to believe, in sentences."""
        said = (
            f"A computer's square wave at {self.frequency_hz:.1f} Hz (odd harmonics alone, dead steady), not a tone "
            "played from tape: there is no speed and no flutter to read."
        )
        if not self.lines:
            return said
        rates = ", ".join(f"{line.frequency_hz:.1f}" for line in self.lines)
        return (
            f"{said} What looks like lines at {rates} Hz are sampling artefacts of a square wave, whose edges land on "
            f"whole samples{self._mains()}: no part of a machine makes them."
        )

    def _mains(self) -> str:
        beside = [beat for line in self.lines if (beat := mains_beside(line, self.frequency_hz))]
        return f", or beats with mains hum at {', '.join(f'{at:.0f}' for at in beside)} Hz beside it" if beside else ""


def folded_hz(frequency_hz: float, rate_hz: float, top_hz: float = 200.0) -> NDArray[np.float64]:
    """Give the rates at which the folded harmonics of a square wave feign lines in its speed, shape (n,).

    Arguments:
        frequency_hz: of the square wave.
        rate_hz: samples per second.
        top_hz: the highest rate wanted.

    >>> folded_hz(1001.7, 44100.0, 60.0).round(1).tolist()
    [25.2, 50.4]
    """
    found = set()
    for fold in range(1, FOLDS + 1):
        nearest = int(fold * rate_hz / frequency_hz)
        for order in range(max(3, nearest - 1), nearest + 3):
            if order % 2:
                apart = abs(abs(order * frequency_hz - fold * rate_hz) - frequency_hz)
                found |= {round(apart, 3)} if 0.0 < apart <= top_hz else set()
    return np.array(sorted(found), dtype=np.float64)


def mains_beside(line: Line, frequency_hz: float) -> float | None:
    """Give the harmonic of a mains rate that stands so far from the tone, hertz; None when none does.

    Arguments:
        line: in the speed of a tone.
        frequency_hz: of the tone.
    """
    reach = max(NEAR_HZ, line.frequency_doubt_hz)
    for at in (frequency_hz - line.frequency_hz, frequency_hz + line.frequency_hz):
        for mains in MAINS_HZ:
            nearest = mains * round(at / mains)
            if nearest > 0.0 and abs(at - nearest) < reach:
                return nearest
    return None


def _steady_run(found: Survey) -> tuple[float, float, float] | None:
    """Find the longest run of frames whose strongest peak stands still: its frequency, beginning and end."""
    if not len(found.times_s):
        return None
    loud = found.total_power > 0.05 * float(np.max(found.total_power))
    breaks = np.abs(np.diff(found.frequency_hz)) > STEADY * found.frequency_hz[:-1]
    breaks |= ~(loud[1:] & loud[:-1])
    runs = np.split(np.arange(len(found.times_s)), np.flatnonzero(breaks) + 1)
    run = max(runs, key=len)
    if len(run) * found.step_s < LEAST_S:
        return None
    return (
        float(np.median(found.frequency_hz[run])),
        float(found.times_s[run[0]]),
        float(found.times_s[run[-1]]),
    )


def _samples(recording: Recording, channel: int, start_s: float, seconds: float) -> NDArray[np.float32]:
    first = int(start_s * recording.rate_hz)
    stop = first + int(seconds * recording.rate_hz)
    parts = [block[channel].copy() for block in channel_blocks(recording, first, stop)]
    return np.nan_to_num(np.concatenate(parts)) if parts else np.zeros(0, dtype=np.float32)


def _is_square(samples: NDArray[np.float32], frequency_hz: float, rate_hz: float) -> bool:
    """Compare the harmonics: the odd ones and no others."""
    power = np.abs(fft.rfft(samples * np.hanning(len(samples)))) ** 2
    step = rate_hz / len(samples)
    held = np.concatenate([[0.0], np.cumsum(power, dtype=np.float64)])
    orders = np.arange(1, int(0.45 * rate_hz / frequency_hz) + 1)
    if len(orders) < 3:
        return False
    reach = 4.0 * step + 0.001 * orders * frequency_hz
    low, high = (np.round((orders * frequency_hz + side * reach) / step).astype(int) for side in (-1.0, 1.0))
    each = held[np.minimum(high + 1, len(power))] - held[np.maximum(low, 0)]
    odd, even = float(each[2::2].sum()), float(each[1::2].sum())
    above = float(held[-1] - held[round(FLOOR_HZ / step)])
    return odd > ODD * each[0] and even < EVEN * odd and float(each.sum()) > SHARE * above


def find_square_wave(recording: Recording, found: Survey, channel: int) -> SquareWave | None:
    """Look whether what holds a channel is a computer's square wave.

    Arguments:
        recording: from `open_recording`.
        found: the channel's survey.
        channel: which one, from 0.
    """
    run = _steady_run(found)
    if run is None or recording.rate_hz < 2.0 * TRACE_RATE_HZ:
        return None
    frequency, start_s, end_s = run
    looked = _samples(recording, channel, start_s, min(LOOKED_AT_S, end_s - start_s))
    if len(looked) < recording.rate_hz / 2.0 or not _is_square(looked, frequency, recording.rate_hz):
        return None
    end_s = min(end_s, start_s + FOLLOWED_S)
    mixer = ToneMixer(Tone(True, frequency, start_s, end_s), recording.rate_hz, recording.frames)
    mixer.add(_samples(recording, channel, mixer.first / recording.rate_hz, end_s - start_s))
    tone = followed(mixer)
    if tone is None:
        return SquareWave(frequency, (), recording.rate_hz)
    return SquareWave(tone.frequency_hz, find_lines(tone, speed_trace(tone)).lines, recording.rate_hz)


def feigned(lines: tuple[Line, ...], frequency_hz: float, rate_hz: float) -> SquareWave | None:
    """Say whether a tone with strong overtones is a computer's square wave, by where the lines in its speed stand.

    Arguments:
        lines: in its speed.
        frequency_hz: of the tone.
        rate_hz: samples per second.
    """
    folded = folded_hz(frequency_hz, rate_hz)
    if not len(folded):
        return None
    there = [line for line in lines if np.abs(folded - line.frequency_hz).min() < max(NEAR_HZ, line.frequency_doubt_hz)]
    if len(there) < LEAST_FEIGNED or len(there) < FEIGNED * len(lines):
        return None
    return SquareWave(frequency_hz, lines, rate_hz)


def hum_notes(lines: tuple[Line, ...], frequency_hz: float) -> tuple[str, ...]:
    """Say which lines in the speed of a tone may be mains hum that beats with it.

    Arguments:
        lines: in its speed.
        frequency_hz: of the tone.
    """
    notes = []
    for line in lines:
        mains = mains_beside(line, frequency_hz)
        if mains is not None and line.frequency_hz > LEAST_BEAT_HZ:
            notes.append(
                f"The line at {line.frequency_hz:.2f} Hz is as far from the tone as {mains:.0f} Hz, a harmonic of the "
                "mains: it may be hum that beats with the tone. Record once more with another tone to know."
            )
    return tuple(notes)


__all__ = ["SquareWave", "feigned", "find_square_wave", "folded_hz", "hum_notes", "mains_beside"]
