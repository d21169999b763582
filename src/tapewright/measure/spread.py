"""How far a flutter reading would scatter over other stretches of the same length, and what the table leaves open.

The lines go on turning as they were fitted, so that over another stretch they stand in other phases to each other,
while a harmonic keeps its place on its own fundamental; the rest is noise of the spectrum that was found beside the
lines. Both are drawn, since a peak reading of lines in noise has no closed form.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, stats

from tapewright.measure.bands import band_gain
from tapewright.measure.lines import FittedLines
from tapewright.standards.iec_60386 import (
    TWO_SIGMA_SHARE,
    UNWEIGHTED_BAND_HZ,
    table_doubt_db,
    weighting_response,
)
from tapewright.standards.tables import table_column

DRAWS: Final = 48
DRAWN_RATE_HZ: Final = 500.0
DRAWN_S: Final = 40.0
"""Longer stretches are drawn so short, and the scatter is scaled by the root of the times."""
ELSEWHERE: Final = 10.0
"""Another stretch lies within so many of its own lengths."""
SMOOTHED_BINS: Final = 21
SURE: Final = float(stats.t.ppf(0.975, 1.0 / (1.0 / (DRAWS - 1) + 1.0 / (2 * (SMOOTHED_BINS - 3))))) / 1.96
"""Student's factor over the normal law's: of so many draws, in noise known from so many values beside a line."""
ROUNDING_DB: Final = 0.1
"""Least doubt of the weighting at any frequency: the table gives tenths, and is from memory."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """How surely two readings are known, one sigma, ratio to the reading; the last is the half-width of an interval.

    Arguments:
        peak: scatter of the two-sigma reading over stretches of this length.
        rms: scatter of the root mean square.
        average: scatter of the mean size.
        table: what the weighting table leaves open, half-width; 0 for an unweighted reading.
    """

    peak: float
    rms: float
    average: float
    table: float


def _background(
    rest: NDArray[np.float64], counted: NDArray[np.bool_], bins: int, lines_at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the smoothed power of what is no line, of each Fourier value, made up for what was masked.

    Where a line was taken out the noise in step with it went too: those values are left out of the smoothing.
    """
    power = np.abs(fft.rfft(np.where(counted, rest, 0.0))[:bins]) ** 2 / max(float(np.mean(counted)), 1e-9)
    kept = np.ones(bins)
    near = np.round(lines_at).astype(np.intp)[:, None] + np.arange(-1, 2)
    kept[near[(near >= 0) & (near < bins)]] = 0.0
    size = min(SMOOTHED_BINS, bins)
    shares = ndimage.uniform_filter1d(kept, size, mode="nearest")
    smoothed = ndimage.uniform_filter1d(power * kept, size, mode="nearest") / np.maximum(shares, 1.0 / size)
    return np.asarray(np.maximum(smoothed, 0.0), dtype=np.float64)  # a running sum may end a hair below nothing


def _in_step(lines: FittedLines) -> NDArray[np.float64]:
    """Give the lines' frequencies, those that are harmonics of another within twice their doubt moved onto it."""
    frequency = lines.frequency_hz.copy()
    for high in range(1, len(frequency)):
        orders = np.round(frequency[high] / frequency[:high])
        apart = np.abs(frequency[high] - orders * frequency[:high])
        doubts = np.array([one.frequency_doubt_hz for one in lines.lines[:high]])
        unsure = np.hypot(lines.lines[high].frequency_doubt_hz, orders * doubts)
        for low in np.flatnonzero((orders > 1.0) & (orders < 12.0) & (apart < 2.0 * unsure))[:1]:
            frequency[high] = orders[low] * frequency[low]
    return frequency


