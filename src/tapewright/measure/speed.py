"""Mean speed error and drift of a followed tone, each with its doubt."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.follow import Course
from tapewright.measure.line_fit import LONGEST_S
from tapewright.measure.lines import FittedLines
from tapewright.measure.tone import nominal_tone_hz
from tapewright.measure.trend import straight_line
from tapewright.standards.din_45500 import SPEED_AVERAGING_S
from tapewright.standards.iec_60386 import OTHER_TEST_TONE_HZ, TEST_TONE_HZ
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

CLOCK: Final = "The sound card's clock is taken as true; an ordinary one is off by up to some 0.005 %."
TAPE_LEFT_IN: Final = "The test tape's own speed error is not taken out."
MOST_CLOCK_PPM: Final = 1000.0
"""A sound card further off is broken."""
EITHER_NOMINAL: Final = 0.01
"""Nearer to one usual tone than this, ratio, the other (5 % away) is not brought up."""
SLOW_TURNS: Final = 4
"""What wanders in one to four turns of the stretch tells how far its mean may be off."""
SURE: Final = float(stats.t.ppf(0.975, 2 * SLOW_TURNS - 1))
"""Student's factor: four turns are eight values, one of which the straight line took."""
LEAST_DRIFT_S: Final = 10.0
"""In less, drift cannot be told from the slow wow of the reels (0.3 to 0.7 Hz)."""


@dataclass(frozen=True, slots=True)
class Clock:
    """How far the clock of the sound card is off.

    Arguments:
        error_ppm: how much faster it runs than it says, parts in a million; it then shows every tone so much too low.
        doubt_ppm: half-width of the 95 % interval of that.
    """

    error_ppm: float
    doubt_ppm: float

    @property
    def ratio(self) -> float:
        """Give what a frequency that was read is to be multiplied by."""
        return 1.0 + 1e-6 * self.error_ppm


def _without_lines(trace: Trace, lines: FittedLines) -> NDArray[np.float64]:
    """Take the lines out where they were fitted: part of a turn of a slow rotor would shift a short mean."""
    left = trace.values.copy()
    if len(left) / trace.rate_hz <= LONGEST_S and len(lines.frequency_hz):
        left -= lines.speed(trace.times_s)
    return left


def _slow_density(left: NDArray[np.float64], rate_hz: float) -> float:
    """Estimate the density of what wanders slower than four turns in the stretch, ratio² per hertz.

    The straight line that is taken out first takes 6/(pi k)² of the power at k turns with it (closed form).
    """
    there = np.isfinite(left)
    wander = np.where(there, left - straight_line(left, there), 0.0)
    counted = float(np.count_nonzero(there))
    starts = np.linspace(0, len(left), min(len(left), 512), endpoint=False).astype(np.intp)
    summed = np.add.reduceat(wander, starts)
    at = starts / len(left)
    turns = np.arange(1, SLOW_TURNS + 1)
    powers = np.abs(np.exp(-2j * np.pi * np.outer(turns, at)) @ summed) ** 2
    kept = float(np.sum(1.0 - 6.0 / (np.pi * turns) ** 2))
    return 2.0 * float(np.sum(powers)) / kept / (rate_hz * counted)


def mean_frequency(tone: Course, trace: Trace, lines: FittedLines) -> tuple[float, float]:
    """Give the tone's mean frequency over its stretch and its doubt, hertz.

    Arguments:
        tone: the followed tone in figures.
        trace: its speed deviation.
        lines: the lines in it; what part of a turn adds to the mean is taken out.

    The doubt holds the flutter that a finite time does not average out, sqrt(S/2T) from the slow density S, and the
    tone's noise by the Cramér-Rao bound, sqrt(3 N/(2 pi² T³)); the larger by far is the first.
    """
    left = _without_lines(trace, lines)
    seconds = float(np.count_nonzero(np.isfinite(left))) / trace.rate_hz
    mean = float(np.nanmean(left))
    flutter = np.sqrt(_slow_density(left, trace.rate_hz) / (2.0 * seconds))
    noise = np.sqrt(3.0 * tone.noise_rad2_per_hz / (2.0 * np.pi**2 * seconds**3)) / tone.frequency_hz
    return tone.frequency_hz * (1.0 + mean), float(tone.frequency_hz * np.hypot(SURE * flutter, 1.96 * noise))


