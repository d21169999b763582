"""Which lines go with which rotors, all of them at once: the likeliest assignments of all lines, each with its chance.

Lines are taken one after another, the slowest first, so that a harmonic comes after its fundamental. Every assignment
kept so far holds what its lines have told of the rates (a normal law, moved as a Kalman filter moves it), so that a
line given to the capstan sharpens where the motor's must stand. Those that fall far behind are dropped: with a few
dozen lines what is dropped holds next to nothing, and while no more than `MOST` are alive nothing is dropped at all.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.budget_rates import Array, Rates
from tapewright.words.signal import Line

MOST: Final = 1200
"""Assignments kept after each line."""
BEHIND: Final = 18.0
"""One that is e to the minus this as likely as the best is dropped."""
GATE: Final = 5.0
"""A candidate more than so many sigma off is not tried."""
FREQUENCY_SIGMA: Final = 2e-4
"""No line of a machine holds its frequency better than this, ratio; from memory."""
UNKNOWN_LINES: Final = 0.22
"""Lines to be expected from what the description does not hold, for each unit of ln(f) between a turn in ten seconds
and 200 Hz: 1.7 in all; trade judgement."""
MAINS_HZ: Final = (50.0, 60.0, 100.0, 120.0)
MAINS_LINES: Final = 0.02
MAINS_SIGMA: Final = 1e-3
"""Mains frequency holds within 0.1 % or so; a supply's ripple puts a line there now and then (judgement)."""
OF_A_PACK: Final = (0.5, -6.0, -12.0, -3.0)
"""A line seen to drift: one sigma of the logarithm of its slowing where the pack says it (thickness of the tape, one
minute's wander); logarithm of the chance that what is no reel drifts so, that a reel drifts the wrong way, and that
something unknown drifts; judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Assigned:
    """Assignments of all lines.

    Arguments:
        chosen: which candidate makes each line, -1 for none of them, shape (assignments, lines).
        chance: of each assignment, shape (assignments,); they sum to one.
        log_rate: mean logarithm of each rate under each, packs left half way, shape (assignments, n).
    """

    chosen: NDArray[np.intp]
    chance: Array
    log_rate: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """Assignments so far: what is chosen, where the packs stand (-1 not asked yet), and the law of the rates.

    `used` says of each candidate whether it makes a line, shape (assignments, candidates).
    """

    chosen: NDArray[np.intp]
    used: NDArray[np.bool_]
    place: NDArray[np.intp]
    log_chance: Array
    mean: Array
    covariance: Array

    def __len__(self) -> int:
        return len(self.log_chance)


@dataclass(frozen=True, slots=True, eq=False)
class _Offers:
    """Ways to go on: from which assignment, with which candidate, at which place of the packs."""

    parent: NDArray[np.intp]
    candidate: NDArray[np.intp]
    place: NDArray[np.intp]
    log_chance: Array


def assigned(lines: Sequence[Line], rates: Rates, most: int = MOST) -> Assigned:
    """Give the likeliest assignments of all lines together.

    Arguments:
        lines: in any order; `chosen` keeps it.
        rates: of the machine.
        most: how many assignments to keep after each line.
    """
    order = np.argsort([line.frequency_hz for line in lines], kind="stable")
    kept = _at_first(rates)
    for index in order:
        kept = _with_line(kept, lines[index], rates, most)
    chosen = np.empty_like(kept.chosen)
    chosen[:, order] = kept.chosen
    weight = np.exp(kept.log_chance - kept.log_chance.max())
    return Assigned(chosen, weight / weight.sum(), kept.mean[:, :-2])


def unknown_density(frequency_hz: float) -> float:
    """Give how many lines of unknown make to expect for each unit of ln(f) there.

    >>> round(unknown_density(9.0), 2), unknown_density(100.0) > 1.0
    (0.22, True)
    """
    density = UNKNOWN_LINES
    for mains in MAINS_HZ:
        off = math.log(frequency_hz / mains) / MAINS_SIGMA
        density += MAINS_LINES * math.exp(-0.5 * off**2) / (MAINS_SIGMA * math.sqrt(2.0 * math.pi))
    return density


def _at_first(rates: Rates) -> _Kept:
    """Begin with one empty assignment for each quality of the sizes; the packs' radii are the last two unknowns."""
    count, n = len(rates.quality), len(rates.log_rate)
    mean = np.tile(np.append(rates.log_rate, [0.0, 0.0]), (count, 1))
    covariance = np.zeros((count, n + 2, n + 2))
    covariance[:, :n, :n] = rates.covariance
    nowhere = np.full(count, -1, dtype=np.intp)
    unused = np.zeros((count, len(rates.candidates)), dtype=bool)
    return _Kept(np.zeros((count, 0), dtype=np.intp), unused, nowhere, rates.quality.copy(), mean, covariance)


def _with_line(kept: _Kept, line: Line, rates: Rates, most: int) -> _Kept:
    """Take in one more line: every way to go on, the best of them kept and moved by what the line says."""
    variance = (line.frequency_doubt_hz / 1.96 / line.frequency_hz) ** 2 + FREQUENCY_SIGMA**2
    offers = [_nobodys(kept, line)]
    for number in range(len(rates.candidates)):
        offers += _by_candidate(kept, line, variance, rates, number)
    every = _Offers(
        np.concatenate([one.parent for one in offers]),
        np.concatenate([one.candidate for one in offers]),
        np.concatenate([one.place for one in offers]),
        np.concatenate([one.log_chance for one in offers]),
    )
    best = np.argsort(-every.log_chance, kind="stable")[:most]
    best = best[every.log_chance[best] > every.log_chance[best[0]] - BEHIND]
    picked = _Offers(every.parent[best], every.candidate[best], every.place[best], every.log_chance[best])
    return _moved(kept, picked, line, variance, rates)


