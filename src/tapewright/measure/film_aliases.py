"""Which of several rates a film shows: N like teeth that move on by a whole step more in a frame look the same.

At a frame rate F, a hub of N like teeth looks the same at every rate that differs by F/N; with a mark of its own, by F.
What tells them apart: a mark, frame times that waver, the way from standing to full rate, rates that the machine can
have at all, and that both hubs carry one tape (same way round, rates in the ratio of two packs of one cassette).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_one_tape import HOLDS_TURNS, NOT_ONE_TAPE, TURNS_HZ, can_be_packs, costs_of_laws, pack_law
from tapewright.measure.film_turning import Followed
from tapewright.words.reels_seen import HubName

Floats = NDArray[np.float64]

BLOCK_S: Final = 0.15
LEAST_BLOCK: Final = 4
FASTEST_HZ: Final = 28.0
"""No hub of a cassette is wound faster: reels that are driven make up to 13 turns a second, and one that gives makes
2.2 times as many once it is bare; by the shipped descriptions."""
NEAR_LIMIT: Final = 0.8
"""Share of the rate that is sure by itself from which a film may hide a faster one; own choice."""
SPEEDS_UP_HZ_PER_S: Final = 10.0
"""How fast a hub gains rate from one block to the next before that counts against it; own choice."""
LEAST_STEADY: Final = 0.8
MOST_JUMPS: Final = 0.03
SLOWER_IS_LIKELIER: Final = 1.5
"""What one whole step a frame costs a film, however long it is: a tie goes to the slower rate, and is no proof."""
STANDS: Final = 0.003
"""Share of a whole step: what turns by less stands, since no rate is a whole number of steps for long by chance."""
STANDING_IS_LIKELIER: Final = 0.5
UNEXPECTED: Final = 6.0
"""What a rate outside of what the machine can do costs a film: no more, since machines that race exist."""
OPEN: Final = 2.0
"""Cost by which the best must lead for a rate to be given at all (a likelihood ratio of seven)."""
DECIDED: Final = 3.0
"""Cost by which the best must lead to count as told apart (a likelihood ratio of twenty)."""


@dataclass(frozen=True, slots=True, eq=False)
class Turned:
    """One hub's way, unwrapped.

    Arguments:
        name: of the hub.
        times_s: of the frames, shape (n,).
        turns: from the first frame on, anticlockwise, shape (n,).
        sigma_turns: standard deviation of each by its own noise, shape (n,).
        step_hz: rates that differ by this look the same.
        symmetry: how many times it looks the same in a turn, marks counted.
        lead: by how much the rate chosen leads before the next one.
    """

    name: HubName
    times_s: Floats
    turns: Floats
    sigma_turns: Floats
    step_hz: float
    symmetry: int
    lead: float


def apparent_rate_hz(rate_hz: float, frame_rate_hz: float, symmetry: int) -> float:
    """Give the rate that a film shows of something that looks the same `symmetry` times a turn.

    Arguments:
        rate_hz: true, signed.
        frame_rate_hz: frames per second.
        symmetry: 6 for six teeth; 1 with a mark.

    >>> [round(apparent_rate_hz(rate, 30.0, 6), 3) for rate in (2.4, 2.6, 5.0, 7.3)]
    [2.4, -2.4, 0.0, 2.3]
    """
    step = frame_rate_hz / symmetry
    return (rate_hz + 0.5 * step) % step - 0.5 * step


def fastest_sure_hz(frame_rate_hz: float, symmetry: int) -> float:
    """Give the rate up to which a film of N like teeth shows the true one: F/(2N).

    Arguments:
        frame_rate_hz: frames per second.
        symmetry: how many times the hub looks the same in a turn.

    >>> fastest_sure_hz(30.0, 6)
    2.5
    """
    return frame_rate_hz / (2.0 * symmetry)


def marked(followed: Followed) -> bool:
    """Say whether something tells the teeth apart: the tooth that fits best then moves as evenly as the rest.

    Arguments:
        followed: a hub's angles.
    """
    if followed.symmetry == 1:
        return True
    steps = np.exp(1j * np.diff(followed.angle_rad))
    width = min(15, len(steps))
    if width < 5:
        return False
    mean = np.convolve(steps, np.ones(width) / width, mode="valid")
    off = np.angle(steps[width // 2 : width // 2 + len(mean)] * np.conj(mean))
    jumps = float(np.mean(np.abs(off) > np.pi / followed.symmetry))
    return float(np.median(np.abs(mean))) > LEAST_STEADY and jumps < MOST_JUMPS


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """All ways to unwrap one hub: for each alias of the first block, what the best way costs, its rates and turns.

    Rates are by block, shape (ways, blocks); turns from the first frame on, shape (ways, frames).
    """

    costs: Floats
    rates_hz: Floats
    turns: Floats
    blocks: NDArray[np.intp]


def unwrapped(followed: Sequence[Followed], expected_hz: Sequence[tuple[float, float]] = ()) -> tuple[Turned, ...]:
    """Unwrap the angles of one or two hubs, each with the others in mind.

    Arguments:
        followed: their angles, from `follow_hubs`.
        expected_hz: lowest and highest turns per second that the machine can give a hub, one or several ranges.
    """
    if not followed or len(followed[0].times_s) < LEAST_BLOCK + 1:
        return ()
    blocks = _blocks(followed[0].times_s)
    ways = [_ways(one, blocks, expected_hz) for one in followed]
    chosen, leads = _chosen(ways)
    if _no_one_tape(followed, ways, chosen):
        leads = [min(lead, 0.0) for lead in leads]
    rows = zip(followed, ways, chosen, leads, strict=True)
    return tuple(_turned(one, way, at, lead) for one, way, at, lead in rows)


def _blocks(times_s: Floats) -> NDArray[np.intp]:
    """Give the block that each step from a frame to the next belongs to."""
    steps = np.diff(times_s)
    length = max(LEAST_BLOCK, round(BLOCK_S / float(np.median(steps))))
    return np.asarray(np.arange(len(steps)) // length, dtype=np.intp)


def _ways(followed: Followed, blocks: NDArray[np.intp], expected_hz: Sequence[tuple[float, float]]) -> _Ways:
    symmetry = followed.symmetry
    steps, between = np.diff(followed.angle_rad), np.diff(followed.times_s)
    typical = float(np.median(between))
    step_hz = 1.0 / (symmetry * typical)
    # Looked for about every half step, so that none lies where the angle wraps; what is found twice does no harm.
    most = int(2.0 * FASTEST_HZ / step_hz) + 2
    about_hz = 0.5 * step_hz * np.arange(-most, most + 1)
    count = int(blocks[-1]) + 1
    about = steps[:, None] - 2.0 * np.pi * about_hz * between[:, None]
    turned = np.stack([_summed(np.exp(1j * symmetry * one), blocks) for one in about.T], axis=1)
    base = np.angle(turned) / symmetry / (2.0 * np.pi * typical)
    rates = _sharpened(base + about_hz, steps, between, blocks, symmetry)
    cost = _missed(rates, steps, between, blocks, symmetry)
    if symmetry > 1 and marked(followed):
        cost += _missed(rates, steps, between, blocks, 1)
    cost += SLOWER_IS_LIKELIER / count * np.abs(rates) / step_hz + 1e3 * (np.abs(rates) > FASTEST_HZ)
    standing = np.abs(rates / step_hz - np.round(rates / step_hz)) < STANDS
    cost += STANDING_IS_LIKELIER * standing * (np.abs(rates) > 0.5 * step_hz)
    if expected_hz:
        within = np.abs(rates) < 0.05
        for low, high in expected_hz:
            within |= (np.abs(rates) >= low) & (np.abs(rates) <= high)
        cost += UNEXPECTED / count * ~within
    seconds = max(float(np.median(np.bincount(blocks, between))), 1e-6)
    ahead = cost[-1].copy()
    follow = np.zeros((count, len(about_hz)), dtype=np.intp)
    for at in range(count - 2, -1, -1):
        jump = (rates[at + 1][None, :] - rates[at][:, None]) / (SPEEDS_UP_HZ_PER_S * seconds)
        onward = np.minimum(0.5 * jump**2, 8.0) + ahead[None, :]
        follow[at] = onward.argmin(axis=1)
        ahead = cost[at] + onward.min(axis=1)
    paths = np.empty((len(about_hz), count), dtype=np.intp)
    paths[:, 0] = np.arange(len(about_hz))
    for at in range(1, count):
        paths[:, at] = follow[at - 1][paths[:, at - 1]]
    along = np.stack([rates[np.arange(count), path] for path in paths])
    return _Ways(ahead, along, np.stack([_turns(followed, row[blocks]) for row in along]), blocks)


def _turns(followed: Followed, rates_hz: Floats) -> Floats:
    """Unwrap the angles along a course of rates, one for each step; gives turns from the first frame on."""
    steps, between = np.diff(followed.angle_rad), np.diff(followed.times_s)
    sector = 2.0 * np.pi / followed.symmetry
    # A mark chooses the rate; which tooth is which in a single frame is never trusted.
    steps = steps + sector * np.round((2.0 * np.pi * rates_hz * between - steps) / sector)
    return np.asarray(np.concatenate([[0.0], np.cumsum(steps)]) / (2.0 * np.pi), dtype=np.float64)


def _summed(values: NDArray[np.complex128], blocks: NDArray[np.intp]) -> NDArray[np.complex128]:
    """Sum complex numbers block by block."""
    return np.asarray(np.bincount(blocks, values.real) + 1j * np.bincount(blocks, values.imag))


def _missed(rates: Floats, steps: Floats, between: Floats, blocks: NDArray[np.intp], looks_same: int) -> Floats:
    """Give what each rate of each block costs by the steps it misses, over the least of the block, (blocks, rates)."""
    left = looks_same * (steps[:, None] - 2.0 * np.pi * rates[blocks] * between[:, None])
    cost = 4.0 * np.stack([np.bincount(blocks, 1.0 - np.cos(one)) for one in left.T], axis=1)
    return np.asarray(np.minimum(cost - cost.min(axis=1, keepdims=True), 3.0) * (np.bincount(blocks) > 2)[:, None])


def _sharpened(rates: Floats, steps: Floats, between: Floats, blocks: NDArray[np.intp], symmetry: int) -> Floats:
    """Fit each block's rate to frame times that waver: what an even step leaves is added, by least squares."""
    phase = steps[:, None] - 2.0 * np.pi * rates[blocks] * between[:, None]
    left = np.angle(np.exp(1j * symmetry * phase)) / symmetry
    squares = np.bincount(blocks, between**2)
    added = np.stack([np.bincount(blocks, one * between) for one in left.T], axis=1)
    return np.asarray(rates + added / (2.0 * np.pi * squares[:, None]), dtype=np.float64)


