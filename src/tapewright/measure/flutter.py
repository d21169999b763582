"""Wow and flutter by IEC 60386: weighted and unweighted, peak and rms, each computed and never converted.

Mean and straight-line drift are taken out first. Dropouts are masked: what stands in for them only keeps the filters
running, and neither it nor the filters' memory of it is counted.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from tapewright.measure.lines import FittedLines
from tapewright.measure.spread import scatter
from tapewright.measure.trend import straight_line
from tapewright.standards.iec_60386 import (
    SETTLING_S,
    TWO_SIGMA_LEAST_S,
    UNWEIGHTED_BAND_HZ,
    quasi_peak_indication,
    two_sigma,
    weighted,
    weighting_response,
)
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

RECOVERY_S: Final = 0.01
"""Time after a dropout that does not count."""
LONG_GAP_S: Final = 0.5
"""After a longer dropout the weighting network is given its whole settling time again."""
WEIGHTED_RMS: Final = "root mean square of the weighted deviation (weighting of IEC 60386)"
WEIGHTED_PEAK: Final = "IEC 60386 two-sigma: exceeded 5 % of the time, either way"
QUASI_PEAK: Final = "IEC 60386 quasi-peak meter, the indication exceeded 5 % of the time"
FLAT_RMS: Final = "root mean square, unweighted"
FLAT_PEAK: Final = "two-sigma, unweighted: exceeded 5 % of the time, either way"
LEAST_RMS_S: Final = 1.0
MASKED_SHARE: Final = 0.5
FLOOR_MATTERS: Final = 0.005
"""The tone's own noise is taken out in power when it holds more than this share of a reading's power."""
NOISE_DOUBT: Final = 0.1
"""Doubt of the noise's own power, ratio."""


@dataclass(frozen=True, slots=True)
class Flutter:
    """The readings of one channel, percent; the peak readings are "either way"."""

    weighted_peak_pct: Reading
    weighted_quasi_peak_pct: Reading
    weighted_rms_pct: Reading
    unweighted_peak_pct: Reading
    unweighted_rms_pct: Reading


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """A trace ready for filters: drift out, gaps filled for the filters' sake, and what may be counted."""

    values: NDArray[np.float64]
    counted: NDArray[np.bool_]
    rate_hz: float


