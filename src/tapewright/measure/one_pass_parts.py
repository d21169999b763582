"""The nouns of a one-pass reading: what each track says, and what all tracks say together."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.azimuth import Azimuth
from tapewright.measure.dropouts_of_tone import Dropout
from tapewright.measure.losses import Losses
from tapewright.measure.multitone import Multitone
from tapewright.measure.replay_response import Response
from tapewright.words.reading import Reading
from tapewright.words.sequence import Section


@dataclass(frozen=True, slots=True, eq=False)
class SectionSound:
    """The sound of one section.

    Arguments:
        section: as it was planned.
        samples: shape (n, tracks), in the order of tracks; a track that no channel holds is all zeros.
        speed_ratio: how fast the tape played there against its own speed, within 2 %.
    """

    section: Section
    samples: NDArray[np.float64]
    speed_ratio: float


@dataclass(frozen=True, slots=True)
class CrosstalkReading:
    """How much of one track is heard on another.

    Arguments:
        from_track: the track that plays, counted from 1.
        frequency_hz: of its tone.
        reading: dB below it.
    """

    from_track: int
    frequency_hz: float
    reading: Reading


@dataclass(frozen=True, slots=True)
class RateReading:
    """How much of something turns at a rate, hertz."""

    rate_hz: float
    reading: Reading


@dataclass(frozen=True, slots=True)
class HarmonicReading:
    """The third harmonic at one recorded level, dB over the reference, percent of the tone."""

    level_db: float
    reading: Reading


@dataclass(frozen=True, slots=True)
class TrackReadings:
    """What one track says.

    Arguments:
        track: counted from 1, from the edge at the deck plate.
        inverted: whether its polarity is turned against most tracks; None where no tone could say.
        level_db: what the reference level reads, dB re full scale.
        balance_db: that less the mean of all tracks.
        delay_us: against the mean of all tracks, late positive.
        gap_scatter_um: how far its gap stands off the line through all gaps.
        response: against the replay curve; None without a response section.
        losses: what its shape says of spacing, gap and azimuth; None without a response section.
        crosstalk: from each other track.
        noise_a_db: A-weighted, re the reference level.
        noise_468_db: by ITU-R BS.468, quasi-peak, re the reference level.
        third_harmonic: at each level that was recorded.
        level_at_three_percent_db: the level at which it reaches 3 %, over the reference.
        erasure_db: what erasing left, below what was there.
        hum_db: each harmonic of the mains from the first, re the reference level.
        hum_total_db: all of them that stand out.
        dropouts_per_minute: by the settings that the whole states.
        multitone: many tones at once; None without such a section.
    """

    track: int
    inverted: bool | None
    level_db: Reading
    balance_db: Reading
    delay_us: Reading
    gap_scatter_um: Reading
    response: Response | None
    losses: Losses | None
    crosstalk: tuple[CrosstalkReading, ...]
    noise_a_db: Reading
    noise_468_db: Reading
    third_harmonic: tuple[HarmonicReading, ...]
    level_at_three_percent_db: Reading
    erasure_db: Reading
    hum_db: tuple[Reading, ...]
    hum_total_db: Reading
    dropouts_per_minute: Reading
    multitone: Multitone | None = None


@dataclass(frozen=True, slots=True, eq=False)
class OnePass:
    """Every reading of one pass of a test sequence.

    Arguments:
        azimuth_arcmin: angle of the line through the gaps, minutes of arc; positive where tracks further from the
            deck plate come later.
        azimuth_bound_arcmin: what noise alone leaves open in it; None without a reading.
        azimuth_wander_arcmin: how far it moves either way.
        azimuth: all that the delays say, with the course of the angle; None without a reading.
        tracks: what each says.
        mains_hz: of the hum.
        dropouts: each, with the index of its track from 0, and its start since the beginning of its section.
        in_common: those on several tracks at once.
        dropout_settings: what counted as one.
        notes: sentences.
        wander_at: what of the angle's wander turns with each rate that was given.
        repeats: which of these rates the dropouts keep step with, each with the chance that it is an accident.
    """

    azimuth_arcmin: Reading
    azimuth_bound_arcmin: float | None
    azimuth_wander_arcmin: Reading
    azimuth: Azimuth | None
    tracks: tuple[TrackReadings, ...]
    mains_hz: Reading
    dropouts: tuple[Dropout, ...]
    in_common: tuple[tuple[tuple[int, ...], float], ...]
    dropout_settings: str
    notes: tuple[str, ...]
    wander_at: tuple[RateReading, ...] = ()
    repeats: tuple[tuple[float, float], ...] = ()
