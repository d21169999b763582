"""The way of a hub from standing to its rate, frame by frame: which of the rates that look the same it comes up to.

Of like teeth a film tells each step from a frame to the next but for whole steps from tooth to like tooth. A hub that
stood has none of them; from there on its rate grows evenly for some frames and then stays, and a whole step too many
or too few is a jolt that nothing makes. A hub that comes up within a frame or two tells next to nothing, and so the
cost of a jolt grows by its logarithm only. The way to a stand is the same backwards.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

STILL: Final = 0.02
"""Share of the step from tooth to like tooth that a frame may seem to move where a hub stands; own choice."""
LEAST_STILL: Final = 1
"""So many frame steps both hubs must have stood; own choice."""
WINDOW_S: Final = 1.2
"""So long the way to the rate is followed from where it stood last; own choice."""
LEAST_AFTER: Final = 4
"""Frame steps that must follow the stand."""
NOISE: Final = 2.0
"""So many times what steps stray is no jolt either; own choice."""
SMOOTH_HZ_PER_S: Final = 10.0
"""A change of how fast the rate grows, from a frame to the next, that is no jolt yet; own choice."""


@dataclass(frozen=True, slots=True, eq=False)
class RunUp:
    """The ways from a stand to each rate that would look the same, or from each to a stand.

    Arguments:
        first: frame step after the last in which it stood; on the way to a stand, the first in which it stands.
        last: one after the last frame step that was followed; on the way to a stand, the first that was.
        costs: of the best way to each rate, less that of the best of all, shape (rates,).
        rates_hz: along each way, shape (rates, frame steps), in the order of time.
    """

    first: int
    last: int
    costs: Floats
    rates_hz: Floats

    @property
    def followed(self) -> slice:
        """Give the frame steps that were followed."""
        return slice(min(self.first, self.last), max(self.first, self.last))

    @property
    def stands(self) -> slice:
        """Give the frame steps in which it stands."""
        return slice(0, self.first) if self.first < self.last else slice(self.first, None)

    @property
    def runs_at(self) -> int:
        """Give the frame step farthest from the stand."""
        return self.last - 1 if self.first < self.last else self.last

    def of(self, rate_hz: float) -> int:
        """Give the way that comes to a rate, the nearest."""
        ends = self.rates_hz[:, -1 if self.first < self.last else 0]
        return int(np.argmin(np.abs(ends - rate_hz)))


def run_up(steps_turns: Floats, between_s: Floats, symmetry: int, fastest_hz: float, stood: int) -> RunUp | None:
    """Follow a hub from where it stands at the beginning; None where too little of its way is there.

    Arguments:
        steps_turns: what it seems to turn from each frame to the next, known but for 1/symmetry turn, shape (n,).
        between_s: time from each frame to the next, shape (n,).
        symmetry: how many times it looks the same in a turn.
        fastest_hz: no rate beyond this is tried.
        stood: frame steps at the beginning in which it stands.
    """
    pitch = 1.0 / symmetry
    least = _least(steps_turns, pitch)
    last = stood + int((np.cumsum(between_s[stood:]) <= WINDOW_S).sum())
    if last - stood < LEAST_AFTER:
        return None
    most = int(np.ceil(fastest_hz * float(np.median(between_s)) / pitch)) + 1
    offsets = np.arange(-most, most + 1)
    rates = (least[stood:last, None] + offsets * pitch) / between_s[stood:last, None]
    smooth = SMOOTH_HZ_PER_S + NOISE * _scatter(least[stood:last], pitch) / float(np.median(between_s)) ** 2
    costs, chosen = _least_jolted(rates, between_s[stood:last], fastest_hz, smooth)
    along = np.take_along_axis(rates.T, chosen, axis=0)
    return RunUp(stood, last, costs - costs.min(), along)


def _least(steps_turns: Floats, pitch: float) -> Floats:
    return np.asarray((steps_turns + 0.5 * pitch) % pitch - 0.5 * pitch, dtype=np.float64)


def _scatter(least: Floats, pitch: float) -> float:
    """Give how far steps stray from one to the next in the later half, where the rate hardly grows: a typical size."""
    late = least[len(least) // 2 :]
    return float(np.median(np.abs(_least(np.diff(late), pitch)))) if len(late) > 1 else 0.0


def _least_jolted(rates: Floats, between_s: Floats, fastest_hz: float, smooth: float) -> tuple[Floats, Indices]:
    """Give for each last rate the way to it with the fewest jolts: its cost, and the choices, (ways, steps).

    Dynamic programming over pairs of rates that follow each other (Bellman 1957), since a jolt takes three.
    """
    count, number = rates.shape
    beyond = 1e3 * (np.abs(rates) > fastest_hz)
    growth = rates[0] / between_s[0]
    # Before the first step it stood: the rate grew by nothing until then.
    total = _jolt(growth, smooth)[None, :] + beyond[0][None, :]
    before = growth[None, :]
    came: list[Indices] = []
    for at in range(1, count):
        growth = (rates[at][None, :] - rates[at - 1][:, None]) / between_s[at]
        onward = total[:, :, None] + _jolt(growth[None, :, :] - before[:, :, None], smooth)
        came.append(np.asarray(onward.argmin(axis=0), dtype=np.intp))
        total = onward.min(axis=0) + beyond[at][None, :]
        before = growth
    total = total + _jolt(before, smooth)  # it has come up: its rate grows no more
    chosen = np.empty((number, count), dtype=np.intp)
    for end in range(number):
        here, now = int(np.argmin(total[:, end])), end
        chosen[end, count - 1] = now
        for at in range(count - 1, 0, -1):
            chosen[end, at - 1] = here
            here, now = int(came[at - 1][here, now]), here
    return np.asarray(total.min(axis=0), dtype=np.float64), chosen


def _jolt(change: Floats, smooth: float) -> Floats:
    return np.asarray(np.log1p(np.abs(change) / smooth), dtype=np.float64)


def standing_ends(steps_turns: Sequence[Floats], symmetries: Sequence[int]) -> tuple[int, int]:
    """Give how many frame steps all hubs stand at the beginning and at the end; 0 where it is too few to be sure.

    One hub alone may seem to stand that turns by whole steps from tooth to tooth; two at a time do not.

    Arguments:
        steps_turns: what each seems to turn from each frame to the next, shape (n,) each.
        symmetries: how many times each looks the same in a turn.
    """
    moves = np.zeros(len(steps_turns[0]), dtype=np.bool_)
    for steps, symmetry in zip(steps_turns, symmetries, strict=True):
        moves |= np.abs(_least(steps, 1.0 / symmetry)) > STILL / symmetry
    at = np.flatnonzero(moves)
    if not len(at):
        return 0, 0
    ends = int(at[0]), len(moves) - 1 - int(at[-1])
    return (ends[0] if ends[0] >= LEAST_STILL else 0, ends[1] if ends[1] >= LEAST_STILL else 0)


def ways_to_stands(
    steps_turns: Floats, between_s: Floats, symmetry: int, fastest_hz: float, ends: tuple[int, int]
) -> tuple[RunUp, ...]:
    """Follow a hub from where it stands at the beginning, and to where it stands at the end, as far as it does.

    Arguments:
        steps_turns: what it seems to turn from each frame to the next, known but for 1/symmetry turn, shape (n,).
        between_s: time from each frame to the next, shape (n,).
        symmetry: how many times it looks the same in a turn.
        fastest_hz: no rate beyond this is tried.
        ends: from `standing_ends`.
    """
    up = run_up(steps_turns, between_s, symmetry, fastest_hz, ends[0]) if ends[0] else None
    back = run_up(-steps_turns[::-1], between_s[::-1], symmetry, fastest_hz, ends[1]) if ends[1] else None
    found = [] if up is None else [up]
    if back is not None:
        count = len(steps_turns)
        found.append(RunUp(count - back.first, count - back.last, back.costs, -back.rates_hz[:, ::-1]))
    return tuple(found)


__all__ = ["RunUp", "run_up", "standing_ends", "ways_to_stands"]
