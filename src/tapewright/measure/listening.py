"""Listen to every channel that has a tone while the file is read once; then say what was heard."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import Recording
from tapewright.measure.beats import beat
from tapewright.measure.flutter import Flutter, flutter
from tapewright.measure.follow import Followed, followed, jumps, means_in_gaps, speed_trace
from tapewright.measure.lines import FittedLines, find_lines
from tapewright.measure.long_readings import long_course, long_readings
from tapewright.measure.meter import Meter
from tapewright.measure.mixer import ToneMixer
from tapewright.measure.plain import channel_blocks
from tapewright.measure.remarks import Heard
from tapewright.measure.spectrum import FlutterSpectrum, flutter_spectrum, mean_flutter_spectrum
from tapewright.measure.speed import mean_frequency
from tapewright.measure.stretches import LONG_S, LongTone
from tapewright.measure.survey import Levels
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
        trace = speed_trace(self._followed)
        jumped = self.mixer.swinging and jumps(trace)
        second = beat(self._followed)
        return Heard(self._followed.course, trace, second, self.mixer.band_hz, self.mixer.swinging, jumped)

    def measured(self, heard: Heard) -> tuple[FittedLines, Flutter, FlutterSpectrum]:
        """Give lines, readings and spectrum of what was heard."""
        if self.long is not None:
            found = long_readings(self.long, heard.tone, heard.trace)
            return found.lines, found.flutter, mean_flutter_spectrum(found.mean)
        if self._followed is None:
            raise ValueError("nothing was heard yet")
        lines = find_lines(self._followed, heard.trace)
        mean_hz, _ = mean_frequency(heard.tone, heard.trace, lines)
        means = means_in_gaps(self._followed, heard.trace)
        shown = flutter(heard.trace, lines, heard.tone.noise_rad2_per_hz, mean_hz, means=means)
        return lines, shown, flutter_spectrum(heard.trace)


def listen(recording: Recording, listeners: dict[int, Listener], progress: Callable[[float], None] | None) -> None:
    """Read the stretch that holds tones and give each channel's samples to its listener.

    Arguments:
        recording: from `open_recording`.
        listeners: by channel, from 0; nobody listens to the others.
        progress: called with the share done.
    """
    if not listeners:
        return
    at = min(one.mixer.first for one in listeners.values())
    stop = max(one.mixer.last for one in listeners.values())
    for block in channel_blocks(recording, at, stop, progress=progress):
        for channel, one in listeners.items():
            samples = block[channel, max(0, one.mixer.first - at) : max(0, one.mixer.last - at)]
            if len(samples):
                one.add(samples)
        at += block.shape[1]


__all__ = ["Listener", "listen"]
