"""Slow speed change from mains hum that was recorded with the programme; refused where it says nothing of the tape.

Hum on the tape moves as the tape does, all its harmonics by the same ratio. Hum that came in when the tape was played
or captured stands as still as the mains, and tells nothing.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.hum_frames import FRAME_S, HARMONICS, NOMINALS_HZ, STEP
from tapewright.measure.runs_of_mask import runs_of
from tapewright.measure.slow_speed import GRADE, LEAST_S, SlowSpeed, drift_weights, no_slow_speed
from tapewright.measure.weighted import weighted_median
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

LEAST_HARMONICS: Final = 3
THERE: Final = 0.8
"""Least share of the frames in which the hum can be read: hum does not pause, notes do."""
OFTEN: Final = 0.5
"""A line between the harmonics counts when it stands clear in more than this share of the frames; two are too many."""
APART: Final = 4.0
"""A harmonic further from the others than so many of its own standard deviations takes no part."""
DISAGREE: Final = 3.0
"""Harmonics that scatter by more than so many times what the noise beside them explains are not one hum."""
LEAST_SD: Final = 3e-5
"""No harmonic is trusted further: what lies within its own lobe does not show beside it."""
LEVEL_DB: Final = 3.0
"""Most that the hum's level scatters from frame to frame, one sigma: a played note swells and dies away by more."""
FASTEST_PER_S: Final = 0.008
"""Faster from one frame to the next and it is a change of note."""
GRID_SD: Final = 2e-4
"""One sigma of the mains' own wander, ratio: +-20 mHz of 50 Hz for nineteen parts in twenty.

The continental corridor as mainsfrequency.com and gridradar.net give it; see docs/without-a-tone.md.
"""
GRID_S: Final = 300.0
"""Time after which the mains have forgotten where they were: from memory, some minutes."""
GRID_LIMIT: Final = 3.6e-3
"""Furthest the mains' mean stands from nominal, ratio: +-180 mHz of 50 Hz, the long-term limit (same source)."""
STILL: Final = 3.0 * GRID_SD
"""Slow movement below this, one sigma, may be the mains' own."""
STILL_PER_S: Final = 1.5e-4
"""The same from one second to the next: the mains' mass keeps them from moving faster (from memory, 5 mHz/s)."""
_APART: Final = np.arange(0.0, 1.001, 0.125)
_SHARED: Final = np.array([1.0, 0.671, 0.006, -0.442, -0.453, -0.228, -0.052, -0.003, 0.0])
STANDS: Final = 0.5
"""A fundamental that without moving scores so much of what the best way scores is a hum that stands still."""
MIXED_S: Final = 12.0
"""So long at the mains' frequency without moving, and elsewhere away from it, and two hums were taken for one."""
BESIDE: Final = 5
"""A second hum is looked for so many steps and more from the first."""


@dataclass(frozen=True, slots=True, eq=False)
class Hum:
    """One hum followed through the file.

    Arguments:
        nominal_hz: the mains frequency it was looked for at.
        strength: mean of its score, nepers.
        times_s: middle of each frame, shape (n,).
        log_hz: logarithm of the fundamental in each frame, shape (n,); nan where it cannot be read.
        sd: its standard deviation, shape (n,).
        fault: why it is no hum to go by, a sentence; empty when nothing speaks against it.
    """

    nominal_hz: float
    strength: float
    times_s: NDArray[np.float64]
    log_hz: NDArray[np.float64]
    sd: NDArray[np.float64]
    fault: str = ""


def ways_through(scores: NDArray[np.float64], step_s: float, count: int = 2) -> list[NDArray[np.intp]]:
    """Find the fundamentals that stand out from frame to frame, moving no faster than a machine would move them.

    Arguments:
        scores: from `comb_score`, shape (frames, tried).
        step_s: seconds from frame to frame.
        count: how many; the next one keeps away from those found before.

    Returns:
        Columns, one for each frame, shape (frames,) each. A hum that stands still is taken out first, so that a moving
        one that crosses it is not mistaken for it. Source: the Viterbi algorithm (Forney 1973).
    """
    left = scores.copy()
    reach = max(1, round(min(FASTEST_PER_S * step_s, 0.02) / STEP))
    found: list[NDArray[np.intp]] = []
    for _ in range(count):
        way = _best_way(left, reach)
        steady = np.full(len(left), int(np.argmax(left.mean(axis=0))))
        rows = np.arange(len(left))
        if not found and left[rows, steady].mean() > STANDS * left[rows, way].mean():
            way = steady
        found.append(way)
        near = np.abs(np.arange(left.shape[1]) - way[:, None]) < BESIDE
        left[near] = 0.0
    return found


def _best_way(scores: NDArray[np.float64], reach: int) -> NDArray[np.intp]:
    frames, tried = scores.shape
    best = scores[0].copy()
    came = np.zeros((frames, tried), dtype=np.int8)
    places = np.arange(tried)
    for at in range(1, frames):
        padded = np.pad(best, reach, constant_values=-np.inf)
        options = np.stack([padded[k : k + tried] - 0.05 * abs(k - reach) for k in range(2 * reach + 1)])
        chosen = np.argmax(options, axis=0)
        came[at] = chosen - reach
        best = options[chosen, places] + scores[at]
    way = np.empty(frames, dtype=np.intp)
    way[-1] = int(np.argmax(best))
    for at in range(frames - 1, 0, -1):
        way[at - 1] = way[at] + came[at, way[at]]
    return way


