"""Mains hum in the sound of a mechanism: found, and taken out where the room was heard alone."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapewright.measure.mechanism_frames import HIGHEST_HZ, Array, Single, Sound, cut_into
from tapewright.measure.weighted import weighted_median
from tapewright.words.mechanism_heard import Disturbance

Complex = NDArray[np.complex128]

MAINS_HZ: Final = (50.0, 60.0)
MAINS_OFF: Final = 0.003
HUM_SAME_S: Final = 10.0
"""Hum stays the same for longer than this."""
HUM_STEP_S: Final = 0.02
HUM_QUIET_S: Final = 2.0
"""So much of a machine that is off it takes to learn the mains' exact frequency."""
GAIN_S: Final = 0.2
"""How quickly a recorder's own gain is followed in the hum: it turns itself down in a tenth of a second."""
GAIN_STAYS: Final = 0.2
"""How far a recorder's gain usually stays from its usual one; trade judgement, from memory."""
MOST_GAIN: Final = 2.5
NEAR_S: Final = 0.5
"""Over how much it is judged what hum is mixed with."""


def mains_hum(sound: Sound, quiet_s: tuple[float, float] = (0.0, 0.0)) -> tuple[float, list[Disturbance]]:
    """Find mains hum: a comb of 50 or 60 Hz that sounds from beginning to end. Gives the mains, 0 where there is none.

    Arguments:
        sound: thinned.
        quiet_s: from when to when the machine is off, where that is known: what does not sound there is a motor's. One
            that turns forty times a second has lines at most multiples of 60 Hz.
    """
    length = min(len(sound.samples), round(4.0 * sound.rate_hz))
    if length < 1.5 * sound.rate_hz:
        return 0.0, []
    powers = [(_quiet_quarter(sound.samples, length), sound.rate_hz / length)]
    if quiet_s[1] - quiet_s[0] > HUM_QUIET_S:
        alone = sound.samples[round(quiet_s[0] * sound.rate_hz) : round(quiet_s[1] * sound.rate_hz)]
        length = min(len(alone), length)
        powers.append((_quiet_quarter(alone, length), sound.rate_hz / length))
    best, mains = 0, 0.0
    for candidate in MAINS_HZ:
        lines = [candidate * order for order in (1, 2, 3, 4, 5, 6, 8, 10)]
        found = sum(all(_stands_out(power, line, bin_hz) for power, bin_hz in powers) for line in lines)
        if found > best:
            best, mains = found, candidate
    if best < 3:
        return 0.0, []
    says = (
        f"Mains hum of {mains:g} Hz is in the sound throughout. Its multiples are left out: what turns at just such a "
        "rate cannot be heard by them."
    )
    return mains, [Disturbance("mains_hum", 0.0, sound.duration_s, says)]


