"""Listen to every channel that has a tone while the file is read once; then say what was heard."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import Recording
from tapewright.measure.beats import beat
from tapewright.measure.flutter import Flutter, flutter
from tapewright.measure.follow import Followed, followed
from tapewright.measure.frames import Levels
from tapewright.measure.lines import FittedLines, find_lines
from tapewright.measure.long_readings import long_course, long_readings
from tapewright.measure.meter import Meter
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.plain import channel_blocks
from tapewright.measure.remarks import Heard
from tapewright.measure.spectrum import FlutterSpectrum, flutter_spectrum, mean_flutter_spectrum
from tapewright.measure.speed import mean_frequency
from tapewright.measure.speed_trace import jumps, means_in_gaps, speed_trace
from tapewright.measure.stretches import LONG_S, LongTone
from tapewright.measure.tone import Tone


class Listener:
    """One channel's tone while the file is read: gathered whole, or in stretches where it is long.

    Arguments:
        tone: from `find_tone` or `find_swinging_tone`.
        recording: from `open_recording`.
        meter: one for all channels.
        swinging: whether the tone swings strongly.
    """

    def __init__(self, tone: Tone, recording: Recording, meter: Meter, swinging: bool = False) -> None:
        self.mixer = ToneMixer(tone, recording.rate_hz, recording.frames, swinging)
        long = self.mixer.expected > LONG_S * self.mixer.rate_hz
        self.long = LongTone(self.mixer, meter) if long else None
        self.levels = Levels()
        self._followed: Followed | None = None

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples of the stretch."""
        self.mixer.add(self.levels.add(samples))
        if self.long is not None:
            self.long.advance()

    def heard(self) -> Heard | None:
        """Give the tone as it was followed; None when there was none."""
        if self.long is not None:
            self.long.advance(ended=True)
            found = long_course(self.long)
            if found is None:
                return None
            course, trace = found
            return Heard(course, trace, self.long.second, self.mixer.band_hz, self.mixer.swinging, self.long.jumped)
        self._followed = followed(self.mixer)
        if self._followed is None:
            return None
        return _heard(self._followed, self.mixer.band_hz, self.mixer.swinging)

    @property
    def whole(self) -> Followed | None:
        """Give the followed tone of a channel that was not read in stretches; None before it was heard."""
        return self._followed

    def measured(self, heard: Heard) -> tuple[FittedLines, Flutter, FlutterSpectrum]:
        """Give lines, readings and spectrum of what was heard."""
        if self.long is not None:
            found = long_readings(self.long, heard.tone, heard.trace)
            return found.lines, found.flutter, mean_flutter_spectrum(found.mean)
        if self._followed is None:
            raise ValueError("nothing was heard yet")
        return measured_whole(self._followed, heard)


def _heard(tone: Followed, band_hz: float, swinging: bool) -> Heard:
    trace = speed_trace(tone)
    return Heard(tone.course, trace, beat(tone), band_hz, swinging, swinging and jumps(trace))


def heard_again(tone: Followed, like: Heard) -> Heard | None:
    """Hear a tone that was put together from two channels; None when too little is left of it.

    Arguments:
        tone: the two as one.
        like: one of the two.
    """
    return _heard(tone, like.band_hz, like.swinging) if np.isfinite(tone.phase_rad).any() else None


def measured_whole(tone: Followed, heard: Heard) -> tuple[FittedLines, Flutter, FlutterSpectrum]:
    """Give lines, readings and spectrum of a tone that was gathered whole.

    Arguments:
        tone: from `followed`.
        heard: the same in figures.
    """
    lines = find_lines(tone, heard.trace)
    mean_hz, _ = mean_frequency(heard.tone, heard.trace, lines)
    means = means_in_gaps(tone, heard.trace)
    shown = flutter(heard.trace, lines, heard.tone.noise_rad2_per_hz, mean_hz, means=means)
    return lines, shown, flutter_spectrum(heard.trace)


def listen(
    recording: Recording, listeners: Sequence[tuple[int, Listener]], progress: Callable[[float], None] | None
) -> None:
    """Read the part of the file that holds tones and give each channel's samples to its listeners.

    Arguments:
        recording: from `open_recording`.
        listeners: each with its channel, from 0; a channel may have several, or nobody listening.
        progress: called with the share done.
    """
    if not listeners:
        return
    at = min(one.mixer.first for _, one in listeners)
    stop = max(one.mixer.last for _, one in listeners)
    for block in channel_blocks(recording, at, stop, progress=progress):
        for channel, one in listeners:
            samples = block[channel, max(0, one.mixer.first - at) : max(0, one.mixer.last - at)]
            if len(samples):
                one.add(samples)
        at += block.shape[1]


__all__ = ["Listener", "heard_again", "listen", "measured_whole"]
