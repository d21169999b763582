"""Chirps under a loud mechanism: a tone that comes and goes at one pitch, and need not stand out of its critical band.

In a wind a reel is as loud as a chirp, so a chirp stands out of its band by next to nothing. A band is many bins wide
and a chirp is one: against its own bin between chirps it stands out by ten decibels and more for a third of a second,
which noise does not, and a motor's line, which is there all the time, neither.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from scipy import ndimage

from tapewright.measure.mechanism_frames import Array, Single, Sound, cut_into
from tapewright.measure.mechanism_tones import FRAME_S, HIGHEST_HZ, HOP_S, LOWEST_HZ, Tone, pitch_of, prominence
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.mechanism_heard import OFF

BLOCK_HZ: Final = 600.0
SMOOTH_S: Final = 0.12
USUAL: Final = 0.08
"""What a bin holds for this share of a mode is its own noise: even what squeals all the time pauses so long."""
STANDS_DB: Final = 7.0
SOUNDS_S: Final = 0.25
"""What stands out for less is a knock, a click's ringing or a vowel; smoothing makes it a tenth of a second longer."""
PLAIN_DB: Final = 11.0
ALONE_DB: Final = 16.0
ALONE_MOST_S: Final = 1.5
ALONE_SURE: Final = 0.8
"""A single one is a chirp only if it is plain and no longer than this: a motor's line as it comes up is longer."""
VOICE_HZ: Final = (200.0, 1000.0)
VOICE_DB, VOICE_SPREAD_DB = 1.5, 1.0
BESIDE_S: Final = 0.6
"""A voice's tone comes with so much more below than there is just before and after, or wavers so. In tuning minutes
what was below a chirp differed by 0.2 dB at most and wavered by half a decibel."""
SPEAKS_DB: Final = 6.0
MOST_DB: Final = 10.0
BEGINS_S, ENDS_S = 0.35, 0.15
SHORTEST_S, LONGEST_S = 1.8, 30.0
SAME_PITCH: Final = 0.01
EVEN_DBS, SPREAD_DBS = 3.9, 0.5
"""Decibels times seconds by which the bursts stand out, where the odds are even. In some 110 tuning minutes
chirps that came twice or more had 5 and more; nothing else was left that had any, and nothing in recordings of real
machines."""


def chirps_in(
    sound: Sound, spans: Sequence[tuple[str, float, float]], highest_hz: float
) -> list[tuple[list[Tone], float]]:
    """Find in every stretch the pitch that comes and goes most plainly, with the chance that it is no accident.

    Arguments:
        sound: at its own sample rate.
        spans: mode, beginning and end of each stretch; "off" where the machine is silent.
        highest_hz: what lies above is not looked at.

    Returns:
        The bursts of one pitch, and how sure they are, for each stretch that has any. What comes and goes at that pitch
        with the machine off is the room's, and left out.
    """
    found: list[tuple[list[Tone], float]] = []
    room: list[float] = []
    for mode, start, end in spans:
        for first in np.arange(start, end, LONGEST_S):
            one = _plainest(sound, float(first), min(float(first) + LONGEST_S, end), min(highest_hz, HIGHEST_HZ))
            if one is None:
                continue
            if mode == OFF:
                room.append(pitch_of(one[0]))
            else:
                found.append(one)
    return [one for one in found if not any(abs(pitch_of(one[0]) / other - 1.0) < SAME_PITCH for other in room)]


