"""How likely a reading is in each state of a machine; and the likelihoods of words and parts that say as much.

The chance of a reading hangs on many parts at once. What the network can take is a likelihood for each word of a
function and for each state of a part. Of all products of such likelihoods the one is taken under which every word and
every state becomes as likely as the reading itself makes it, and which changes what was believed before least: the
I-projection, found by fitting the margins in turn (W. E. Deming and F. F. Stephan, Ann. Math. Stat. 11, 1940;
I. Csiszár, Ann. Probab. 3, 1975).
"""

import math
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.combinations import Combinations
from tapewright.diagnose.expectation import Expected

Array = NDArray[np.float64]

LEAST: Final = 1e-11
"""No reading is held to be less likely than this share of its likeliest state: contradictions are said elsewhere."""
DEGREES: Final = np.linspace(0.2, 1.4, 49)
DEGREE_SHARES: Final = np.exp(-0.5 * ((DEGREES - 1.0) / 0.35) ** 2) / np.sum(
    np.exp(-0.5 * ((DEGREES - 1.0) / 0.35) ** 2)
)
"""How far a fault may have gone against the catalogue's degree, and how often: parts wear by and by; trade judgement,
from memory."""
TAKEN_ANYHOW: Final = 1e-5
"""Chance of a reading in a state in which none can be taken, against its likeliest state."""
PER_SPREAD: Final = 12
"""Points of the table of densities for each standard deviation."""
SHARPEST: Final = 0.2
"""No meter on a bench is better than a fifth of what such a measurement usually has; trade judgement."""
TURNS: Final = 200
CLOSE: Final = 1e-6


def chances(what: Expected, found: Combinations, value: float, doubt: float | None) -> Array:
    """Say how likely a reading is in each combination of states, as a density.

    A measured value is a true one with the meter's error; a true one scatters about what the state brings about as
    machines alike do. Both steps keep order: the larger of two readings never speaks less for the larger of two true
    values (total positivity: S. Karlin, Total Positivity, 1968, the basic composition formula).

    Arguments:
        what: how the reading hangs on the machine.
        found: the states.
        value: what was read, in the quantity's unit.
        doubt: half-width of its 95 % interval; None where it is not said.

    Returns:
        Shape (combinations,).
    """
    density = _density(what, found, value, meter_of(what, doubt))
    total = np.zeros(len(found.values))
    for degree, share in zip(DEGREES, DEGREE_SHARES, strict=True):
        total += share * density(_to_a_degree(what, found, float(degree)), float(degree))
    can = np.isfinite(found.values)
    top = float(total[can].max(initial=0.0)) or 1.0
    return np.where(can, np.maximum(total, LEAST * top), TAKEN_ANYHOW * top)


def meter_of(what: Expected, doubt: float | None) -> float:
    """Give the standard deviation of a measurement itself: as said, or as such a measurement usually has."""
    return what.least if doubt is None else max(SHARPEST * what.least, doubt / 1.96)


def _to_a_degree(what: Expected, found: Combinations, degree: float) -> Array:
    """Give the readings with every fault gone further or less far; what stands still stands still to any degree."""
    if not np.isfinite(found.sound):
        return found.values
    with np.errstate(divide="ignore", invalid="ignore"):
        if what.composed == "sum":
            return found.sound + degree * (found.values - found.sound)
        if what.composed == "squares":
            return np.sqrt(np.maximum(found.sound**2 + degree**2 * (found.values**2 - found.sound**2), 0.0))
        gone = found.sound * (found.values / found.sound) ** degree
    return np.where(found.values == 0.0, 0.0, gone)