def speed_error(
    frequency_hz: float, doubt_hz: float, seconds: float, tone_hz: float | None = None, clock: Clock | None = None
) -> Reading:
    """Give the mean speed error, percent, fast positive.

    Arguments:
        frequency_hz: mean frequency of the tone.
        doubt_hz: its doubt.
        seconds: how long it was averaged.
        tone_hz: what the tone was recorded at; None takes 3150 or 3000 Hz, whichever is nearer, within 10 %.
        clock: how far the sound card's clock is off, where that is known: its error is taken out, its doubt added.

    >>> round(speed_error(2965.0, 0.1, 30.0, 3000.0).value, 3)
    -1.167
    """
    said = CLOCK
    if clock is not None:
        frequency_hz *= clock.ratio
        doubt_hz = float(np.hypot(doubt_hz, 1e-6 * clock.doubt_ppm * frequency_hz))
        said = (
            f"The sound card's clock, {clock.error_ppm:+g} ± {clock.doubt_ppm:g} ppm, is taken out and its doubt "
            "counted."
        )
    nominal = nominal_tone_hz(frequency_hz, tone_hz)
    if nominal is None:
        return Reading(
            None,
            "%",
            why_not=f"The nominal tone is not known ({frequency_hz:.1f} Hz is near neither 3150 nor "
            "3000 Hz): say it with --tone.",
        )
    return Reading(
        100.0 * (frequency_hz / nominal - 1.0),
        "%",
        100.0 * doubt_hz / nominal,
        method=f"mean frequency of the tone against {nominal:g} Hz",
        conditions=f"over {seconds:.1f} s. {said} {TAPE_LEFT_IN}{_other_nominal(frequency_hz, nominal, tone_hz)}",
    )


def _other_nominal(frequency_hz: float, nominal_hz: float, tone_hz: float | None) -> str:
    """Say what the other usual tone would mean, where nobody told which of the two was recorded."""
    other = OTHER_TEST_TONE_HZ if nominal_hz == TEST_TONE_HZ else TEST_TONE_HZ
    error = frequency_hz / other - 1.0
    if tone_hz is not None or abs(frequency_hz / nominal_hz - 1.0) < EITHER_NOMINAL or abs(error) > 0.1:
        return ""
    return f" Had the tape been recorded at {other:g} Hz, it would be {100.0 * error:+.2f} %: --tone settles it."


def drift(trace: Trace, lines: FittedLines) -> Reading:
    """Give how much faster the tape runs at the end of the stretch than at its beginning, percent.

    Arguments:
        trace: the speed deviation.
        lines: the lines in it.

    Of 60 s and more (a second or two may be missing): the mean of the last 30 s less the mean of the first 30 s (no
    standard gives a formula; the 30 s are DIN 45500's). Of less: the straight line through the stretch, end less
    beginning.
    """
    left = _without_lines(trace, lines)
    seconds = len(left) / trace.rate_hz
    if seconds < LEAST_DRIFT_S:
        return Reading(
            None,
            "%",
            why_not=f"The tone lasts {seconds:.1f} s; drift needs {LEAST_DRIFT_S:g} s, or it cannot be "
            "told from slow wow.",
        )
    density = _slow_density(left, trace.rate_hz)
    window = min(SPEED_AVERAGING_S.value, seconds / 2.0)
    if window > SPEED_AVERAGING_S.value - 1.0:
        count = int(window * trace.rate_hz)
        ends = [end[np.isfinite(end)] for end in (left[-count:], left[:count])]
        if all(len(end) for end in ends):
            moved = float(np.mean(ends[0]) - np.mean(ends[1]))
            return Reading(
                100.0 * moved,
                "%",
                100.0 * SURE * float(np.sqrt(density / window)),
                method=f"mean of the last {window:.0f} s less mean of the first {window:.0f} s",
                conditions=f"over {seconds:.1f} s",
            )
    line = straight_line(left, np.isfinite(left))
    slope = float(line[-1] - line[0])
    return Reading(
        100.0 * slope,
        "%",
        100.0 * SURE * float(np.sqrt(12.0 * density / (2.0 * seconds))),
        method="straight line through the stretch, end less beginning",
        conditions=f"over {seconds:.1f} s",
    )
