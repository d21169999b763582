"""Two tracks of the same tone read as one: the speed is the same in both, the noise beside the tone is not.

The phases are averaged, each weighed by the inverse of its own noise; what is constant between the tracks (azimuth, the
distance of the gaps) and what moves slower than some two turns a second (skew) is taken out first. Where one track
drops out the other goes on alone. Only tracks whose common part agrees are put together: what is left of their
difference has to be the noise of the two and nothing else, and no less than it, or they are one sound twice.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapewright.measure.follow import Followed
from tapewright.measure.runs_of_mask import runs_of

LEAST_S: Final = 5.0
SKEW_S: Final = 0.5
"""The difference of the tracks is followed in means of so long: the tape's skew, which is not speed."""
BAND_HZ: Final = (4.0, 200.0)
"""Where the difference is held against the noise of the two: above the skew, up to the edge of the followed band."""
AGREES: Final = 2.0
"""The difference may hold so many times the noise of the two, in power; estimates of noise are that rough."""
SAME_SOUND: Final = 0.2
"""A difference of less than this share of the two noises: they are no two noises."""
LEAST_GAIN: Final = 0.95
"""Noise that sinks to no less than this, in power, is not worth it."""
EDGE_S: Final = 0.01
"""Beside a dropout a track counts for nothing for so long."""
NEAR: Final = 200
"""So many values on either side tell whether whole turns were lost."""
ALIKE: Final = 2e-4
"""Mean frequencies further apart than this, ratio, are two tones."""


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Two tracks as one, or why not.

    Arguments:
        tone: the two as one; None when they are not put together.
        shares: weight of the first and of the second, where both are there.
        why_not: the reason, a sentence; empty when there is none.
    """

    tone: Followed | None
    shares: tuple[float, float] = (1.0, 0.0)
    why_not: str = ""


def _common(first: Followed, second: Followed) -> tuple[Followed, Followed] | None:
    """Cut both to the time they share, on one grid; None when there is none."""
    rate = first.rate_hz
    if abs(second.rate_hz - rate) > 1e-9 * rate:
        return None
    begin = max(first.start_s, second.start_s)
    parts = [
        one if one.start_s == begin else _later(one, round((begin - one.start_s) * rate)) for one in (first, second)
    ]
    count = min(len(one.phase_rad) for one in parts)
    if count < LEAST_S * rate or abs(parts[0].start_s - parts[1].start_s) * rate > 0.05:
        return None
    return _first(parts[0], count), _first(parts[1], count)


def _later(tone: Followed, skip: int) -> Followed:
    return _cut(tone, slice(skip, None), tone.start_s + skip / tone.rate_hz)


def _first(tone: Followed, count: int) -> Followed:
    return _cut(tone, slice(0, count), tone.start_s)


def _cut(tone: Followed, kept: slice, start_s: float) -> Followed:
    return replace(
        tone, phase_rad=tone.phase_rad[kept], envelope=tone.envelope[kept], piece=tone.piece[kept], start_s=start_s
    )


def _begins(phase: NDArray[np.float64], piece: NDArray[np.intp]) -> NDArray[np.intp]:
    """Find where pieces begin: in the first value after a dropout in which whole turns may have been lost."""
    held = np.flatnonzero(np.isfinite(phase))
    return np.asarray(held[1:][np.diff(piece[held]) != 0])


def _lost_turns_found(phase: NDArray[np.float64], other: NDArray[np.float64], begins: NDArray[np.intp]) -> None:
    """Give back whole turns that one track lost in a dropout, where the other was there all the while."""
    for at in begins.tolist():
        apart = phase - other
        both = np.flatnonzero(np.isfinite(apart))
        before, after = both[both < at][-NEAR:], both[both >= at][:NEAR]
        if len(before) and len(after):
            turns = np.round((np.median(apart[after]) - np.median(apart[before])) / (2.0 * np.pi))
            phase[at:] -= 2.0 * np.pi * turns


def _skew(apart: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Follow what is constant or slow between the tracks: means over half a second, straight between."""
    length = max(1, int(SKEW_S * rate_hz))
    count = max(1, len(apart) // length)
    middles, means = [], []
    for number in range(count):
        part = apart[number * length : (number + 1) * length if number < count - 1 else len(apart)]
        there = np.flatnonzero(np.isfinite(part))
        if len(there) > 0.3 * length:
            middles.append(number * length + float(there.mean()))
            means.append(float(part[there].mean()))
    if not means:
        return np.full(len(apart), float(np.nanmean(apart)) if np.isfinite(apart).any() else 0.0)
    return np.asarray(np.interp(np.arange(len(apart)), middles, means), dtype=np.float64)


def _density(apart: NDArray[np.float64], rate_hz: float) -> float:
    """Give the mean density of a phase difference between 4 and 200 Hz, rad² per hertz, dropouts left out."""
    length = min(len(apart), 4096)
    held = np.where(np.isfinite(apart), apart, 0.0)
    frequency, density = signal.welch(held, rate_hz, nperseg=length)
    inside = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
    return float(density[inside].mean()) / max(float(np.mean(np.isfinite(apart))), 1e-9)


def together(first: Followed, second: Followed) -> Together:
    """Put two tracks together where that is better.

    Arguments:
        first: from `followed`; the result is stated in its terms.
        second: another channel of the same recording.

    Returns:
        The tone with its noise as it is then: 1/N = 1/N1 + 1/N2 for independent noises, the inverse-variance mean.
    """
    if abs(second.frequency_hz / first.frequency_hz - 1.0) > ALIKE:
        return Together(None, why_not="The channels hold tones of different frequency.")
    cut = _common(first, second)
    if cut is None:
        return Together(None, why_not="The channels share less than 5 s of tone.")
    one, two = cut
    rate = one.rate_hz
    noises = np.array([first.noise_rad2_per_hz, second.noise_rad2_per_hz])
    if not noises.all():
        return Together(None, why_not="There is no noise beside the tone to be averaged out.")
    phases = [one.phase_rad.copy(), two.phase_rad.copy()]
    phases[1] += 2.0 * np.pi * (second.frequency_hz - first.frequency_hz) * np.arange(len(phases[1])) / rate
    reach = np.ones(2 * int(EDGE_S * rate) + 1, dtype=bool)
    for phase in phases:
        phase[ndimage.binary_dilation(~np.isfinite(phase), structure=reach)] = np.nan
    begins = (_begins(phases[0], one.piece), _begins(phases[1], two.piece))
    _lost_turns_found(phases[0], phases[1], begins[0])
    _lost_turns_found(phases[1], phases[0], begins[1])
    apart = phases[0] - phases[1]
    skew = _skew(apart, rate)
    seen = _density(apart - skew, rate)
    fault = _fault(seen, noises)
    if fault:
        return Together(None, why_not=fault)
    return _mean(one, (phases[0], phases[1] + skew), noises, begins)


def _fault(seen: float, noises: NDArray[np.float64]) -> str:
    """Say what speaks against putting two tracks together whose difference has this density; empty for nothing."""
    expected = float(noises.sum())
    if seen > AGREES * expected:
        return (
            f"The channels differ by {np.sqrt(seen / expected):.1f} times their noise: what they hold is not the same "
            "speed, or one of them is disturbed."
        )
    if seen < SAME_SOUND * expected:
        return "The channels hold one sound twice: their noise is the same, and a mean would gain nothing."
    if float(1.0 / np.sum(1.0 / noises)) > LEAST_GAIN * float(noises.min()):
        return "One channel is so much noisier than the other that a mean would gain nothing."
    return ""


def _mean(
    first: Followed,
    phases: tuple[NDArray[np.float64], NDArray[np.float64]],
    noises: NDArray[np.float64],
    begins: tuple[NDArray[np.intp], NDArray[np.intp]],
) -> Together:
    weights = np.array(
        [np.where(np.isfinite(phase), 1.0 / noise, 0.0) for phase, noise in zip(phases, noises, strict=True)]
    )
    summed = weights.sum(axis=0)
    held = np.where(np.isfinite(phases), phases, 0.0)
    phase = np.where(summed > 0.0, (weights * held).sum(axis=0) / np.maximum(summed, 1e-300), np.nan)
    bad = ~np.isfinite(phase)
    shares = (1.0 / noises) / float(np.sum(1.0 / noises))
    return Together(
        replace(
            first,
            phase_rad=phase,
            piece=_pieces(begins, bad),
            dropouts=len(runs_of(bad)),
            masked_s=float(np.count_nonzero(bad)) / first.rate_hz,
            noise_rad2_per_hz=float(1.0 / np.sum(1.0 / noises)),
        ),
        (float(shares[0]), float(shares[1])),
    )


def _pieces(begins: tuple[NDArray[np.intp], NDArray[np.intp]], bad: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Begin a new piece only where both tracks were gone and one of them lost its turns."""
    broken = np.zeros(len(bad), dtype=bool)
    for at in np.concatenate(begins):
        broken[at] = bad[at - 1]
    return np.asarray(np.cumsum(broken), dtype=np.intp)


__all__ = ["Together", "together"]
