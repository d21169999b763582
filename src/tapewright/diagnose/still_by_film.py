"""When the hubs of a film turn at all, and for how much of that time one of them stands."""

from typing import Final

import numpy as np

from tapewright.words.reels_seen import ReelsSeen

LEAST_GOING_S: Final = 0.5
"""What turns for a shorter time was no mode at work; own choice."""
NEVER_HZ: Final = 0.1
"""Slower than any hub turns in any mode."""


def going(seen: ReelsSeen) -> tuple[float, float]:
    """Give from when to when anything turns: before the drive has come in and after it gave up nothing is told of it.

    Where next to nothing turns it is the whole film.

    Arguments:
        seen: what the film told.
    """
    moving = [
        at
        for one in seen.rates
        for at, rate in zip(one.times_s, one.rates_hz, strict=True)
        if abs(rate) > NEVER_HZ and at <= seen.runs_until_s
    ]
    if not moving or max(moving) - min(moving) < LEAST_GOING_S:
        return 0.0, seen.runs_until_s
    return min(moving), max(moving)


def stood(seen: ReelsSeen, name: str) -> float:
    """Give the share of the time in which a hub stood, of that in which either turned.

    Arguments:
        seen: what the film told.
        name: of the hub.
    """
    rate = next((one for one in seen.rates if one.name == name), None)
    if rate is None or not rate.rates_hz:
        return 0.0
    size, times = np.abs(np.array(rate.rates_hz)), np.array(rate.times_s)
    first, last = going(seen)
    within = (times >= first) & (times <= last)
    still = size < max(0.02, 0.08 * float(np.quantile(size, 0.9)))
    return float(np.mean(still[within])) if within.any() else float(np.mean(still))


def never_turns(seen: ReelsSeen, name: str) -> bool:
    """Say whether a hub stands from the first to the last.

    Arguments:
        seen: what the film told.
        name: of the hub.
    """
    return all(max(map(abs, one.rates_hz), default=0.0) < NEVER_HZ for one in seen.rates if one.name == name)


__all__ = ["going", "never_turns", "stood"]
