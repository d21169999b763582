"""Find a test tone whose frequency swings by up to 6 %: a machine whose belt slips, sticks or is dented.

No single peak holds such a tone; its power lies within 13 % of a centre, frame after frame. A voice or an instrument
with vibrato can look the same, so this is asked of it besides: 5 s at least, next to no power beside it, and a centre
within 10 % of a usual test tone, or of the one that was named. That its level is steady and that it does not jump from
note to note is seen when it is followed.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.frames import ONE_PEAK
from tapewright.measure.survey import Survey
from tapewright.measure.tone import LEAST_S, LEVEL_RANGE_DB, LONG_S, OTHER_DB, Tone, no_tone, nominal_tone_hz
from tapewright.standards.iec_60386 import OTHER_TEST_TONE_HZ, TEST_TONE_HZ

WIDE_SHARE: Final = 0.7
"""Least share of all power above 300 Hz; a tone clipped flat to a square wave keeps 0.81."""
MEMBER: Final = 0.09
"""A frame belongs to the tone when its centre is this near the tone's, ratio."""
MEMBERS: Final = 0.85
"""Least share of such frames in the stretch; the rest is dropouts, and dips where a belt slips."""
DIP_S: Final = 1.0
"""A longer absence ends the tone."""
WIDE_RANGE: Final = 0.13
"""Largest range of the centres, all but one in twenty: 6 % either way and a little for noise."""
TREND: Final = 0.08
"""A tone that moves further in one direction is a sweep, not a machine that sags."""
RACES: Final = (1.1, 2.6)
"""A tape that the capstan does not hold runs so many times too fast: as the take-up hub pulls it."""


def _runs(members: NDArray[np.intp], gap: float) -> list[NDArray[np.intp]]:
    return np.split(members, np.flatnonzero(np.diff(members) > gap) + 1)


def _commonest(frequency_hz: NDArray[np.float64]) -> float:
    """Give the frequency that most frames are near: the median of the fullest tenth of an octave and its neighbours."""
    tenths = np.round(10.0 * np.log2(frequency_hz)).astype(int)
    low = int(tenths.min())
    counts = np.convolve(np.bincount(tenths - low), [1, 1, 1], mode="same")
    return float(np.median(frequency_hz[np.abs(tenths - low - int(np.argmax(counts))) <= 1]))


def _nominal_near(frequency_hz: float, tone_hz: float | None) -> bool:
    nominal = nominal_tone_hz(frequency_hz, tone_hz)
    return nominal is not None and abs(frequency_hz / nominal - 1.0) <= 0.1


def _fault_of(found: Survey, run: NDArray[np.intp], tone_hz: float | None) -> str | None:
    """Say what keeps a stretch from being a swinging test tone; None when nothing does."""
    seconds = float((run[-1] - run[0] + 1) * found.step_s)
    middle = float(np.median(found.wide_hz[run]))
    if not _nominal_near(middle, tone_hz):
        return (
            f"A tone near {middle:.0f} Hz swings too far for one that is not named: a voice or an instrument with "
            f"vibrato could do that. If it is a test tone, name it with --tone."
        )
    if seconds < LONG_S:
        return (
            f"A tone near {middle:.0f} Hz that swings strongly lasts {seconds:.1f} s; {LONG_S:g} s are needed to know "
            "it for a test tone."
        )
    inside = np.arange(run[0], run[-1] + 1)
    seen = inside[found.wide_power[inside] > WIDE_SHARE * found.total_power[inside]]
    line = np.polyfit(np.linspace(-0.5, 0.5, len(run)), found.wide_hz[run] / middle, 1)
    moved = float(np.ptp(np.quantile(found.wide_hz[seen], [0.025, 0.975]))) / middle
    if len(run) < MEMBERS * len(inside) or moved > WIDE_RANGE or abs(float(line[0])) > TREND:
        return (
            f"A tone near {middle:.0f} Hz moves over {100 * moved:.0f} % in {seconds:.1f} s: a sweep, or far beyond "
            "what can be read as speed."
        )
    other = float(np.median(found.wide_other_power[run] / found.wide_power[run]))
    if other > 10.0 ** (OTHER_DB / 10.0):
        return (
            f"Beside a swinging tone near {middle:.0f} Hz a second sound is only {-10 * np.log10(other):.0f} dB lower."
        )
    level_db = float(np.ptp(10.0 * np.log10(np.quantile(found.wide_power[run], [0.1, 0.9]))))
    if level_db > LEVEL_RANGE_DB:
        return f"A swinging tone near {middle:.0f} Hz changes its level by {level_db:.0f} dB: a note, not a test tone."
    return None


