"""Readings of a tone that was gathered in stretches: what `flutter`, `speed` and `lines` do for a short one."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import stats

from tapewright.measure.averaged import Mean, MeanLines, mean_lines
from tapewright.measure.bands import AVERAGED, FAST, WHOLE, WOW, Band
from tapewright.measure.flutter import (
    MASKED_SHARE,
    QUASI_PEAK,
    WEIGHTED_AVERAGE,
    WEIGHTED_PEAK,
    WEIGHTED_RMS,
    Flutter,
    Statement,
    flat_said,
    flat_where,
    made_reading,
    noise_floor,
    refused,
    weighted_where,
)
from tapewright.measure.follow import Course
from tapewright.measure.lines import MOST_LINES, FittedLines
from tapewright.measure.meter import Sizes
from tapewright.measure.reels import Reel, find_reels
from tapewright.measure.spread import table_doubt
from tapewright.measure.stretches import FLAT_BANDS, WOW_THINNED, LongTone
from tapewright.standards.iec_60386 import TWO_SIGMA_SHARE, UNWEIGHTED_BAND_HZ, weighting_response
from tapewright.standards.nab import RMS_OF_MEAN
from tapewright.words.reading import Reading
from tapewright.words.signal import Line, Trace

LEAST_STRETCHES: Final = 4
"""From so many whole stretches on, their own scatter is asked as well as that of their quarters."""


@dataclass(frozen=True, slots=True, eq=False)
class LongReadings:
    """What a long tone says.

    Arguments:
        course: the tone in figures.
        trace: speed deviation from the mean, thinned.
        lines: steady and reel-borne lines, the slowest first.
        flutter: the readings.
        mean: the mean spectrum; None when there is none.
    """

    course: Course
    trace: Trace
    lines: FittedLines
    flutter: Flutter
    mean: Mean | None


def long_course(tone: LongTone) -> tuple[Course, Trace] | None:
    """Give a long tone in figures, and its thinned trace about its mean; None when nothing of it was there."""
    values = tone.thinned.values()
    there = np.isfinite(values)
    if not tone.parts or not there.any():
        return None
    mean = float(values[there].mean())
    parts = tone.parts
    levels = [part.amplitude for part in parts]
    course = Course(
        tone.begins_s,
        tone.ends_s,
        tone.mixer.frequency_hz * (1.0 + mean),
        sum(part.dropouts for part in parts),
        sum(part.masked_s for part in parts) + tone.lost_s,
        tone.noise_rad2_per_hz,
        float(np.median(levels)),
        float(np.median([part.swing for part in parts])),
        float(20.0 * np.log10(levels[-1] / max(levels[0], 1e-30))),
        tone.modulation,
    )
    rate = tone.mixer.rate_hz / tone.thinned.factor
    start = tone.start_s + (tone.thinned.factor - 1) / (2.0 * tone.mixer.rate_hz)
    return course, Trace((1.0 + values) / (1.0 + mean) - 1.0, rate, start)


def _spread(stretches: list[float], quarters: list[float]) -> float:
    """Give one sigma of a figure over other tones as long, ratio: from how it scatters among its own stretches.

    Quarters of stretches next to each other may go up and down together; where there are enough whole stretches, theirs
    is taken when it is larger. Student's law makes up for how few there are.
    """
    found = 0.0
    for held in (quarters, stretches):
        if len(held) >= LEAST_STRETCHES:
            certain = float(stats.t.ppf(0.975, len(held) - 1)) / 1.96
            own = certain * float(np.std(held, ddof=1)) / np.sqrt(len(held))
            found = max(found, float(own) / max(float(np.mean(held)), 1e-300))
    return found


def _three(
    sizes: Sizes, scale: float, floor: float, said: tuple[str, str, str], where: str, table: float
) -> tuple[Reading, Reading, Reading]:
    """Give the two-sigma, rms and average readings of one filtered deviation."""
    rms = sizes.mean_square_root() * scale
    share = (floor / max(rms, 1e-300)) ** 2
    peak, average = sizes.shares.exceeded(TWO_SIGMA_SHARE) * scale, RMS_OF_MEAN.value * sizes.mean_size() * scale
    return (
        made_reading(peak, _spread(sizes.peaks, sizes.quarter_peaks), Statement(said[0], where, share, table)),
        made_reading(rms, _spread(sizes.rms, sizes.quarter_rms), Statement(said[1], where, share, table)),
        made_reading(average, _spread(sizes.means, sizes.quarter_means), Statement(said[2], where, share, table)),
    )


def _table(mean: Mean | None) -> float:
    """Give what the weighting table leaves open, from where the mean spectrum has its power."""
    if mean is None:
        return table_doubt(np.array([4.0]), np.ones(1))
    inside = (mean.frequency_hz > 0.1) & (mean.frequency_hz < UNWEIGHTED_BAND_HZ[1])
    frequency = mean.frequency_hz[inside]
    return table_doubt(frequency, mean.density[inside] * np.abs(weighting_response(frequency)) ** 2)


@dataclass(frozen=True, slots=True, eq=False)
class _Sized:
    """What the readings of a long tone share: the tone, its figures, what its sizes are to be multiplied by."""

    tone: LongTone
    course: Course

    @property
    def scale(self) -> float:
        return self.tone.mixer.frequency_hz / self.course.frequency_hz

    def flat(self, sizes: Sizes, band: Band, rate_hz: float) -> tuple[Reading, Reading, Reading]:
        """Give the readings of a flat band that came in so many values a second."""
        floor = noise_floor(self.course.noise_rad2_per_hz, self.course.frequency_hz, band.band_hz)
        return _three(sizes, self.scale, floor, flat_said(band), flat_where(sizes.count / rate_hz, band), 0.0)


def _flutter(tone: LongTone, course: Course, mean: Mean | None) -> Flutter:
    seconds = course.end_s - course.start_s
    if course.masked_s > MASKED_SHARE * seconds or not tone.weighted.count or not tone.flat[0].count:
        share = 100.0 * course.masked_s / max(seconds, 1e-9)
        return refused(f"The tone drops out for {share:.0f} % of its length: too little is left to measure.")
    sized = _Sized(tone, course)
    rate, half = tone.mixer.rate_hz, tone.mixer.rate_hz / 2.0
    table = _table(mean)
    where = weighted_where(tone.weighted.count / half, table)
    floor = noise_floor(course.noise_rad2_per_hz, course.frequency_hz, weigh=True)
    said = (WEIGHTED_PEAK, WEIGHTED_RMS, WEIGHTED_AVERAGE)
    peak, rms, average = _three(tone.weighted, sized.scale, floor, said, where, table)
    share = (floor / max(tone.weighted.mean_square_root() * sized.scale, 1e-300)) ** 2
    quasi = made_reading(
        tone.pointer.shares.exceeded(TWO_SIGMA_SHARE) * sized.scale,
        _spread(tone.pointer.peaks, tone.pointer.quarter_peaks),
        Statement(QUASI_PEAK, where, share, table),
    )
    flat = {band: sized.flat(sizes, band, half) for band, sizes in zip(FLAT_BANDS, tone.flat, strict=True)}
    wow = sized.flat(tone.wow, WOW, rate / WOW_THINNED)
    return Flutter(
        weighted_peak_pct=peak,
        weighted_quasi_peak_pct=quasi,
        weighted_rms_pct=rms,
        weighted_average_pct=average,
        unweighted_peak_pct=flat[WHOLE][0],
        unweighted_rms_pct=flat[WHOLE][1],
        unweighted_average_pct=flat[AVERAGED][2],
        wow_band_peak_pct=wow[0],
        wow_band_rms_pct=wow[1],
        flutter_band_peak_pct=flat[FAST][0],
        flutter_band_rms_pct=flat[FAST][1],
    )


def _moved_on(line: Line, reels: tuple[Reel, ...], seconds: float) -> bool:
    """Say whether a line that stands in few stretches is a reel's, or a harmonic of one, on its way."""
    ranges = [(order * min(reel.ends_hz), order * max(reel.ends_hz)) for reel in reels for order in (1, 2, 3)]
    reach = 3.0 / seconds
    return any(low - reach < line.frequency_hz < high + reach for low, high in ranges)


