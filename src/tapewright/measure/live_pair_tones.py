"""The tones that stand in the last moment of sound on all channels, and each tone followed from moment to moment.

A frame of two tenths of a second under a raised cosine gives a spectrum per channel. What is kept of a tone is the
power in its band on each channel and how the channels stand to each other there (the cross-spectrum): what the
transport does to the tone is the same on all of them and falls out.
"""

from collections import deque
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

STEP_S: Final = 0.1
FRAME_STEPS: Final = 2
LOWEST_HZ: Final = 30.0
LEAST_LEVEL: Final = 1e-8
"""Power, full scale 1: 80 dB under a sine that just fills it."""
ABOVE_NOISE: Final = 100.0
"""Power in a tone's strongest bin over the median around it. In noise the chance is below 1e-20 a frame."""
BELOW_STRONGEST: Final = 10.0**-4.5
OVERTONE_DB: Final = 15.0
BAND: Final = 0.015
"""Half the band of a tone, ratio: a bad machine's flutter is inside."""
LEAST_BINS: Final = 5
MOST_TONES: Final = 24
SAME: Final = 0.02
KEPT: Final = 80
"""Moments that are kept of a tone: eight seconds."""
EDGE: Final = 2
"""Frames that may hold the tone's beginning or its end: so many of the first and of the last do not count."""
HEARD: Final = 4.0
"""Power over the noise in the band from which a channel takes part."""
Spectrum = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """One tone in one frame.

    Arguments:
        frequency_hz: its own.
        crossed: shape (channels, channels): sum over its band of each channel times the other's conjugate; the diagonal
            is the square of its peak, full scale 1.
        noise: what of the diagonal is noise, shape (channels,).
    """

    frequency_hz: float
    crossed: Spectrum
    noise: NDArray[np.float64]


@dataclass(slots=True, eq=False)
class Run:
    """One tone over the moments in which it has stood without a gap.

    Arguments:
        frequency_hz: at the last moment.
        against: channel that the others' phases are told against.
        frames: the last moments.
        phases: of each channel against that one, radians, without jumps; as many as `frames`.
        turns: whole turns that are added to each channel's phase; None until that was thought about.
        resolved: whether nothing is left open about those.
        waiting: moments that do not count yet.
        skipped: how many of the first moments were left out.
    """

    frequency_hz: float
    against: int
    frames: deque[Tone] = field(default_factory=lambda: deque(maxlen=KEPT))
    phases: deque[NDArray[np.float64]] = field(default_factory=lambda: deque(maxlen=KEPT))
    turns: NDArray[np.float64] | None = None
    resolved: bool = False
    waiting: deque[Tone] = field(default_factory=deque)
    skipped: int = 0

    def add(self, tone: Tone) -> None:
        """Take the tone's next moment; it counts once the tone has gone on beyond it."""
        self.frequency_hz = tone.frequency_hz
        if self.skipped < EDGE:
            self.skipped += 1
            return
        self.waiting.append(tone)
        if len(self.waiting) > EDGE:
            self._count(self.waiting.popleft())

    def _count(self, tone: Tone) -> None:
        phase = np.angle(tone.crossed[:, self.against])
        if self.phases:
            last = self.phases[-1]
            phase = last + np.angle(np.exp(1j * (phase - last)))
        self.frames.append(tone)
        self.phases.append(phase)

    def powers(self, last: int) -> NDArray[np.float64]:
        """Give the power on each channel over the last moments, noise taken out, shape (n, channels)."""
        taken = list(self.frames)[-last:]
        return np.array([np.maximum(np.real(np.diag(one.crossed)) - one.noise, 1e-20) for one in taken])

    def heard(self, last: int) -> NDArray[np.bool_]:
        """Say on which channels the tone stands clear of the noise."""
        taken = list(self.frames)[-last:]
        power = np.mean([np.real(np.diag(one.crossed)) for one in taken], axis=0)
        noise = np.mean([one.noise for one in taken], axis=0)
        return np.asarray(power > HEARD * noise + LEAST_LEVEL, dtype=np.bool_)