def joined(
    nominal_hz: float,
    strength: float,
    times_s: NDArray[np.float64],
    found: NDArray[np.float64],
    between: NDArray[np.bool_],
) -> Hum:
    """Make one frequency of the harmonics of each frame, and say whether they are one hum at all.

    Arguments:
        nominal_hz: the mains frequency.
        strength: mean score.
        times_s: shape (n,).
        found: from `harmonics`, shape (n, 3, 12).
        between: from `lines_between`, shape (n, orders).
    """
    log_hz, variance = np.log(found[:, 0]), found[:, 1] / found[:, 0] ** 2 + LEAST_SD**2
    there = np.isfinite(log_hz)
    weight = np.where(there, 1.0 / np.where(there, variance, 1.0), 0.0)
    middle = weighted_median(np.where(there, log_hz, np.inf), weight)
    middle = np.where(np.isfinite(middle), middle, 0.0)
    off = np.where(there, (log_hz - middle[:, None]) * np.sqrt(weight), np.inf)
    kept = np.abs(off) < APART
    weight = np.where(kept, weight, 0.0)
    enough = (kept.sum(axis=1) >= LEAST_HARMONICS) & (kept.sum(axis=1) >= 0.6 * there.sum(axis=1))
    total = np.where(enough, weight.sum(axis=1), 1.0)
    mean = np.where(enough, (weight * np.where(kept, log_hz, 0.0)).sum(axis=1) / total, np.nan)
    scatter = _scatter(np.where(kept, log_hz - mean[:, None], 0.0), weight, kept, enough)
    sd = np.where(enough, max(1.0, scatter) / np.sqrt(total), np.nan)
    hum = Hum(nominal_hz, strength, times_s, mean, sd)
    fault = _fault(hum, there, enough, scatter, found[:, 2])
    if not fault and np.count_nonzero(between.mean(axis=0) > OFTEN) >= 2:
        fault = f"What hums near {nominal_hz:g} Hz has lines between its harmonics: a machine that turns, no mains hum."
    return Hum(nominal_hz, strength, times_s, mean, sd, fault)


def _scatter(
    off: NDArray[np.float64], weight: NDArray[np.float64], kept: NDArray[np.bool_], enough: NDArray[np.bool_]
) -> float:
    """Give by how much harmonics scatter over what noise explains."""
    free = float((kept[enough].sum(axis=1) - 1).sum())
    return float(np.sqrt((weight * off**2)[enough].sum() / free)) if free > 0.0 else np.inf


def _fault(
    hum: Hum, there: NDArray[np.bool_], enough: NDArray[np.bool_], scatter: float, power: NDArray[np.float64]
) -> str:
    several = float(np.mean(there.sum(axis=1) >= LEAST_HARMONICS))
    if several < THERE:
        return (
            f"Three harmonics of a hum near {hum.nominal_hz:g} Hz stand clear of the rest in {100 * several:.0f} % of "
            f"the recording; {100 * THERE:.0f} % are needed: too weak, or no hum."
        )
    if float(np.mean(enough)) < THERE or scatter > DISAGREE:
        return f"The harmonics of what hums near {hum.nominal_hz:g} Hz do not keep step: no single hum."
    if _mixed(hum):
        return f"Two hums near {hum.nominal_hz:g} Hz cross and cannot be told apart."
    steps = np.diff(hum.log_hz) / np.diff(hum.times_s)
    if float(np.nanmax(np.abs(steps), initial=0.0)) > FASTEST_PER_S:
        return f"What hums near {hum.nominal_hz:g} Hz jumps from one pitch to another, as notes do."
    with np.errstate(divide="ignore"):
        level_db = 10.0 * np.log10(power[:, np.argsort(-np.nansum(power, axis=0))[:LEAST_HARMONICS]])
    spread = [1.48 * float(np.nanmedian(np.abs(one - np.nanmedian(one)))) for one in level_db.T]
    if float(np.median(spread)) > LEVEL_DB:
        return f"What hums near {hum.nominal_hz:g} Hz swells and dies away by {np.median(spread):.0f} dB: no mains hum."
    return ""


def _mixed(hum: Hum) -> bool:
    """Say whether a hum stands still at the mains' frequency for a time and is away from it at others."""
    there = np.isfinite(hum.log_hz)
    off = hum.log_hz[there] - np.log(hum.nominal_hz)
    close = np.abs(off) < GRID_LIMIT
    if not close.any():
        return False
    at_mains = np.abs(off - np.median(off[close])) < 0.5 * GRID_SD + 2.0 * hum.sd[there]
    longest = max((after - first for first, after in runs_of(at_mains)), default=0)
    step_s = float(hum.times_s[1] - hum.times_s[0])
    return longest * step_s > MIXED_S and float(np.mean(np.abs(off) > GRID_LIMIT)) > 0.1