def _together(found: MeanLines, reels: tuple[Reel, ...]) -> FittedLines:
    """Put lasting, reel-borne and passing lines in one row, the slowest first."""
    seconds = found.mean.seconds if found.mean else 1.0
    passing = [line for line in found.passing if not _moved_on(line, reels, seconds)]
    drifting = [(reel.line, reel.slowing_per_s, reel.slowing_doubt_per_s) for reel in reels]
    rows = [*((line, 0.0, 0.0) for line in (*found.lasting.lines, *passing)), *drifting]
    rows = sorted(sorted(rows, key=lambda row: -row[0].peak_pct)[:MOST_LINES], key=lambda row: row[0].frequency_hz)
    nothing = np.zeros(len(rows))
    return replace(
        found.lasting,
        lines=tuple(line for line, _, _ in rows),
        frequency_hz=np.array([line.frequency_hz for line, _, _ in rows], dtype=np.float64),
        cosine=nothing,
        sine=nothing,
        slowing_per_s=np.array([slowing for _, slowing, _ in rows], dtype=np.float64),
        slowing_doubt_per_s=np.array([unsure for _, _, unsure in rows], dtype=np.float64),
    )


def long_readings(tone: LongTone, course: Course, trace: Trace) -> LongReadings:
    """Turn what was gathered into lines and readings.

    Arguments:
        tone: with all its stretches taken.
        course: from `long_course`, like the next.
        trace: thinned.
    """
    tone.meter.flush()
    found = mean_lines(tone.spectrum, course.start_s, course.end_s)
    reels = find_reels(tone.slow.trace(tone.start_s), found.lasting.lines)
    return LongReadings(course, trace, _together(found, reels), _flutter(tone, course, found.mean), found.mean)


__all__ = ["LongReadings", "long_course", "long_readings"]