def _density(what: Expected, found: Combinations, value: float, meter: float) -> Callable[[Array, float], Array]:
    """Give the density of a reading by what the state brings about, and how far it has gone; 0 where that is nan."""
    if what.composed == "sum":

        def about(true: Array, degree: float) -> Array:
            spread = np.sqrt(what.spread**2 + meter**2 + degree**2 * found.scatter)
            return np.asarray(np.nan_to_num(_normal((value - true) / spread)) / spread)

        return about
    known = found.values[np.isfinite(found.values) & (found.values > 0)]
    ends = np.log([*known, found.sound if np.isfinite(found.sound) and found.sound > 0 else known[0]])
    # One table for all states: their logarithms lie within what the furthest of them has at the largest degree.
    reach = float(np.ptp(ends)) * (DEGREES[-1] - 1.0) + what.spread
    count = 2 + int((np.ptp(ends) + 2 * reach) / (what.spread / PER_SPREAD))
    at = np.linspace(ends.min() - reach, ends.max() + reach, count)
    with np.errstate(divide="ignore"):
        logs = np.maximum(np.log([smeared(value, float(one), what.spread, meter) for one in np.exp(at)]), -700.0)
    still = float(_normal(np.array(value / meter))) / meter

    def of(true: Array, degree: float) -> Array:
        moving = np.isfinite(true) & (true > 0)
        there = np.exp(np.interp(np.log(np.where(moving, true, 1.0)), at, logs))
        return np.where(moving, there, np.where(true == 0.0, still, 0.0))

    return of


def _normal(z: Array) -> Array:
    return np.asarray(np.exp(-0.5 * np.square(z)) / math.sqrt(2.0 * math.pi))


def smeared(value: float, true: float, spread: float, meter: float) -> float:
    """Give the density of true exp(spread z) + meter e at a value, z and e normal, by the trapezoid rule.

    Arguments:
        value: what was read.
        true: what the state brings about, above nothing.
        spread: standard deviation of the logarithm of machines alike.
        meter: standard deviation of the measurement, in the unit of the value.
    """
    steps = np.linspace(-7.0, 7.0, 281)
    width = steps[1] - steps[0]
    if meter > 0.5 * spread * true:
        error = (value - true * np.exp(spread * steps)) / meter
        return float(np.sum(np.exp(-0.5 * (error**2 + steps**2))) * width / (2 * np.pi * meter))
    at = value - meter * steps
    inside = at > 0
    z = np.log(at[inside] / true) / spread
    terms = np.exp(-0.5 * (z**2 + steps[inside] ** 2)) / at[inside]
    return float(np.sum(terms) * width / (2 * np.pi * spread))


def project(
    found: Combinations, likely: Array, prior: Mapping[str, tuple[float, ...]], words: Mapping[str, int]
) -> dict[str, Array]:
    """Give the likelihoods of words and of parts' states that say what a reading says.

    Arguments:
        found: the states.
        likely: how likely the reading is in each, shape (combinations,).
        prior: for each part, the probability of its states beforehand.
        words: for each function, how many words it has.

    Returns:
        By function, shape (words,); by "part:NAME", shape (states,), with 1 for sound. What says nothing is left out.
    """
    weight = found.weights({name: np.array(prior[name]) for name in found.parts})
    axes = [(node, words[node], found.words[:, k]) for k, node in enumerate(found.nodes)]
    axes += [(f"part:{name}", len(prior[name]), found.states[:, k]) for k, name in enumerate(found.parts)]
    target = weight * likely
    factors = _fitted(weight, target, axes)
    return _scaled(factors, weight, target, axes)


def _fitted(weight: Array, target: Array, axes: list[tuple[str, int, NDArray[np.int64]]]) -> dict[str, Array]:
    """Fit the margins one after the other until none moves."""
    factors = {name: np.ones(size) for name, size, _ in axes}
    now = weight * (target.sum() / weight.sum())
    wanted = {name: np.bincount(places, target, size) for name, size, places in axes}
    for _ in range(TURNS):
        most = 0.0
        for name, size, places in axes:
            have = np.bincount(places, now, size)
            change = np.where(have > 0, wanted[name] / np.where(have > 0, have, 1.0), 1.0)
            factors[name] *= change
            now = now * change[places]
            most = max(most, float(np.abs(wanted[name] - have).max() / target.sum()))
        if most < CLOSE:
            break
    return factors


def _scaled(
    factors: dict[str, Array], weight: Array, target: Array, axes: list[tuple[str, int, NDArray[np.int64]]]
) -> dict[str, Array]:
    """Put the chance of the reading itself into one factor; words never reached are as unlikely as the least likely."""
    product = weight.copy()
    kept = {}
    for name, size, places in axes:
        factor, seen = factors[name], np.bincount(places, minlength=size) > 0
        if name.startswith("part:"):
            factor = factor / factor[0]
        kept[name] = np.where(seen, factor, 1.0 if name.startswith("part:") else factor[seen].min())
        product = product * kept[name][places]
    for name in list(kept)[:1]:
        kept[name] = kept[name] * (target.sum() / product.sum())
    return kept