def _chosen(ways: Sequence[_Ways]) -> tuple[list[int], list[float]]:
    """Choose a way for each hub, and give by how much each leads; two hubs are chosen together."""
    if len(ways) == 1:
        return _alone(ways[0])
    one, other = ways
    total = one.costs[:, None] + other.costs[None, :] + _on_one_tape(one, other)
    best = np.unravel_index(int(np.argmin(total)), total.shape)
    leads = []
    for axis, at in enumerate(best):
        rest = np.delete(total, at, axis=axis)
        # Ways that come together after the first block are the same way.
        rates = (one, other)[axis].rates_hz
        apart = [float(np.mean(np.abs(row - rates[at]))) > 0.05 for row in np.delete(rates, at, axis=0)]
        kept = rest[apart, :] if axis == 0 else rest[:, apart]
        leads.append(float(kept.min() - total[best]) if kept.size else np.inf)
    return [int(at) for at in best], leads


def _no_one_tape(followed: Sequence[Followed], ways: Sequence[_Ways], chosen: Sequence[int]) -> bool:
    """Say whether rates that may hide faster ones break the law of two packs: then a slip or a wrong rate, and open."""
    if len(ways) < 2:
        return False
    step_s = float(np.median(np.diff(followed[0].times_s)))
    rates = [np.abs(way.rates_hz[at]) for way, at in zip(ways, chosen, strict=True)]
    may_hide = [
        float(rate.max()) > NEAR_LIMIT * fastest_sure_hz(1.0 / step_s, 1 if marked(one) else one.symmetry)
        for one, rate in zip(followed, rates, strict=True)
    ]
    both = np.min(rates, axis=0) > TURNS_HZ
    if not any(may_hide) or not both.any():
        return False
    turns = [_by_block(way.turns[at], way.blocks)[both] for way, at in zip(ways, chosen, strict=True)]
    law = pack_law(turns[0], turns[1])
    return law is not None and law.left_turns > HOLDS_TURNS


