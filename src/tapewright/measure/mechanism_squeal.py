"""Squeals and chirps: tones that stand out of their critical band where mechanisms squeal.

Prominence ratio after ECMA-74 annex D and ECMA-418-1 (the criteria as cited in acoustic papers; the standards
themselves are not held): a tone's critical band against the mean of both neighbours, 9 dB and more from 1 kHz on. The
band of frequencies is that in which SAE J2521 counts squeal of brakes, 1.25 to 16 kHz; its absolute level needs a
calibrated microphone and is left out.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_frames import Array, Sound
from tapewright.measure.mechanism_swell import SWELLS, depth_at, level_of, steepness, swells
from tapewright.words.mechanism_heard import Knock, Squeal, StretchHeard
from tapewright.words.reading import Reading

Floats = NDArray[np.floating]
LOWEST_HZ, HIGHEST_HZ = 1250.0, 16000.0
FRAME_S: Final = 0.04
HOP_S: Final = 0.01
LASTS_S: Final = 0.06
"""A tone that is shorter is a click's ringing."""
SOUNDS_S: Final = 0.15
"""A squeal sounds for as long in all: what is shorter is what a key or the head base strikes in the case."""
CHIRP_S: Final = 0.35
GAP_S: Final = 0.06
TOGETHER_S: Final = 3.0
"""Chirps of one pitch no further apart than this are one squeal that comes and goes."""
NEAR: Final = 0.03
EVEN_DB, EVEN_SPREAD_DB = 3.0, 1.0
LASTING_DB, LASTING_S = 1.0, 1.0
"""What lasts so long may stand out by so much less."""
SWELLING_DB: Final = 3.0
"""What swells once a turn may stand out by so much less again: no motor's line does so."""
ONE_PIECE_S: Final = 0.4
BESIDE: Final = (0.62, 0.78, 1.3, 1.6)
"""Where, against a pitch, neither it nor its overtones sound."""
KNOCKS: Final = 0.25
SOUNDS_ON: Final = 1.5
"""A tone that lasts for more rounds than this was not struck once a round; most of a squeal does."""
SAME_RATE: Final = 0.06
STRUCK: Final = 1.4
"""In tuning minutes squeals rose up to 1.26 times as steeply as they fell, what was struck 1.05 to 2.3 times."""
RINGS_DB: Final = 10.0
UNSTEADY: Final = 0.008
CHUNK: Final = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """One tone that stood out without a break: its time, frequency, prominence and level, frame by frame."""

    times_s: Array
    frequency_hz: Array
    prominence_db: Array
    level_db: Array


def critical_band_hz(frequency_hz: Floats) -> Array:
    """Give the width of the critical band around a frequency (Zwicker and Terhardt 1980, as ECMA-74 has it).

    >>> round(float(critical_band_hz(np.array(1000.0))), 1)
    162.2
    """
    return np.asarray(25.0 + 75.0 * (1.0 + 1.4 * (frequency_hz / 1000.0) ** 2) ** 0.69)


def band_edges_hz(frequency_hz: Floats) -> tuple[Array, Array, Array, Array]:
    """Give the edges of the band around a frequency and of its neighbours, lowest to highest.

    The middle band lies evenly on a scale of ratios; each neighbour is as wide as the critical band around its own
    middle.
    """
    wide = critical_band_hz(frequency_hz)
    low = -wide / 2.0 + np.sqrt(wide**2 + 4.0 * frequency_hz**2) / 2.0
    high = low + wide
    below = low - critical_band_hz(np.maximum(low - wide / 2.0, 50.0))
    above = high + critical_band_hz(high + wide / 2.0)
    return np.maximum(below, 20.0), np.asarray(low), np.asarray(high), np.asarray(above)


def criterion_db(frequency_hz: Floats) -> Array:
    """Give the prominence from which a tone counts: 9 dB from 1 kHz on, more below.

    >>> float(criterion_db(np.array(2000.0)))
    9.0
    """
    return np.asarray(9.0 + 10.0 * np.log10(np.maximum(1000.0 / frequency_hz, 1.0)))


def prominence(power: Array, bin_hz: float, bins: NDArray[np.intp]) -> Array:
    """Give the prominence ratio at each of some bins, dB.

    Arguments:
        power: shape (frames, all bins).
        bin_hz: distance of two bins.
        bins: which, shape (n,).

    Returns:
        Shape (frames, n).
    """
    total = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1)], axis=1)
    last = power.shape[1]
    edges = [np.clip(np.rint(edge / bin_hz).astype(int), 0, last) for edge in band_edges_hz(bins * bin_hz)]
    lower, own, upper = (total[:, edges[k + 1]] - total[:, edges[k]] for k in range(3))
    # A neighbour cut off by the end of the band is not one: then the other counts alone.
    whole = edges[3] < last
    beside = np.where(whole[None, :], (lower + upper) / 2.0, lower)
    return np.asarray(10.0 * np.log10(np.maximum(own, 1e-20) / np.maximum(beside, 1e-20)))