def _quiet_quarter(samples: Single, length: int) -> Array:
    """Give the spectrum of the quietest quarter of the pieces: a motor that runs for a while is no hum."""
    spectra = np.abs(np.fft.rfft(cut_into(samples, length, max(1, length // 2)) * np.hanning(length), axis=1)) ** 2
    return np.asarray(np.quantile(spectra, 0.25, axis=0))


def _stands_out(power: Array, line_hz: float, bin_hz: float) -> bool:
    """Say whether a line stands out of what lies around it, as near as the mains keeps its frequency."""
    at, off, around = round(line_hz / bin_hz), max(1, round(MAINS_OFF * line_hz / bin_hz)), round(12.0 / bin_hz)
    near = power[max(0, at - around) : at + around + 1]
    return bool(power[max(0, at - off) : at + off + 1].max() > 12.0 * np.median(near))


def without_mains(said: Single, bin_hz: float, mains_hz: float, reach_hz: float = 5.5) -> Single:
    """Silence the evidence at the multiples of the mains, as wide as a line is in a frame."""
    if not mains_hz:
        return said
    left = said.copy()
    reach = max(1, round(reach_hz / bin_hz))
    for order in range(1, int(said.shape[1] * bin_hz / mains_hz) + 1):
        at = round(order * mains_hz / bin_hz)
        left[:, max(0, at - reach) : at + reach + 1] = 0.0
    return left


def hum_taken_out(sound: Sound, mains_hz: float, quiet_s: tuple[float, float]) -> Sound:
    """Take the mains out of a sound: at each multiple what stays the same for ten seconds, by its slowly changing size.

    Arguments:
        sound: thinned.
        mains_hz: 50 or 60; the exact frequency is found.
        quiet_s: from when to when the machine is off: there nothing but hum stands at the multiples.

    A motor whose line lies a quarter of a hertz beside a multiple stays. One that stands as still as the mains, at one
    of its multiples, goes with it: nothing tells it from hum.
    """
    first, last = (round(at * sound.rate_hz) for at in quiet_s)
    exact = _exact_mains(sound.samples[first:last], sound.rate_hz, mains_hz)
    block = max(1, round(HUM_STEP_S * sound.rate_hz))
    count = len(sound.samples) // block
    wide = min(count // 2 * 2 - 1, round(HUM_SAME_S / HUM_STEP_S))
    if wide < 3:
        return sound
    block_times = (np.arange(count) + 0.5) * block / sound.rate_hz
    times = np.arange(len(sound.samples)) / sound.rate_hz
    turning = np.exp(-2j * np.pi * exact * times)
    sizes = _hum_sizes(sound.samples, turning, block, int(HIGHEST_HZ / exact))
    noise = _noise_about(sizes)
    steady = np.array([_weighted_mean(size, 1.0 / here, wide) for size, here in zip(sizes, noise, strict=True)])
    steady = steady * _common_gain(sizes, steady, noise)
    left = sound.samples.astype(np.float64)
    carrier = np.ones(len(times), dtype=np.complex128)
    for size in steady:
        carrier = carrier * turning
        here = np.interp(times, block_times, size.real) + 1j * np.interp(times, block_times, size.imag)
        left -= 2.0 * (here * carrier.conj()).real
    return Sound(left.astype(np.float32), sound.rate_hz, sound.clipped, sound.left_out_s, sound.packed)


def _hum_sizes(samples: Single, turning: Complex, block: int, orders: int) -> Complex:
    """Give the complex size of each multiple of the mains, block by block; shape (orders, blocks)."""
    count = len(samples) // block
    sizes = np.empty((orders, count), dtype=np.complex128)
    carrier = samples[: count * block].astype(np.complex128)
    for order in range(orders):
        carrier = carrier * turning[: count * block]
        sizes[order] = carrier.reshape(count, block).mean(axis=1)
    return sizes


def _noise_about(sizes: Complex) -> Array:
    """Give the power of what is not hum near each multiple, block by block, shape (orders, blocks).

    A key's click, or a motor whose line lies beside a multiple, would ring on in the hum's size for ten seconds: what
    it is mixed with in a block says how little the block counts.
    """
    near = max(3, round(NEAR_S / HUM_STEP_S) | 1)
    means = ndimage.uniform_filter1d(sizes.real, near, axis=1) + 1j * ndimage.uniform_filter1d(sizes.imag, near, axis=1)
    power = ndimage.uniform_filter1d(np.abs(sizes - means) ** 2, near, axis=1)
    return np.asarray(np.maximum(power, np.quantile(power, 0.1, axis=1, keepdims=True)) + 1e-30)


def _weighted_mean(values: Complex, weights: Array, wide: int) -> Complex:
    """Give the mean of the neighbourhood of each value, each as it counts."""
    window = np.hanning(wide + 2)[1:-1]
    found = signal.oaconvolve(values * weights, window, mode="same")
    return np.asarray(found / np.maximum(signal.oaconvolve(weights, window, mode="same"), 1e-30))


def _common_gain(sizes: Complex, steady: Complex, noise: Array) -> Array:
    """Give by what the hum's lines are all louder or softer than usual, block by block; shape (blocks,).

    A recorder that turns itself down after a key turns the hum down too. To take out what is usual then leaves a comb
    at the mains for as long as the recorder takes to come up, and it passes for a motor. What a gain does it does to
    every multiple by one real factor; a motor beside the mains has its own size and phase at each, and the median over
    the multiples, each by what it is worth in the noise, does not follow it. Where they say little, nothing is changed.

    Arguments:
        sizes: of each multiple, shape (orders, blocks).
        steady: the same as they usually are.
        noise: power of what is not hum near each, the same shape.
    """
    near = max(3, round(GAIN_S / HUM_STEP_S) | 1)
    window = np.hanning(near + 2)[1:-1]
    window /= window.sum()
    quick = np.array([np.convolve(one, window, mode="same") for one in sizes])
    usual = np.maximum(np.abs(steady), 1e-20)
    factors = (quick * steady.conj()).real / usual**2
    worth = usual**2 / (noise * np.sum(window**2))
    stays = np.ones((1, sizes.shape[1]))
    factors, worth = np.vstack([factors, stays]), np.vstack([worth, stays / GAIN_STAYS**2])
    return np.clip(weighted_median(factors.T, worth.T), 0.0, MOST_GAIN)


def _exact_mains(samples: Single, rate_hz: float, mains_hz: float) -> float:
    """Give the exact frequency of the mains: the peaks of all multiples, by what each is worth."""
    length = len(samples)
    power = np.abs(np.fft.rfft(samples * np.hanning(length), 4 * length)) ** 2
    bin_hz = rate_hz / (4 * length)
    found = weights = 0.0
    for order in range(1, int(1000.0 / mains_hz) + 1):
        middle, reach = round(order * mains_hz / bin_hz), max(2, round(MAINS_OFF * order * mains_hz / bin_hz))
        reach = max(reach, round(1.0 / (length * bin_hz / rate_hz)))
        peak = middle - reach + int(np.argmax(power[middle - reach : middle + reach + 1]))
        around = float(np.median(power[middle - 8 * reach : middle + 8 * reach + 1]))
        strong = float(power[peak]) / max(around, 1e-20)
        if strong < 50.0 or abs(peak - middle) == reach:
            continue
        left, top, right = (float(np.log(max(power[k], 1e-20))) for k in (peak - 1, peak, peak + 1))
        curved = left - 2.0 * top + right
        shift = 0.5 * (left - right) / curved if curved < 0 else 0.0
        worth = order**2 * min(strong, 1e4)
        found, weights = found + worth * (peak + shift) * bin_hz / order, weights + worth
    return found / weights if weights else mains_hz
