"""How strong a section's tone is on each track, how the tracks balance, and what reference fluxivity would read."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.section_tone import Baseband, section_tone, steady
from tapewright.measure.settled import settled_mean
from tapewright.words.reading import Reading

LEAST_S: Final = 0.5
LEAST_DB: Final = 6.0
"""A tone that stands out less from the noise in its own band has no level."""
_IN_DB: Final = 20.0 / math.log(10.0)


def amplitudes(tone: Baseband) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the tone's peak on each track, noise taken out in power, and its doubt; full scale 1, both shape (tracks,).

    Arguments:
        tone: from `section_tone`. Dropouts do not count.
    """
    found, doubt = (np.zeros(tone.values.shape[1]) for _ in range(2))
    for track in range(tone.values.shape[1]):
        power = np.abs(tone.values[:, track]) ** 2
        mean, wide = settled_mean(power, steady(np.sqrt(power), tone.rate_hz))
        clean = mean - float(tone.noise_per_hz[track]) * _band_hz(tone)
        found[track] = math.sqrt(max(clean, 0.0))
        doubt[track] = 0.5 * wide / max(found[track], 1e-12)
    return found, doubt


def _band_hz(tone: Baseband) -> float:
    """Give the noise bandwidth of the values: the filter's half-amplitude points make up the whole rate."""
    return tone.rate_hz


def section_levels(
    samples: NDArray[np.float64], rate_hz: float, expected_hz: float, recorded_db: float = 0.0
) -> tuple[Reading, ...]:
    """Give what the reference fluxivity would read on each track, dB re full scale (a sine that just fills it is 0 dB).

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        expected_hz: of the tone, within 3 %.
        recorded_db: level of the section over the reference fluxivity.

    >>> tone = 0.1 * np.sin(2 * np.pi * 315.0 * np.arange(96000) / 48000)[:, None]
    >>> round(section_levels(tone, 48000.0, 315.0, -10.0)[0].value, 2)
    -10.0
    """
    if len(samples) < LEAST_S * rate_hz:
        why = f"The section lasts {len(samples) / rate_hz:.2f} s; {LEAST_S:g} s are needed."
        return tuple(Reading(None, "dB", why_not=why) for _ in range(samples.shape[1]))
    return levels_of(section_tone(samples, rate_hz, expected_hz), recorded_db)


def levels_of(tone: Baseband, recorded_db: float = 0.0) -> tuple[Reading, ...]:
    """Give the same of a tone that is mixed down already."""
    size, doubt = amplitudes(tone)
    noise = np.sqrt(tone.noise_per_hz * _band_hz(tone))
    return tuple(
        _level(float(a), float(d), float(n), recorded_db, tone) for a, d, n in zip(size, doubt, noise, strict=True)
    )


def _level(size: float, doubt: float, noise: float, recorded_db: float, tone: Baseband) -> Reading:
    if size <= 10.0 ** (LEAST_DB / 20.0) * noise or size <= 1e-9:
        return Reading(None, "dB", why_not=f"No tone near {tone.frequency_hz:.0f} Hz stands out on this track.")
    return Reading(
        20.0 * math.log10(size) - recorded_db,
        "dB",
        _IN_DB * doubt / size,
        method="power of the tone, noise and dropouts taken out, re full scale",
        conditions=f"{tone.frequency_hz:.1f} Hz over {tone.seconds:.1f} s, recorded {recorded_db:+g} dB re reference",
    )


def heard_on(tone: Baseband) -> list[bool]:
    """Say on which tracks a tone stands clear of its noise."""
    return [one.value is not None for one in levels_of(tone)]


def balance(levels: Sequence[Reading]) -> tuple[Reading, ...]:
    """Give each track's level less the mean of all tracks that have one, dB.

    Arguments:
        levels: one a track, from `section_levels`.
    """
    there = [one for one in levels if one.value is not None and one.doubt is not None]
    if len(there) < 2:
        why = "Fewer than two tracks have a level; there is nothing to balance."
        return tuple(Reading(None, "dB", why_not=why) for _ in levels)
    count = len(there)
    mean = sum(one.value or 0.0 for one in there) / count
    squares = sum((one.doubt or 0.0) ** 2 for one in there)
    return tuple(one if one.value is None else _balanced(one, mean, squares, count) for one in levels)


def _balanced(one: Reading, mean: float, squares: float, count: int) -> Reading:
    own = (one.doubt or 0.0) ** 2
    others = (squares - own) / count**2
    spread = math.sqrt((1.0 - 1.0 / count) ** 2 * own + others)
    return Reading((one.value or 0.0) - mean, "dB", spread, method="level less the mean of all tracks")


def fluxivity_db(fluxivity_nwb_per_m: float, reference_nwb_per_m: float) -> float:
    """Give one fluxivity over another, dB.

    >>> round(fluxivity_db(250.0, 160.0), 2)
    3.88
    """
    return 20.0 * math.log10(fluxivity_nwb_per_m / reference_nwb_per_m)


__all__ = ["amplitudes", "balance", "fluxivity_db", "heard_on", "levels_of", "section_levels"]
