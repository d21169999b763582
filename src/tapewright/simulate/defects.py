"""What tape and electronics add to a tone: hiss, hum, an unsteady level, dropouts. All sizes from memory."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.simulate.pack import Samples

LEVEL: Final = 0.5
"""Peak of the tone; full scale is 1."""
LEVEL_UNSTEADY: Final = 0.01
"""Rms of the level's unsteadiness, relative."""
HUM_SHARES: Final = ((1, 1.0), (2, 0.5), (3, 0.3))
"""Harmonics of the mains and their sizes."""
EDGE_S: Final = 0.002


@dataclass(frozen=True, slots=True)
class Dropout:
    """A place where tape stands off the head or has lost its coating.

    Arguments:
        channel: counted from 1; 0 when it is on all of them.
        start_s: where it begins.
        length_s: how long it lasts.
        depth_db: how far the level falls.
    """

    channel: int
    start_s: float
    length_s: float
    depth_db: float


def dropouts(per_min: float, duration_s: float, channels: int, seed: int) -> tuple[Dropout, ...]:
    """Draw the dropouts of a recording, the earliest first.

    Arguments:
        per_min: how many a minute, on average.
        duration_s: length of the recording.
        channels: of the recording; half of the dropouts are on all of them, as where the tape is lifted.
        seed: the same seed draws the same.

    >>> dropouts(0.0, 60.0, 1, seed=1)
    ()
    """
    rng = np.random.default_rng([seed, 4])
    count = int(rng.poisson(per_min * duration_s / 60.0))
    starts = np.sort(rng.uniform(0.0, duration_s, count))
    lengths = np.clip(rng.lognormal(np.log(0.02), 0.7, count), 0.003, 0.2)
    depths = rng.uniform(6.0, 40.0, count)
    on = np.where(rng.random(count) < 0.5, 0, rng.integers(1, channels + 1, count))
    drawn = zip(on, starts, lengths, depths, strict=True)
    return tuple(Dropout(int(channel), float(at), float(length), float(deep)) for channel, at, length, deep in drawn)


def gain(found: tuple[Dropout, ...], channel: int, times_s: Samples) -> Samples:
    """Give what dropouts leave of one channel's level at these times, shape (n,), 1 where there is none."""
    left = np.ones(len(times_s))
    for one in found:
        if one.channel not in (0, channel) or one.start_s > times_s[-1] or one.start_s + one.length_s < times_s[0]:
            continue
        inside = np.minimum(times_s - one.start_s, one.start_s + one.length_s - times_s)
        left *= 1.0 - (1.0 - 10.0 ** (-one.depth_db / 20.0)) * np.clip(inside / EDGE_S, 0.0, 1.0)
    return left


def hum(times_s: Samples, hum_hz: float, hum_db: float) -> Samples:
    """Give mains hum at these times, shape (n,).

    Arguments:
        times_s: shape (n,), seconds.
        hum_hz: frequency of the mains.
        hum_db: peak of its fundamental against the tone's.
    """
    total = np.zeros(len(times_s))
    for order, share in HUM_SHARES:
        total += share * np.sin(2 * np.pi * order * hum_hz * times_s + order)
    return np.asarray(LEVEL * 10.0 ** (hum_db / 20.0) * total)


def hiss_rms(snr_db: float) -> float:
    """Give the rms of the hiss, over the whole band of the recording, below a tone of `LEVEL`."""
    return float(LEVEL / np.sqrt(2.0) * 10.0 ** (-snr_db / 20.0))
