"""Every reading of one pass of a test sequence: each section cut out, its tone mixed down once, and asked what it says.

What crosses over from other tracks is read first, where each plays alone, and taken out wherever all play together.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.askew import ARC_MINUTE
from tapewright.measure.audio import Recording, open_recording
from tapewright.measure.azimuth import LEAST_VALUES, Azimuth, read_azimuth, turned_over, wander_at
from tapewright.measure.crosstalk import crosstalk_of
from tapewright.measure.distortion import level_at_three_percent
from tapewright.measure.dropouts_of_tone import Dropouts, dropouts_of, repeats_with
from tapewright.measure.erasure import NOT_ERASED_DB, erasure
from tapewright.measure.hum_lines import Hum, hum_lines
from tapewright.measure.levels import balance, heard_on, levels_of
from tapewright.measure.losses import Losses, Track, fit_losses
from tapewright.measure.multitone import Multitone, multitone_of
from tapewright.measure.one_pass_capture import Capture
from tapewright.measure.one_pass_parts import (
    CrosstalkReading,
    HarmonicReading,
    OnePass,
    RateReading,
    SectionSound,
    TrackReadings,
)
from tapewright.measure.replay_response import Response, as_numbers, response_of
from tapewright.measure.sequence_finding import FoundSequence, find_sequence, section_samples
from tapewright.measure.weighted_noise import a_weighted_noise, quasi_peak_noise
from tapewright.standards.iec_60094 import TRACK_CENTRES_M, TRACK_WIDTH_M
from tapewright.words.reading import Reading
from tapewright.words.sequence import (
    AZIMUTH,
    CROSSTALK,
    DISTORTION,
    ERASURE,
    LEVEL,
    MULTITONE,
    RESPONSE,
    SILENCE,
    SPEED,
)

USUAL_GAP_M: Final = 1.0e-6
"""A replay head's gap where the machine's sheet does not say; common practice for cassette, 0.8 to 1.5 µm."""
LOWEST_FOR_DROPOUTS_HZ: Final = 2000.0
"""The shorter the wave, the more a speck under the tape shows."""
USUAL_CROSSTALK: Final = 0.01
"""What may cross over where it was not read: -40 dB, common practice for tracks side by side."""
READ: Final = (SPEED, LEVEL, AZIMUTH, RESPONSE, MULTITONE, SILENCE, CROSSTALK, DISTORTION, ERASURE)

Values = NDArray[np.float64]


def _missing(unit: str, what: str) -> Reading:
    return Reading(None, unit, why_not=f"No {what} section was found in the capture.")


def read_sections(
    sounds: Iterable[SectionSound],
    rate_hz: float,
    tape_speed_m_per_s: float,
    tracks: Sequence[int] = (1, 2, 3, 4),
    gap_m: float = USUAL_GAP_M,
    rates_hz: Sequence[float] = (),
) -> OnePass:
    """Read everything that the sections of one capture tell.

    Arguments:
        sounds: the sections, in any order.
        rate_hz: samples per second.
        tape_speed_m_per_s: at which the sequence was recorded.
        tracks: numbers of the tracks that the columns of the samples hold, from 1 at the deck plate.
        gap_m: of the replay head, by its sheet: its loss is in the machine's own correction.
        rates_hz: of reels and rollers, as plain numbers: what of wander and dropouts goes with them is then read.
    """
    capture = Capture(sounds, rate_hz, tracks)
    speed = tape_speed_m_per_s * float(np.mean([one.speed_ratio for one in capture.sounds] or [1.0]))
    azimuth, azimuth_reading = _azimuth(capture, speed)
    level = _levels(capture)
    reference_db = np.array([math.nan if one.value is None else one.value for one in level])
    responses = _responses(capture)
    dropouts, many = _dropouts(capture), _multitone(capture)
    hum, noise, erased = _hum(capture, reference_db), _noise(capture, reference_db), _erasure(capture)
    readings = tuple(
        TrackReadings(
            number,
            _inverted(capture, index),
            level[index],
            even,
            azimuth.delays_us[index] if azimuth else _missing("µs", "azimuth"),
            azimuth.scatter_um[index] if azimuth else _missing("µm", "azimuth"),
            responses[index] if responses else None,
            _losses(responses[index], azimuth, speed, gap_m) if responses else None,
            _crosstalk(capture, index),
            noise[0][index],
            noise[1][index],
            *_distortion(capture, index),
            erased[index],
            hum.levels_db[index],
            hum.total_db[index],
            dropouts.per_minute[index] if dropouts else _missing("1/min", "speed or azimuth"),
            many[index] if many else None,
        )
        for index, (number, even) in enumerate(zip(capture.tracks, balance(level), strict=True))
    )
    return OnePass(
        azimuth_reading,
        azimuth.bound_arcmin if azimuth else None,
        azimuth.wander_arcmin if azimuth else Reading(None, "arcmin", why_not=azimuth_reading.why_not),
        azimuth,
        readings,
        hum.mains_hz,
        dropouts.found if dropouts else (),
        dropouts.in_common if dropouts else (),
        dropouts.settings if dropouts else "",
        _notes(capture, readings),
        tuple(RateReading(rate, wander_at(azimuth.course, rate)) for rate in rates_hz) if azimuth else (),
        repeats_with(dropouts.found, rates_hz) if dropouts else (),
    )


def _azimuth(capture: Capture, speed_m_per_s: float) -> tuple[Azimuth | None, Reading]:
    """Read the azimuth from its own sections and from the long speed tone, which lies on all tracks as well.

    A track that is dead, or nearly, takes no part.
    """
    if len(capture.tracks) < 2:
        return None, Reading(None, "arcmin", why_not="One track has nothing to be late against.")
    tones = [tone for kind in (AZIMUTH, SPEED) for _, tone in capture.tones(kind) if len(tone.values) >= LEAST_VALUES]
    if not capture.of(AZIMUTH) or not tones:
        return None, _missing("arcmin", "azimuth")
    heard = np.array([heard_on(tone) for tone in tones])
    live = np.flatnonzero(heard.mean(axis=0) > 0.5)
    if len(live) < 2:
        return None, Reading(None, "arcmin", why_not="Fewer than two tracks carry the azimuth tones.")
    clear = [replace(tone, values=tone.values[:, live], noise_per_hz=tone.noise_per_hz[live])
             for tone, each in zip(tones, heard, strict=True) if each[live].all()]  # fmt: skip
    if not clear:
        return None, Reading(None, "arcmin", why_not="No tone is heard on all tracks that carry any.")
    where = [TRACK_CENTRES_M[capture.tracks[index] - 1] for index in live]
    found = read_azimuth(clear, where, speed_m_per_s, 0.0 if capture.mixing else USUAL_CROSSTALK)
    return _spread_out(found, live.tolist(), len(capture.tracks)), found.angle_arcmin


def _spread_out(found: Azimuth, live: list[int], tracks: int) -> Azimuth:
    """Give each track its own place again, a reason where it took no part."""

    def placed(readings: tuple[Reading, ...], unit: str) -> tuple[Reading, ...]:
        none = Reading(None, unit, why_not="The azimuth tones do not stand out on this track.")
        return tuple(readings[live.index(track)] if track in live else none for track in range(tracks))

    inverted = tuple(found.inverted[live.index(track)] if track in live else False for track in range(tracks))
    return replace(
        found, delays_us=placed(found.delays_us, "µs"), scatter_um=placed(found.scatter_um, "µm"), inverted=inverted
    )


def _levels(capture: Capture) -> tuple[Reading, ...]:
    tones = capture.tones(LEVEL)
    if not tones:
        return tuple(_missing("dB", "level") for _ in capture.tracks)
    sound, tone = max(tones, key=lambda one: one[1].seconds)
    read = levels_of(tone, sound.section.level_db)
    if capture.mixing:
        return read
    crossed_db = 20.0 * math.log10(1.0 + USUAL_CROSSTALK)
    return tuple(one if one.doubt is None else replace(one, doubt=math.hypot(one.doubt, crossed_db)) for one in read)


def _inverted(capture: Capture, index: int) -> bool | None:
    """Say which way round a track is, by the lowest tone that all carry; None where it is not heard."""
    tones = [tone for kind in (LEVEL, AZIMUTH) for _, tone in capture.tones(kind)]
    if not tones or len(capture.tracks) < 2:
        return None
    lowest = min(tones, key=lambda one: one.frequency_hz)
    live = np.flatnonzero(heard_on(lowest)).tolist()
    if index not in live or len(live) < 2:
        return None
    return turned_over(replace(lowest, values=lowest.values[:, live]))[live.index(index)]


def _responses(capture: Capture) -> tuple[Response, ...]:
    tones = [(tone, sound.section.level_db) for sound, tone in capture.tones(RESPONSE)]
    return response_of(tones) if len(tones) > 1 else ()


def _losses(response: Response, azimuth: Azimuth | None, speed_m_per_s: float, gap_m: float) -> Losses:
    angle = azimuth.angle_arcmin if azimuth else None
    if azimuth is None or angle is None or angle.value is None:
        return fit_losses(*as_numbers(response), Track(TRACK_WIDTH_M.value, speed_m_per_s, gap_m))
    doubt_rad = math.hypot((angle.doubt or 0.0) * ARC_MINUTE, azimuth.lean_doubt_rad)
    known = Track(TRACK_WIDTH_M.value, speed_m_per_s, gap_m, angle.value * ARC_MINUTE, doubt_rad)
    return fit_losses(*as_numbers(response), known)


def _crosstalk(capture: Capture, index: int) -> tuple[CrosstalkReading, ...]:
    return tuple(
        CrosstalkReading(capture.tracks[source], sound.section.frequency_hz or 0.0, crosstalk_of(tone, source)[index])
        for sound, source, tone in capture.alone()
        if source != index
    )


def _distortion(capture: Capture, index: int) -> tuple[tuple[HarmonicReading, ...], Reading]:
    tones = [sound for sound in capture.of(DISTORTION) if sound.section.frequency_hz]
    read = [HarmonicReading(sound.section.level_db, capture.third(sound)[index]) for sound in tones]
    if not read:
        return (), _missing("dB", "distortion")
    read.sort(key=lambda one: one.level_db)
    return tuple(read), level_at_three_percent([one.level_db for one in read], [one.reading for one in read])


def _erasure(capture: Capture) -> tuple[Reading, ...]:
    before = [(one, capture.raw(one)) for one in capture.of(ERASURE) if one.section.frequency_hz]
    after = capture.of(ERASURE, erased=True)
    if not before or not after:
        return tuple(_missing("dB", "pair of erasure") for _ in capture.tracks)
    (sound, tone), erased = before[0], max(after, key=lambda one: len(one.samples))
    reads = levels_of(tone, sound.section.level_db - erased.section.level_db)
    was = np.array([math.nan if one.value is None else one.value for one in reads])
    played_hz = (erased.section.frequency_hz or tone.frequency_hz) * erased.speed_ratio
    return erasure(erased.samples, capture.rate_hz, played_hz, was)


def _silence(capture: Capture) -> SectionSound | None:
    return max(capture.of(SILENCE), key=lambda one: len(one.samples), default=None)


def _noise(capture: Capture, reference_db: Values) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
    quiet = _silence(capture)
    if quiet is None:
        none = tuple(_missing("dB", "silent") for _ in capture.tracks)
        return none, none
    return (
        a_weighted_noise(quiet.samples, capture.rate_hz, reference_db),
        quasi_peak_noise(quiet.samples, capture.rate_hz, reference_db),
    )


def _multitone(capture: Capture) -> tuple[Multitone, ...]:
    sound = max(capture.of(MULTITONE), key=lambda one: len(one.samples), default=None)
    if sound is None:
        return ()
    quiet = _silence(capture)
    crossed = [USUAL_CROSSTALK] * len(capture.tracks)
    if capture.mixing:
        most = [np.abs(each - np.eye(len(each))).sum(axis=1) for each in capture.mixing.values()]
        crossed = np.max(most, axis=0).tolist()
    played = [hz * sound.speed_ratio for hz in sound.section.frequencies_hz]
    return multitone_of(sound.samples, capture.rate_hz, played, None if quiet is None else quiet.samples, crossed)


def _hum(capture: Capture, reference_db: Values) -> Hum:
    quiet = _silence(capture)
    if quiet is None:
        none = tuple(_missing("dB", "silent") for _ in capture.tracks)
        return Hum(_missing("Hz", "silent"), tuple(() for _ in capture.tracks), none)
    return hum_lines(quiet.samples, capture.rate_hz, reference_db)


def _dropouts(capture: Capture) -> Dropouts | None:
    tones = [tone for kind in (SPEED, AZIMUTH) for _, tone in capture.tones(kind)]
    tones = [tone for tone in tones if tone.frequency_hz > LOWEST_FOR_DROPOUTS_HZ]
    return dropouts_of(max(tones, key=lambda one: one.seconds)) if tones else None


def _notes(capture: Capture, readings: Sequence[TrackReadings]) -> tuple[str, ...]:
    turned = [str(one.track) for one in readings if one.inverted]
    notes = [f"Polarity is turned over on track {' and '.join(turned)}."] if turned else []
    for one in readings:
        said = (*(one.response.notes if one.response else ()), *(one.losses.notes if one.losses else ()))
        notes += [f"Track {one.track}: {each}" for each in said]
    kept = [
        str(one.track) for one in readings if one.erasure_db.value is not None and one.erasure_db.value > NOT_ERASED_DB
    ]
    if kept:
        notes.append(f"What was to be erased plays on as it was on track {', '.join(kept)}: was it erased at all?")
    if not capture.mixing:
        notes.append("Crosstalk was not read; levels and azimuth allow for -40 dB of it.")
    return tuple(notes)


def read_one_pass(
    path: str | Path,
    found: FoundSequence | None = None,
    gap_m: float = USUAL_GAP_M,
    rates_hz: Sequence[float] = (),
    progress: Callable[[float], None] | None = None,
    *,
    accept_truncated: bool = False,
) -> OnePass | None:
    """Read everything that one pass of a test sequence tells; None where there is no sequence in the file.

    Arguments:
        path: a sound file with all tracks.
        found: from `find_sequence`, where that was done already.
        gap_m: of the replay head, by its sheet.
        rates_hz: of reels and rollers, as plain numbers.
        progress: called with the share of the sections that are read.
        accept_truncated: take what is there of a file that is cut short.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    found = find_sequence(path, accept_truncated=accept_truncated) if found is None else found
    if found is None:
        return None
    recording = open_recording(path, accept_truncated)
    columns = [track for track, channel in enumerate(found.channel_of_track) if channel is not None]
    numbers = [column + 1 for column in columns]
    sounds = _cut(recording, found, columns, progress)
    return read_sections(sounds, recording.rate_hz, found.sequence.tape_speed_m_s, numbers, gap_m, rates_hz)


def _cut(
    recording: Recording, found: FoundSequence, columns: Sequence[int], progress: Callable[[float], None] | None
) -> Iterator[SectionSound]:
    """Cut the sections out of a recording, one after the other."""
    for number, each in enumerate(found.sections):
        if each.section.kind in READ:
            yield SectionSound(each.section, section_samples(recording, each)[:, columns], each.speed_ratio)
        if progress is not None:
            progress((number + 1) / len(found.sections))


__all__ = ["OnePass", "SectionSound", "read_one_pass", "read_sections"]
