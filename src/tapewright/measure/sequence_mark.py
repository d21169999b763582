"""The synchronising mark of a test sequence: sweeps that sound the same at any speed, at intervals that are a code.

In each sweep the period, not the frequency, changes evenly. Played faster or slower such a sweep is the same sweep, a
little earlier or later: earlier when it rises, later when it falls. So one template finds it at any speed, and a
falling and a rising one together say the time and the speed; the falling one stands first, so that what speed does to
the time between them and what it does to the templates add up.

Source: Kroszczynski, "Pulse compression by means of linear-period modulation", Proc. IEEE 57 (1969): what holds for a
moving target's echo holds for a tape at the wrong speed. The layout is our own.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

LOW_HZ: Final = 600.0
"""Lower end of a sweep: well above hum and rumble."""
HIGH_HZ: Final = 2400.0
"""Upper end: a head out of azimuth by one degree costs 4.4 dB here (track of 0.6 mm, 4.76 cm/s), and not all."""
SWEEP_S: Final = 0.16
RISE_S: Final = 0.01
"""Each end of a sweep rises and falls in this time."""
STEP_S: Final = 0.02
"""From one place of the code to the next."""
SYMBOLS: Final = 11
"""Places for each symbol of the code; a prime, so that the third symbol checks both others."""
SLOT_S: Final = 0.2
CODE_S: Final = (0.4, 0.8, 1.2)
_TRACKS_S: Final = 1.6
BURST_HZ: Final = (500.0, 1000.0)
BURST_S: Final = 0.16
BURST_SECOND: Final = 0.5
"""Size of the burst's octave against its fundamental."""

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sweep:
    """One sweep of a mark.

    Arguments:
        rising: whether the frequency rises.
        at_s: its beginning, from the mark's.
        track: the one track that carries it; None for all.
    """

    rising: bool
    at_s: float
    track: int | None = None


FIRST: Final = Sweep(False, 0.0)
SECOND: Final = Sweep(True, SLOT_S)
"""The two sweeps that a mark begins with."""


def slope(rising: bool) -> float:
    """Give how fast the period changes, seconds a second."""
    return (-1.0 if rising else 1.0) * (1.0 / LOW_HZ - 1.0 / HIGH_HZ) / SWEEP_S


def speed_shift_s(rising: bool) -> float:
    """Give how much later a template fits a sweep, for a speed ratio r, divided by 1 - 1/r, seconds.

    A sweep begun at 0 has the period p + b t. Played r times as fast it has (p + b r t) / r = p / r + b t, which is the
    template moved by (p / b) (1 - 1 / r).

    >>> round(speed_shift_s(True), 4), round(speed_shift_s(False), 4)
    (-0.2133, 0.0533)
    """
    return 1.0 / ((LOW_HZ if rising else HIGH_HZ) * slope(rising))


def sweep_phase(times_s: Samples, rising: bool) -> Samples:
    """Give the phase of a sweep, radians, at times since it began."""
    first_s, change = 1.0 / (LOW_HZ if rising else HIGH_HZ), slope(rising)
    return np.asarray(2.0 * np.pi / change * np.log1p(change * np.clip(times_s, 0.0, SWEEP_S) / first_s))


def edges(times_s: Samples, length_s: float, rise_s: float = RISE_S) -> Samples:
    """Give the rise and fall of a sound of a certain length: 0 outside, 1 inside, raised cosines between."""
    inside = np.clip(np.minimum(times_s, length_s - times_s) / rise_s, 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


def sweep(times_s: Samples, rising: bool) -> Samples:
    """Give the samples of one sweep, peak 1, at times since it began; 0 outside."""
    return np.asarray(edges(times_s, SWEEP_S) * np.cos(sweep_phase(times_s, rising)))


def burst(times_s: Samples) -> Samples:
    """Give the samples of the burst that tells polarity, at times since it began: its upper peaks are the sharper ones.

    The product of the fundamental twice and its octave once keeps its sign wherever the burst stands in time, and
    turns with the polarity.
    """
    first, second = (2.0 * np.pi * hz * times_s for hz in BURST_HZ)
    whole = (np.cos(first) + BURST_SECOND * np.cos(second)) / (1.0 + BURST_SECOND)
    return np.asarray(edges(times_s, BURST_S) * whole)


def check_symbol(index: int, variant: int) -> int:
    """Give the third symbol of a mark's code.

    >>> check_symbol(0, 0), check_symbol(1, 0), check_symbol(0, 1)
    (5, 7, 8)
    """
    return (2 * index + 3 * variant + 5) % SYMBOLS


def code_sweep(place: int, symbol: int) -> Sweep:
    """Give the sweep that says one symbol of the code: the first and third fall, the second rises."""
    return Sweep(place == 1, CODE_S[place] + STEP_S * symbol)


def track_sweep(track: int) -> Sweep:
    """Give the sweep that one track alone carries."""
    return Sweep(True, _TRACKS_S + SLOT_S * (track - 1), track)


def burst_at_s(tracks: int) -> float:
    """Give where the burst begins, from the mark's beginning."""
    return _TRACKS_S + SLOT_S * tracks


def mark_length_s(tracks: int) -> float:
    """Give how long a mark is.

    >>> round(mark_length_s(4), 3)
    2.6
    """
    return burst_at_s(tracks) + SLOT_S


def mark_sweeps(index: int, variant: int, tracks: int) -> tuple[Sweep, ...]:
    """Give the sweeps of a mark, in the order of time.

    Arguments:
        index: which of the sequence's marks, from 0.
        variant: which of the sequences.
        tracks: how many there are.
    """
    code = (index, variant, check_symbol(index, variant))
    said = tuple(code_sweep(place, symbol) for place, symbol in enumerate(code))
    return (FIRST, SECOND, *said, *(track_sweep(track + 1) for track in range(tracks)))


def mark(times_s: Samples, index: int, variant: int, tracks: int, track: int) -> Samples:
    """Give the samples of a mark on one track, peak 1, at times since it began.

    Arguments:
        times_s: shape (n,), seconds.
        index: which of the sequence's marks, from 0.
        variant: which of the sequences.
        tracks: how many there are.
        track: which of them, from 1.
    """
    said = np.zeros(len(times_s))
    for one in mark_sweeps(index, variant, tracks):
        if one.track in (None, track):
            said += sweep(times_s - one.at_s, one.rising)
    return said + burst(times_s - burst_at_s(tracks))


def chance_of_likeness(likeness: float, dimensions: float) -> float:
    """Give the chance that noise is at least so like a template, at one time.

    Arguments:
        likeness: share of the noise's energy that the template and its quarter turn account for, 0 to 1.
        dimensions: independent numbers in the noise: twice its bandwidth times its length.

    Of a vector of n independent normal numbers the share that lies in a given plane has the law Beta(1, n / 2 - 1),
    whose upper tail is (1 - share) to the power of n / 2 - 1. Closed form; Johnson, Kotz, Balakrishnan, "Continuous
    univariate distributions", chapter 25.

    >>> chance_of_likeness(0.5, 4)
    0.5
    """
    return float((1.0 - likeness) ** (dimensions / 2.0 - 1.0))
