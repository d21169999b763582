"""Wow and flutter by IEC 60386: weighted and unweighted, peak, rms and average, each computed and never converted.

Mean and straight-line drift are taken out first. Dropouts are masked: what stands in for them only keeps the filters
running, and neither it nor the filters' memory of it is counted.
"""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.measure.bands import AVERAGED, FAST, LEAST_RMS_S, LEAST_TURNS, WHOLE, WOW, Band, band_limited
from tapewright.measure.lines import FittedLines
from tapewright.measure.runs_of_mask import runs_of
from tapewright.measure.spread import Scatter, scatter
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
from tapewright.standards.nab import average_reading
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

RECOVERY_S: Final = 0.01
"""Time after a dropout that does not count."""
LONG_GAP_S: Final = 0.5
"""After a longer dropout the weighting network is given its whole settling time again."""
WEIGHTED_RMS: Final = "root mean square of the weighted deviation (weighting of IEC 60386)"
WEIGHTED_PEAK: Final = "IEC 60386 two-sigma: exceeded 5 % of the time, either way"
QUASI_PEAK: Final = "IEC 60386 quasi-peak meter, the indication exceeded 5 % of the time"
AVERAGE: Final = "average-responding: mean size times 1.1107, the rms of one sine (NAB practice, from memory)"
WEIGHTED_AVERAGE: Final = AVERAGE + ", through the weighting of IEC 60386"
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
    weighted_average_pct: Reading
    unweighted_peak_pct: Reading
    unweighted_rms_pct: Reading
    unweighted_average_pct: Reading
    wow_band_peak_pct: Reading
    wow_band_rms_pct: Reading
    flutter_band_peak_pct: Reading
    flutter_band_rms_pct: Reading


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """A trace ready for filters: drift out, gaps filled for the filters' sake, and what may be counted."""

    values: NDArray[np.float64]
    counted: NDArray[np.bool_]
    rate_hz: float


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
    for start, stop in runs_of(bad):
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
    for start, stop in runs_of(np.isfinite(means)):
        bend = np.sin(np.pi * (np.arange(stop - start) + 1.0) / (stop - start + 1.0))
        lacking = float(np.mean(means[start:stop] - flat[start:stop]))
        flat[start:stop] += lacking / float(bend.mean()) * bend


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
    return Flutter(*[reading] * len(fields(Flutter)))


def weighted_where(seconds: float, table: float) -> str:
    """Say what a weighted reading holds for."""
    return f"over {seconds:.1f} s; weighting table from memory, its doubt of {100 * table:.2f} % is counted."


def flat_where(seconds: float, band: Band) -> str:
    """Say what an unweighted reading holds for, and what of its band so short a stretch cannot show."""
    said = f"{band.band_hz[0]:g} to {band.band_hz[1]:g} Hz over {seconds:.1f} s, mean and straight-line drift taken out"
    unseen = f"; nothing slower than {1.0 / seconds:.2g} Hz can be seen in that"
    return said + (unseen if band.band_hz[0] * seconds < LEAST_TURNS else "") + "."


def flat_said(band: Band) -> tuple[str, str, str]:
    """Give the methods of a band's two-sigma, rms and average readings."""
    return (
        f"two-sigma, {band.says}: exceeded 5 % of the time, either way",
        f"root mean square, {band.says}",
        f"{AVERAGE}, {band.says}",
    )


def too_short(seconds: float, least_s: float, what: str, band: Band | None = None) -> Reading:
    """Give no reading, since the stretch is shorter than this one needs."""
    after = "" if band else f" after the {SETTLING_S:g} s the weighting network settles in"
    why = f"Only {seconds:.1f} s of tone count{after}; {least_s:g} s are needed for {what}"
    if band is not None and least_s > TWO_SIGMA_LEAST_S:
        why += f" that reaches down to {band.band_hz[0]:g} Hz"
    return Reading(None, "%", why_not=why + ".")


PEAK_READING: Final = "a peak reading (IEC 60386)"
RMS_READING: Final = "an rms reading"
AVERAGE_READING: Final = "an average reading"


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """What every reading is taken of: the trace, its lines, its noise."""

    trace: Trace
    lines: FittedLines
    noise_rad2_per_hz: float
    frequency_hz: float
    means: NDArray[np.float64] | None

    def floor(self, rms: float, band_hz: tuple[float, float], weigh: bool) -> float:
        """Give the share of the power that is the tone's own noise."""
        own = noise_floor(self.noise_rad2_per_hz, self.frequency_hz, band_hz, weigh)
        return (own / max(rms, 1e-300)) ** 2


def _three(
    counted: NDArray[np.float64], spread: Scatter, floor: float, said: tuple[str, str, str], where: str
) -> tuple[Reading, Reading, Reading]:
    """Give the two-sigma, rms and average readings of one filtered deviation."""
    values = two_sigma(counted), float(np.sqrt(np.mean(counted**2))), average_reading(counted)
    scatters = spread.peak, spread.rms, spread.average
    peak, rms, average = (
        made_reading(value, scattered, Statement(method, where, floor, spread.table))
        for value, scattered, method in zip(values, scatters, said, strict=True)
    )
    return peak, rms, average