def _alone(way: _Ways) -> tuple[list[int], list[float]]:
    best = int(np.argmin(way.costs))
    rest = [
        float(cost - way.costs[best])
        for cost, row in zip(way.costs, way.rates_hz, strict=True)
        if float(np.mean(np.abs(row - way.rates_hz[best]))) > 0.05
    ]
    return [best], [min(rest, default=float("inf"))]


def _on_one_tape(one: _Ways, other: _Ways) -> Floats:
    """Give what each way of one hub costs beside each way of the other, shape (ways, ways)."""
    total = np.full((len(one.costs), len(other.costs)), NOT_ONE_TAPE)
    alone = one.costs[:, None] + other.costs[None, :]
    can = [
        (i, j)
        for i in range(len(one.costs))
        for j in range(len(other.costs))
        if can_be_packs(one.rates_hz[i], other.rates_hz[j])
    ]
    least = min((float(alone[pair]) for pair in can), default=0.0)
    laws = {}
    for i, j in can:
        total[i, j] = 0.0
        turning = (np.abs(one.rates_hz[i]) > TURNS_HZ) & (np.abs(other.rates_hz[j]) > TURNS_HZ)
        if alone[i, j] < least + NOT_ONE_TAPE and turning.any():
            law = pack_law(*(_by_block(way.turns[at], way.blocks)[turning] for way, at in ((one, i), (other, j))))
            if law is not None:
                laws[i, j] = law
    for pair, cost in costs_of_laws(laws).items():
        total[pair] = cost
    return total


