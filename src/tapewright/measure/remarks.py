"""What is said about a channel besides its readings: why a tone cannot be followed after all, and what is odd."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.beats import REFUSE_ABOVE
from tapewright.measure.follow import Course
from tapewright.measure.lines import FittedLines
from tapewright.measure.survey import Survey
from tapewright.measure.tone import low_noise_db, overtones_db
from tapewright.measure.trend import straight_line
from tapewright.words.signal import Trace

LEAST_CARRIER_DB: Final = 10.0
"""Tone over noise in the band that is followed; below this the phase slips whole turns."""
MOST_DEVIATION: Final = 0.062
"""A machine whose speed swings by more for one sample in twenty is beyond what can be told from other sounds."""
EXTREME: Final = 0.01
"""Speed that swings by more for one sample in twenty is said to: five times the limit of DIN 45500."""
MOST_SWINGING_LEVEL: Final = 0.12
"""One sigma of a strongly swinging tone's level, noise apart: it has to be told from voices and from two tones."""
MOST_SWING: Final = 0.45
"""One sigma of the level: noise through a narrow filter has 0.57, a tone whose level is modulated by 40 % has 0.4."""
ENOUGH: Final = 60000
"""So many values, evenly taken, are enough to know what one in twenty exceeds."""
HUM_DB: Final = -20.0
OVERTONES_DB: Final = -10.0
LEVEL_CHANGE_DB: Final = 1.5
"""Own choice: what a listener begins to hear."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A tone as it was followed.

    Arguments:
        tone: the followed tone in figures.
        trace: its speed deviation.
        second: a second tone close by: how far off, hertz, and its size, ratio; None when there is none.
        band_hz: the band in which it was followed.
        swinging: whether it was found as a strongly swinging one.
        jumped: whether its frequency ever jumps from one held note to another.
    """

    tone: Course
    trace: Trace
    second: tuple[float, float] | None
    band_hz: float
    swinging: bool
    jumped: bool = False

    @property
    def deviation(self) -> float:
        """Give what the speed's deviation from its mean exceeds for one sample in twenty, ratio."""
        values = self.trace.values[:: max(1, len(self.trace.values) // ENOUGH)]
        there = values[np.isfinite(values)]
        return float(np.quantile(np.abs(there), 0.95)) if len(there) else 0.0

    def wow(self) -> tuple[float, float]:
        """Give the same, the straight-line drift taken out, and the furthest deviation."""
        there = np.isfinite(self.trace.values)
        swings = np.abs((self.trace.values - straight_line(self.trace.values, there))[there])
        return float(np.quantile(swings[:: max(1, len(swings) // ENOUGH)], 0.95)), float(swings.max())


def not_followed(heard: Heard | None) -> str | None:
    """Say why a tone that stands out cannot be followed after all; None when it can."""
    if heard is None:
        return "What looked like a tone has no steady level: nothing can be followed."
    tone, second = heard.tone, heard.second
    carrier_db = -10.0 * np.log10(max(tone.noise_rad2_per_hz * heard.band_hz, 1e-30))
    if carrier_db < LEAST_CARRIER_DB:
        return (
            f"The tone stands only {carrier_db:.0f} dB over the noise beside it; {LEAST_CARRIER_DB:g} dB are needed "
            "to follow it without slips."
        )
    if second is not None and second[1] > REFUSE_ABOVE:
        return (
            f"A second tone {second[0]:+.1f} Hz away, {max(0.0, -20 * np.log10(second[1])):.0f} dB down, beats with "
            "the first: a chord, not a test tone."
        )
    noise = tone.noise_rad2_per_hz * heard.band_hz / 2.0
    unsteady = heard.swinging and tone.swing**2 > MOST_SWINGING_LEVEL**2 + noise
    if tone.swing > MOST_SWING or unsteady:
        return f"The level swings by {100 * tone.swing:.0f} %, as narrow noise or beating tones do: not a test tone."
    length_s = tone.end_s - tone.start_s
    if tone.masked_s > 0.5 * length_s:
        return f"The tone drops out for {100 * tone.masked_s / length_s:.0f} % of its length."
    return _no_speed(heard)


def _no_speed(heard: Heard) -> str | None:
    """Say why what was followed is no tape speed; None when it can be."""
    there = np.count_nonzero(np.isfinite(heard.trace.values))
    if there < 0.1 * heard.trace.rate_hz or heard.deviation > MOST_DEVIATION:
        return "The frequency swings far beyond what a tape machine does."
    if heard.jumped:
        return "The frequency jumps from one held note to another: no flywheel does that. Not a test tone."
    return None


def file_notes(found: Survey, rate_hz: float) -> tuple[str, ...]:
    """Say what is odd about the samples of a channel."""
    notes = []
    if found.not_numbers:
        notes.append(f"{found.not_numbers} samples are no numbers and were taken for silence.")
    if found.clipped:
        notes.append(
            f"{found.clipped} samples ({1e3 * found.clipped / rate_hz:.0f} ms) stand at full scale in a row: clipped. "
            "Flutter survives that; turn the level down for other readings."
        )
    return tuple(notes)


def tone_notes(found: Survey, heard: Heard, duration_s: float) -> tuple[str, ...]:
    """Say what is odd about the tone of a channel.

    Arguments:
        found: the channel's survey.
        heard: its tone.
        duration_s: length of the recording.
    """
    tone, second = heard.tone, heard.second
    notes = []
    usual, furthest = heard.wow()
    if usual > EXTREME:
        notes.append(
            f"Extreme wow: for one moment in twenty the speed is more than {100 * usual:.1f} % from its mean, at its "
            f"furthest {100 * furthest:.1f} %. What slips or sticks "
            "does not repeat itself: another stretch may read otherwise."
        )
    if tone.dropouts:
        several = "" if tone.dropouts == 1 else "s"
        notes.append(f"{tone.dropouts} dropout{several}, {1e3 * tone.masked_s:.0f} ms in all, masked and not bridged.")
    hum = low_noise_db(found)
    if hum > HUM_DB:
        notes.append(
            f"Hum or rumble below 300 Hz stands {hum:+.0f} dB against the tone; it is filtered out and takes no part."
        )
    overtones = overtones_db(found)
    if overtones > OVERTONES_DB:
        notes.append(
            f"Overtones stand {overtones:+.0f} dB against the tone: clipped, or a computer's square wave, whose "
            "edges land on whole samples and feign flutter and lines that no part makes."
        )
    notes += _level_notes(tone)
    held_s = tone.end_s - tone.start_s
    if held_s < duration_s - 2.0:
        notes.append(f"The tone holds {held_s:.1f} s of {duration_s:.1f} s; the readings are of that part.")
    if second is not None:
        notes.append(
            f"A second tone {second[0]:+.1f} Hz from the test tone, {-20 * np.log10(second[1]):.0f} dB down, beats "
            "with it and adds to the unweighted readings."
        )
    return tuple(notes)


def _level_notes(tone: Course) -> list[str]:
    notes = []
    if abs(tone.change_db) > LEVEL_CHANGE_DB:
        notes.append(
            f"The level changes by {tone.change_db:+.1f} dB from beginning to end; flutter does not feel that, head "
            "contact or the tape may be behind it."
        )
    if tone.modulation is not None:
        rate_hz, depth = tone.modulation
        notes.append(
            f"The level is modulated by {100 * depth:.0f} % at {rate_hz:.1f} Hz; that takes no part in flutter."
        )
    return notes


def line_notes(lines: FittedLines) -> tuple[str, ...]:
    """Say which lines do not keep their rate, and which are not told apart.

    Arguments:
        lines: from `find_lines`.
    """
    notes = []
    for line, slowing in zip(lines.lines, lines.slowing_per_s, strict=False):
        if slowing:
            way = "slows down by" if slowing > 0.0 else "speeds up by"
            pack = "grows: take-up" if slowing > 0.0 else "shrinks: supply"
            notes.append(
                f"The line at {line.frequency_hz:.3f} Hz {way} {6000 * abs(slowing):.1f} % a minute, as a reel does "
                f"whose pack {pack}. It was followed in the reel's own turns; its rate is that half way through."
            )
    seconds = lines.end_s - lines.start_s
    for low, high in lines.not_told_apart_hz:
        notes.append(
            f"Two lines at {low:.3f} and {high:.3f} Hz are too near each other for {seconds:.0f} s to tell apart, or "
            "one line does not keep its rate: one is given for both, with what the other may add in its doubt. "
            f"{2.0 / max(high - low, 1e-3):.0f} s of tone would tell."
        )
    return tuple(notes)