def _races(found: Survey, tone_hz: float | None) -> str | None:
    """Say so when a lasting tone stands far above the test tone's place: the tape races."""
    beside = found.other_power > 3.0 * found.tone_power  # where only the named tone's neighbourhood is searched
    frequency = np.where(beside, found.other_hz, found.wide_hz)
    share = np.where(beside, 3.0 * found.other_power, found.wide_power) / np.maximum(found.total_power, 1e-30)
    tonal = np.flatnonzero((share > WIDE_SHARE) & (found.total_power > 1e-12 * max(found.peak, 1e-15) ** 2))
    if len(tonal) * found.step_s < LONG_S:
        return None
    middle, nominal = _commonest(frequency[tonal]), tone_hz or TEST_TONE_HZ
    near = np.count_nonzero(np.abs(frequency[tonal] / middle - 1.0) < 2.0 * MEMBER)
    if near * found.step_s < LONG_S or near < MEMBERS * len(tonal) or not RACES[0] < middle / nominal < RACES[1]:
        return None
    return (
        f"A tone near {middle:.0f} Hz wanders for {near * found.step_s:.0f} s, and no test tone stands near "
        f"{nominal:g} Hz. If the tape was recorded at {nominal:g} Hz, it runs {100 * (middle / nominal - 1.0):.0f} % "
        "too fast and unsteadily: it races, pulled by the take-up hub and not held by the capstan and the pinch "
        "roller. That is the finding; wow and flutter mean nothing until the capstan drives the tape."
    )


def find_swinging_tone(found: Survey, tone_hz: float | None = None) -> Tone:
    """Find a test tone that swings strongly; coarse, to be confirmed by following it.

    Arguments:
        found: from `survey`, taken with the same `tone_hz`.
        tone_hz: the nominal frequency, when told.

    Returns:
        The tone, or one without a frequency; its `why_not` is empty when there is nothing to say about swinging tones.
    """
    share = found.wide_power / np.maximum(found.total_power, 1e-30)
    tonal = np.flatnonzero((share > WIDE_SHARE) & (found.wide_power > 1e-12 * max(found.peak, 1e-15) ** 2))
    if len(tonal) * found.step_s < LEAST_S:
        return no_tone(_races(found, tone_hz) or "")
    nominals = (TEST_TONE_HZ, OTHER_TEST_TONE_HZ) if tone_hz is None else (tone_hz,)
    near = np.min([np.abs(found.wide_hz[tonal] / nominal - 1.0) for nominal in nominals], axis=0) < 0.15
    picked = tonal[near] if np.count_nonzero(near) * found.step_s >= LEAST_S else tonal
    middle = _commonest(found.wide_hz[picked])
    for _ in range(2):
        members = picked[np.abs(found.wide_hz[picked] / middle - 1.0) < MEMBER]
        if not len(members):
            return no_tone("")
        middle = float(np.median(found.wide_hz[members]))
    run = max(_runs(members, DIP_S / found.step_s), key=len)
    if len(run) * found.step_s < LEAST_S:
        return no_tone(_races(found, tone_hz) or "")
    fault = _fault_of(found, run, tone_hz)
    if fault is not None:
        return no_tone(_races(found, tone_hz) or fault)
    return _described(found, run)


def _described(found: Survey, run: NDArray[np.intp]) -> Tone:
    one_peak = found.tone_power[run] > ONE_PEAK * found.total_power[run]
    beside = np.where(one_peak, found.rest_power[run], found.total_power[run] - found.wide_power[run])
    # Where the frequency moves within a frame the tone's own skirts lie beside it: the quiet frames show the noise.
    ratio = float(np.median(found.wide_power[run])) / max(float(np.quantile(beside, 0.1)), 1e-30)
    return Tone(
        True,
        float(np.mean(found.wide_hz[run])),
        float(found.times_s[run[0]]) - found.step_s,
        float(found.times_s[run[-1]]) + found.step_s,
        float(10.0 * np.log10(ratio)),
    )
