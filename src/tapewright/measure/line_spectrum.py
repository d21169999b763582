"""The spectrum that steady lines are sought in: its power against the local background, and what stands out of it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from tapewright.measure.line_fit import Stretch

FALSE_ALARM: Final = 0.01
"""Chance, over the whole spectrum, that noise alone shows a line."""
TRIALS_PER_BIN: Final = 10.0
"""Independent trials per Fourier bin when the strongest peak between bins is taken as well: by simulation, so that
noise alone shows a line in one recording in a hundred (3 to 60 s long)."""
TOP_HZ: Final = 200.0
LEAST_CYCLES: Final = 3.0
"""A line slower than three turns in the stretch cannot be told from drift."""
BACKGROUND_SHARE: Final = 0.35
BACKGROUND_BINS: Final = (12.0, 30.0)
"""Half-width of the local background: a share of the frequency, within these bins, so that a slope counts little."""
MEDIAN_COST: Final = 2.5
"""A median of exponential values is as uncertain as a mean over so many times fewer: 1/ln²2 = 2.08, and a fifth more
since neighbouring values are alike; by the same simulation."""
SINE_COST: Final = 1.234
"""Noise bandwidth of a half-sine taper, bins: pi²/8."""
APART_BINS: Final = 1.75
"""Two lines nearer than this, in bins of the whole stretch, are not told apart: they are one unsteady line."""
SKIRT_BINS: Final = 5.0
AT_ONCE: Final = 6
AT_ONCE_RATIO: Final = 0.05
LEAST_PCT: Final = 0.0005
"""Smaller than any part makes: rounding in the file, not the machine."""


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Power of the residual speed as a density per hertz, its local background, and how well that is known.

    `values` is the number of independent values that the background is worth; `bins` that of the whole spectrum.
    """

    frequency_hz: NDArray[np.float64]
    power: NDArray[np.float64]
    density: NDArray[np.float64]
    values: NDArray[np.float64]
    bins: float

    @property
    def evidence(self) -> NDArray[np.float64]:
        """Give, as -ln p, how unlikely noise alone is to reach this at each frequency: the law is F(2, 2 values)."""
        return np.asarray(self.values * np.log1p(self.power / self.density / self.values))


def spectrum_of(stretch: Stretch, residual: NDArray[np.float64]) -> Spectrum:
    """Give the spectrum of what is left of a stretch's speed, from three cycles in it up to 200 Hz."""
    weight = stretch.weight
    length = fft.next_fast_len(4 * len(residual), real=True)
    held = residual * weight
    held -= weight * (held.sum() / weight.sum())
    density = np.abs(fft.rfft(held, length)) ** 2 * (2.0 / (stretch.rate_hz * float(weight @ weight)))
    frequency = fft.rfftfreq(length, 1.0 / stretch.rate_hz)
    low = int(np.ceil(LEAST_CYCLES / stretch.seconds / frequency[1]))
    cut = slice(low, int(np.searchsorted(frequency, TOP_HZ)))
    density, frequency = density[cut], frequency[cut]
    half_hz = np.clip(
        BACKGROUND_SHARE * frequency, BACKGROUND_BINS[0] / stretch.seconds, BACKGROUND_BINS[1] / stretch.seconds
    )
    local = np.maximum(_background(frequency, density, half_hz), 1e-300)
    values = 2.0 * half_hz * stretch.seconds / (SINE_COST * MEDIAN_COST)
    return Spectrum(frequency, density, local, values, len(residual) * TOP_HZ / stretch.rate_hz)


def _background(
    frequency: NDArray[np.float64], density: NDArray[np.float64], half_hz: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the running median over a window whose width follows the frequency: on an axis where all are as wide."""
    axis = np.concatenate([[0.0], np.cumsum(0.5 * (1.0 / half_hz[1:] + 1.0 / half_hz[:-1]) * np.diff(frequency))])
    even = np.arange(0.0, axis[-1], 1.0 / 30.0)
    if len(even) < 3:
        return np.full(len(density), float(np.median(density)) / np.log(2.0))
    medians = ndimage.median_filter(np.interp(even, axis, density), size=min(61, len(even) | 1), mode="nearest")
    return np.asarray(np.interp(axis, even, ndimage.uniform_filter1d(medians, 15)) / np.log(2.0), dtype=np.float64)


def false_alarm(evidence: float, trials: float) -> float:
    """Give the chance that noise alone shows as much evidence anywhere among so many trials."""
    return float(-np.expm1(trials * np.log1p(-min(float(np.exp(-evidence)), 1.0 - 1e-12))))


def next_lines(spectrum: Spectrum, known_hz: NDArray[np.float64], seconds: float) -> list[tuple[float, float]]:
    """Give the next lines worth fitting, strongest first, each with its false-alarm chance.

    Only those far from each other and not much weaker than the strongest are given at once; the others may be skirts.
    """
    evidence = spectrum.evidence
    evidence[spectrum.power * 3.0 / seconds < (LEAST_PCT / 100.0) ** 2] = 0.0
    for frequency in known_hz:
        evidence[np.abs(spectrum.frequency_hz - frequency) < APART_BINS / seconds] = 0.0
    found: list[tuple[float, float]] = []
    strongest = 0.0
    while len(found) < AT_ONCE and len(evidence):
        best = int(np.argmax(evidence))
        alarm = false_alarm(float(evidence[best]), TRIALS_PER_BIN * spectrum.bins)
        ratio = float(spectrum.power[best] / spectrum.density[best])
        if alarm >= FALSE_ALARM or ratio < AT_ONCE_RATIO * strongest:
            break
        strongest = max(strongest, ratio)
        found.append((float(spectrum.frequency_hz[best]), alarm))
        evidence[np.abs(spectrum.frequency_hz - spectrum.frequency_hz[best]) < 2.0 * SKIRT_BINS / seconds] = 0.0
    return found