def _plainest(sound: Sound, start_s: float, end_s: float, highest_hz: float) -> tuple[list[Tone], float] | None:
    start_s, end_s = start_s + BEGINS_S, end_s - ENDS_S
    length, hop = round(FRAME_S * sound.rate_hz), round(HOP_S * sound.rate_hz)
    samples = sound.samples[round(start_s * sound.rate_hz) : max(0, round(end_s * sound.rate_hz))]
    bin_hz = sound.rate_hz / length
    low, high = int(LOWEST_HZ / bin_hz), min(int(highest_hz / bin_hz), length // 2 - 1)
    if len(samples) < SHORTEST_S * sound.rate_hz or high - low < 2 * BLOCK_HZ / bin_hz:
        return None
    power = _power(samples, length, hop)
    above_db = _above_db(power[:, : high + 1], bin_hz)[:, low:]
    said = np.clip(above_db - SPEAKS_DB, 0.0, MOST_DB)
    at = int(np.argmax(said.sum(axis=0)))
    near = slice(max(0, at - 1), at + 2)
    level_db = above_db[:, near].max(axis=1)
    long = [(a, b) for a, b in runs_of(level_db > STANDS_DB) if (b - a) * HOP_S >= SOUNDS_S]
    low_db = 10.0 * np.log10(np.maximum(_low_power(power, bin_hz), 1e-25))
    plain = [(a, b) for a, b in long if level_db[a:b].max() >= PLAIN_DB and not _voiced(low_db, a, b)]
    if len(plain) == 1:
        (a, b) = plain[0]
        plain = plain if level_db[a:b].max() >= ALONE_DB and (b - a) * HOP_S <= ALONE_MOST_S else []
    if not plain:
        return None
    strength = HOP_S * sum(float(np.clip(level_db[a:b] - SPEAKS_DB, 0.0, MOST_DB).sum()) for a, b in plain)
    bursts = list(_tones(power, low + at, plain, bin_hz, start_s))
    if pitch_of(bursts) < LOWEST_HZ:
        return None
    sure = 1.0 / (1.0 + float(np.exp(-(strength - EVEN_DBS) / SPREAD_DBS)))
    return bursts, sure if len(bursts) > 1 else min(sure, ALONE_SURE)


def _power(samples: Single, length: int, hop: int) -> Single:
    window = np.hanning(length + 1)[:-1].astype(np.float32)
    cut = cut_into(samples, length, hop)
    parts = [np.abs(np.fft.rfft(cut[k : k + 1000] * window, axis=1)) ** 2 for k in range(0, len(cut), 1000)]
    return np.concatenate(parts).astype(np.float32)


def _low_power(power: Single, bin_hz: float) -> Array:
    """Give the power of the band in which a voice is loudest, smoothed; a chirp adds nothing to it."""
    low, high = (round(edge / bin_hz) for edge in VOICE_HZ)
    return np.asarray(ndimage.uniform_filter1d(power[:, low:high].sum(axis=1), round(SMOOTH_S / HOP_S)), np.float64)


def _voiced(low_db: Array, first: int, last: int) -> bool:
    """Tell whether something happens below a tone while it sounds: it is a voice's, or comes as a motor comes up."""
    reach, apart = round(BESIDE_S / HOP_S), round(SMOOTH_S / HOP_S)
    before, after = low_db[max(0, first - reach) : max(0, first - apart)], low_db[last + apart : last + reach]
    beside = np.concatenate([before, after])
    own = low_db[first:last]
    moved = abs(float(np.median(own) - np.median(beside))) if len(beside) else 0.0
    return moved > VOICE_DB or float(np.std(own)) > VOICE_SPREAD_DB


def _above_db(power: Single, bin_hz: float) -> Array:
    """Give how far each bin stands, over a tenth of a second, above what it usually holds beside its neighbours."""
    wide = round(BLOCK_HZ / bin_hz)
    starts = np.arange(0, power.shape[1] - wide + 1, wide // 2)
    middle = np.stack([np.median(power[:, a : a + wide], axis=1) for a in starts], axis=1) / np.log(2.0)
    smooth = round(SMOOTH_S / HOP_S)
    middle = np.maximum(ndimage.uniform_filter1d(middle, smooth, axis=0), 1e-20)
    place = np.clip((np.arange(power.shape[1]) - wide / 2) / (wide // 2), 0.0, len(starts) - 1.0)
    left = np.minimum(place.astype(int), max(len(starts) - 2, 0))
    share = place - left
    around = middle[:, left] * (1.0 - share) + middle[:, np.minimum(left + 1, len(starts) - 1)] * share
    level = ndimage.uniform_filter1d(power / around, smooth, axis=0)
    level[:, 1:] = (level[:, 1:] + level[:, :-1]) / 2.0
    usual = np.maximum(np.quantile(level, USUAL, axis=0), 1.0)
    return np.asarray(10.0 * np.log10(np.maximum(level / usual, 1e-9)), dtype=np.float64)


def _tones(power: Single, at: int, runs: Sequence[tuple[int, int]], bin_hz: float, start_s: float) -> Iterator[Tone]:
    """Give each burst as a tone: its pitch frame by frame, and how far it stands out of its critical band."""
    near = np.arange(at - 2, at + 3)
    for first, last in runs:
        rows = power[first:last].astype(np.float64)
        weight = rows[:, near]
        pitch = (weight @ near) / np.maximum(weight.sum(axis=1), 1e-20) * bin_hz
        prominent = prominence(rows, bin_hz, np.array([at - 1, at]))
        level = 10.0 * np.log10(np.maximum(weight.sum(axis=1), 1e-25))
        times = start_s + FRAME_S / 2 + HOP_S * np.arange(first, last)
        yield Tone(
            np.asarray(times, np.float64),
            np.asarray(pitch, np.float64),
            np.asarray(prominent.max(axis=1)),
            np.asarray(level, np.float64),
        )
