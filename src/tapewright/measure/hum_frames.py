"""Mains hum in one channel, frame by frame: where its harmonics stand, and how far over what lies beside them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

FRAME_S: Final = 2.0
"""Long enough to tell hum from a bass note beside it; speed that changes faster is averaged out."""
HARMONICS: Final = 12
REACH: Final = 0.06
"""How far from the mains' nominal, ratio, the fundamental is looked for: twice the worst a machine still plays at."""
STEP: Final = 0.0008
BETWEEN: Final = np.unique([part / whole for whole in (2, 3, 4) for part in range(1, 6 * whole) if part % whole])
"""Orders at which mains hum has no lines, and a machine whose overtone looks like hum has some."""
"""From one tried fundamental to the next, ratio: half a main lobe at the highest harmonic."""
NEAR: Final = 3
"""The comb is set upon the peaks within so many steps of where it was tried."""
NOMINALS_HZ: Final = (50.0, 60.0)
CLEAR: Final = 20.0
"""A harmonic counts from 13 dB over what lies beside it: below, the peak may be the noise's own."""
_PADDED: Final = 4
_BESIDE_HZ: Final = (3.0, 14.0)
_LN2: Final = float(np.log(2.0))


@dataclass(frozen=True, slots=True, eq=False)
class HumFrame:
    """One frame's spectrum, as much of it as hum needs.

    Arguments:
        power: power in bins of `bin_hz` from 0 up, shape (n,).
        beside: the same of what lies beside each bin, peaks left out, shape (n,).
        bin_hz: distance between two bins, a quarter of the frame's own resolution.
    """

    power: NDArray[np.float64]
    beside: NDArray[np.float64]
    bin_hz: float


def _window(count: int) -> NDArray[np.float64]:
    return np.asarray(0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(count) + 0.5) / count))


def _slope_noise() -> float:
    """Give var(f) T² for noise to peak 1 in power, f the place of the peak of a frame seen through the window.

    The peak lies where the straight line through the phase, weighted by the window, has its slope; white noise of
    power B in a bin beside a peak of power P has N0/A² = (B/P)(∫w)²/(2∫w²), and var(f) = N0/A² ∫w²t² / (2π∫wt²)².
    """
    count = 4096
    weight, time = _window(count), (np.arange(count) + 0.5) / count - 0.5
    one, two = np.mean(weight), np.mean(weight**2)
    spread = np.mean(weight**2 * time**2) / np.mean(weight * time**2) ** 2
    return float(one**2 / (2.0 * two) * spread / (2.0 * np.pi) ** 2)


SLOPE_NOISE: Final = _slope_noise()


def tried_hz(mains_hz: float | None) -> NDArray[np.float64]:
    """Give the fundamentals that are tried, rising, shape (n,).

    Arguments:
        mains_hz: the mains' nominal frequency where it was recorded; None for 50 or 60.
    """
    wanted = NOMINALS_HZ if mains_hz is None else (mains_hz,)
    steps = np.arange(-round(REACH / STEP), round(REACH / STEP) + 1)
    return np.concatenate([one * np.exp(STEP * steps) for one in wanted])


def hum_frame(samples: NDArray[np.float32], rate_hz: float, top_hz: float) -> HumFrame:
    """Take the spectrum of one frame up to `top_hz`.

    Arguments:
        samples: one frame, shape (n,).
        rate_hz: samples per second.
        top_hz: highest frequency wanted.
    """
    count = len(samples)
    bin_hz = rate_hz / (_PADDED * count)
    spectrum = fft.rfft(samples * _window(count).astype(np.float32), _PADDED * count)[: int(top_hz / bin_hz) + 1]
    power = np.abs(spectrum).astype(np.float64) ** 2
    return HumFrame(power, _beside(power, bin_hz), bin_hz)


def _beside(power: NDArray[np.float64], bin_hz: float) -> NDArray[np.float64]:
    """Give the median of what lies 3 to 14 Hz to either side, at every eighth bin, drawn out between."""
    near, far = (max(1, int(one / bin_hz)) for one in _BESIDE_HZ)
    middles = np.arange(0, len(power), 8)
    offsets = np.concatenate([np.arange(-far, -near + 1, 2), np.arange(near, far + 1, 2)])
    places = np.clip(middles[:, None] + offsets, 0, len(power) - 1)
    medians = np.median(power[places], axis=1) / _LN2
    return np.asarray(np.maximum(np.interp(np.arange(len(power)), middles, medians), 1e-30), dtype=np.float64)


def comb_score(frame: HumFrame, fundamentals_hz: NDArray[np.float64], most: float = 1e3) -> NDArray[np.float64]:
    """Say how much each tried fundamental has for itself in one frame, shape (n,).

    Arguments:
        frame: from `hum_frame`.
        fundamentals_hz: shape (n,).
        most: no harmonic counts for more than this.

    It is the sum over harmonics of the logarithm of power over what lies beside.
    """
    above = np.log(np.clip(frame.power / frame.beside, 1.0, most))
    bins = np.arange(len(above), dtype=np.float64)
    orders = np.arange(1, HARMONICS + 1)
    at = np.outer(orders, fundamentals_hz) / frame.bin_hz
    return np.asarray(np.interp(at, bins, above, right=0.0).sum(axis=0))


def harmonics(frame: HumFrame, fundamental_hz: float) -> NDArray[np.float64]:
    """Find each harmonic's peak near a fundamental: rows of frequency over order, its variance, power; nan for none.

    Arguments:
        frame: from `hum_frame`.
        fundamental_hz: where the comb stands.

    Returns:
        Shape (3, 12): hertz, hertz², power.
    """
    found = np.full((3, HARMONICS), np.nan)
    reach = _PADDED
    near = fundamental_hz * np.exp(STEP * np.linspace(-NEAR, NEAR, 12 * NEAR + 1))
    fundamental_hz = float(near[np.argmax(comb_score(frame, near, 1e9))])
    for order in range(1, HARMONICS + 1):
        at = round(order * fundamental_hz / frame.bin_hz)
        if at + reach + 1 >= len(frame.power):
            break
        top = at - reach + int(np.argmax(frame.power[at - reach : at + reach + 1]))
        ratio = frame.power[top] / frame.beside[top]
        if abs(top - at) == reach or ratio < CLEAR:
            continue
        left, middle, right = np.log(np.maximum(frame.power[top - 1 : top + 2], 1e-30))
        offset = 0.5 * (left - right) / min(left - 2.0 * middle + right, -1e-9)
        frame_s = 1.0 / (_PADDED * frame.bin_hz)
        found[0, order - 1] = (top + offset) * frame.bin_hz / order
        found[1, order - 1] = SLOPE_NOISE / (ratio * (frame_s * order) ** 2)
        found[2, order - 1] = frame.power[top]
    return found


def lines_between(frame: HumFrame, fundamental_hz: float) -> NDArray[np.bool_]:
    """Say at which halves, thirds and quarters of a fundamental a line stands clear, shape (len(BETWEEN),).

    Arguments:
        frame: from `hum_frame`.
        fundamental_hz: where the comb stands.
    """
    at = np.round(BETWEEN * fundamental_hz / frame.bin_hz).astype(np.intp)
    places = np.clip(at[:, None] + np.arange(-2, 3), 0, len(frame.power) - 1)
    found: NDArray[np.bool_] = (frame.power[places] > CLEAR * frame.beside[places]).any(axis=1)
    return found


__all__ = [
    "BETWEEN",
    "lines_between",
    "FRAME_S",
    "HARMONICS",
    "HumFrame",
    "comb_score",
    "harmonics",
    "hum_frame",
    "tried_hz",
]
