"""When each hub stands after a key stopped the tape: the last moment at which it is not where it comes to rest.

Which of several rates that look the same it ran at before plays no role here, since only the rest counts.
"""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from tapewright.measure.film_turning import Followed
from tapewright.words.reading import Reading

LEAST_REST_S: Final = 0.4
"""So long a hub must be seen at rest, to the end; own choice."""
BEFORE_S: Final = 0.4
"""From so long before the key on the hubs are followed: that they turned has to be seen; own choice."""
OFF_REST: Final = 0.05
"""Share of the step from tooth to like tooth by which a hub that still moves is off its place of rest; own choice."""
NOISE: Final = 4.0
"""The same in standard deviations of an angle at rest."""
LEAST_MOVING: Final = 3
"""Frames in which a hub must have been off its rest to have run down at all."""


def stands_after(followed: Sequence[Followed], key_s: float) -> Mapping[str, Reading]:
    """Say how long after the key each hub stands; empty where one does not come to rest.

    Arguments:
        followed: hubs, from before the key to well after they stand.
        key_s: when the key was pressed, in the same times.
    """
    found = {one.name: _stands(one, key_s) for one in followed}
    return {name: reading for name, reading in found.items() if reading is not None}


def _stands(hub: Followed, key_s: float) -> Reading | None:
    times, pitch = hub.times_s, 1.0 / hub.symmetry
    late = times >= times[-1] - LEAST_REST_S if len(times) else np.zeros(0, dtype=np.bool_)
    if late.sum() < LEAST_MOVING or times[-1] - times[0] < LEAST_REST_S + BEFORE_S:
        return None
    teeth = np.exp(1j * hub.symmetry * hub.angle_rad)
    rest = teeth[late].mean()
    away = np.abs(np.angle(teeth * np.conj(rest))) / (2.0 * np.pi) * pitch
    scatter = 1.4826 * float(np.median(away[late]))
    off = away > max(OFF_REST * pitch, NOISE * scatter)
    moving = np.flatnonzero(off)
    if len(moving) < LEAST_MOVING or off[late].any():
        return None
    last = int(moving[-1])
    between = float(times[last + 1] - times[last])
    return Reading(
        float(times[last] + 0.5 * between - key_s), "s", between,
        method="last frame in which the hub is not where it comes to rest",
    )  # fmt: skip


__all__ = ["BEFORE_S", "stands_after"]
