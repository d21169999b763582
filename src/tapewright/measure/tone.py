"""Find the steady test tone in a survey, wherever in the file it stands; or say why there is none."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.survey import Survey
from tapewright.standards.iec_60386 import OTHER_TEST_TONE_HZ, TEST_TONE_HZ

LEAST_S: Final = 1.5
"""Longer than a note or a call is usually held dead steady; shorter, a rotor's turn would not fit in."""
LONG_S: Final = 5.0
SHARE: Final = 0.6
"""Least share of all power above 300 Hz that a long tone holds: 1.8 dB over everything else together."""
SHORT_SHARE: Final = 0.8
"""The same for a tone shorter than 5 s, which a held note could be."""
MOST_STRETCHES: Final = 12
"""So many stretches of tone in one channel are read: memory stays flat."""
GAP_S: Final = 0.5
"""A longer silence ends the tone; a shorter one is a dropout."""
STEP: Final = 0.015
"""Largest change of frequency from one frame to the next, ratio: thirty times what a bad cassette machine does."""
RANGE: Final = 0.06
"""Largest range of frequency over the whole tone, ratio: twice the worst a failing machine still plays at."""
SHORT_RANGE: Final = 0.02
"""The same for a tone shorter than 5 s, which a glide between two notes could be."""
LEVEL_RANGE_DB: Final = 10.0
"""A struck or blown note dies away or swells; a recorded tone holds its level."""
OTHER_DB: Final = -14.0
"""A second tone above this makes a chord, and beats that look like flutter."""


@dataclass(frozen=True, slots=True)
class Tone:
    """The test tone of one channel, or why there is none.

    Arguments:
        found: whether there is one.
        frequency_hz: its mean frequency; None when not found, like the rest.
        start_s: where it begins in the file.
        end_s: where it ends.
        snr_db: its power over all that is neither tone nor overtone, above 300 Hz.
        why_not: the reason, a sentence, when not found.
    """

    found: bool
    frequency_hz: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    snr_db: float | None = None
    why_not: str | None = None


def no_tone(reason: str) -> Tone:
    """Give the answer "there is no tone", with its reason, a sentence."""
    return Tone(False, why_not=reason)


def nominal_tone_hz(frequency_hz: float, tone_hz: float | None = None) -> float | None:
    """Give the frequency the tone was recorded at: as told, else the nearer of 3150 and 3000 Hz within 10 %, else None.

    >>> nominal_tone_hz(3093.0)
    3150.0
    """
    if tone_hz is not None:
        return tone_hz
    nearest = min((TEST_TONE_HZ, OTHER_TEST_TONE_HZ), key=lambda nominal: abs(frequency_hz - nominal))
    return nearest if abs(frequency_hz / nearest - 1.0) <= 0.1 else None


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    """Frames in which one peak stands out and moves no faster than a machine would move it."""

    frames: NDArray[np.intp]
    seconds: float


def _share(found: Survey) -> NDArray[np.float64]:
    return np.where(found.total_power > 0.0, found.tone_power / np.maximum(found.total_power, 1e-30), 0.0)


def _chains(found: Survey) -> list[_Chain]:
    """Link tonal frames into chains; a short gap is bridged here only to know that the same tone goes on after it."""
    tonal = np.flatnonzero((_share(found) > 0.5) & (found.tone_power > 1e-12 * max(found.peak, 1e-15) ** 2))
    if not len(tonal):
        return []
    frequency = found.frequency_hz[tonal]
    gap = np.diff(tonal) * found.step_s > max(GAP_S, 1.5 * found.step_s)
    jump = np.abs(np.diff(frequency)) > STEP * frequency[:-1] + 0.25 * found.resolution_hz
    pieces = np.split(tonal, np.flatnonzero(gap | jump) + 1)
    return [_Chain(piece, float((piece[-1] - piece[0] + 1) * found.step_s)) for piece in pieces]


def _fault_of(found: Survey, chain: _Chain) -> str | None:
    """Say what keeps a chain from being a test tone; None when nothing does."""
    frames = chain.frames
    frequency, power = found.frequency_hz[frames], found.tone_power[frames]
    middle = float(np.median(frequency))
    if chain.seconds < LEAST_S:
        return f"The longest steady tone, {middle:.0f} Hz, lasts {chain.seconds:.1f} s; {LEAST_S:g} s are needed."
    moved = float(np.ptp(np.quantile(frequency, [0.025, 0.975]))) / middle
    if moved > (RANGE if chain.seconds >= LONG_S else SHORT_RANGE):
        return (
            f"A tone near {middle:.0f} Hz moves over {100 * moved:.1f} % in {chain.seconds:.1f} s: a sweep, or far "
            "beyond what a tape machine does."
        )
    share = float(np.median(_share(found)[frames]))
    wanted = SHARE if chain.seconds >= LONG_S else SHORT_SHARE
    if share < wanted:
        return (
            f"A tone near {middle:.0f} Hz holds {100 * share:.0f} % of the sound; {100 * wanted:.0f} % are needed "
            f"over {chain.seconds:.1f} s. The rest is overtones, other tones or noise."
        )
    other = float(np.median(found.other_power[frames] / power))
    if other > 10.0 ** (OTHER_DB / 10.0):
        where = float(np.median(found.other_hz[frames]))
        return (
            f"Beside {middle:.0f} Hz a second tone near {where:.0f} Hz is only {-10 * np.log10(other):.0f} dB lower: "
            "a chord, not a test tone."
        )
    level_db = 10.0 * np.log10(np.quantile(power, [0.1, 0.9]))
    if float(np.ptp(level_db)) > LEVEL_RANGE_DB:
        return (
            f"A tone near {middle:.0f} Hz changes its level by {float(np.ptp(level_db)):.0f} dB: a note that swells "
            "or dies away, not a test tone."
        )
    return None