def tones_in(samples: NDArray[np.float64], rate_hz: float) -> list[Tone]:
    """Find the tones in a frame, the lowest first; overtones of a much stronger tone are left out.

    Arguments:
        samples: shape (n, channels), full scale 1.
        rate_hz: samples per second.

    >>> time = np.arange(9600) / 48000
    >>> [round(one.frequency_hz) for one in tones_in(0.1 * np.sin(2 * np.pi * 1000 * time)[:, None], 48000.0)]
    [1000]
    """
    count = len(samples)
    taper = np.hanning(count + 1)[:-1]
    scale = 2.0 / np.sqrt(count * np.sum(taper**2))
    spectra = np.fft.rfft(samples * taper[:, None], axis=0) * scale
    bin_hz = rate_hz / count
    power = np.sum(np.abs(spectra) ** 2, axis=1)
    places = _places(power, bin_hz)
    found = [_tone(spectra, place, bin_hz) for place in places]
    found.sort(key=lambda one: one.frequency_hz)
    return [one for one in found if not _is_overtone(one, found)]


def _places(power: NDArray[np.float64], bin_hz: float) -> list[int]:
    """Give the bins that tones peak in, the strongest first."""
    left = power.copy()
    left[: max(1, round(LOWEST_HZ / bin_hz))] = 0.0
    strongest = float(left.max())
    places: list[int] = []
    failed = 0
    while len(places) < MOST_TONES and failed < 3:
        at = int(np.argmax(left))
        if left[at] < max(LEAST_LEVEL, BELOW_STRONGEST * strongest):
            break
        if left[at] >= ABOVE_NOISE * _around(power, at):
            places.append(at)
            failed = 0
        else:
            failed += 1
        beside = max(6, round(SAME * at))
        left[max(0, at - beside) : at + beside + 1] = 0.0
    return places


def _around(power: NDArray[np.float64], at: int) -> float:
    reach = max(40, at // 4)
    first, last = max(1, at - reach), min(len(power), at + reach + 1)
    return float(np.median(power[first:last]))


def _half(at: int) -> int:
    return max(LEAST_BINS, round(BAND * at))


def _tone(spectra: Spectrum, at: int, bin_hz: float) -> Tone:
    half = _half(at)
    first, last = max(1, at - half), min(len(spectra), at + half + 1)
    band = spectra[first:last]
    weight = np.sum(np.abs(band) ** 2, axis=1)
    frequency_hz = float(weight @ np.arange(first, last) / weight.sum()) * bin_hz
    reach = max(40, at // 4)
    around = np.abs(spectra[max(1, at - reach) : at + reach + 1]) ** 2
    noise = np.median(around, axis=0) / np.log(2.0) * len(band)
    return Tone(frequency_hz, band.T @ np.conj(band), noise)


def _is_overtone(one: Tone, found: list[Tone]) -> bool:
    power = float(np.real(np.trace(one.crossed)))
    for other in found:
        ratio = one.frequency_hz / other.frequency_hz
        whole = round(ratio)
        stronger = float(np.real(np.trace(other.crossed))) > 10.0 ** (OVERTONE_DB / 10.0) * power
        if whole >= 2 and abs(ratio / whole - 1.0) < 0.003 and stronger:
            return True
    return False


def followed(runs: list[Run], found: list[Tone]) -> list[Run]:
    """Go on from the runs before with the tones of the next moment; a tone that stopped is left behind.

    Arguments:
        runs: as they stood; those that go on are changed.
        found: from `tones_in`.
    """
    going = []
    for tone in found:
        near = [run for run in runs if abs(run.frequency_hz / tone.frequency_hz - 1.0) < SAME]
        run = near[0] if near else Run(tone.frequency_hz, int(np.argmax(np.real(np.diag(tone.crossed)))))
        run.add(tone)
        going.append(run)
    return going


__all__ = ["STEP_S", "Run", "Tone", "followed", "tones_in"]
