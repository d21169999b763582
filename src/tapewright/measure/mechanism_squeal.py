"""Squeals and chirps: tones that stand out, and are no motor's, no programme's and no stroke's."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_swell import SWELLS, comes_round, depth_at, level_of, steepness, swells
from tapewright.measure.mechanism_tones import FRAME_S, HOP_S, NEAR, Tone, criterion_db, pitch_of
from tapewright.words.mechanism_heard import Knock, Squeal, StretchHeard
from tapewright.words.reading import Reading

SOUNDS_S: Final = 0.15
"""A squeal sounds for as long in all: what is shorter is what a key or the head base strikes in the case."""
CHIRP_S: Final = 0.35
TOGETHER_S: Final = 3.0
"""Chirps of one pitch no further apart than this are one squeal that comes and goes."""
EVEN_DB, EVEN_SPREAD_DB = 3.0, 1.0
LASTING_DB, LASTING_S = 1.0, 1.0
"""What lasts so long may stand out by so much less."""
SWELLING_DB: Final = 3.0
"""What swells once a turn may stand out by so much less again: no motor's line does so."""
ONE_PIECE_S: Final = 0.4
JOINED_S: Final = 0.2
"""A trough of what swells may sink below what stands out for so long."""
BY_CHANCE: Final = 0.01
"""Chirps that come at random pass for such as come at a steady rate once in a hundred."""
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
    return found + squeals_from(sound, kept)


def squeals_from(sound: Sound, tones: Sequence[Tone]) -> list[Squeal]:
    """Put chirps of one pitch together, and say how often they come, or swell.

    Arguments:
        sound: as recorded.
        tones: those that are no motor's and no programme's.
    """
    return [_squeal(group, _comes_back(sound, group)) for group in _together(tones) if _lasting(group) >= SOUNDS_S]


def faint_squeals(
    sound: Sound,
    bursts: Sequence[tuple[list[Tone], float]],
    squeals: Sequence[Squeal],
    stretches: Sequence[StretchHeard],
    combs: Mapping[str, tuple[float, ...]],
) -> list[Squeal]:
    """Give the squeals that come and go under a loud mechanism.

    Arguments:
        sound: as recorded.
        bursts: from `mechanism_chirps.chirps_in`.
        squeals: that are known already.
        stretches: what turned.
        combs: the multiples at which each rotor may sound.
    """
    edges = [edge for one in stretches for edge in (one.start_s, one.end_s)]
    found = []
    for group, sure in bursts:
        start, end = float(group[0].times_s[0]), float(group[-1].times_s[-1])
        known = any(one.start_s < end and start < one.end_s for one in squeals)
        if known or all(whine(tone, stretches, combs) or glides(tone, edges) for tone in group):
            continue
        found.append(replace(_squeal(group, _comes_back(sound, group)), sure=sure))
    return found


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


def _comes_back(sound: Sound, group: list[Tone]) -> Reading:
    """Say how often a squeal comes back: from the beginnings of its chirps, else from how it swells within them."""
    if len(group) >= 4:
        starts = np.array([float(tone.times_s[0] + tone.times_s[-1]) / 2.0 for tone in group])
        gaps = np.diff(starts)
        usual = float(np.median(gaps))
        turns = np.rint(gaps / usual)
        off = float(np.max(np.abs(gaps / usual - turns)))
        # Of gaps of any length each is so near a multiple of the usual one by twice as much of the chance.
        if np.all(turns >= 1) and (2.0 * off) ** (len(gaps) - 1) < BY_CHANCE:
            counted = np.concatenate([[0.0], np.cumsum(turns)])
            period, _ = np.polyfit(counted, starts, 1)
            left = starts - np.polyval(np.polyfit(counted, starts, 1), counted)
            doubt = 2.8 * float(np.std(left, ddof=2)) / float(np.std(counted)) / np.sqrt(len(starts))
            return Reading(
                1.0 / period, "Hz", doubt / period**2 + 0.2 * HOP_S / period**2, method="from chirp to chirp"
            )
    back = comes_round([level_of(sound, pitch_of(group), *piece)[1] for piece in _pieces(group, JOINED_S)])
    if back.value is None:
        return Reading(None, "Hz", why_not="It neither swells nor comes back at a steady rate.")
    return back


def _pieces(group: list[Tone], joined_s: float) -> list[tuple[float, float]]:
    """Give from when to when a squeal sounds, gaps shorter than some time counted in."""
    pieces: list[tuple[float, float]] = []
    for tone in group:
        start, end = float(tone.times_s[0]), float(tone.times_s[-1])
        if pieces and start - pieces[-1][1] < joined_s:
            pieces[-1] = (pieces[-1][0], end)
        else:
            pieces.append((start, end))
    return pieces


def _longest_piece(group: list[Tone]) -> tuple[float, float]:
    """Give from when to when a squeal sounds longest, short gaps counted in."""
    return max(_pieces(group, ONE_PIECE_S), key=lambda piece: piece[1] - piece[0])


def _swelling(sound: Sound, group: list[Tone]) -> Reading | None:
    """Say how often a squeal swells while it sounds longest; None where it does not."""
    back, _ = swells(level_of(sound, pitch_of(group), *_longest_piece(group))[1])
    return back if back.value is not None else None


def _knocked(sound: Sound, group: list[Tone], back: Reading, knocks: Sequence[Knock]) -> bool:
    """Tell whether a tone that swells is the case's own, struck by something that knocks as often.

    What comes with a knock, or rises more steeply than it falls, is none; else what sounds on from one round to the
    next is a squeal, and of what does not, what swells at its own pitch alone.
    """
    rate, pitch, (start, end) = back.value or 1.0, pitch_of(group), _longest_piece(group)
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
