"""A test sequence as a deck would play it: the tape's own time is worked out for every sample, nothing is resampled."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from tapewright.measure.sequence_writing import section_sound
from tapewright.words.sequence import MULTITONE
from tapewright.words.sequence import Sequence as TestSequence

Samples = NDArray[np.float64]
RATE_HZ = 16000
"""Enough for everything that finding needs; tones above are left out."""


@dataclass(frozen=True)
class Wobble:
    """Speed that swings: rate, peak size as a ratio."""

    rate_hz: float
    peak: float


@dataclass(frozen=True)
class Deck:
    """How the sequence is played.

    Arguments:
        speed: mean speed ratio.
        wobbles: on top of it.
        drift: how much faster it runs at the end than at the beginning, ratio.
        begins_s: where on the tape the capture begins.
        ends_s: where it ends.
        azimuth_s: delay of each track, seconds.
    """

    speed: float = 1.0
    wobbles: Sequence[Wobble] = ()
    drift: float = 0.0
    begins_s: float = 0.0
    ends_s: float = 170.0
    azimuth_s: Sequence[float] = field(default=(0.0, 0.0, 0.0, 0.0))

    def tape_s(self, times_s: Samples) -> Samples:
        """Give the time on the tape that passes at a time in the capture: the integral of the speed, in closed form."""
        length_s = (self.ends_s - self.begins_s) / self.speed
        passed = times_s + 0.5 * self.drift * times_s**2 / length_s - 0.5 * self.drift * times_s
        for one in self.wobbles:
            turn = 2.0 * np.pi * one.rate_hz
            passed = passed + one.peak / turn * (1.0 - np.cos(turn * times_s))
        return np.asarray(self.begins_s + self.speed * passed)

    def file_s(self, tape_s: float) -> float:
        """Give when in the capture a time on the tape passes: the same, turned round by bisection."""
        low, high = -10.0, 400.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.tape_s(np.array([middle]))[0] < tape_s else (low, middle)
        return 0.5 * (low + high)


def played(sequence: TestSequence, deck: Deck, rate_hz: int = RATE_HZ) -> Samples:
    """Give the capture, shape (frames, tracks)."""
    frames = int((deck.ends_s - deck.begins_s) / deck.speed * rate_hz)
    sound = np.zeros((frames, sequence.tracks))
    times_s = np.arange(frames) / rate_hz
    for track in range(sequence.tracks):
        tape_s = deck.tape_s(times_s - deck.azimuth_s[track])
        for section in sequence.sections:
            if (section.frequency_hz or 0.0) > 0.4 * rate_hz:
                continue
            heard = tuple(hz for hz in section.frequencies_hz if hz < 0.4 * rate_hz)
            section = replace(section, frequencies_hz=heard) if section.kind == MULTITONE else section
            inside = slice(*np.searchsorted(tape_s, [section.start_s, section.end_s]))
            sound[inside, track] += section_sound(sequence, section, track + 1, tape_s[inside])
    return sound


def noisy(sound: Samples, snr_db: float, draw: np.random.Generator, full_scale_db: float = -20.0) -> Samples:
    """Add white noise so far below a tone of the speed section's level (peak of -24 dB, full scale 0)."""
    rms = 10.0 ** ((full_scale_db - 4.0 - snr_db) / 20.0) / np.sqrt(2.0)
    return np.asarray(sound + rms * draw.standard_normal(sound.shape))


def saved(path: Path, sound: Samples, rate_hz: int = RATE_HZ) -> Path:
    soundfile.write(str(path), sound, rate_hz, subtype="PCM_24")
    return path


Change = Callable[[Samples], Samples]
