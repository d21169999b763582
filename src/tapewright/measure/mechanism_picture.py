"""How loud a recording is at each frequency and moment, coarse enough to be drawn."""

from itertools import pairwise
from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Sound
from tapewright.words.mechanism_heard import SoundPicture

COLUMNS: Final = 150
BANDS: Final = 64
LOWEST_HZ: Final = 25.0
FRAME_S: Final = 0.25


def picture_of(sound: Sound, columns: int = COLUMNS, bands: int = BANDS) -> SoundPicture:
    """Give the level in bands of even width on a scale of ratios, moment by moment.

    Arguments:
        sound: at its own sample rate.
        columns: moments at most.
        bands: from 25 Hz to half the sample rate, 16 kHz at most.
    """
    length = max(32, min(len(sound.samples), round(FRAME_S * sound.rate_hz)))
    starts = np.linspace(0, max(0, len(sound.samples) - length), columns).astype(int)
    starts = np.unique(starts)
    window = np.hanning(length + 1)[:-1]
    edges = np.geomspace(LOWEST_HZ, min(16000.0, 0.45 * sound.rate_hz), bands + 1)
    at = np.rint(edges * length / sound.rate_hz).astype(int)
    level = np.empty((len(starts), bands))
    for k, start in enumerate(starts):
        power = np.abs(np.fft.rfft(sound.samples[start : start + length] * window)) ** 2
        # The largest bin of a band, so that a motor's line is not lost in a wide one.
        level[k] = [power[low : max(low + 1, high)].max() for low, high in pairwise(at)]
    times = (starts + length / 2) / sound.rate_hz
    return SoundPicture(times, np.sqrt(edges[:-1] * edges[1:]), 10.0 * np.log10(np.maximum(level, 1e-12)))