def tones_in(sound: Sound, highest_hz: float) -> Iterator[Tone]:
    """Find every tone that stands out for long enough.

    Arguments:
        sound: at its own sample rate.
        highest_hz: what lies above is not looked at: no sound reaches the file there.
    """
    open_tones: list[list[tuple[float, float, float, float]]] = []
    for time, peaks in _peaks(sound, min(HIGHEST_HZ, highest_hz)):
        free = list(peaks)
        still = []
        for tone in open_tones:
            last = tone[-1]
            near = [peak for peak in free if abs(peak[0] / last[1] - 1.0) < NEAR]
            if near:
                best = min(near, key=lambda peak: abs(peak[0] - last[1]))
                free.remove(best)
                tone.append((time, *best))
            if time - tone[-1][0] <= GAP_S:
                still.append(tone)
            elif tone[-1][0] - tone[0][0] >= LASTS_S:
                yield _tone(tone)
        open_tones = still + [[(time, *peak)] for peak in free]
    yield from (_tone(tone) for tone in open_tones if tone[-1][0] - tone[0][0] >= LASTS_S)


def _tone(rows: list[tuple[float, float, float, float]]) -> Tone:
    times, frequency, prominent, level = np.array(rows).T
    return Tone(times, frequency, prominent, level)


def _peaks(sound: Sound, highest_hz: float) -> Iterator[tuple[float, list[tuple[float, float, float]]]]:
    """Give for each frame its time and what stands out: frequency, prominence, level."""
    length, hop = round(FRAME_S * sound.rate_hz), round(HOP_S * sound.rate_hz)
    if len(sound.samples) < length or highest_hz <= LOWEST_HZ * 1.2:
        return
    window = np.hanning(length + 1)[:-1]
    window /= np.sqrt(np.sum(window**2))
    bin_hz = sound.rate_hz / length
    cut = np.lib.stride_tricks.sliding_window_view(sound.samples, length)[::hop]
    last = min(int(1.3 * highest_hz / bin_hz), length // 2)
    bins = np.arange(int(LOWEST_HZ / bin_hz), min(int(highest_hz / bin_hz), last))
    # The band of a tone has to lie inside what reaches the file.
    bins = bins[np.rint(band_edges_hz(bins * bin_hz)[2] / bin_hz).astype(int) <= last]
    needed = criterion_db(bins * bin_hz)
    for first in range(0, len(cut), CHUNK):
        power = np.abs(np.fft.rfft(cut[first : first + CHUNK] * window, axis=1)[:, : last + 1]) ** 2
        ratio = prominence(power, bin_hz, bins)
        middle = power[:, bins]
        top = (middle > power[:, bins - 1]) & (middle >= power[:, bins + 1])
        # A tone holds most of its band in three bins; noise that is loud in a band does not.
        narrow = power[:, bins - 1] + middle + power[:, bins + 1]
        _, low, high, _ = band_edges_hz(bins * bin_hz)
        total = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1)], axis=1)
        own = total[:, np.rint(high / bin_hz).astype(int)] - total[:, np.rint(low / bin_hz).astype(int)]
        plain = top & (ratio > needed) & (narrow > 0.6 * own)
        rows, columns = np.nonzero(plain)
        found: dict[int, list[tuple[float, float, float]]] = {}
        for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
            at = int(bins[column])
            left, here, right = (float(np.log(max(power[row, k], 1e-25))) for k in (at - 1, at, at + 1))
            curved = left - 2.0 * here + right
            shift = 0.5 * (left - right) / curved if curved < 0 else 0.0
            level = 10.0 * np.log10(max(float(narrow[row, column]), 1e-25))
            found.setdefault(row, []).append(((at + shift) * bin_hz, float(ratio[row, column]), level))
        for row in range(len(power)):
            yield ((first + row) * hop + length / 2) / sound.rate_hz, found.get(row, [])


def whine(tone: Tone, stretches: Sequence[StretchHeard], combs: Mapping[str, tuple[float, ...]]) -> bool:
    """Say whether a tone is a harmonic of a motor that runs, at a multiple that it may sound at."""
    middle = float(np.median(tone.frequency_hz))
    for stretch in stretches:
        rate = stretch.rate_hz
        inside = stretch.start_s - 0.3 <= tone.times_s[0] and tone.times_s[-1] <= stretch.end_s + 0.3
        if not inside or rate.value is None or rate.doubt is None:
            continue
        off = max(0.0005, rate.doubt / rate.value) * middle + 1.0
        # Multiples beyond the comb too, as long as they lie so far apart that a tone does not meet one by accident.
        further = [float(k) for k in range(1, int(0.05 * middle / off))]
        if any(abs(middle - order * rate.value) < off for order in (*combs.get(stretch.name, ()), *further)):
            return True
    return False


