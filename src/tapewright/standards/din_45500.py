"""DIN 45500 part 4: the least a home tape machine should do.

Source of every number: the summary at tonbandmuseum.info ("DIN 45500 für Bandgeräte"); the bought text was not seen.
What the summary leaves open is said beside the number.
"""

from typing import Final

from tapewright.standards.figures import Figure

_SOURCE: Final = "DIN 45500 part 4 as summarised by tonbandmuseum.info"

SPEED_ERROR_LIMIT_PCT: Final = Figure(1.5, _SOURCE + ", either way, averaged over 30 s", "quoted", -1.5, 1.5)
SPEED_AVERAGING_S: Final = Figure(30.0, _SOURCE, "quoted")
WEIGHTED_FLUTTER_LIMIT_PCT: Final = Figure(0.2, _SOURCE + ", weighted peak (DIN 45507)", "quoted", None, 0.2)

LIMITS: Final = {"speed_error_pct": SPEED_ERROR_LIMIT_PCT, "weighted_peak_pct": WEIGHTED_FLUTTER_LIMIT_PCT}
"""By the name of the reading they are for, percent either way: the `high` of each."""

RANGE_LOW_HZ: Final = Figure(40.0, _SOURCE + ", record and replay", "quoted")
RANGE_HIGH_HZ: Final = Figure(12500.0, _SOURCE + ", record and replay", "quoted")
MIDDLE_LOW_HZ: Final = Figure(250.0, _SOURCE, "quoted")
MIDDLE_HIGH_HZ: Final = Figure(6300.0, _SOURCE, "quoted")
MIDDLE_SPREAD_DB: Final = Figure(5.0, _SOURCE + ", 250 to 6300 Hz, record and replay", "quoted", None, 5.0)
WHOLE_SPREAD_DB: Final = Figure(
    7.0, _SOURCE + ", 40 to 250 Hz and 6.3 to 12.5 kHz, record and replay", "quoted", None, 7.0
)
"""Spread: highest less lowest. Whether the two more decibels at the ends lie above, below or on both sides of the
middle's field is not in the summary; that all lies within 7 dB holds either way."""
FULL_LEVEL_THIRD_HARMONIC_PCT: Final = Figure(3.0, _SOURCE + ", about -30.5 dB", "quoted")
FULL_LEVEL_HZ: Final = Figure(333.0, _SOURCE, "quoted")
TREBLE_FALL_DB: Final = Figure(
    15.0, _SOURCE + ", 10 kHz against 333 Hz at overload; that text is garbled", "quoted", None, 15.0
)
WEIGHTED_SIGNAL_TO_NOISE_DB: Final = Figure(56.0, _SOURCE + ", re full level, per channel", "quoted", 56.0)
"""Which weighting is not in the summary. It cannot be that of BS.468, quasi-peak: noise of an even spectrum reads
higher so than unweighted, and the unweighted limit is 10 dB lower."""
UNWEIGHTED_SIGNAL_TO_NOISE_DB: Final = Figure(46.0, _SOURCE + ", re full level, per channel", "quoted", 46.0)
CROSSTALK_PROGRAMMES_DB: Final = Figure(60.0, _SOURCE + ", separate programmes, 1 kHz", "quoted", 60.0)
CROSSTALK_PROGRAMMES_WIDE_DB: Final = Figure(45.0, _SOURCE + ", separate programmes, 500 to 6300 Hz", "quoted", 45.0)
CROSSTALK_STEREO_DB: Final = Figure(20.0, _SOURCE + ", stereo pair, 1 kHz", "quoted", 20.0)
CROSSTALK_STEREO_WIDE_DB: Final = Figure(15.0, _SOURCE + ", stereo pair, 500 to 6300 Hz", "quoted", 15.0)
CROSSTALK_AT_HZ: Final = Figure(1000.0, _SOURCE, "quoted")
CROSSTALK_LOW_HZ: Final = Figure(500.0, _SOURCE, "quoted")
CROSSTALK_HIGH_HZ: Final = Figure(6300.0, _SOURCE, "quoted")
BALANCE_DB: Final = Figure(2.0, _SOURCE + ", level section of a reference tape", "quoted", None, 2.0)
ERASURE_DB: Final = Figure(60.0, _SOURCE + ", 1 kHz", "quoted", 60.0)
