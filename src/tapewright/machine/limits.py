"""What a machine's sheet can set limits for: names, which way each holds, what can be meant.

Each name is that of the reading it is for, and ends with its unit. The three of the response belong together.
"""

from dataclasses import dataclass
from typing import Final

from tapewright.words.verdict import AT_LEAST, AT_MOST, EITHER_WAY


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit that a sheet can state.

    Arguments:
        name: the key, which is the reading's name.
        low: smallest value that can be meant, in the reading's unit.
        high: largest that can be meant.
        way: on which side of it the reading has to stay; "" where it is no limit by itself.
        says: what it is of.
    """

    name: str
    low: float
    high: float
    way: str
    says: str


RESPONSE_LOW: Final = "response_low_hz"
RESPONSE_HIGH: Final = "response_high_hz"
RESPONSE: Final = "response_db"
_BELOW: Final = "dB over the reference level, so a minus number"

LIMITS: Final = (
    Limit("speed_error_pct", 1e-4, 100.0, EITHER_WAY, "Largest error of the mean speed."),
    Limit("drift_pct", 1e-4, 100.0, EITHER_WAY, "Largest change of speed over a side."),
    Limit("weighted_peak_pct", 1e-4, 100.0, EITHER_WAY, "Largest weighted peak flutter."),
    Limit("weighted_rms_pct", 1e-4, 100.0, EITHER_WAY, "Largest weighted rms flutter."),
    Limit("unweighted_peak_pct", 1e-4, 100.0, EITHER_WAY, "Largest unweighted peak flutter."),
    Limit("unweighted_rms_pct", 1e-4, 100.0, EITHER_WAY, "Largest unweighted rms flutter."),
    Limit("azimuth_arcmin", 0.01, 60.0, EITHER_WAY, "Largest azimuth, either way, minutes of arc."),
    Limit("azimuth_wander_arcmin", 0.01, 60.0, AT_MOST, "Largest wander of the azimuth, half its range."),
    Limit("balance_db", 0.01, 20.0, AT_MOST, "Largest difference of level between tracks."),
    Limit(RESPONSE_LOW, 10.0, 2000.0, "", "Lower end of the band that response_db holds in."),
    Limit(RESPONSE_HIGH, 2000.0, 40_000.0, "", "Upper end of the band that response_db holds in."),
    Limit(RESPONSE, 0.1, 20.0, EITHER_WAY, "Largest deviation of the response, either way, against 315 Hz."),
    Limit("crosstalk_db", -120.0, -1.0, AT_MOST, "Most crosstalk at 1 kHz within one programme: a minus number."),
    Limit("crosstalk_sides_db", -120.0, -1.0, AT_MOST, "Most crosstalk at 1 kHz from the other side of the tape."),
    Limit("noise_a_db", -120.0, -1.0, AT_MOST, f"Most noise, A-weighted, {_BELOW}."),
    Limit("noise_468_db", -120.0, -1.0, AT_MOST, f"Most noise, ITU-R BS.468 quasi-peak, {_BELOW}."),
    Limit("third_harmonic_pct", 0.001, 50.0, AT_MOST, "Largest third harmonic at the reference level."),
    Limit("level_at_three_percent_db", -20.0, 20.0, AT_LEAST, "Least level at which the third harmonic is 3 %."),
    Limit("erasure_db", -120.0, -1.0, AT_MOST, "Most that erasing leaves, dB over what was there: a minus number."),
    Limit("hum_db", -120.0, -1.0, AT_MOST, f"Most hum, all harmonics, {_BELOW}."),
    Limit("dropouts_per_minute", 0.0, 10_000.0, AT_MOST, "Most dropouts a minute on a track."),
    Limit("gap_scatter_um", 0.01, 100.0, EITHER_WAY, "Furthest that a gap stands off the line through all gaps."),
)
LIMIT_NAMES: Final = tuple(one.name for one in LIMITS)
WAY_OF: Final = {one.name: one.way for one in LIMITS if one.way}
