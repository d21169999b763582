"""The likeliest course of one rotor through rates and silence, frame by frame.

A hidden Markov model: silent, or turning at one of many rates that change little from frame to frame; decoded by the
rule of Viterbi (1967).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.mechanism_comb import comb_evidence, orders_within, rate_grid
from tapewright.measure.mechanism_frames import Array, Single
from tapewright.words.mechanism_heard import RateExpected

OVERLAP: Final = 0.4
"""Frames overlap, so each says less than if it stood alone: hop over frame, and what the window adds."""
STAYS_S: Final = 5.0
"""How long something usually runs or stands."""
MOVES: Final = 4
"""By how many rates of the grid the rate may change from one frame to the next."""
MOVE_COST: Final = 0.35
NOT_ASKED: Final = 0.1
"""How likely a rotor turns in a mode in which it should stand, or at another mode's rate, against what is expected."""
RESOLVED: Final = 6.0
"""Rates of the grid that a frame cannot tell apart."""
NEAR: Final = 0.2
"""Spread of a sound motor's rate about the one described, as a share of what is looked for; trade judgement."""
STRANGE: Final = 0.1
"""What each frame costs in which a rotor turns that should stand, nats."""
ANOTHER_RATE: Final = 0.4
"""The same where it should turn at quite another rate."""


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """One range of rates of one rotor, and in which modes it is expected."""

    rates: Array
    orders: tuple[float, ...]
    modes: frozenset[str]
    likely: Array


def lanes(expected: Sequence[RateExpected], bin_hz: float, highest_hz: float) -> list[Lane]:
    """Put together ranges of one rotor that are nearly alike, and lay a grid of rates over each.

    Arguments:
        expected: all of one rotor.
        bin_hz: of the spectra.
        highest_hz: of the spectra.
    """
    groups: list[list[RateExpected]] = []
    for one in sorted(expected, key=lambda e: e.rate_hz):
        if groups and one.rate_hz <= 1.2 * groups[-1][0].rate_hz and one.comb == groups[-1][0].comb:
            groups[-1].append(one)
        else:
            groups.append([one])
    found = []
    for group in groups:
        low, high = min(e.low_hz for e in group), max(e.high_hz for e in group)
        orders = orders_within(group[0].comb, group[0].rate_hz, highest_hz / 1.3)
        if orders:
            modes = frozenset(e.mode for e in group)
            grid = rate_grid(low, high, orders, bin_hz)
            found.append(Lane(grid, orders, modes, _likely(grid, group)))
    return found


def _likely(grid: Array, group: Sequence[RateExpected]) -> Array:
    """Give the chance of each rate before anything is heard: mostly near what is usual, the rest anywhere."""
    near = np.zeros(len(grid))
    for one in group:
        spread = NEAR * min(math.log(one.high_hz / one.rate_hz), math.log(one.rate_hz / one.low_hz))
        near += np.exp(-0.5 * (np.log(grid / one.rate_hz) / max(spread, 1e-3)) ** 2)
    return np.asarray(0.7 * near / max(float(near.sum()), 1e-12) + 0.3 / len(grid))


def decoded(
    said: Single,
    rows: Sequence[Lane],
    modes: Sequence[str],
    bin_hz: float,
    hop_s: float,
    taken: NDArray[np.bool_] | None = None,
) -> tuple[NDArray[np.intp], Array, Array]:
    """Find the likeliest course of one rotor.

    Arguments:
        said: evidence in every bin of every frame.
        rows: its ranges of rates.
        modes: the mode of each frame; "" where nobody said.
        bin_hz: distance of two bins.
        hop_s: from frame to frame.
        taken: frames in which it is known to turn already, and not looked for again.

    Returns:
        The state of each frame, 0 for silent and else 1 and the rate's place; all rates; and how much better than
        silence each frame of the course is, in nats.
    """
    lattice = _Lattice(said, rows, modes, bin_hz, hop_s, taken)
    course = lattice.course()
    turning = course > 0
    along = np.zeros(len(course))
    for frame in np.flatnonzero(turning):
        place = int(course[frame]) - 1
        along[frame] = lattice.gain(int(frame))[place]
        if frame == 0 or course[frame - 1] == 0:
            along[frame] += lattice.entering(int(frame))[place]
    places = np.cumsum(~lattice.gap)
    rates = np.concatenate([row.rates for row in rows])
    return np.where(turning, places[np.maximum(course - 1, 0)], 0), rates, along