def moves(hum: Hum) -> bool:
    """Say whether a hum moves more, or faster, than the mains do: then it lies on the tape.

    Arguments:
        hum: without a fault.
    """
    there = np.isfinite(hum.log_hz)
    values, sd = hum.log_hz[there], hum.sd[there]
    slow = float(np.var(values) - np.mean(sd**2))
    steps = np.diff(values) / np.diff(hum.times_s[there])
    apart = np.diff(hum.times_s[there])
    noise = (sd[1:] ** 2 + sd[:-1] ** 2 - 2.0 * shared_noise(apart) * sd[1:] * sd[:-1]) / apart**2
    fast = float(np.mean(steps**2) - np.mean(noise))
    return slow > STILL**2 or fast > STILL_PER_S**2


def hum_speed(hums: list[Hum], mains_hz: float | None, averaged_s: float) -> SlowSpeed:
    """Take the hum that lies on the tape, or say why none does.

    Arguments:
        hums: from `joined`.
        mains_hz: the mains' nominal where the tape was recorded, when the user says so.
        averaged_s: time over which each value is averaged.
    """
    if not hums:
        return no_slow_speed("hum", f"The recording is shorter than {LEAST_S:g} s.")
    strongest = sorted(hums, key=lambda one: -one.strength)
    sound = [one for one in strongest if not one.fault]
    if not sound:
        return no_slow_speed("hum", strongest[0].fault)
    still = tuple(
        f"A hum at {_mean_hz(one):.2f} Hz stands as still as the mains: it came in at playback or capture."
        for one in sound
        if not moves(one) and _off(one) < GRID_LIMIT
    )
    for one in sound:
        if moves(one) or (mains_hz is not None and _off(one) > GRID_LIMIT + 1e-3):
            return _read(one, averaged_s, still)
    if still:
        return no_slow_speed("hum", still[0][:-1] + ", or the tape runs as steadily as they do. It says nothing.")
    return no_slow_speed(
        "hum",
        f"What hums at {_mean_hz(sound[0]):.2f} Hz stands still and is not at the mains' frequency: something that "
        "hums by itself, or a tape at a steady wrong speed. If it is hum on the tape, say --mains.",
    )


def _mean_hz(hum: Hum) -> float:
    return float(np.exp(np.nanmean(hum.log_hz)))


def _off(hum: Hum) -> float:
    return abs(float(np.nanmean(hum.log_hz)) - float(np.log(hum.nominal_hz)))


def _read(hum: Hum, averaged_s: float, notes: tuple[str, ...]) -> SlowSpeed:
    there = np.isfinite(hum.log_hz)
    times, values, sd = hum.times_s[there], hum.log_hz[there], hum.sd[there]
    covariance = _covariance(times, sd)
    weights = drift_weights(times)
    doubt = np.full(len(hum.log_hz), np.nan)
    of_mean = covariance.mean(axis=0)
    doubt[there] = 1.96 * np.sqrt(np.diag(covariance) - 2.0 * of_mean + of_mean.mean())
    mean = float(values.mean())
    speed = np.exp(hum.log_hz - mean) - 1.0
    method = f"harmonics of mains hum followed together; {GRADE}"
    stretch = f"{times[0]:.0f} to {times[-1]:.0f} s; averaged over {averaged_s:g} s; the mains' wander is in the doubt"
    drift = Reading(
        100.0 * float(weights @ values), "%", 196.0 * float(np.sqrt(weights @ covariance @ weights)),
        method=method, conditions=stretch,
    )  # fmt: skip
    error = Reading(
        100.0 * (float(np.exp(mean)) / hum.nominal_hz - 1.0), "%", 100.0 * (GRID_LIMIT + 2.0 * float(sd.mean())),
        method=method,
        conditions=f"against {hum.nominal_hz:g} Hz mains where the tape was recorded, trusted to "
        f"{100 * GRID_LIMIT:.2g} %; the recording machine's error is in it with the opposite sign",
    )  # fmt: skip
    step_s = float(hum.times_s[1] - hum.times_s[0])
    return SlowSpeed("hum", drift, error, Trace(speed, 1.0 / step_s, float(hum.times_s[0])), doubt, notes)


def shared_noise(apart_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the correlation of the noise of two frames so far apart: of w(t) t with itself, w the frame's window.

    Arguments:
        apart_s: shape (...).
    """
    return np.asarray(np.interp(np.abs(apart_s) / FRAME_S, _APART, _SHARED), dtype=np.float64)


def _covariance(times_s: NDArray[np.float64], sd: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the covariance of the values: noise, which overlapping frames share, and the mains' own wander."""
    apart = np.abs(times_s[:, None] - times_s[None, :])
    noise = shared_noise(apart) * sd[:, None] * sd[None, :]
    return np.asarray(noise + GRID_SD**2 * np.exp(-apart / GRID_S))


__all__ = ["HARMONICS", "NOMINALS_HZ", "Hum", "hum_speed", "joined", "moves", "ways_through"]
