"""Limits for home equipment, as they are quoted; the text itself was not at hand.

Clause by clause: mean speed within 1.5 % either way; averaged over 30 s; weighted flutter within 0.2 %, as a peak
(DIN 45507, the method of IEC 60386). The other limits of part 4 (response, noise, crosstalk) are not about transports.
"""

from tapewright.standards import din_45500
from tapewright.standards.iec_60094 import SPEED_TOLERANCE


def test_mean_speed() -> None:
    figure = din_45500.SPEED_ERROR_LIMIT_PCT
    assert (figure.low, figure.high) == (-1.5, 1.5)
    assert din_45500.SPEED_AVERAGING_S.value == 30.0
    assert figure.value < 100.0 * SPEED_TOLERANCE.value, "tighter than what the cassette standard lets a recorder do"


def test_weighted_flutter() -> None:
    assert din_45500.WEIGHTED_FLUTTER_LIMIT_PCT.high == 0.2


def test_each_limit_is_of_a_reading_and_says_how_it_is_known() -> None:
    assert set(din_45500.LIMITS) == {"speed_error_pct", "weighted_peak_pct"}
    for figure in din_45500.LIMITS.values():
        assert figure.basis == "quoted"
        assert figure.high is not None
        assert "DIN 45500 part 4" in figure.source
