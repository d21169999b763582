"""A tone that stands in several stretches of a side: how the speed changes from one to the next.

A test tape, or one that was made for the purpose, holds its tone at the beginning, in the middle and at the end. Each
stretch is read for itself; what they say together is how the speed moved while the packs changed places.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.words.reading import Reading

ONE_STRETCH: Final = "The tone stands in one stretch; a change over the side wants it in two places at least."


@dataclass(frozen=True, slots=True)
class Stretch:
    """The speed over one stretch of tone.

    Arguments:
        start_s: where it begins in the file.
        end_s: where it ends.
        speed_error_pct: mean speed error there; a reading.
    """

    start_s: float
    end_s: float
    speed_error_pct: Reading


def over_side(stretches: Sequence[Stretch], clock_doubt_pct: float = 0.0) -> Reading:
    """Give how much faster the tape runs in the last stretch than in the first, percent of the nominal speed.

    Arguments:
        stretches: in the order of time.
        clock_doubt_pct: what the sound card's clock leaves open of each speed, half-width; all share it, so that it
            drops out of the change.

    The doubts of the two means add in squares: they lie apart, and what the machine does in one is not what it does in
    the other. With three stretches and more the conditions say how far those between lie off the straight line.

    >>> first = Stretch(0.0, 30.0, Reading(0.30, "%", 0.003))
    >>> last = Stretch(1700.0, 1730.0, Reading(0.10, "%", 0.004))
    >>> change = over_side([first, last])
    >>> round(change.value, 3), round(change.doubt, 3)
    (-0.2, 0.005)
    """
    if len(stretches) < 2:
        return Reading(None, "%", why_not=ONE_STRETCH)
    values, doubts = [], []
    for one in stretches:
        reading = one.speed_error_pct
        if reading.value is None or reading.doubt is None:
            return Reading(None, "%", why_not=reading.why_not)
        values.append(reading.value)
        doubts.append(float(np.sqrt(max(reading.doubt**2 - clock_doubt_pct**2, 0.0))))
    return Reading(
        values[-1] - values[0],
        "%",
        float(np.hypot(doubts[0], doubts[-1])),
        method="mean speed of the last stretch of tone less that of the first",
        conditions=f"{len(stretches)} stretches in {stretches[-1].end_s - stretches[0].start_s:.0f} s."
        + _between(stretches, values, doubts),
    )


def _between(stretches: Sequence[Stretch], values: Sequence[float], doubts: Sequence[float]) -> str:
    """Say how far the stretches between the ends lie off the straight line from the first to the last."""
    if len(stretches) < 3:
        return ""
    middle = [(one.start_s + one.end_s) / 2.0 for one in stretches]
    off = []
    for number in range(1, len(stretches) - 1):
        share = (middle[number] - middle[0]) / (middle[-1] - middle[0])
        straight = values[0] + share * (values[-1] - values[0])
        doubt = np.sqrt(doubts[number] ** 2 + ((1.0 - share) * doubts[0]) ** 2 + (share * doubts[-1]) ** 2)
        off.append(f"{values[number] - straight:+.4f} ± {doubt:.4f} % at {middle[number]:.0f} s")
    return f" Off the straight line between the two: {'; '.join(off)}."


def said(stretches: Sequence[Stretch], main: Stretch, change: Reading) -> str:
    """Say what the stretches read, which of them is the main one, and the change.

    Arguments:
        stretches: in the order of time, at least two.
        main: the one whose readings stand for the channel.
        change: from `over_side`.
    """
    each = "; ".join(
        f"{one.start_s:.1f} to {one.end_s:.1f} s"
        + (
            f" {one.speed_error_pct.value:+.3f} ± {one.speed_error_pct.doubt or 0.0:.3f} %"
            if one.speed_error_pct.value is not None
            else ""
        )
        for one in stretches
    )
    moved = (
        f" From the first to the last the speed changes by {change.value:+.3f} ± {change.doubt or 0.0:.3f} %."
        if change.value is not None
        else ""
    )
    return (
        f"The tone stands in {len(stretches)} stretches: {each}.{moved} The other readings are of the longest, "
        f"{main.start_s:.1f} to {main.end_s:.1f} s."
    )


__all__ = ["ONE_STRETCH", "Stretch", "over_side", "said"]
