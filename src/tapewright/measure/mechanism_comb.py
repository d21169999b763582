"""What a spectrum says for and against a comb: lines at given multiples of a rate, of which some may be silent.

Each frame's spectrum, over its background, is read at all multiples and gives a likelihood of the rate (after Leclère,
André and Antoni 2016, "A multi-order probabilistic approach for instantaneous angular speed tracking").
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_frames import Array, Frames, Single

SOUNDS: Final = 0.5
"""Chance that a given multiple of a turning rotor's rate sounds at all."""
LOUDNESS: Final = (3.0, 10.0, 30.0, 100.0)
"""How far a line that sounds may stand above the background, as power in one frame."""
ELSEWHERE, ELSEWHERE_LOUDNESS = 0.05, 30.0
"""Share of places at which something else sounds, and how loud: no single line says everything."""
MOST: Final = 2.5
LOWEST_HZ: Final = 25.0


def evidence(above: Single) -> Single:
    """Give the log likelihood ratio of a multiple of the rate there against background, for each value.

    Arguments:
        above: power over the background, any shape.

    >>> [round(float(x), 1) for x in evidence(np.array([0.5, 5.0, 50.0], dtype=np.float32))]
    [-0.6, 1.1, 1.8]
    """
    # The curve is smooth: a table of it in steps of a fifth of a decibel is as good, and twenty times as fast.
    place = (np.log(np.maximum(above, _LOWEST)) - np.log(_LOWEST)) * (1.0 / _STEP)
    index = np.minimum(place.astype(np.int32), len(_TABLE) - 1)
    return np.asarray(_TABLE[index], dtype=np.float32)


_LOWEST, _STEP = 1e-3, 0.02


def _of_power(above: Array) -> Array:
    above = np.minimum(above, 2000.0)  # all is said long before, and exponentials vanish far beyond
    nothing = (1.0 - ELSEWHERE) * np.exp(-above)
    nothing = nothing + ELSEWHERE / ELSEWHERE_LOUDNESS * np.exp(-above / ELSEWHERE_LOUDNESS)
    a_line = np.mean([np.exp(-above / (1.0 + s)) / (1.0 + s) for s in LOUDNESS], axis=0)
    return np.asarray(np.minimum(np.log(1.0 - SOUNDS + SOUNDS * a_line / nothing), MOST))


_TABLE: Final[Single] = _of_power(_LOWEST * np.exp(_STEP * (np.arange(800) + 0.5))).astype(np.float32)


def weighed(frames: Frames) -> Single:
    """Give the evidence in every bin of every frame; where a noise covers a line, its absence says little.

    Shape (frames, bins).
    """
    said = evidence(frames.above)
    usual = np.median(frames.background, axis=0)
    open_to_it = np.minimum(1.0, 2.0 * usual[None, :] / frames.background)
    return np.where(said < 0.0, said * open_to_it, said).astype(np.float32)


def mean_evidence(loudness: float) -> float:
    """Give the mean evidence of a line that stands so far above the background, as power.

    >>> mean_evidence(0.0) < 0.0 < mean_evidence(30.0)
    True
    """
    # Gauss-Laguerre: the power of a line in noise, its phase unknown from frame to frame, is exponential.
    at, weights = np.polynomial.laguerre.laggauss(40)
    return float(np.sum(weights * _of_power((1.0 + loudness) * at)))


def orders_within(comb: Sequence[float], rate_hz: float, highest_hz: float) -> tuple[float, ...]:
    """Give the multiples whose lines lie where lines can be looked for, at most twenty, the lowest first."""
    found = [order for order in sorted(set(comb)) if LOWEST_HZ <= order * rate_hz <= highest_hz]
    return tuple(found[:20])


def rate_grid(low_hz: float, high_hz: float, orders: Sequence[float], bin_hz: float) -> Array:
    """Give rates close enough together that the highest line moves by no more than a bin from one to the next."""
    highest = max(orders) * high_hz
    step = bin_hz / highest
    return np.asarray(np.geomspace(low_hz, high_hz, max(2, int(np.ceil(np.log(high_hz / low_hz) / step)) + 1)))


def bins_of(rates: Array, orders: Sequence[float], bin_hz: float, bins: int) -> NDArray[np.intp]:
    """Give the bin of each multiple of each rate, shape (orders, rates)."""
    return np.minimum(np.rint(np.outer(orders, rates) / bin_hz).astype(np.intp), bins - 1)


def comb_evidence(said: Single, rates: Array, orders: Sequence[float], bin_hz: float) -> Single:
    """Add the evidence up over the multiples, for each rate in each frame; shape (frames, rates)."""
    # Whole rows are gathered far faster than columns.
    turned = np.ascontiguousarray(said.T)
    found = np.zeros((len(rates), len(said)), dtype=np.float32)
    for at in bins_of(rates, orders, bin_hz, said.shape[1]):
        found += turned[at]
    return np.ascontiguousarray(found.T)
