"""A weighting network applied to samples: the analogue response itself, on the spectrum, at any sample rate.

A filter made by the bilinear transform bends near half the sample rate: at 44.1 kHz the A-weighting would be decibels
low at 16 kHz. On the spectrum the analogue response holds at every rate up to half the sample rate. The record is
padded, so that its end does not come round to its beginning.
"""

from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Response = Callable[[NDArray[np.floating[Any]]], NDArray[np.complex128]]
PAD_S: Final = 0.1
"""The slowest pole of the networks here (20.6 Hz) falls by e in 8 ms."""


def weighted_samples(
    samples: NDArray[np.floating[Any]], rate_hz: float, response: Response, wanted_hz: float | None = None
) -> tuple[NDArray[np.float64], float]:
    """Pass samples through a network; give them, and their rate.

    Arguments:
        samples: shape (n,) or (n, tracks).
        rate_hz: samples per second.
        response: complex response over frequency, hertz.
        wanted_hz: a lower rate to give the result at, where the rest need not be kept; None keeps the rate.

    >>> tone = np.sin(2 * np.pi * 1000 * np.arange(44100) / 44100)
    >>> from tapewright.standards.iec_61672 import a_weighting_response
    >>> round(float(np.std(weighted_samples(tone, 44100.0, a_weighting_response)[0])), 3)
    0.707
    """
    count = len(samples)
    padded = fft.next_fast_len(count + int(PAD_S * rate_hz), real=True)
    spectrum = fft.rfft(np.asarray(samples, dtype=np.float64), padded, axis=0)
    weights = response(fft.rfftfreq(padded, 1.0 / rate_hz))
    weights[-1] = weights[-1].real
    spectrum *= weights.reshape((-1,) + (1,) * (spectrum.ndim - 1))
    given = padded
    if wanted_hz is not None and wanted_hz < rate_hz:
        given = int(np.ceil(padded * wanted_hz / rate_hz))
    back = fft.irfft(spectrum[: given // 2 + 1], given, axis=0) * (given / padded)
    ratio = given / padded
    return np.asarray(back[: int(count * ratio)], dtype=np.float64), rate_hz * ratio
