"""All rates of one hub that would look the same, block by block, and the way along any course of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_run_up import RunUp, ways_to_stands
from tapewright.measure.film_turning import Followed

Floats = NDArray[np.float64]

BLOCK_S: Final = 0.15
LEAST_BLOCK: Final = 4
FASTEST_HZ: Final = 28.0
"""No hub of a cassette is wound faster: reels that are driven make up to 13 turns a second, and one that gives makes
2.2 times as many once it is bare; by the shipped descriptions."""
LEAST_STEADY: Final = 0.8
MOST_JUMPS: Final = 0.03
SLOWER_IS_LIKELIER: Final = 1.5
"""What one whole step a frame costs a film, however long it is: a tie goes to the slower rate, and is no proof."""
STANDS: Final = 0.003
"""Share of a whole step: what turns by less stands, since no rate is a whole number of steps for long by chance."""
STANDING_IS_LIKELIER: Final = 0.5
UNEXPECTED: Final = 6.0
"""What a rate outside of what the machine can do costs a film: no more, since machines that race exist."""
NEAREST: Final = 0.3
"""Share of the step within which a rate is looked for about each half step: a quarter, and room for noise."""
FARTHER: Final = 1.0
"""What one costs that is found farther away: it is found about the next half step too."""


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
class Ladder:
    """All rates of one hub that would look the same, block by block.

    Rates and what each costs are of shape (blocks, rates); blocks say of each frame step which block it belongs to.
    """

    followed: Followed
    blocks: NDArray[np.intp]
    seconds: float
    step_hz: float
    rates_hz: Floats
    costs: Floats
    ups: tuple[RunUp, ...]

    def free(self) -> NDArray[np.bool_]:
        """Say from which block to the next rates may change as they like: where the way is followed frame by frame."""
        free = np.zeros(max(len(self.rates_hz) - 1, 0), dtype=np.bool_)
        for up in self.ups:
            free[self.blocks[up.followed.start] : self.blocks[up.followed.stop - 1]] = True
            stands = slice(0, self.blocks[up.first]) if up.first < up.last else slice(self.blocks[up.first - 1], None)
            free[stands] = True
        return free

    def way(self, along_hz: Floats) -> "Way":
        """Give the way along a course of rates, one for each block."""
        by_step, cost = along_hz[self.blocks], 0.0
        for up in self.ups:
            rate = float(by_step[up.runs_at])
            at = up.of(rate)
            near = abs(up.rates_hz[at, -1 if up.first < up.last else 0] - rate) < 0.35 * self.step_hz
            cost += float(up.costs[at] if near else up.costs.max())
            if near:
                by_step[up.followed], by_step[up.stands] = up.rates_hz[at], 0.0
        return Way(along_hz, _turns(self.followed, by_step), cost)


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way to unwrap a hub: rates by block, turns from the first frame on, what its ways from and to stands cost."""

    rates_hz: Floats
    turns: Floats
    cost: float


def blocks_of(times_s: Floats) -> NDArray[np.intp]:
    """Give the block that each step from a frame to the next belongs to."""
    steps = np.diff(times_s)
    length = max(LEAST_BLOCK, round(BLOCK_S / float(np.median(steps))))
    return np.asarray(np.arange(len(steps)) // length, dtype=np.intp)


def ladder_of(
    followed: Followed, blocks: NDArray[np.intp], expected_hz: Sequence[tuple[float, float]], ends: tuple[int, int]
) -> Ladder:
    """Give all rates that one hub may have in each block, and what each costs.

    Arguments:
        followed: the hub's angles.
        blocks: from `blocks_of`.
        expected_hz: ranges of turns per second that the machine can give a hub.
        ends: how many frame steps it stands at the beginning and at the end, from `standing_ends`.
    """
    symmetry = followed.symmetry
    steps, between = np.diff(followed.angle_rad), np.diff(followed.times_s)
    typical = float(np.median(between))
    step_hz = 1.0 / (symmetry * typical)
    # Looked for about every half step, so that none lies where the angle wraps.
    most = int(2.0 * FASTEST_HZ / step_hz) + 2
    about_hz = 0.5 * step_hz * np.arange(-most, most + 1)
    count = int(blocks[-1]) + 1
    about = steps[:, None] - 2.0 * np.pi * about_hz * between[:, None]
    turned = np.stack([_summed(np.exp(1j * symmetry * one), blocks) for one in about.T], axis=1)
    base = np.angle(turned) / symmetry / (2.0 * np.pi * typical)
    rates = _sharpened(base + about_hz, steps, between, blocks, symmetry)
    cost = _missed(rates, steps, between, blocks, symmetry)
    cost += FARTHER * (np.abs(base) > NEAREST * step_hz)
    if symmetry > 1 and marked(followed):
        cost += _missed(rates, steps, between, blocks, 1)
    cost += SLOWER_IS_LIKELIER / count * np.abs(rates) / step_hz + 1e3 * (np.abs(rates) > FASTEST_HZ)
    standing = np.abs(rates / step_hz - np.round(rates / step_hz)) < STANDS
    cost += STANDING_IS_LIKELIER * standing * (np.abs(rates) > 0.5 * step_hz)
    if expected_hz:
        within = np.abs(rates) < 0.05
        for low, high in expected_hz:
            within |= (rates >= low) & (rates <= high)
        cost += UNEXPECTED / count * ~within
    seconds = max(float(np.median(np.bincount(blocks, between))), 1e-6)
    ups = ways_to_stands(steps / (2.0 * np.pi), between, symmetry, FASTEST_HZ, ends)
    return Ladder(followed, blocks, seconds, step_hz, rates, cost, ups)


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


__all__ = ["FASTEST_HZ", "LEAST_BLOCK", "Floats", "Ladder", "Way", "blocks_of", "ladder_of", "marked"]