def _nobodys(kept: _Kept, line: Line) -> _Offers:
    drifts = OF_A_PACK[3] if line.slowing_per_s else 0.0
    gained = math.log(unknown_density(line.frequency_hz)) + drifts
    count = len(kept)
    return _Offers(np.arange(count), np.full(count, -1), kept.place, kept.log_chance + gained)


def _by_candidate(kept: _Kept, line: Line, variance: float, rates: Rates, number: int) -> list[_Offers]:
    """Give the ways in which one candidate may make the line: once in an assignment, wherever the packs may stand."""
    one = rates.candidates[number]
    off = math.log(line.frequency_hz / one.order)
    turned = rates.by_pack[one.rate]
    free = ~kept.used[:, number]
    carried = bool(np.abs(turned).max() > 0.5)
    open_ = free & (kept.place < 0) if carried else np.zeros(len(kept), dtype=bool)
    placed = free & ~open_
    found = []
    way = _way(rates, number)
    prior = _prior(kept, rates, number)
    if placed.any():
        at = np.flatnonzero(placed)
        mean = kept.mean[at] @ way
        asked = np.flatnonzero(way)
        spread = np.einsum("i,kij,j->k", way[asked], kept.covariance[np.ix_(at, asked, asked)], way[asked]) + variance
        told = _told(off - mean, spread) + prior[at] + _drift(line, rates, turned, kept.place[at])
        near = np.abs(off - mean) < GATE * np.sqrt(spread)
        found.append(_Offers(at[near], np.full(int(near.sum()), number), kept.place[at][near], told[near]))
    if open_.any():
        at = np.flatnonzero(open_)
        places = np.arange(len(rates.packs))
        own = kept.covariance[at, one.rate, one.rate][:, None]
        mean = kept.mean[at, one.rate][:, None] + rates.packs @ turned
        spread = own + np.einsum("i,pij,j->p", turned, rates.pack_covariance, turned) + variance
        told = _told(off - mean, spread) + rates.pack_chance + _drift(line, rates, turned, places) + prior[at][:, None]
        rows, columns = np.nonzero(np.abs(off - mean) < GATE * np.sqrt(spread))
        found.append(_Offers(at[rows], np.full(len(rows), number), places[columns], told[rows, columns]))
    return found


def _way(rates: Rates, number: int) -> Array:
    """Give how the logarithm of a candidate's rate hangs on the unknowns."""
    one = rates.candidates[number]
    way = np.zeros(len(rates.log_rate) + 2)
    way[one.rate] = 1.0
    way[-2:] = rates.by_pack[one.rate]
    return way


def _told(off: Array, variance: Array) -> Array:
    return np.asarray(-0.5 * off**2 / variance - 0.5 * np.log(2.0 * np.pi * variance))


def _prior(kept: _Kept, rates: Rates, number: int) -> Array:
    """Give what to expect of a candidate, and what was so far: more of a part that shows a lower order."""
    one = rates.candidates[number]
    lower = [i for i, c in enumerate(rates.candidates) if c.part == one.part and c.order < one.order]
    shows = kept.used[:, lower].any(axis=1)
    return np.asarray(kept.log_chance + np.log(np.where(shows, one.beside, one.alone)))


def _drift(line: Line, rates: Rates, turned: Array, place: NDArray[np.intp]) -> Array:
    """Say how well a line's drift, if one was seen, goes with what makes it."""
    if not line.slowing_per_s:
        return np.zeros(len(place))
    sigma, steady, wrong, _ = OF_A_PACK
    # A rate that goes with one over the radius has an elasticity of -1.
    expected = np.where(place >= 0, rates.slowing[place] @ -turned, 0.0)
    ratio = line.slowing_per_s / np.where(expected == 0.0, np.inf, expected)
    fits = -0.5 * (np.log(np.maximum(ratio, 1e-6)) / sigma) ** 2
    return np.where(expected == 0.0, steady, np.maximum(np.where(ratio > 0, fits, wrong), wrong))


def _moved(kept: _Kept, picked: _Offers, line: Line, variance: float, rates: Rates) -> _Kept:
    mean, covariance, used = kept.mean[picked.parent], kept.covariance[picked.parent], kept.used[picked.parent]
    asked = np.flatnonzero((picked.place >= 0) & (kept.place[picked.parent] < 0))
    mean[asked, -2:] = rates.packs[picked.place[asked]]
    covariance[asked, -2:, -2:] = rates.pack_covariance[picked.place[asked]]
    for number in np.unique(picked.candidate[picked.candidate >= 0]):
        at = np.flatnonzero(picked.candidate == number)
        way = _way(rates, int(number))
        used[at, number] = True
        gain = covariance[at] @ way
        spread = gain @ way + variance
        off = math.log(line.frequency_hz / rates.candidates[number].order) - mean[at] @ way
        mean[at] += gain * (off / spread)[:, None]
        covariance[at] -= gain[:, :, None] * gain[:, None, :] / spread[:, None, None]
    chosen = np.concatenate([kept.chosen[picked.parent], picked.candidate[:, None]], axis=1)
    return _Kept(chosen, used, picked.place, picked.log_chance, mean, covariance)