def _no_chain(found: Survey) -> str:
    """Say why no frame shows a tone at all."""
    loud = found.total_power > 0.1 * float(np.max(found.total_power, initial=0.0))
    if not loud.any():
        return "The channel is silent above 300 Hz."
    overtones = float(np.median(found.harmonic_power[loud] / np.maximum(found.tone_power[loud], 1e-30)))
    share = float(np.median(_share(found)[loud]))
    if overtones > 1.0 and share > 0.05:
        return (
            f"No steady tone: the strongest component has overtones stronger than itself "
            f"({100 * share:.0f} % of the sound is in it): pulses, speech or music."
        )
    return f"No steady tone: the strongest component holds {100 * share:.0f} % of the sound; noise or programme."


def _sound(found: Survey, chains: list[_Chain], tone_hz: float | None) -> list[_Chain]:
    """Give the chains that are a test tone, the longest first; those near a usual one alone where there are any."""
    sound = [chain for chain in chains[:50] if _fault_of(found, chain) is None]
    middle = [float(np.median(found.frequency_hz[chain.frames])) for chain in sound]
    usual = [chain for chain, at in zip(sound, middle, strict=True) if nominal_tone_hz(at, tone_hz) is not None]
    return usual or sound


def find_tone(found: Survey, tone_hz: float | None = None) -> Tone:
    """Find the test tone in one channel: coarse frequency, start and end, to be refined by following it.

    Arguments:
        found: from `survey`, taken with the same `tone_hz`.
        tone_hz: the nominal frequency, when told.

    Returns:
        A tone near 3150 or 3000 Hz when there is one, else the longest; or the reason why there is none.
    """
    if found.peak == 0.0:
        return no_tone("The channel is silent.")
    if not len(found.times_s):
        return no_tone("The recording is shorter than a tenth of a second.")
    chains = sorted(_chains(found), key=lambda chain: -chain.seconds)
    if not chains:
        return no_tone(_no_chain(found))
    sound = _sound(found, chains, tone_hz)
    if not sound:
        return no_tone(_fault_of(found, chains[0]) or _no_chain(found))
    return _described(found, sound[0])


def other_stretches(found: Survey, main: Tone, tone_hz: float | None = None) -> tuple[Tone, ...]:
    """Find where else in the channel the same tone stands, in the order of time.

    Arguments:
        found: from `survey`, taken with the same `tone_hz`.
        main: from `find_tone`.
        tone_hz: the nominal frequency, when told.

    Returns:
        At most eleven, the longest; each lasts 5 s at least (less could be a held note of what was recorded between),
        and stands within 6 % of the main one's frequency.
    """
    if main.frequency_hz is None or main.start_s is None:
        return ()
    chains = [chain for chain in _chains(found) if chain.seconds >= LONG_S]
    tones = [_described(found, chain) for chain in _sound(found, sorted(chains, key=lambda c: -c.seconds), tone_hz)]
    same = [
        tone
        for tone in tones
        if tone.start_s != main.start_s and abs((tone.frequency_hz or 0.0) / main.frequency_hz - 1.0) < RANGE
    ]
    return tuple(sorted(same[: MOST_STRETCHES - 1], key=lambda tone: tone.start_s or 0.0))


def _described(found: Survey, chain: _Chain) -> Tone:
    frames = chain.frames
    rest = found.rest_power[frames]
    ratio = float(np.median(found.tone_power[frames])) / max(float(np.median(rest)), 1e-30)
    return Tone(
        True,
        float(np.mean(found.frequency_hz[frames])),
        float(found.times_s[frames[0]]) - found.step_s,
        float(found.times_s[frames[-1]]) + found.step_s,
        float(10.0 * np.log10(ratio)),
    )


def overtones_db(found: Survey) -> float:
    """Give the power at multiples of the tone over the tone's, decibels, in the median frame that holds a tone."""
    tonal = _share(found) > 0.5
    if not tonal.any():
        return -np.inf
    ratio = float(np.median(found.harmonic_power[tonal] / found.tone_power[tonal]))
    return float(10.0 * np.log10(max(ratio, 1e-30)))


def low_noise_db(found: Survey) -> float:
    """Give the power below 300 Hz (hum, rumble) over the tone's, decibels, in the median frame that holds a tone."""
    tonal = _share(found) > 0.5
    if not tonal.any():
        return -np.inf
    return float(10.0 * np.log10(max(float(np.median(found.low_power[tonal] / found.tone_power[tonal])), 1e-30)))


__all__ = ["Tone", "find_tone", "low_noise_db", "no_tone", "nominal_tone_hz", "other_stretches", "overtones_db"]
