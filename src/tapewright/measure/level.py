"""What the level of a followed tone does: a steady modulation of it. It takes no part in flutter, and is said."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

SEARCHED_S: Final = 150.0
"""So much of the tone's beginning is searched."""
BAND_HZ: Final = (0.5, 200.0)
LEAST_DEPTH: Final = 0.02
"""A modulation of less is not worth a sentence."""
ABOVE: Final = 25.0
"""It stands so far above the median of the spectrum, in power; noise alone does that in one record in a thousand."""
_RATE_HZ: Final = 500.0


def modulation(envelope: NDArray[np.float64], good: NDArray[np.bool_], rate_hz: float) -> tuple[float, float] | None:
    """Find the strongest steady modulation of a tone's level: its rate, hertz, and its depth, ratio of the level.

    Arguments:
        envelope: amplitude over its local median, shape (n,).
        good: where the tone is there, shape (n,).
        rate_hz: samples per second.

    Returns:
        None when nothing of 2 % and more stands out.
    """
    part = slice(0, int(SEARCHED_S * rate_hz))
    envelope, good = envelope[part], good[part]
    if len(envelope) < 2.0 * rate_hz or good.mean() < 0.5:
        return None
    held = np.where(good, envelope - float(np.mean(envelope[good])), 0.0)
    factor = max(1, int(rate_hz // _RATE_HZ))
    held = ndimage.uniform_filter1d(held, factor)[::factor]
    taper = np.hanning(len(held) + 2)[1:-1]
    size = 2.0 * np.abs(fft.rfft(held * taper, 2 * len(held))) / taper.sum()
    frequency = fft.rfftfreq(2 * len(held), factor / rate_hz)
    size = size[(frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])]
    frequency = frequency[(frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])]
    size /= np.maximum(np.sinc(frequency * factor / rate_hz), 0.5)
    best = int(np.argmax(size))
    near = size[max(0, best - 100) : best + 100]
    if size[best] < LEAST_DEPTH or size[best] ** 2 < ABOVE * float(np.median(near)) ** 2:
        return None
    return float(frequency[best]), float(size[best])


__all__ = ["modulation"]