class _Lattice:
    """All states of one rotor in all frames: one silent, and one for each rate.

    The ranges of rates stand side by side with gaps between that nothing can be in, so that no rate moves from one
    range to the next.
    """

    def __init__(
        self,
        said: Single,
        rows: Sequence[Lane],
        modes: Sequence[str],
        bin_hz: float,
        hop_s: float,
        taken: NDArray[np.bool_] | None,
    ) -> None:
        sizes = [len(row.rates) for row in rows]
        self.gap = np.concatenate([np.repeat([False, True], [size, MOVES]) for size in sizes])
        self.frames = len(said)
        self.taken = np.zeros(len(said), dtype=bool) if taken is None else taken
        # A file of one frame has nothing that overlaps.
        self.alone = max(OVERLAP, 1.0 / len(said))
        gap = np.zeros((len(said), MOVES), dtype=np.float32)
        pieces = [piece for row in rows for piece in (comb_evidence(said, row.rates, row.orders, bin_hz), gap)]
        self.evidence = np.concatenate(pieces, axis=1)
        known = {mode: k for k, mode in enumerate(dict.fromkeys(modes))}
        self.mode = [known[mode] for mode in modes]
        self.strange = np.array([self._spread(_strange(rows, mode), rows, 0.0) for mode in known])
        self.begins = np.array([self._spread(_entering(rows, mode, hop_s), rows, -np.inf) for mode in known])
        self.at_first = np.log(0.5 * STAYS_S / hop_s)
        self.leave, self.stay = np.log(hop_s / STAYS_S), np.log1p(-hop_s / STAYS_S)

    def _spread(self, values: Array, rows: Sequence[Lane], between: float) -> Array:
        ends = np.cumsum([len(row.rates) for row in rows])[:-1]
        gap = np.full(MOVES, between)
        return np.concatenate([piece for part in np.split(values, ends) for piece in (part, gap)])

    def gain(self, frame: int) -> Array:
        """Give by how much each rate is likelier than silence in a frame, nats."""
        if self.taken[frame]:
            return np.full(len(self.gap), -20.0)
        found: Array = self.alone * self.evidence[frame].astype(np.float64) - self.strange[self.mode[frame]]
        return found

    def entering(self, frame: int) -> Array:
        """Give the log chance of beginning to turn at each rate in a frame."""
        begins: Array = self.begins[self.mode[frame]]
        # What turns when the recording begins may have begun at any time before.
        return begins + self.at_first if frame == 0 else begins

    def course(self) -> NDArray[np.intp]:
        """Give the state of each frame on the likeliest way: 0 for silent, else 1 and the place in the lattice."""
        kept = np.empty((self.frames, len(self.gap)))
        off = np.zeros(self.frames)
        from_rate = np.full(self.frames, -1, dtype=np.intp)
        kept[0] = self.entering(0) + self.gain(0)
        best, beside = np.empty(len(self.gap)), np.empty(len(self.gap))
        for frame in range(1, self.frames):
            on, now = kept[frame - 1], kept[frame]
            _moved(on, best, beside)
            best += self.stay
            np.add(self.entering(frame), off[frame - 1], out=now)
            np.maximum(now, best, out=now)
            now += self.gain(frame)
            now[self.gap] = -np.inf
            loudest = int(np.argmax(on))
            ended, silent = on[loudest] + self.leave, off[frame - 1] + self.stay
            if ended > silent:
                from_rate[frame] = loudest
            off[frame] = max(ended, silent)
        return self._traced(kept, off, from_rate)

    def _traced(self, kept: Array, off: Array, from_rate: NDArray[np.intp]) -> NDArray[np.intp]:
        course = np.zeros(self.frames, dtype=np.intp)
        state = 0 if off[-1] >= kept[-1].max() else 1 + int(np.argmax(kept[-1]))
        for frame in range(self.frames - 1, -1, -1):
            course[frame] = state
            if frame == 0:
                break
            if state == 0:
                state = 1 + int(from_rate[frame])
                continue
            came, best = _came_from(kept[frame - 1], state - 1)
            begins = off[frame - 1] + self.entering(frame)[state - 1] > best + self.stay
            state = 0 if begins else came + 1
        return course


def _moved(on: Array, best: Array, beside: Array) -> None:
    """Put into `best` the best way to each rate from the rates near it one frame before; `beside` is scratch."""
    np.copyto(best, on)
    for places in range(1, MOVES + 1):
        up, down = best[places:], best[:-places]
        np.subtract(on, MOVE_COST * places, out=beside)
        np.maximum(up, beside[:-places], out=up)
        np.maximum(down, beside[places:], out=down)


def _came_from(on: Array, place: int) -> tuple[int, float]:
    """Give from which rate of the frame before the best way to a rate comes, and what it is worth."""
    came, best = place, float(on[place])
    for places in range(1, MOVES + 1):
        for near in (place - places, place + places):
            if 0 <= near < len(on) and on[near] - MOVE_COST * places > best:
                came, best = near, float(on[near] - MOVE_COST * places)
    return came, best


def _entering(rows: Sequence[Lane], mode: str, hop_s: float) -> Array:
    """Give the log chance of beginning to turn at each rate in a mode."""
    pieces = []
    for row in rows:
        usual = not mode or mode in row.modes or "" in row.modes
        pieces.append(np.log((1.0 if usual else NOT_ASKED) * RESOLVED * row.likely))
    return np.asarray(np.log(hop_s / STAYS_S) + np.concatenate(pieces))


def _strange(rows: Sequence[Lane], mode: str) -> Array:
    """Give what it costs each rate to turn in a mode for one frame."""
    elsewhere = ANOTHER_RATE if any(mode in row.modes for row in rows) else STRANGE
    costs = [0.0 if not mode or mode in row.modes or "" in row.modes else elsewhere for row in rows]
    return np.repeat(costs, [len(row.rates) for row in rows])