def _by_block(turns: Floats, blocks: NDArray[np.intp]) -> Floats:
    return np.asarray(np.bincount(blocks, 0.5 * (turns[1:] + turns[:-1])) / np.bincount(blocks), dtype=np.float64)


def _turned(followed: Followed, way: _Ways, at: int, lead: float) -> Turned:
    symmetry = 1 if marked(followed) else followed.symmetry
    step_hz = 1.0 / (symmetry * float(np.median(np.diff(followed.times_s))))
    sigma = followed.sigma_rad / (2.0 * np.pi)
    return Turned(followed.name, followed.times_s, way.turns[at], sigma, step_hz, symmetry, lead)


def why_open(turned: Turned) -> str:
    """Say why a hub's rate is left open.

    Arguments:
        turned: one that leads by less than `OPEN`.
    """
    return (
        f"Its teeth look alike: the {turned.name} hub may as well turn {turned.step_hz:.2f} Hz faster or slower. "
        "Put a strip of paper on one tooth, or film at another frame rate."
    )


def said_of_aliases(turned: Sequence[Turned], frame_rate_hz: float) -> tuple[str, ...]:
    """Say what like teeth leave open in this film, and what decided.

    Arguments:
        turned: the hubs.
        frame_rate_hz: mean, by the frames' own times.
    """
    said = []
    for one in turned:
        limit = fastest_sure_hz(frame_rate_hz, one.symmetry)
        looks = "a mark of its own" if one.symmetry == 1 else f"{one.symmetry} teeth that look alike"
        text = (
            f"The {one.name} hub shows {looks}: at {frame_rate_hz:.2f} frames a second, rates that differ by "
            f"{one.step_hz:.2f} Hz look the same, and only what is below {limit:.2f} Hz is sure by itself."
        )
        if one.lead >= DECIDED:
            text += " The rate given leads clearly: by its course, by the other hub, or by what the machine can do."
        else:
            text += " Nothing decides for sure: the likeliest was taken, by its course and the slower the likelier."
            text += " Put a strip of paper on one tooth, or film at another frame rate, to be sure."
        said.append(text)
    return tuple(said)


__all__ = ["Turned", "apparent_rate_hz", "fastest_sure_hz", "marked", "said_of_aliases", "unwrapped", "why_open"]
