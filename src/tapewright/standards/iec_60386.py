"""IEC 60386:1972 with Amendment 1:1988, technically AES6-2008: wow and flutter, weighted, as a peak reading.

What was seen of the documents: test tone, bands, the order of the chain, "two-sigma over at least 5 s" as the preferred
reading and quasi-peak as the older one (JIS C 5569-1991 clauses 2 and 3, which is IEC 386:1972; abstracts of AES6-2008
and AES6 (r2003)). The weighting table and the share of 5 % are from memory: `tables/flutter_weighting.csv` says so.
"""

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.standards.tables import table_column

TEST_TONE_HZ: Final = 3150.0
"""JIS C 5569-1991 (IEC 386:1972) clause 3.2."""
OTHER_TEST_TONE_HZ: Final = 3000.0
"""The older Japanese and American test tone; from memory, and seen in service manuals."""
WOW_BAND_HZ: Final = (0.1, 10.0)
"""JIS C 5569-1991 clause 2.1; popular texts put the border at 4 Hz."""
FLUTTER_BAND_HZ: Final = (10.0, 200.0)
"""Above 10 Hz, JIS C 5569-1991 clause 2.2; the upper end is where the weighting table ends."""
UNWEIGHTED_BAND_HZ: Final = (0.2, 200.0)
"""Amendment 1 suggests flat at least 0.1 to 200 Hz and gives no method; the lower end of the weighting's own reach
is taken here, since what is slower counts as drift within a minute."""

TWO_SIGMA_SHARE: Final = 0.05
"""The level is exceeded for this share of the time; from memory (two sigma of a normal law would be 4.55 %)."""
TWO_SIGMA_LEAST_S: Final = 5.0
"""Abstract of AES6-2008: deviations are stored for at least 5 s."""
SETTLING_S: Final = 2.0
"""Time the causal network is given before its output counts: its slowest pole decays by e in 0.47 s. Own choice."""
WEIGHTING_DOUBT_DB: Final = 0.29
"""Largest distance of the network from a row of the table, taken as the doubt of the weighting itself."""

ATTACK_S: Final = 21.7e-3
DECAY_S: Final = 523e-3
LAG_S: Final = 159e-3
"""Attack, decay and lag of a closed form of our own that meets the five pulse readings, the weighting in circuit."""
FOUR_HERTZ_SUM: Final = 1.5354
"""Mean sum of the two detectors on a 4 Hz sine of peak 1, so that it reads its peak; computed with the above."""

_GAIN: Final = 87.7569
_ZERO_HZ: Final = 31.7176
_REAL_POLES_HZ: Final = (1.5114, 8.54, 44.018)
_PAIR_HZ: Final = 0.4426
_PAIR_Q: Final = 0.6553


def _poles_rad_per_s() -> NDArray[np.complex128]:
    damping = 1.0 / (2.0 * _PAIR_Q)
    pair = _PAIR_HZ * complex(-damping, math.sqrt(1.0 - damping**2))
    return 2.0 * np.pi * np.array([pair, pair.conjugate(), *(-p for p in _REAL_POLES_HZ)], dtype=np.complex128)


