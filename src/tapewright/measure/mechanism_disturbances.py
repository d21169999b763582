"""What of the room and of the recorder is in the sound: speech, a phone's own processing, a codec's band, clipping."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.mechanism_frames import Array, Frames, Sound, cut_into
from tapewright.measure.runs_of_mask import runs_of
from tapewright.words.mechanism_heard import Disturbance

CLIPPED: Final = 2e-5
VOICED: Final = 0.55
PITCH_HZ: Final = (80.0, 350.0)


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
    drops = sum(first > 0 for first, _ in runs_of(shut))
    if drops >= 3 and 0.03 < shut.mean() < 0.6:
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
