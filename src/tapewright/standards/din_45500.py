"""DIN 45500 part 4: the least a home tape machine should do, in speed and flutter.

Source of every number: the summary at tonbandmuseum.info ("DIN 45500 für Bandgeräte"); the bought text was not seen.
"""

from typing import Final

from tapewright.standards.figures import Figure

_SOURCE: Final = "DIN 45500 part 4 as summarised by tonbandmuseum.info"

SPEED_ERROR_LIMIT_PCT: Final = Figure(1.5, _SOURCE + ", either way, averaged over 30 s", "quoted", -1.5, 1.5)
SPEED_AVERAGING_S: Final = Figure(30.0, _SOURCE, "quoted")
WEIGHTED_FLUTTER_LIMIT_PCT: Final = Figure(0.2, _SOURCE + ", weighted peak (DIN 45507)", "quoted", None, 0.2)

LIMITS: Final = {"speed_error_pct": SPEED_ERROR_LIMIT_PCT, "weighted_peak_pct": WEIGHTED_FLUTTER_LIMIT_PCT}
"""By the name of the reading they are for, percent either way: the `high` of each."""
