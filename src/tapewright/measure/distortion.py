"""The third harmonic against level, and the level at which it reaches 3 %.

The harmonic keeps step with three times the phase of the tone, whatever the transport does; what does not is noise.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.crosstalk import SEEN, SURE, in_step
from tapewright.measure.section_tone import Baseband, mixed_down, played_frequency
from tapewright.words.reading import Reading

THREE_PERCENT: Final = 3.0
"""DIN 45500 part 4 as quoted: full level is where the third harmonic is 3 %, -30.5 dB."""
FARTHEST_DB: Final = 3.0
"""So far beyond the measured levels the curve is drawn on; a cubic law is not trusted further."""


def third_harmonic(
    samples: NDArray[np.float64], rate_hz: float, expected_hz: float, replay_db: float = 0.0
) -> tuple[Reading, ...]:
    """Give the third harmonic of a section's tone on each track, percent of the tone.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second; three times the tone must lie below half of it.
        expected_hz: of the tone, within 3 %.
        replay_db: how much more the machine gives at three times the frequency than at the tone, where that is known;
            taken out.

    >>> turns = 2 * np.pi * 315.0 * np.arange(96000) / 48000
    >>> tone = (np.sin(turns) + 0.01 * np.sin(3 * turns))[:, None]
    >>> round(third_harmonic(tone, 48000.0, 315.0)[0].value, 3)
    1.0
    """
    found_hz = played_frequency(samples, rate_hz, expected_hz)
    if 3.0 * found_hz > 0.45 * rate_hz:
        why = f"Three times {found_hz:.0f} Hz is beyond what {rate_hz:.0f} samples a second hold."
        return tuple(Reading(None, "%", why_not=why) for _ in range(samples.shape[1]))
    tone = mixed_down(samples, rate_hz, found_hz)
    third = mixed_down(samples, rate_hz, 3.0 * found_hz, filter_for_hz=found_hz)
    return third_harmonic_of(tone, third, replay_db)


def third_harmonic_of(tone: Baseband, third: Baseband, replay_db: float = 0.0) -> tuple[Reading, ...]:
    """Give the same of a tone that is mixed down already, and what stands at three times its frequency."""
    gain = 10.0 ** (replay_db / 20.0)
    return tuple(_track(tone, third, track, gain) for track in range(tone.values.shape[1]))


def _track(tone: Baseband, third: Baseband, track: int, gain: float) -> Reading:
    size = np.abs(tone.values[:, track])
    reference = float(np.mean(size))
    if reference < 1e-9:
        return Reading(None, "%", why_not="There is no tone on this track.")
    carrier = (tone.values[:, track] / np.maximum(size, 1e-30)) ** 3
    value, sigma = in_step(third.values[:, track], carrier)
    found, sigma = abs(value) / reference / gain, sigma / reference / gain
    said = f"{tone.frequency_hz:.0f} Hz over {tone.seconds:.1f} s"
    clean = math.sqrt(max(found**2 - 2.0 * sigma**2, 0.0))
    if found < SEEN * sigma or clean <= 0.0:
        most = 100.0 * (found + SURE * sigma)
        why = f"No more than noise: less than {most:.2g} %."
        return Reading(None, "%", why_not=why, conditions=said, interval=(0.0, most))
    method = "what keeps step with three times the tone's phase, over the tone"
    return Reading(100.0 * clean, "%", 100.0 * SURE * sigma, method=method, conditions=said)


def level_at_three_percent(levels_db: Sequence[float], third: Sequence[Reading]) -> Reading:
    """Give the level at which the third harmonic reaches 3 %, dB over the reference, from several sections.

    Arguments:
        levels_db: of each section over the reference level.
        third: the reading of one track in each, percent.

    The curve through the two sections that stand on either side of 3 %, or nearest, is drawn straight in decibels; the
    harmonic of a cubic law rises by 2 dB for each (the closed form of a weak cube).

    >>> three = [Reading(0.3, "%", 0.001), Reading(3.0, "%", 0.001)]
    >>> round(level_at_three_percent([-10.0, 0.0], three).value, 6)
    0.0
    """
    there = sorted(
        (level, one.value, one.doubt or 0.0) for level, one in zip(levels_db, third, strict=True) if one.value
    )
    if len(there) < 2:
        return Reading(None, "dB", why_not="The third harmonic was read at fewer than two levels.")
    at = np.array([each[0] for each in there])
    size = 20.0 * np.log10([each[1] for each in there])
    spread = 20.0 / math.log(10.0) * np.array([each[2] / each[1] for each in there])
    wanted = 20.0 * math.log10(THREE_PERCENT)
    above = int(np.searchsorted(size, wanted))
    upper = min(max(above, 1), len(at) - 1)
    slope = float((size[upper] - size[upper - 1]) / max(at[upper] - at[upper - 1], 1e-9))
    if slope < 0.5:
        return Reading(None, "dB", why_not="The third harmonic does not rise with the level: this is not the tape's.")
    share = float((wanted - size[upper - 1]) / (size[upper] - size[upper - 1]))
    value = float(at[upper - 1] + share * (at[upper] - at[upper - 1]))
    if not at[0] - FARTHEST_DB <= value <= at[-1] + FARTHEST_DB:
        said = f"At {at[-1]:+.1f} dB it is {10 ** (size[-1] / 20):.2g} %; 3 % lies too far from what was recorded."
        beyond = (float(at[-1]), math.inf) if value > at[-1] else (-math.inf, float(at[0]))
        return Reading(None, "dB", why_not=said, interval=beyond)
    doubt = math.hypot((1.0 - share) * float(spread[upper - 1]), share * float(spread[upper])) / slope
    return Reading(
        value, "dB", doubt, method="third harmonic 3 %, straight line in dB between sections, re reference level",
        conditions=f"{len(there)} levels from {at[0]:+g} to {at[-1]:+g} dB",
    )  # fmt: skip


__all__ = ["level_at_three_percent", "third_harmonic", "third_harmonic_of"]
