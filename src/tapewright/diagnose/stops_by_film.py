"""What a film tells of the brakes: by how much later than the other the reel stands that gave the tape of a wind.

Taut tape lets the reel that takes up run on no longer than the other. The one that gives can, where its brake does not
hold: it stands later, and the tape between them is thrown. How much later follows from what holds either reel.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np

from tapewright.diagnose.winds_by_film import sure_of
from tapewright.machine.parts import Machine, spoken
from tapewright.machine.run_down import run_down_s, stopping_brakes
from tapewright.machine.winding import wind
from tapewright.words.evidence import Observation
from tapewright.words.reels_seen import HubName, ReelsSeen

NOT_HOLDING: Final = 0.12
"""Share of its torque with which a brake that does not hold still rubs, about; from memory."""
SPREAD: Final = 0.25
"""Standard deviation, as a share, of a reel's run-down about its description; from memory."""
MISTAKEN: Final = 0.02
"""How often what was timed is something else; own choice."""


def of_brakes(
    machine: Machine, seen: ReelsSeen, mode: str, taker: HubName | None, giver: HubName | None
) -> Iterator[tuple[str, Observation, str]]:
    """Say whether the reel that gave the tape coasts on when a wind is stopped, and whether it throws a loop.

    Arguments:
        machine: as described.
        seen: what the film told of the wind and the stop after it.
        mode: the wind.
        taker: the hub that takes up, as the film shows it.
        giver: the other one.
    """
    at = machine.modes[mode]
    rests = [seen.stands_after_s.get(one or "") for one in (taker, giver)]
    found = wind(machine, mode).reel_turns_per_s
    if not stopping_brakes(machine, at.gives) or any(one is None for one in rests) or found is None:
        return
    takes, gives = ((one.value or 0.0, one.doubt or 0.0) for one in rests if one is not None)
    later_s, doubt_s = gives[0] - takes[0], float(np.hypot(takes[1], gives[1]))
    each = [_later_s(machine, mode, found.value, held) for held in (1.0, NOT_HOLDING)]
    slack, holds = (_likely(later_s, *one, doubt_s) for one in reversed(each))
    ratio = (slack + MISTAKEN * max(slack, holds)) / (holds + MISTAKEN * max(slack, holds))
    called = spoken(machine, at.gives)
    yes = ratio > 1.0
    why = f"The {called} stands {later_s:.2f} s later than the other reel when the wind is stopped; {each[1][0]:.2f} s"
    why += " and more would be a brake that does not hold."
    coasts = f"stop_{at.gives}_coasts"
    yield coasts, Observation(coasts, yes, _clipped(ratio)), why
    # The other wind may still throw a loop by the other reel's brake.
    winds = sum(bool(one.gives and not one.at_capstan and stopping_brakes(machine, one.gives))
                for one in machine.modes.values())  # fmt: skip
    of_any = (ratio + winds - 1.0) / winds
    yield "stop_overruns", Observation("stop_overruns", yes, _clipped(of_any)), why


def _clipped(ratio: float) -> float:
    return float(np.clip(abs(sure_of(ratio)), 0.05, 0.92))


def _later_s(machine: Machine, mode: str, turns_per_s: float, held: float) -> tuple[float, float]:
    """Give by how much later the reel that gives stands, by what its brake holds, and the standard deviation."""
    at = machine.modes[mode]
    gives = run_down_s(machine, mode, at.gives, turns_per_s, held)
    takes = run_down_s(machine, mode, at.takes_up, turns_per_s)
    return max(gives - takes, 0.0), SPREAD * float(np.hypot(gives, takes))


def _likely(later_s: float, expected_s: float, spread_s: float, doubt_s: float) -> float:
    deviation = float(np.hypot(spread_s, doubt_s / 1.96))
    return float(np.exp(-0.5 * ((later_s - expected_s) / deviation) ** 2) / deviation)


__all__ = ["of_brakes"]