def _gaps(bad: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bad.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def ready_trace(
    trace: Trace, lines: FittedLines, settle_long_gaps: bool, means: NDArray[np.float64] | None = None
) -> Ready:
    """Make a trace ready for the filters.

    Arguments:
        trace: speed deviation, nan in dropouts.
        lines: what goes on in the gaps.
        settle_long_gaps: give the weighting network its settling time again after a long gap.
        means: mean deviation of each gap, from `means_in_gaps`; nan where it is not known.
    """
    values, rate = trace.values, trace.rate_hz
    bad = ~np.isfinite(values)
    line = straight_line(values, ~bad)
    flat = np.where(bad, 0.0, values - line)
    counted = ~bad
    for start, stop in _gaps(bad):
        long = (stop - start) / rate > LONG_GAP_S and settle_long_gaps
        counted[start : stop + int((SETTLING_S if long else RECOVERY_S) * rate)] = False
    if bad.any():
        flat[bad] = _stand_in(trace, lines, flat, bad)
        if means is not None:
            _as_far(flat, means - line)
    return Ready(flat, counted, rate)


def _stand_in(
    trace: Trace, lines: FittedLines, flat: NDArray[np.float64], bad: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Guess the speed in the gaps: the lines go on as fitted, the rest runs straight from edge to edge."""
    width = max(1, int(0.02 * trace.rate_hz))
    near = np.flatnonzero(ndimage.uniform_filter1d(bad.astype(np.float32), 4 * width + 1) > 1e-6)
    times = trace.start_s + near / trace.rate_hz
    steady = np.zeros(len(flat))
    steady[near] = np.where((times >= lines.start_s) & (times <= lines.end_s), lines.speed(times), 0.0)
    rest = np.where(bad, 0.0, flat - steady)
    weight = ndimage.uniform_filter1d((~bad).astype(np.float64), width)
    smooth = ndimage.uniform_filter1d(rest, width) / np.maximum(weight, 1.0 / (2 * width))
    at = np.arange(len(flat))
    return np.asarray(np.interp(at[bad], at[~bad], smooth[~bad]) + steady[bad], dtype=np.float64)


def _as_far(flat: NDArray[np.float64], means: NDArray[np.float64]) -> None:
    """Bend what stands in for each gap so that the tape goes as far in it as the phase says."""
    for start, stop in _gaps(np.isfinite(means)):
        bend = np.sin(np.pi * (np.arange(stop - start) + 1.0) / (stop - start + 1.0))
        lacking = float(np.mean(means[start:stop] - flat[start:stop]))
        flat[start:stop] += lacking / float(bend.mean()) * bend


def band_limited(
    values: NDArray[np.float64], rate_hz: float, band_hz: tuple[float, float] = UNWEIGHTED_BAND_HZ
) -> NDArray[np.float64]:
    """Pass a deviation through a flat band, 3 dB down at its edges: an octave wide below, an eighth of one above.

    Arguments:
        values: shape (n,), no gaps, drift taken out.
        rate_hz: samples per second.
        band_hz: lower and upper edge.

    The ends are continued by reflection, so that the filter does not ring on them.
    """
    reach = min(len(values) - 1, int(5.0 * rate_hz))
    longer = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]])
    length = fft.next_fast_len(len(longer), real=True)
    gain = band_gain(fft.rfftfreq(length, 1.0 / rate_hz), band_hz)
    passed = fft.irfft(fft.rfft(longer, length) * gain, length)
    return np.asarray(passed[reach : reach + len(values)], dtype=np.float64)


def band_gain(frequency: NDArray[np.float64], band_hz: tuple[float, float]) -> NDArray[np.float64]:
    """Give the flat band's gain at these rising frequencies, same shape: 3 dB down at either edge."""
    gain = ((frequency > band_hz[0] / 2.0) & (frequency < 2.0 * band_hz[1])).astype(np.float64)
    for edge_hz, rise in ((band_hz[0], 1.0), (band_hz[1], -8.0)):
        near = slice(*np.searchsorted(frequency, [edge_hz / 2.0, edge_hz * 2.0]).tolist())
        octaves = np.log2(np.maximum(frequency[near], 1e-9) / edge_hz)
        gain[near] *= np.sin(np.pi / 2.0 * np.clip(0.5 + rise * octaves, 0.0, 1.0))
    return gain


def noise_floor(
    noise_rad2_per_hz: float,
    frequency_hz: float,
    band_hz: tuple[float, float] = UNWEIGHTED_BAND_HZ,
    weigh: bool = False,
) -> float:
    """Give the rms speed deviation that the noise beside the tone alone would show, ratio.

    White phase noise N gives a density (f/f0)² N (closed form, Rife and Boorstyn's model): unweighted
    sqrt(N F³/3)/f0 up to F.

    Arguments:
        noise_rad2_per_hz: density of the phase noise.
        frequency_hz: of the tone.
        band_hz: lower and upper edge.
        weigh: through the weighting network.

    >>> round(100 * noise_floor(1 / 2e9, 3150.0, (0.0, 200.0)), 5)
    0.00116
    """
    f = np.linspace(band_hz[0], band_hz[1], 2001)
    gain = np.abs(weighting_response(f)) ** 2 if weigh else np.ones_like(f)
    power = float(np.trapezoid(f**2 * gain, f)) * noise_rad2_per_hz / frequency_hz**2
    return float(np.sqrt(power))


@dataclass(frozen=True, slots=True)
class Statement:
    """How a reading is to be worded and what is to be taken out of it.

    Arguments:
        method: how it was taken.
        conditions: the stretch and the band.
        floor_share: share of the power that is the tone's own noise.
        table_doubt: what the weighting table leaves open, half-width, ratio.
    """

    method: str
    conditions: str
    floor_share: float
    table_doubt: float


def made_reading(value: float, spread: float, said: Statement) -> Reading:
    """Take the noise out in power where it matters, and add up the doubts: statistical, weighting table, noise.

    Arguments:
        value: as computed, ratio.
        spread: one sigma over other stretches as long, ratio to the value.
        said: the words, and the shares of noise and table.
    """
    left, note = value, ""
    if said.floor_share > FLOOR_MATTERS:
        left = value * float(np.sqrt(max(0.0, 1.0 - said.floor_share)))
        note = f" The tone's own noise, {100 * min(said.floor_share, 1.0):.0f} % of the power, is taken out."
    noise = float(np.sqrt(left**2 + NOISE_DOUBT * min(said.floor_share, 1.0) * value**2)) - left
    doubt = float(np.sqrt((1.96 * spread * value) ** 2 + (said.table_doubt * value) ** 2 + noise**2))
    return Reading(100.0 * left, "%", 100.0 * doubt, method=said.method, conditions=said.conditions + note)


def refused(why: str) -> Flutter:
    """Give the same reason in place of every reading."""
    reading = Reading(None, "%", why_not=why)
    return Flutter(reading, reading, reading, reading, reading)


def weighted_where(seconds: float, table: float) -> str:
    """Say what a weighted reading holds for."""
    return f"over {seconds:.1f} s; weighting table from memory, its doubt of {100 * table:.2f} % is counted."


def flat_where(seconds: float, band_hz: tuple[float, float]) -> str:
    """Say what an unweighted reading holds for."""
    return (
        f"{band_hz[0]:g} to {band_hz[1]:g} Hz over {seconds:.1f} s, mean and straight-line drift taken out; nothing "
        f"slower than {1.0 / seconds:.2g} Hz can be seen in that."
    )


def _weighted_readings(
    trace: Trace,
    lines: FittedLines,
    noise_rad2_per_hz: float,
    frequency_hz: float,
    means: NDArray[np.float64] | None,
) -> tuple[Reading, Reading, Reading]:
    ready = ready_trace(trace, lines, True, means)
    counted = ready.counted.copy()
    counted[: int(SETTLING_S * ready.rate_hz)] = False
    seconds = float(np.count_nonzero(counted)) / ready.rate_hz
    if seconds < LEAST_RMS_S:
        short = Reading(
            None,
            "%",
            why_not=f"The tone leaves {seconds:.1f} s after the {SETTLING_S:g} s the weighting network "
            f"settles in; {LEAST_RMS_S:g} s are needed for the rms, {TWO_SIGMA_LEAST_S:g} s for a peak reading.",
        )
        return short, short, short
    passed = weighted(ready.values, ready.rate_hz)
    rms = float(np.sqrt(np.mean(passed[counted] ** 2)))
    floor = (noise_floor(noise_rad2_per_hz, frequency_hz, weigh=True) / max(rms, 1e-300)) ** 2
    spread = scatter(ready.values, ready.counted, ready.rate_hz, lines, seconds, weigh=True)
    where = weighted_where(seconds, spread.table)
    rms_reading = made_reading(
        rms,
        spread.rms,
        Statement(WEIGHTED_RMS, where, floor, spread.table),
    )
    if seconds < TWO_SIGMA_LEAST_S:
        short = Reading(
            None,
            "%",
            why_not=f"Only {seconds:.1f} s count after the {SETTLING_S:g} s the weighting network settles "
            f"in; IEC 60386 wants at least {TWO_SIGMA_LEAST_S:g} s for a peak reading.",
        )
        return short, short, rms_reading
    peak = made_reading(
        two_sigma(passed[counted]),
        spread.peak,
        Statement(WEIGHTED_PEAK, where, floor, spread.table),
    )
    # Half the values are enough for a meter with 22 ms of attack.
    shown = quasi_peak_indication(np.where(ready.counted, passed, 0.0)[::2], ready.rate_hz / 2.0)
    quasi = made_reading(
        float(np.quantile(shown[counted[::2]], 0.95)),
        spread.peak,
        Statement(QUASI_PEAK, where, floor, spread.table),
    )
    return peak, quasi, rms_reading


def _unweighted_readings(
    trace: Trace,
    lines: FittedLines,
    noise_rad2_per_hz: float,
    frequency_hz: float,
    band_hz: tuple[float, float],
    means: NDArray[np.float64] | None,
) -> tuple[Reading, Reading]:
    ready = ready_trace(trace, lines, False, means)
    seconds = float(np.count_nonzero(ready.counted)) / ready.rate_hz
    if seconds < LEAST_RMS_S:
        short = Reading(None, "%", why_not=f"The tone leaves {seconds:.1f} s to count; {LEAST_RMS_S:g} s are needed.")
        return short, short
    passed = band_limited(ready.values, ready.rate_hz, band_hz)
    rms = float(np.sqrt(np.mean(passed[ready.counted] ** 2)))
    floor = (noise_floor(noise_rad2_per_hz, frequency_hz, band_hz) / max(rms, 1e-300)) ** 2
    spread = scatter(ready.values, ready.counted, ready.rate_hz, lines, seconds, weigh=False)
    where = flat_where(seconds, band_hz)
    rms_reading = made_reading(rms, spread.rms, Statement(FLAT_RMS, where, floor, 0.0))
    if seconds < TWO_SIGMA_LEAST_S:
        return Reading(
            None,
            "%",
            why_not=f"Only {seconds:.1f} s of tone count; a peak reading wants at least {TWO_SIGMA_LEAST_S:g} s.",
        ), rms_reading
    return made_reading(
        two_sigma(passed[ready.counted]),
        spread.peak,
        Statement(FLAT_PEAK, where, floor, 0.0),
    ), rms_reading


def flutter(
    trace: Trace,
    lines: FittedLines,
    noise_rad2_per_hz: float,
    frequency_hz: float,
    band_hz: tuple[float, float] = UNWEIGHTED_BAND_HZ,
    means: NDArray[np.float64] | None = None,
) -> Flutter:
    """Give the weighted and unweighted readings of a speed deviation.

    Arguments:
        trace: from `speed_trace`, at least 1000 samples a second.
        lines: the lines in it, for the doubts and to bridge the filters over dropouts.
        noise_rad2_per_hz: density of the tone's own phase noise; 0 when not known.
        frequency_hz: of the tone.
        band_hz: the unweighted band.
        means: mean deviation of each gap, from `means_in_gaps`; None when not known.

    Returns:
        Readings with a doubt that holds the finite time (drawn from the fitted lines and the measured spectrum of the
        rest), the doubt of the weighting table and that of the tone's noise.
    """
    masked = float(np.mean(~np.isfinite(trace.values))) if len(trace.values) else 1.0
    if masked > MASKED_SHARE or len(trace.values) < 0.2 * trace.rate_hz:
        return refused(f"The tone drops out for {100 * masked:.0f} % of its length: too little is left to measure.")
    peak, quasi, rms = _weighted_readings(trace, lines, noise_rad2_per_hz, frequency_hz, means)
    flat_peak, flat_rms = _unweighted_readings(trace, lines, noise_rad2_per_hz, frequency_hz, band_hz, means)
    return Flutter(peak, quasi, rms, flat_peak, flat_rms)