def weighting_response(frequency_hz: NDArray[np.floating[Any]]) -> NDArray[np.complex128]:
    """Give the complex response of the analogue weighting network: our own fit to the printed table, within 0.29 dB.

    Arguments:
        frequency_hz: any shape, hertz.

    Returns:
        The same shape; about 1 at 4 Hz.

    >>> abs(round(float(abs(weighting_response(np.array(4.0)))), 3))
    1.0
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    below = np.ones_like(s)
    for pole in _poles_rad_per_s():
        below = below * (s - pole)
    above = _GAIN * s**3 * (s + 2.0 * np.pi * _ZERO_HZ)
    return np.asarray(above / below, dtype=np.complex128)


def weighting_sections(rate_hz: float) -> NDArray[np.float64]:
    """Give the weighting network as a digital filter, shape (sections, 6) for `scipy.signal.sosfilt`.

    The bilinear transform alone is 1.2 dB low at 200 Hz when the trace has 1000 samples a second. A three-tap corrector
    behind it (one sample of delay) brings the amplitude back onto the analogue network up to 200 Hz.

    Arguments:
        rate_hz: samples per second of the speed trace, at least 1000.

    Errors:
        ValueError: a rate below 1000, at which 200 Hz can no longer be met.
    """
    if rate_hz < 1000.0:
        raise ValueError(f"the weighting needs at least 1000 samples a second, not {rate_hz:g}")
    zeros = np.array([0.0, 0.0, 0.0, -2.0 * np.pi * _ZERO_HZ])
    sections = signal.zpk2sos(*signal.bilinear_zpk(zeros, _poles_rad_per_s(), _GAIN, rate_hz))
    probe_hz = np.linspace(20.0, 200.0, 91)
    _, found = signal.freqz_sos(sections, probe_hz, fs=rate_hz)
    wanted = np.abs(weighting_response(probe_hz)) / np.abs(found) - 1.0
    shape = 2.0 * (np.cos(2.0 * np.pi * probe_hz / rate_hz) - 1.0)
    tap = float(shape @ wanted / (shape @ shape))
    return np.vstack([sections, [tap, 1.0 - 2.0 * tap, tap, 1.0, 0.0, 0.0]]).astype(np.float64)


def weighted(deviation: NDArray[np.floating[Any]], rate_hz: float) -> NDArray[np.float64]:
    """Pass a speed deviation through the causal weighting network; the first `SETTLING_S` do not count yet.

    Arguments:
        deviation: shape (n,), mean and straight-line drift taken out, no gaps.
        rate_hz: samples per second, at least 1000.
    """
    return np.asarray(signal.sosfilt(weighting_sections(rate_hz), deviation), dtype=np.float64)


def two_sigma(deviation: NDArray[np.float64]) -> float:
    """Give the level that the deviation, either way, exceeds for 5 % of the time: the preferred reading.

    Arguments:
        deviation: shape (n,), settled, without gaps; the caller sees to it that it lasts 5 s.

    >>> t = np.arange(50000) / 1000.0
    >>> round(two_sigma(np.sin(2 * np.pi * 4.017 * t)), 3)
    0.997
    """
    return float(np.quantile(np.abs(deviation), 1.0 - TWO_SIGMA_SHARE))


def _lanes(values: NDArray[np.float64], run: int, lead: int) -> NDArray[np.float64]:
    """Cut a long record into runs that stand side by side, each with a lead that its detectors settle in."""
    count = -(-len(values) // run)
    padded = np.concatenate([np.zeros(lead), values, np.zeros(count * run - len(values))])
    return np.lib.stride_tricks.sliding_window_view(padded, lead + run)[::run].T


def quasi_peak_indication(deviation: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Give what the pointer of a quasi-peak meter shows over time, in the unit of the deviation, shape (n,).

    A detector for each sign (attack 21.7 ms, decay 523 ms), their sum through a lag of 159 ms, scaled so that a steady
    4 Hz sine shows its peak. A closed form of our own for the pulse readings of `tables/flutter_pulse_response.csv`.

    Arguments:
        deviation: shape (n,), already weighted, no gaps.
        rate_hz: samples per second.
    """
    run, lead = int(6.0 * rate_hz), int(4.0 * rate_hz)
    lanes = _lanes(np.asarray(deviation, dtype=np.float64), run, lead)
    attack, keep = -math.expm1(-1.0 / (ATTACK_S * rate_hz)), math.exp(-1.0 / (DECAY_S * rate_hz))
    held = np.zeros((2, lanes.shape[1]))
    summed = np.empty_like(lanes)
    both = np.empty_like(held)
    for index, row in enumerate(lanes):
        both[0], both[1] = row, -row
        held = np.where(both > held, held + attack * (both - held), keep * held)
        summed[index] = held[0] + held[1]
    lag = math.exp(-1.0 / (LAG_S * rate_hz))
    shown = signal.lfilter([1.0 - lag], [1.0, -lag], summed, axis=0)[lead:]
    return np.asarray(shown.T.reshape(-1)[: len(deviation)] / FOUR_HERTZ_SUM, dtype=np.float64)


def table_doubt_db() -> NDArray[np.float64]:
    """Give the network less the printed table at each row of the table, decibels, shape (17,)."""
    found = 20.0 * np.log10(np.abs(weighting_response(table_column("flutter_weighting", "frequency_hz"))))
    return np.asarray(found - table_column("flutter_weighting", "response_db"), dtype=np.float64)
