"""Dropouts of a steady tone: how deep, how long, on which tracks, and whether they come back with a rate.

No readable standard says what a dropout is; depth and length are settings and are stated with the result. An AES
paper shows them as counts over length and depth, and so does `counts`. One that falls on all tracks at once is tape
that lifts off; one on an edge track only is an edge that curls or a guide; one on one track only is that track's gap
or the coating.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, stats

from tapewright.measure.runs_of_mask import runs_of
from tapewright.measure.section_tone import Baseband
from tapewright.words.reading import Reading

DEPTH_DB: Final = 6.0
LENGTH_S: Final = 0.010
"""From memory: where counting usually begins."""
OVER_DB: Final = 3.0
"""A dropout that began ends where the level is back to so much below its surroundings."""
AROUND_S: Final = 1.0
LEAST_CARRIER_DB: Final = 15.0
"""With less over the noise of its own band, noise alone looks like dropouts (6 dB: one value in 40 000)."""
RINGS_LESS: Final = np.array([0.25, 0.5, 0.25])
"""The filter's edge rings where a dropout begins at once, and would make it look deeper."""
LENGTH_EDGES_S: Final = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, math.inf)
DEPTH_EDGES_DB: Final = (6.0, 10.0, 15.0, 20.0, math.inf)
LEAST_TO_REPEAT: Final = 5
REPEATS: Final = 0.001
"""Chance below which times that fall in step with a rate are no accident."""


@dataclass(frozen=True, slots=True)
class Dropout:
    """One dropout.

    Arguments:
        track: index.
        start_s: since the beginning of the section.
        length_s: as long as the level is more than 3 dB down.
        depth_db: at its deepest, positive.
    """

    track: int
    start_s: float
    length_s: float
    depth_db: float


@dataclass(frozen=True, slots=True)
class Dropouts:
    """All dropouts of a section.

    Arguments:
        found: each, in the order of time.
        per_minute: one reading a track.
        in_common: those that fall on two tracks or more at once: the tracks, and the first one's start.
        settings: what counted as one.
    """

    found: tuple[Dropout, ...]
    per_minute: tuple[Reading, ...]
    in_common: tuple[tuple[tuple[int, ...], float], ...]
    settings: str


def dropouts_of(tone: Baseband, depth_db: float = DEPTH_DB, length_s: float = LENGTH_S) -> Dropouts:
    """List the dropouts of a tone on every track.

    Arguments:
        tone: from `section_tone`.
        depth_db: how deep it must go below what is usual around it.
        length_s: how long it must stay more than 3 dB below.

    >>> level = np.where((np.arange(2000) > 1000) & (np.arange(2000) < 1020), 0.2, 1.0)[:, None] + 0j
    >>> one = dropouts_of(Baseband(level, 500.0, 3150.0, np.zeros(1))).found[0]
    >>> (round(one.length_s, 3), round(one.depth_db, 1))
    (0.038, 14.0)
    """
    found: list[Dropout] = []
    per_minute = []
    for track in range(tone.values.shape[1]):
        refused = _refused(tone, track)
        if refused is None:
            here = _of_track(tone, track, depth_db, length_s)
            found += here
        per_minute.append(_rate(len(here), tone.seconds) if refused is None else refused)
    found.sort(key=lambda one: one.start_s)
    settings = f"{depth_db:g} dB and {1e3 * length_s:g} ms and more, against the median of {AROUND_S:g} s"
    return Dropouts(tuple(found), tuple(per_minute), _in_common(found), settings)


def _refused(tone: Baseband, track: int) -> Reading | None:
    power = float(np.median(np.abs(tone.values[:, track]) ** 2))
    noise = float(tone.noise_per_hz[track]) * tone.rate_hz
    if power > 10.0 ** (LEAST_CARRIER_DB / 10.0) * noise and power > 1e-12:
        return None
    return Reading(
        None, "1/min", why_not="The tone stands too little over its noise: dropouts could not be told from it."
    )


