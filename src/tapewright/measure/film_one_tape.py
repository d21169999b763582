"""What it costs two hubs' rates to be on one tape: which of several rates that look the same can be.

Both hubs turn the same way, and no pack is more than so many times a bare hub. Besides, a turn changes a pack's radius
by one thickness t. The tape that one hub took in n1 turns is 2 pi (r1 n1 + t n1²/2), what the other gave in n2 turns is
2 pi (r2 n2 - t n2²/2), whatever the drive does meanwhile, and both are the same length. Hence x n1 - y n2 - c =
-(n1² + n2²)/2 with x = r1/t and y = r2/t at the film's beginning, both negative where the first hub gives (closed form
of our own). Turns that are a whole step a frame off do not fit that, or fit it with a tape far too thick or too thin.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.standards.iec_60094 import HUB_RADIUS_M, TAPES

Floats = NDArray[np.float64]

NOT_ONE_TAPE: Final = 20.0
STANDS_BESIDE: Final = 6.0
"""What it costs a reading that one hub stands while the other one winds fast: only tape that is torn does."""
WINDS_HZ: Final = 2.5
"""No capstan feeds a bare hub so fast at any speed but the double one, and a taker that stands beside it is rare."""
PACKS_APART: Final = 2.6
"""Ratio of the radii of a full pack and a bare hub, with room: 25.2 over 11 mm is 2.3."""
FULL_M: Final = 0.0244
"""Of a full pack, about: see `film_tape`."""
THINNEST_M: Final = 0.95 * min(tape.thickness_m for tape in TAPES.values())
THICKEST_M: Final = 1.3 * max(tape.thickness_m for tape in TAPES.values())
"""With room for short tapes, for which the packs are taken too large and the thickness with them."""
ROOM: Final = 0.08
"""Standard deviation of what the sizes of hubs and packs leave open, ratio."""
MOST: Final = 12.0
"""What a thickness or a bend that no tape has costs at most: packs that are not round, tape that slips, upset it."""
ALIKE: Final = 4.0
"""What is left over keeps its sign for so many values: a centre a little off sways slowly; own choice."""
HOLDS_TURNS: Final = 5e-3
"""Where even the best leaves more, a reel slipped or tape hung loose: the law says nothing of that film."""
TURNS_HZ: Final = 0.1
LEAST: Final = 10
"""Values that a fit of three unknowns must have."""


@dataclass(frozen=True, slots=True)
class PackLaw:
    """Two hubs' turns held against the law of two packs.

    Arguments:
        thickness_m: of the tape that they imply, for a full cassette.
        deviation_m: standard deviation of that.
        left_turns: root mean square of what does not fit.
        values: how many were fitted.
        ratio: radius of the first pack over that of the other, where the turns are nought.
        ratio_deviation: standard deviation of that.
        taking: whether the first hub takes the tape up where turns count upward.
    """

    thickness_m: float
    deviation_m: float
    left_turns: float
    values: int
    ratio: float = 0.0
    ratio_deviation: float = float("inf")
    taking: bool = True

    def at(self, one_turns: float, other_turns: float) -> "PackRatio":
        """Give the ratio of the packs after so many turns of each: a turn changes a radius by one thickness."""
        size = float(np.hypot(HUB_RADIUS_M.value, FULL_M)) / self.thickness_m
        way = 1.0 if self.taking else -1.0
        y = way * size / float(np.hypot(self.ratio, 1.0))
        x = y * self.ratio
        return PackRatio((x + one_turns) / (y - other_turns), self.ratio_deviation)


@dataclass(frozen=True, slots=True)
class PackRatio:
    """How large one pack is beside the other, as something else than this stretch of film told it.

    Arguments:
        ratio: radius of the left pack over that of the right one.
        deviation: standard deviation of that.
    """

    ratio: float
    deviation: float


def can_be_packs(one_hz: Floats, other_hz: Floats) -> bool:
    """Say whether two courses of rates are those of two packs of one cassette; where either stands they may be.

    Arguments:
        one_hz: turns per second of one hub, signed, shape (n,).
        other_hz: of the other at the same times, shape (n,).
    """
    both = (np.abs(one_hz) > TURNS_HZ) & (np.abs(other_hz) > TURNS_HZ)
    if both.sum() < 0.1 * len(one_hz) or not both.any():
        return True
    return 1.0 / PACKS_APART < float(np.median(one_hz[both] / other_hz[both])) < PACKS_APART


def one_stands(one_hz: Floats, other_hz: Floats) -> bool:
    """Say whether one hub stands for most of the time in which the other one winds fast.

    Arguments:
        one_hz: turns per second of one hub, signed, shape (n,).
        other_hz: of the other at the same times, shape (n,).
    """
    sizes = np.abs(np.stack([one_hz, other_hz]))
    winds = sizes.max(axis=0) > WINDS_HZ
    return bool(winds.any()) and float(np.mean(sizes.min(axis=0)[winds] < TURNS_HZ)) > 0.5


def pack_law(one: Floats, other: Floats) -> PackLaw | None:
    """Fit the law of two packs to the turns of two hubs; None where they are too few.

    Arguments:
        one: turns of one hub since any moment, signed, shape (n,).
        other: of the other at the same times, shape (n,).

    >>> taken = np.linspace(0.0, 60.0, 50)
    >>> length = 0.0151 * taken + 16e-6 * taken**2 / 2.0
    >>> given = (0.0221 - np.sqrt(0.0221**2 - 2.0 * 16e-6 * length)) / 16e-6
    >>> law = pack_law(taken, given)
    >>> round(1e6 * law.thickness_m, 1), round(law.left_turns, 6)
    (16.0, 0.0)
    """
    if len(one) < LEAST:
        return None
    columns = np.stack([one, -other, -np.ones(len(one))], axis=1)
    wanted = -0.5 * (one**2 + other**2)
    kept = np.ones(len(one), dtype=np.bool_)
    for _ in range(3):
        solved = np.linalg.lstsq(columns[kept], wanted[kept], rcond=None)[0]
        size = max(float(np.hypot(solved[0], solved[1])), 1e-9)
        left = (columns @ solved - wanted) / size
        spread = max(1.4826 * float(np.median(np.abs(left[kept]))), 1e-7)
        within = np.abs(left) < 4.0 * spread
        if within.sum() < LEAST:
            break
        kept = within
    rms = max(float(np.sqrt(np.mean(left[kept] ** 2))), 1e-7)
    spans = np.linalg.pinv(columns[kept].T @ columns[kept])[:2, :2]
    of_size = np.sqrt(ALIKE) * rms * float(np.sqrt(max(float(solved[:2] @ spans @ solved[:2]), 0.0)))
    thickness = float(np.hypot(HUB_RADIUS_M.value, FULL_M)) / size
    ratio = float(solved[0] / solved[1]) if solved[1] else np.inf
    by_each = np.array([1.0, -ratio]) / (solved[1] or 1.0)
    of_ratio = np.sqrt(ALIKE) * rms * size * float(np.sqrt(max(float(by_each @ spans @ by_each), 0.0)))
    return PackLaw(thickness, thickness * of_size / size, rms, int(kept.sum()), ratio, of_ratio,
                   bool(solved[0] > 0.0))  # fmt: skip


def costs_of_laws(laws: dict[int, PackLaw]) -> dict[int, float]:
    """Give what each of several readings of one film costs: by the thickness it implies and by what it leaves over.

    Arguments:
        laws: by any number.

    Returns:
        By the same; nothing where no reading keeps the law.
    """
    if not laws or min(law.left_turns for law in laws.values()) > HOLDS_TURNS:
        return {}
    by_thickness = {at: _of_thickness(law) for at, law in laws.items()}
    possible = [law.left_turns for at, law in laws.items() if by_thickness[at] < 2.0]
    least = min(possible, default=0.0)
    costs = {}
    for at, law in laws.items():
        # Of an unknown noise, the likelihood goes by the logarithm of what is left over.
        bend = law.values / ALIKE * float(np.log(law.left_turns / least)) if least else 0.0
        costs[at] = by_thickness[at] + min(max(bend, 0.0), MOST)
    return costs


def of_packs(seen: PackRatio, packs: PackRatio) -> float:
    """Give what it costs a reading that its packs are others than those that were told.

    Arguments:
        seen: as the reading has them.
        packs: as they were told.
    """
    spread = float(np.hypot(min(seen.deviation, 1e3), packs.deviation))
    return float(min(0.5 * ((seen.ratio - packs.ratio) / spread) ** 2, MOST))


def _of_thickness(law: PackLaw) -> float:
    outside = max(THINNEST_M - law.thickness_m, law.thickness_m - THICKEST_M, 0.0)
    return float(min(0.5 * (outside / np.hypot(law.deviation_m, ROOM * law.thickness_m)) ** 2, MOST))


__all__ = [
    "NOT_ONE_TAPE",
    "TURNS_HZ",
    "PackLaw",
    "PackRatio",
    "can_be_packs",
    "costs_of_laws",
    "of_packs",
    "one_stands",
    "pack_law",
]