def scatter(
    values: NDArray[np.float64],
    counted: NDArray[np.bool_],
    rate_hz: float,
    lines: FittedLines,
    seconds: float,
    weigh: bool,
    band_hz: tuple[float, float] = UNWEIGHTED_BAND_HZ,
) -> Scatter:
    """Give the scatter of the two-sigma, rms and average readings over a stretch of so many seconds.

    Arguments:
        values: the speed deviation, drift taken out, gaps filled, shape (n,); it begins where the lines do.
        counted: which of them count, shape (n,).
        rate_hz: samples per second.
        lines: the lines in it.
        seconds: how long the readings are.
        weigh: through the weighting network, else flat.
        band_hz: lower and upper edge of the flat band.
    """
    count = int(min(seconds, DRAWN_S, len(values) / rate_hz) * rate_hz)
    length_s = count / rate_hz
    times = np.arange(count) / rate_hz
    rest = values[:count] - lines.speed(times + lines.start_s)
    drawn_count = int(count * min(1.0, DRAWN_RATE_HZ / rate_hz)) // 2 * 2
    frequency = fft.rfftfreq(count, 1.0 / rate_hz)[: drawn_count // 2 + 1]
    gain = _size_passed(frequency, weigh, band_hz)
    power = _background(rest, counted[:count], len(frequency), lines.frequency_hz * length_s) * gain**2
    draw = np.random.default_rng(60386)
    noise = draw.standard_normal((DRAWS, len(frequency), 2)).view(np.complex128)[:, :, 0]
    drawn = fft.irfft(noise * (np.sqrt(power / 2.0) * (drawn_count / count)), drawn_count, axis=1)
    response = weighting_response(lines.frequency_hz) if weigh else band_gain(lines.frequency_hz, band_hz)
    phasors = (lines.cosine - 1j * lines.sine) * response
    if len(phasors):
        elsewhere_s = lines.start_s + draw.uniform(-ELSEWHERE, ELSEWHERE, DRAWS) * length_s
        shifted = phasors * np.exp(2j * np.pi * elsewhere_s[:, None] * _in_step(lines))
        turn = np.exp(2j * np.pi * lines.frequency_hz[:, None] * (np.arange(drawn_count) * (length_s / drawn_count)))
        drawn += (shifted @ turn).real
    shrink = SURE * float(np.sqrt(min(1.0, length_s / seconds)))
    peaks = np.quantile(np.abs(drawn), 1.0 - TWO_SIGMA_SHARE, axis=1)
    sizes = np.sqrt(np.mean(drawn**2, axis=1))
    means = np.mean(np.abs(drawn), axis=1)
    peak, rms, average = (
        shrink * float(np.std(one, ddof=1)) / max(float(np.mean(one)), 1e-300) for one in (peaks, sizes, means)
    )
    powers = np.concatenate([2.0 * power / count**2, np.abs(phasors) ** 2 / 2.0])
    at = np.concatenate([frequency, lines.frequency_hz])
    return Scatter(peak, rms, average, table_doubt(at, powers) if weigh else 0.0)


def _size_passed(frequency_hz: NDArray[np.float64], weigh: bool, band_hz: tuple[float, float]) -> NDArray[np.float64]:
    if not weigh:
        return band_gain(frequency_hz, band_hz)
    inside = (frequency_hz >= UNWEIGHTED_BAND_HZ[0]) & (frequency_hz <= UNWEIGHTED_BAND_HZ[1])
    return np.where(inside, np.abs(weighting_response(frequency_hz)), 0.0)


def table_doubt(frequency_hz: NDArray[np.float64], powers: NDArray[np.float64]) -> float:
    """Give what the weighting table leaves open of a reading with these powers, half-width, ratio.

    Arguments:
        frequency_hz: shape (n,).
        powers: weighted power at each, in any unit, shape (n,).

    At each frequency it is how far the network lies from the printed rows beside it, as if all were off the same way.
    """
    rows_hz = table_column("flutter_weighting", "frequency_hz")
    apart_db = np.maximum(np.abs(table_doubt_db()), ROUNDING_DB)
    doubt_db = np.interp(np.log(np.maximum(frequency_hz, 1e-3)), np.log(rows_hz), apart_db)
    return float((10.0 ** (doubt_db / 20.0) - 1.0) @ powers / max(float(powers.sum()), 1e-300))


__all__ = ["Scatter", "scatter", "table_doubt"]