def _of_track(tone: Baseband, track: int, depth_db: float, length_s: float) -> list[Dropout]:
    size = ndimage.convolve1d(np.abs(tone.values[:, track]), RINGS_LESS, mode="nearest")
    around = ndimage.median_filter(size, max(3, int(AROUND_S * tone.rate_hz) | 1), mode="nearest")
    below_db = -20.0 * np.log10(np.maximum(size, 1e-12) / np.maximum(around, 1e-12))
    found = []
    for first, after in runs_of(below_db > min(OVER_DB, depth_db / 2.0)):
        seconds = (after - first) / tone.rate_hz
        deepest = float(np.max(below_db[first:after]))
        if deepest >= depth_db and seconds >= length_s:
            found.append(Dropout(track, first / tone.rate_hz, seconds, deepest))
    return found


def _rate(count: int, seconds: float) -> Reading:
    """Give the count a minute; its interval is that of a Poisson law (exact, by chi squared)."""
    low = 0.0 if not count else float(stats.chi2.ppf(0.025, 2 * count)) / 2.0
    high = float(stats.chi2.ppf(0.975, 2 * (count + 1))) / 2.0
    minute = 60.0 / seconds
    return Reading(count * minute, "1/min", (high - low) / 2.0 * minute, method="counted",
                   conditions=f"over {seconds:.1f} s", interval=(low * minute, high * minute))  # fmt: skip


def _in_common(found: Sequence[Dropout]) -> tuple[tuple[tuple[int, ...], float], ...]:
    """Gather what overlaps in time."""
    groups: list[list[Dropout]] = []
    ends = -math.inf
    for one in found:
        if one.start_s <= ends:
            groups[-1].append(one)
        else:
            groups.append([one])
        ends = max(ends, one.start_s + one.length_s) if one.start_s <= ends else one.start_s + one.length_s
    tracks = [(tuple(sorted({one.track for one in group})), group[0].start_s) for group in groups]
    return tuple((which, start) for which, start in tracks if len(which) > 1)


def counts(found: Sequence[Dropout]) -> NDArray[np.int64]:
    """Count dropouts over length and depth, shape (6 lengths, 4 depths), by the edges above."""
    lengths, depths = [one.length_s for one in found], [one.depth_db for one in found]
    edges = [np.array(LENGTH_EDGES_S), np.array(DEPTH_EDGES_DB)]
    table, _, _ = np.histogram2d(lengths, depths, bins=[np.nan_to_num(edge, posinf=1e9) for edge in edges])
    return np.asarray(table, dtype=np.int64)


def repeats_with(found: Sequence[Dropout], rates_hz: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Say which of several rates the dropouts keep step with: (rate, chance that it is an accident), likeliest first.

    Arguments:
        found: the dropouts; those that overlap count once.
        rates_hz: of the reels and rollers, as plain numbers.

    Rayleigh's test on their places in the turn; the chance counts every rate that was tried.
    """
    starts: list[float] = []
    ends = -math.inf
    for one in sorted(found, key=lambda each: each.start_s):
        if one.start_s > ends:
            starts.append(one.start_s + one.length_s / 2.0)
        ends = max(ends, one.start_s + one.length_s)
    if len(starts) < LEAST_TO_REPEAT or not rates_hz:
        return ()
    kept = []
    for rate_hz in rates_hz:
        chance = min(1.0, len(rates_hz) * _rayleigh(np.array(starts) * rate_hz))
        if chance < REPEATS:
            kept.append((rate_hz, chance))
    return tuple(sorted(kept, key=lambda one: one[1]))


def _rayleigh(turns: NDArray[np.float64]) -> float:
    """Give the chance that places drawn at random crowd as much (Greenwood and Durand's form; from memory)."""
    count = len(turns)
    crowd = float(np.abs(np.sum(np.exp(2j * np.pi * turns))))
    return math.exp(math.sqrt(1.0 + 4.0 * count + 4.0 * (count**2 - crowd**2)) - (1.0 + 2.0 * count))


__all__ = ["DEPTH_EDGES_DB", "LENGTH_EDGES_S", "Dropout", "Dropouts", "counts", "dropouts_of", "repeats_with"]
