"""Weighted flutter over frequency, to be drawn."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.measure.averaged import Mean
from tapewright.measure.line_spectrum import SINE_COST
from tapewright.measure.trend import straight_line
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.signal import Trace

SPECTRUM_POINTS: Final = 4000


@dataclass(frozen=True, slots=True, eq=False)
class FlutterSpectrum:
    """Weighted flutter over frequency, to be drawn.

    Arguments:
        frequency_hz: shape (n,).
        peak_pct: size a steady line would have there, after weighting, percent of speed, shape (n,).
    """

    frequency_hz: NDArray[np.float64]
    peak_pct: NDArray[np.float64]


def flutter_spectrum(trace: Trace) -> FlutterSpectrum:
    """Give the weighted flutter over frequency, 0.1 to 200 Hz, thinned to 4000 points by their maxima.

    Arguments:
        trace: speed deviation; dropouts count as nothing.
    """
    there = np.isfinite(trace.values)
    weight = np.hanning(len(there) + 2)[1:-1] * there
    held = np.where(there, trace.values - straight_line(trace.values, there), 0.0) * weight
    size = 2.0 * np.abs(fft.rfft(held)) / weight.sum()
    frequency = fft.rfftfreq(len(held), 1.0 / trace.rate_hz)
    inside = (frequency >= 0.1) & (frequency <= 200.0)
    return _thinned(frequency[inside], 100.0 * size[inside] * np.abs(weighting_response(frequency[inside])))


def mean_flutter_spectrum(mean: Mean | None) -> FlutterSpectrum:
    """Give the same for a long tone from the mean spectrum of its stretches.

    Arguments:
        mean: from `mean_lines`.
    """
    if mean is None:
        return FlutterSpectrum(np.zeros(0), np.zeros(0))
    size = np.sqrt(2.0 * SINE_COST / mean.seconds * mean.density)
    inside = (mean.frequency_hz >= 0.1) & (mean.frequency_hz <= 200.0)
    frequency = mean.frequency_hz[inside]
    return _thinned(frequency, 100.0 * size[inside] * np.abs(weighting_response(frequency)))


def _thinned(frequency: NDArray[np.float64], size: NDArray[np.float64]) -> FlutterSpectrum:
    step = -(-len(size) // SPECTRUM_POINTS)
    if step > 1:
        rows = size[: len(size) // step * step].reshape(-1, step)
        pick = np.arange(len(rows)) * step + np.argmax(rows, axis=1)
        size, frequency = size[pick], frequency[pick]
    return FlutterSpectrum(frequency, size)


__all__ = ["FlutterSpectrum", "flutter_spectrum", "mean_flutter_spectrum"]