def rings(tone: Tone) -> bool:
    """Say whether a tone only dies away, as a case does that a key has struck.

    Its level falls along a straight line, in decibels, from its beginning to its end.
    """
    if len(tone.times_s) < 5:
        return False
    slope, _ = np.polyfit(tone.times_s, tone.level_db, 1)
    fall = -slope * float(tone.times_s[-1] - tone.times_s[0])
    return bool(fall > RINGS_DB and np.corrcoef(tone.times_s, tone.level_db)[0, 1] < -0.85)


def glides(tone: Tone, edges_s: Sequence[float]) -> bool:
    """Say whether a tone slides up or down as a motor comes up or runs down.

    Arguments:
        tone: to be judged.
        edges_s: moments at which a motor begins or ends.
    """
    near = any(edge - 1.0 < tone.times_s[0] < edge + 1.0 for edge in edges_s)
    if not near or len(tone.times_s) < 5:
        return False
    slope, _ = np.polyfit(tone.times_s, np.log(tone.frequency_hz), 1)
    moved = abs(slope) * float(tone.times_s[-1] - tone.times_s[0])
    steady = float(np.std(tone.frequency_hz)) < UNSTEADY * float(np.median(tone.frequency_hz))
    return bool(not steady or (moved > 0.03 and abs(np.corrcoef(tone.times_s, tone.frequency_hz)[0, 1]) > 0.8))


def programme_like(tone: Tone, tones: Sequence[Tone]) -> bool:
    """Say whether a tone is one of several that sound together, as in music; a squeal's own overtones are none."""
    lowest = float(np.median(tone.frequency_hz))
    beside = 0
    for other in tones:
        if other is tone or other.times_s[-1] < tone.times_s[0] or other.times_s[0] > tone.times_s[-1]:
            continue
        pitch = float(np.median(other.frequency_hz))
        ratio = max(pitch, lowest) / min(pitch, lowest)
        beside += abs(ratio - round(ratio)) > 0.02 * ratio
    return beside >= 2


def squeals_heard(
    sound: Sound,
    tones: Sequence[Tone],
    stretches: Sequence[StretchHeard],
    combs: Mapping[str, tuple[float, ...]],
    knocks: Sequence[Knock] = (),
) -> list[Squeal]:
    """Find the squeals among all tones of a recording.

    Arguments:
        sound: as recorded.
        tones: from `tones_in`.
        stretches: what turned.
        combs: the multiples at which each rotor may sound.
        knocks: that came back.

    What swells at a steady rate is a squeal even where a motor has a harmonic: a motor's line stays as loud as it is.
    """
    edges = [edge for one in stretches for edge in (one.start_s, one.end_s)]
    sounding = [tone for tone in tones if not rings(tone) and not glides(tone, edges)]
    found: list[Squeal] = []
    steady: list[Tone] = []
    for group in _together(sounding):
        chord = sum(programme_like(tone, tones) for tone in group) > len(group) / 2
        back = None if chord or _lasting(group) < SOUNDS_S else _swelling(sound, group)
        if back is None:
            steady += group
        elif not _knocked(sound, group, back, knocks):
            found.append(_squeal(group, back))
    kept = [tone for tone in steady if not whine(tone, stretches, combs) and not programme_like(tone, tones)]
    return found + squeals_from(kept)


def squeals_from(tones: Sequence[Tone]) -> list[Squeal]:
    """Put chirps of one pitch together, and say how often they come.

    Arguments:
        tones: those that are no motor's and no programme's.
    """
    return [_squeal(group, _comes_back(group)) for group in _together(tones) if _lasting(group) >= SOUNDS_S]


def _together(tones: Sequence[Tone]) -> list[list[Tone]]:
    """Put tones of one pitch together that follow one another closely enough."""
    groups: list[list[Tone]] = []
    for tone in sorted(tones, key=lambda one: float(one.times_s[0])):
        pitch = float(np.median(tone.frequency_hz))
        home = next(
            (
                group for group in groups
                if tone.times_s[0] - group[-1].times_s[-1] < TOGETHER_S
                and abs(pitch / float(np.median(group[-1].frequency_hz)) - 1.0) < 2.0 * NEAR
            ),
            None,
        )  # fmt: skip
        if home is None:
            groups.append([tone])
        else:
            home.append(tone)
    return groups


def _lasting(group: list[Tone]) -> float:
    return sum(float(tone.times_s[-1] - tone.times_s[0]) + HOP_S for tone in group)