def _weighted_readings(heard: _Heard) -> tuple[Reading, Reading, Reading, Reading]:
    """Give the two-sigma, quasi-peak, rms and average readings through the weighting network."""
    ready = ready_trace(heard.trace, heard.lines, True, heard.means)
    counted = ready.counted.copy()
    counted[: int(SETTLING_S * ready.rate_hz)] = False
    seconds = float(np.count_nonzero(counted)) / ready.rate_hz
    no_peak = too_short(seconds, TWO_SIGMA_LEAST_S, PEAK_READING)
    if seconds < LEAST_RMS_S:
        return (
            no_peak,
            no_peak,
            too_short(seconds, LEAST_RMS_S, RMS_READING),
            too_short(seconds, LEAST_RMS_S, AVERAGE_READING),
        )
    passed = weighted(ready.values, ready.rate_hz)
    spread = scatter(ready.values, ready.counted, ready.rate_hz, heard.lines, seconds, weigh=True)
    where = weighted_where(seconds, spread.table)
    floor = heard.floor(float(np.sqrt(np.mean(passed[counted] ** 2))), UNWEIGHTED_BAND_HZ, weigh=True)
    said = (WEIGHTED_PEAK, WEIGHTED_RMS, WEIGHTED_AVERAGE)
    peak, rms, average = _three(passed[counted], spread, floor, said, where)
    if seconds < TWO_SIGMA_LEAST_S:
        return no_peak, no_peak, rms, average
    # Half the values are enough for a meter with 22 ms of attack.
    shown = quasi_peak_indication(np.where(ready.counted, passed, 0.0)[::2], ready.rate_hz / 2.0)
    quasi = made_reading(
        float(np.quantile(shown[counted[::2]], 0.95)),
        spread.peak,
        Statement(QUASI_PEAK, where, floor, spread.table),
    )
    return peak, quasi, rms, average


def _flat_readings(heard: _Heard, ready: Ready, band: Band) -> tuple[Reading, Reading, Reading]:
    """Give the two-sigma, rms and average readings of a flat band."""
    seconds = float(np.count_nonzero(ready.counted)) / ready.rate_hz
    least_s = max(TWO_SIGMA_LEAST_S, band.least_s)
    no_peak = too_short(seconds, least_s, PEAK_READING, band)
    if seconds < band.least_s:
        no_rms, no_average = (too_short(seconds, band.least_s, what, band) for what in (RMS_READING, AVERAGE_READING))
        return no_peak, no_rms, no_average
    passed = band_limited(ready.values, ready.rate_hz, band.band_hz)[ready.counted]
    spread = scatter(ready.values, ready.counted, ready.rate_hz, heard.lines, seconds, False, band.band_hz)
    floor = heard.floor(float(np.sqrt(np.mean(passed**2))), band.band_hz, weigh=False)
    peak, rms, average = _three(passed, spread, floor, flat_said(band), flat_where(seconds, band))
    return (peak if seconds >= least_s else no_peak), rms, average


def flutter(
    trace: Trace,
    lines: FittedLines,
    noise_rad2_per_hz: float,
    frequency_hz: float,
    means: NDArray[np.float64] | None = None,
    whole: Band = WHOLE,
) -> Flutter:
    """Give the weighted and unweighted readings of a speed deviation.

    Arguments:
        trace: from `speed_trace`, at least 1000 samples a second.
        lines: the lines in it, for the doubts and to bridge the filters over dropouts.
        noise_rad2_per_hz: density of the tone's own phase noise; 0 when not known.
        frequency_hz: of the tone.
        means: mean deviation of each gap, from `means_in_gaps`; None when not known.
        whole: the unweighted band of wow and flutter together.

    Returns:
        Readings with a doubt that holds the finite time (drawn from the fitted lines and the measured spectrum of the
        rest), the doubt of the weighting table and that of the tone's noise.
    """
    masked = float(np.mean(~np.isfinite(trace.values))) if len(trace.values) else 1.0
    if masked > MASKED_SHARE or len(trace.values) < 0.2 * trace.rate_hz:
        return refused(f"The tone drops out for {100 * masked:.0f} % of its length: too little is left to measure.")
    heard = _Heard(trace, lines, noise_rad2_per_hz, frequency_hz, means)
    peak, quasi, rms, average = _weighted_readings(heard)
    ready = ready_trace(trace, lines, False, means)
    flat_peak, flat_rms, _ = _flat_readings(heard, ready, whole)
    wow_peak, wow_rms, _ = _flat_readings(heard, ready, WOW)
    fast_peak, fast_rms, _ = _flat_readings(heard, ready, FAST)
    return Flutter(
        weighted_peak_pct=peak,
        weighted_quasi_peak_pct=quasi,
        weighted_rms_pct=rms,
        weighted_average_pct=average,
        unweighted_peak_pct=flat_peak,
        unweighted_rms_pct=flat_rms,
        unweighted_average_pct=_flat_readings(heard, ready, AVERAGED)[2],
        wow_band_peak_pct=wow_peak,
        wow_band_rms_pct=wow_rms,
        flutter_band_peak_pct=fast_peak,
        flutter_band_rms_pct=fast_rms,
    )
