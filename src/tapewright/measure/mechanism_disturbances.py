"""What of the room and of the recorder is in the sound: speech, mains hum, a phone's own processing, clipping."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapewright.measure.mechanism_frames import HIGHEST_HZ, Array, Frames, Single, Sound, cut_into
from tapewright.measure.weighted import weighted_median
from tapewright.words.mechanism_heard import Disturbance

Complex = NDArray[np.complex128]

MAINS_HZ: Final = (50.0, 60.0)
MAINS_OFF: Final = 0.003
CLIPPED: Final = 2e-5
VOICED: Final = 0.55
PITCH_HZ: Final = (80.0, 350.0)
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


def speech(sound: Sound) -> list[Disturbance]:
    """Find where somebody speaks: voiced sound whose pitch moves, with gaps between.

    Arguments:
        sound: thinned.
    """
    length, hop = round(0.05 * sound.rate_hz), round(0.025 * sound.rate_hz)
    if len(sound.samples) < 8 * length:
        return []
    sos = signal.butter(2, (70.0, 1200.0), "bandpass", fs=sound.rate_hz, output="sos")
    cut = cut_into(signal.sosfilt(sos, sound.samples), length, hop)
    pitch, strength, level = _pitches(cut, sound.rate_hz)
    found: list[tuple[float, float]] = []
    window = round(1.0 / 0.025)
    for first in range(0, max(1, len(pitch) - window + 1), window // 2):
        part = slice(first, first + window)
        voiced = strength[part] > VOICED
        # Syllables: a motor that comes up glides as well, but once.
        if voiced.mean() < 0.25 or np.count_nonzero(np.diff(voiced.astype(int))) < 4:
            continue
        moves = np.abs(np.diff(np.log(pitch[part])))[voiced[1:] & voiced[:-1]]
        glides = float(np.mean((moves > 0.008) & (moves < 0.15))) if len(moves) > 4 else 0.0
        swings = float(np.quantile(level[part], 0.9) - np.quantile(level[part], 0.1))
        if glides > 0.35 and swings > 8.0:
            start = first * 0.025
            if found and start - found[-1][1] < 1.0:
                found[-1] = (found[-1][0], start + 1.0)
            else:
                found.append((start, start + 1.0))
    says = "Somebody speaks, or music plays. What is quieter than that is not heard meanwhile."
    return [Disturbance("speech", a, min(b, sound.duration_s), says) for a, b in found if b - a >= 2.0]


def _pitches(cut: NDArray[np.floating], rate_hz: float) -> tuple[Array, Array, Array]:
    """Give pitch, how periodic, and level in dB of each frame."""
    low, high = int(rate_hz / PITCH_HZ[1]), int(rate_hz / PITCH_HZ[0])
    pitch, strength, level = (np.zeros(len(cut)) for _ in range(3))
    count = 1 << int(np.ceil(np.log2(2 * cut.shape[1])))
    for first in range(0, len(cut), 512):
        part = cut[first : first + 512] - cut[first : first + 512].mean(axis=1, keepdims=True)
        own = np.fft.irfft(np.abs(np.fft.rfft(part, count, axis=1)) ** 2, axis=1)[:, : high + 1]
        fair = own / np.maximum(own[:, :1], 1e-20) * (cut.shape[1] / (cut.shape[1] - np.arange(high + 1)))
        best = low + np.argmax(fair[:, low:], axis=1)
        rows = slice(first, first + len(part))
        pitch[rows] = rate_hz / best
        strength[rows] = fair[np.arange(len(part)), best]
        level[rows] = 10.0 * np.log10(np.maximum(own[:, 0] / cut.shape[1], 1e-12))
    return pitch, strength, level


def codec_band(sound: Sound, frames: Frames) -> tuple[float, float, list[Disturbance]]:
    """Find the band that reaches the file: lowest and highest frequency, Hz; said where much of it is missing."""
    length = min(len(sound.samples), 1 << 13)
    _, power = signal.welch(sound.samples, sound.rate_hz, nperseg=length)
    bin_hz = sound.rate_hz / length
    level = 10.0 * np.log10(np.maximum(power, 1e-20))
    top = 0.5 * sound.rate_hz
    said: list[Disturbance] = []
    high = _cliff(level, bin_hz, top)
    if high < min(0.93 * top, 14000.0):
        says = f"Nothing above {high / 1000:.1f} kHz reaches the file: the recorder cuts it. Squeals there are lost."
        said.append(Disturbance("codec_band", 0.0, sound.duration_s, says))
    # What reaches the file in its loudest moments counts, lines and all: a quiet room alone is no low cut.
    most = 10.0 * np.log10(np.maximum(np.quantile(frames.power, 0.9, axis=0), 1e-20))
    at = np.arange(len(most)) * frames.bin_hz
    beside = float(np.median(most[(at > 250) & (at < 600)])) if len(most) > 600 / frames.bin_hz else 0.0
    above = np.flatnonzero((at < 250.0) & (at > 15.0) & (most > beside - 28.0))
    low = float(at[above[0]]) if len(above) else 0.0
    if low > 60.0:
        says = f"Little below {low:.0f} Hz reaches the file: a recorder's low cut. Lines there are not heard."
        said.append(Disturbance("codec_band", 0.0, sound.duration_s, says))
    return low, high, said


def _cliff(level: Array, bin_hz: float, top_hz: float) -> float:
    """Give where a spectrum falls by 20 dB within 8 % and stays down; the top where it does not."""
    for at in range(int(3000.0 / bin_hz), int(0.95 * top_hz / bin_hz)):
        wide = max(3, int(0.04 * at))
        inside, beyond = level[at - 2 * wide : at - wide], level[at + wide :]
        if len(beyond) > wide and np.median(inside) - np.quantile(beyond, 0.95) > 20.0:
            return at * bin_hz
    return top_hz


def processing(levels: Array, step_s: float, duration_s: float) -> list[Disturbance]:
    """Find a phone's own hand in the sound: a floor that comes up after something loud ends; gates that shut.

    Arguments:
        levels: level of a high octave over time, dB.
        step_s: from value to value.
        duration_s: of the recording.
    """
    said: list[Disturbance] = []
    wide = max(1, round(0.1 / step_s))
    count = len(levels) // wide
    if count < 30:
        return said
    coarse = np.median(levels[: count * wide].reshape(count, wide), axis=1)
    shut = coarse < np.median(coarse) - 25.0
    drops = np.flatnonzero(np.diff(shut.astype(int)) > 0)
    if len(drops) >= 3 and 0.03 < shut.mean() < 0.6:
        says = "The sound is shut off again and again: a phone's noise suppression. What is silent may have sounded."
        said.append(Disturbance("noise_suppression", 0.0, duration_s, says))
    climbs = 0
    for at in range(10, count - 25):
        loud, after, later = (
            float(np.median(coarse[a:b])) for a, b in ((at - 8, at), (at + 2, at + 6), (at + 16, at + 25))
        )
        here = coarse[at + 2 : at + 20]
        steady = float(np.mean(np.diff(here) > -0.3))
        climbs += loud - after > 8.0 and 4.0 < later - after < loud - after + 3.0 and steady > 0.8
    if climbs >= 3:
        says = "The floor comes up after something loud has ended: an automatic gain. Levels before and after differ."
        said.append(Disturbance("automatic_gain", 0.0, duration_s, says))
    return said


def clipping(sound: Sound) -> list[Disturbance]:
    """Say whether the sound is cut at the top: then lines appear that nobody made."""
    if sound.clipped <= CLIPPED:
        return []
    says = "The sound is clipped. Lines appear that are not in the room: record again, further away."
    return [Disturbance("clipping", 0.0, sound.duration_s, says)]