def _squeal(group: list[Tone], back: Reading) -> Squeal:
    start, end = float(group[0].times_s[0]) - FRAME_S / 4, float(group[-1].times_s[-1]) + FRAME_S / 4
    pitches = np.concatenate([tone.frequency_hz for tone in group])
    prominent = float(np.median(np.concatenate([tone.prominence_db for tone in group])))
    alone = max(1.0, _lasting(group) / FRAME_S)
    spread = float(np.std(pitches)) if len(pitches) > 1 else 1.0 / FRAME_S
    frequency = Reading(
        float(np.median(pitches)), "Hz", float(max(1.96 * spread / np.sqrt(alone), 2.0)), method="peak of the spectrum"
    )
    # The criterion says what ears call a tone at all. Motors and cases have such tones too; in what was recorded of
    # sound ones none stood out by more than 11.5 dB. So the odds are even 3 dB above the criterion, for a short one;
    # one pitch held for a second needs less.
    beyond = prominent - float(criterion_db(np.array(frequency.value or 1e3)))
    even = EVEN_DB - LASTING_DB * min(1.0, _lasting(group) / LASTING_S)
    if back.value is not None and back.method == SWELLS:
        even -= SWELLING_DB
    chance = float(np.exp(-(beyond - even) / EVEN_SPREAD_DB)) + float(np.exp(-alone))
    kind = "squeal" if max(float(tone.times_s[-1] - tone.times_s[0]) for tone in group) >= CHIRP_S else "chirp"
    return Squeal(start, end, frequency, prominent, back, kind, 1.0 / (1.0 + chance))


def _comes_back(group: list[Tone]) -> Reading:
    """Say how often a squeal comes back: from the beginnings of its chirps, else from its level."""
    if len(group) >= 4:
        starts = np.array([float(tone.times_s[0] + tone.times_s[-1]) / 2.0 for tone in group])
        gaps = np.diff(starts)
        usual = float(np.median(gaps))
        turns = np.rint(gaps / usual)
        if np.all(turns >= 1) and float(np.median(np.abs(gaps - turns * usual))) < 0.15 * usual:
            counted = np.concatenate([[0.0], np.cumsum(turns)])
            period, _ = np.polyfit(counted, starts, 1)
            left = starts - np.polyval(np.polyfit(counted, starts, 1), counted)
            doubt = 2.8 * float(np.std(left, ddof=2)) / float(np.std(counted)) / np.sqrt(len(starts))
            return Reading(
                1.0 / period, "Hz", doubt / period**2 + 0.2 * HOP_S / period**2, method="from chirp to chirp"
            )
    return Reading(None, "Hz", why_not="It neither swells nor comes back at a steady rate.")


def _longest_piece(group: list[Tone]) -> tuple[float, float]:
    """Give from when to when a squeal sounds longest, short gaps counted in."""
    pieces: list[tuple[float, float]] = []
    for tone in group:
        start, end = float(tone.times_s[0]), float(tone.times_s[-1])
        if pieces and start - pieces[-1][1] < ONE_PIECE_S:
            pieces[-1] = (pieces[-1][0], end)
        else:
            pieces.append((start, end))
    return max(pieces, key=lambda piece: piece[1] - piece[0])


def _pitch(group: list[Tone]) -> float:
    return float(np.median(np.concatenate([tone.frequency_hz for tone in group])))


def _swelling(sound: Sound, group: list[Tone]) -> Reading | None:
    """Say how often a squeal swells while it sounds longest; None where it does not."""
    back, _ = swells(level_of(sound, _pitch(group), *_longest_piece(group))[1])
    return back if back.value is not None else None


def _knocked(sound: Sound, group: list[Tone], back: Reading, knocks: Sequence[Knock]) -> bool:
    """Tell whether a tone that swells is the case's own, struck by something that knocks as often.

    What comes with a knock, or rises more steeply than it falls, is none; else what sounds on from one round to the
    next is a squeal, and of what does not, what swells at its own pitch alone.
    """
    rate, pitch, (start, end) = back.value or 1.0, _pitch(group), _longest_piece(group)
    here = [one.rate_hz.value for one in knocks if one.start_s < end and start < one.end_s and one.rate_hz.value]
    if any(abs(rate / (times * knock) - 1.0) < SAME_RATE for knock in here for times in (1, 2)):
        return True
    levels_db = level_of(sound, pitch, start, end)[1]
    if steepness(levels_db, rate) > STRUCK:
        return True
    last_s = [float(tone.times_s[-1] - tone.times_s[0]) for tone in group]
    if sum(one for one in last_s if one * rate > SOUNDS_ON) > sum(last_s) / 2:
        return False
    _, depth = swells(levels_db)
    beside = [depth_at(level_of(sound, ratio * pitch, start, end)[1], rate) for ratio in BESIDE]
    return sum(beside) / len(beside) > KNOCKS * depth
