"""The room a minute is heard in, what else is heard there, and what a phone makes of it. All sizes are from memory.

The speech is no speech: noise shaped by three moving resonances in the rhythm of syllables, invented and without words.
"""

from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from typing import Final

import av
import numpy as np
from scipy import ndimage, signal

from tapewright.simulate.pack import Samples


@dataclass(frozen=True, slots=True)
class Room:
    """A room, or none.

    Arguments:
        decay_s: time in which sound dies away by 60 dB; 0 for a microphone on the case itself.
        echoes: how many early reflections.
        distance: how much of what arrives is the room, against the sound that comes straight.
    """

    decay_s: float
    echoes: int
    distance: float


@dataclass(frozen=True, slots=True)
class Phone:
    """What takes the sound up.

    Arguments:
        low_hz, high_hz: its band.
        gain_s: time in which its automatic gain follows; 0 for none.
        gain_share: share of a change of level that it takes back.
        gates: whether it takes steady noise for something nobody wants to hear, and turns it down.
        codec: "" for none, "aac" or "opus".
        bits_per_s: of the codec.
    """

    low_hz: float
    high_hz: float
    gain_s: float = 0.0
    gain_share: float = 0.0
    gates: bool = False
    codec: str = ""
    bits_per_s: int = 64000


ROOMS: Final = {
    "case": Room(0.0, 0, 0.0),
    "bench": Room(0.25, 4, 0.15),
    "living_room": Room(0.45, 6, 0.35),
    "workshop": Room(0.8, 6, 0.5),
    "tiled_room": Room(1.2, 8, 0.7),
}
PHONES: Final = {
    "recorder": Phone(20.0, 20000.0),
    "phone": Phone(70.0, 16000.0, codec="aac", bits_per_s=96000),
    "phone_gain": Phone(90.0, 15000.0, 1.5, 0.6, codec="aac", bits_per_s=64000),
    "voice_message": Phone(120.0, 9000.0, 0.8, 0.7, codec="opus", bits_per_s=24000),
    "phone_call": Phone(180.0, 7000.0, 0.5, 0.8, gates=True, codec="opus", bits_per_s=20000),
}
BACKGROUNDS: Final = ("noise", "hum", "speech")
SHARES: Final = {"noise": 1.0, "hum": 0.5, "speech": 1.0}
"""Power of each part of the background against the noise."""
EARLY_S: Final = (0.001, 0.02)
MOST_GAIN_DB: Final = 18.0
GATE_LEAVES: Final = 0.15
MAINS_HZ: Final = (50.0, 60.0)


# --- room -------------------------------------------------------------------------------------------------------------


def in_room(dry: Samples, room: Room, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Give what arrives of a sound in a room, shape (n,): itself, a few echoes, and what dies away behind them."""
    if room.decay_s == 0.0:
        return dry
    return np.asarray(signal.oaconvolve(dry, response(room, rate_hz, draws))[: len(dry)])


def response(room: Room, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Draw the answer of a room to one short click, shape (n,); the first sample is the sound that comes straight."""
    count = max(round(room.decay_s * rate_hz), 1)
    times = np.arange(count) / rate_hz
    dying = np.exp(-times * 3.0 * np.log(10.0) / room.decay_s) * draws.standard_normal(count)
    dying[: round(EARLY_S[1] * rate_hz)] = 0.0
    tail = dying * room.distance / max(float(np.sqrt(np.sum(dying**2))), 1e-12)
    for at_s, size in zip(draws.uniform(*EARLY_S, room.echoes), draws.uniform(0.1, 0.5, room.echoes), strict=True):
        tail[min(round(at_s * rate_hz), count - 1)] += room.distance * size
    tail[0] += 1.0
    return np.asarray(tail, dtype=np.float64)


# --- what else is heard -----------------------------------------------------------------------------------------------


def background(kinds: tuple[str, ...], count: int, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Draw what else is heard, shape (count,), at an rms of 1.

    Arguments:
        kinds: of `BACKGROUNDS`.
        count: samples.
        rate_hz: samples per second.
        draws: where chance comes from.
    """
    makers = {"noise": _noise, "hum": _hum, "speech": _babble}
    total = np.zeros(count)
    for kind in kinds:
        part = makers[kind](count, rate_hz, draws)
        total += np.sqrt(SHARES[kind]) * part / max(float(np.sqrt(np.mean(part**2))), 1e-12)
    return total / max(float(np.sqrt(np.mean(total**2))), 1e-12)


def _noise(count: int, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Draw broad noise that falls by 0 to 6 dB an octave above 60 Hz."""
    falls = draws.uniform(0.0, 2.0)
    spectrum = np.fft.rfft(draws.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1.0 / rate_hz)
    shape = np.maximum(frequency, 60.0) ** (-falls / 2.0)
    shape[frequency < 20.0] = 0.0
    return np.asarray(np.fft.irfft(spectrum * shape, count))


def _hum(count: int, rate_hz: int, draws: np.random.Generator) -> Samples:
    mains, times = float(draws.choice(MAINS_HZ)), np.arange(count) / rate_hz
    total = np.zeros(count)
    for order in range(1, 12):
        size = draws.uniform(0.3, 1.0) * (1.0 if order % 2 == 0 else 0.4) / order**0.7
        total += size * np.sin(2 * np.pi * (order * mains * times + draws.random()))
    return total


def _babble(count: int, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Draw something in the rhythm and colour of talk that says nothing."""
    step = round(0.18 * rate_hz)
    total = np.zeros(count + step)
    talking = 0
    for start in range(0, count, step):
        talking = talking - 1 if talking else int(draws.integers(-8, 12))
        if talking <= 0:
            talking = min(talking + 2, 0) if talking < 0 else 0
            continue
        pitch, times = draws.uniform(95.0, 220.0), np.arange(step) / rate_hz
        voice = np.cumsum(1.0 + 0.05 * np.sin(2 * np.pi * 4 * times)) * pitch / rate_hz
        buzz = 2.0 * (voice % 1.0) - 1.0 if draws.random() < 0.75 else draws.standard_normal(step)
        spoken = np.zeros(step)
        for low, high in ((280.0, 800.0), (900.0, 2300.0), (2400.0, 3200.0)):
            middle = draws.uniform(low, high)
            top, bottom = signal.iirpeak(min(middle, 0.45 * rate_hz), 6.0, fs=rate_hz)
            spoken += signal.lfilter(top, bottom, buzz)
        total[start : start + step] += draws.uniform(0.4, 1.0) * spoken * np.hanning(step)
    return total[:count] + 1e-6 * draws.standard_normal(count)


# --- phone ------------------------------------------------------------------------------------------------------------


def through_phone(sound: Samples, phone: Phone, rate_hz: int) -> Samples:
    """Give what a phone makes of a sound before it packs it, shape (n,)."""
    sections = signal.butter(2, phone.low_hz, "highpass", fs=rate_hz, output="sos")
    found = np.asarray(signal.sosfilt(sections, sound))
    if phone.high_hz < 0.45 * rate_hz:
        found = np.asarray(signal.sosfilt(signal.butter(4, phone.high_hz, fs=rate_hz, output="sos"), found))
    if phone.gates:
        found = _gated(found, rate_hz)
    if phone.gain_s:
        found = _levelled(found, phone, rate_hz)
    return found


def _levelled(sound: Samples, phone: Phone, rate_hz: int) -> Samples:
    """Let an automatic gain take back part of every change of level: quickly down, slowly up."""
    block = max(1, round(0.02 * rate_hz))
    power = np.add.reduceat(sound**2, np.arange(0, len(sound), block)) / block
    level_db = 10.0 * np.log10(power + 1e-12)
    quick, slow = 1.0 - np.exp(-0.02 / (phone.gain_s / 8.0)), 1.0 - np.exp(-0.02 / phone.gain_s)
    held, followed = float(level_db[0]), np.zeros(len(level_db))
    for at, now in enumerate(level_db):
        held += (quick if now > held else slow) * (float(now) - held)
        followed[at] = held
    gain_db = np.clip(phone.gain_share * (np.median(followed) - followed), -MOST_GAIN_DB, MOST_GAIN_DB)
    marks = (np.arange(len(gain_db)) + 0.5) * block
    return np.asarray(sound * 10.0 ** (np.interp(np.arange(len(sound)), marks, gain_db) / 20.0))


def _gated(sound: Samples, rate_hz: int) -> Samples:
    """Turn down what has been steady for a second or more, frequency by frequency, as noise suppression does."""
    size = 1024 * max(1, round(rate_hz / 48000))
    _, _, bins = signal.stft(sound, fs=rate_hz, nperseg=size)
    size_now = np.abs(bins)
    frames = max(3, round(1.0 * rate_hz / (size / 2)))
    steady = ndimage.minimum_filter1d(ndimage.uniform_filter1d(size_now, 5, axis=1), frames, axis=1)
    gain = np.clip(1.0 - 1.3 * steady / np.maximum(size_now, 1e-12), GATE_LEAVES, 1.0)
    gain = ndimage.uniform_filter1d(gain, 3, axis=1)
    _, found = signal.istft(bins * gain, fs=rate_hz, nperseg=size)
    return np.asarray(np.pad(found, (0, max(0, len(sound) - len(found))))[: len(sound)])


# --- packing ----------------------------------------------------------------------------------------------------------

CONTAINERS: Final = {"aac": "mp4", "opus": "ogg"}


def packed(sound: Samples, rate_hz: int, codec: str, bits_per_s: int) -> bytes:
    """Pack a sound as a phone does.

    Arguments:
        sound: shape (n,), full scale is 1.
        rate_hz: samples per second; opus takes 48000 or a whole part of it.
        codec: "aac" or "opus".
        bits_per_s: how much it may take.

    Returns:
        A whole file: m4a for aac, ogg for opus.
    """
    held = BytesIO()
    with av.open(held, "w", format=CONTAINERS[codec]) as container:
        stream = container.add_stream("libopus" if codec == "opus" else "aac", rate=rate_hz)
        stream.bit_rate = bits_per_s
        stream.codec_context.layout = "mono"
        resampler = av.AudioResampler(format=stream.codec_context.format or "fltp", layout="mono", rate=rate_hz)
        samples = np.clip(sound, -1.0, 1.0).astype(np.float32)
        for at in range(0, len(samples), rate_hz):
            frame = av.AudioFrame.from_ndarray(samples[None, at : at + rate_hz], format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, at, Fraction(1, rate_hz)
            for ready in resampler.resample(frame):
                container.mux(stream.encode(ready))
        for ready in resampler.resample(None):
            container.mux(stream.encode(ready))
        container.mux(stream.encode(None))
    return held.getvalue()


def unpacked(data: bytes, rate_hz: int, count: int) -> Samples:
    """Unpack it again, shape (count,): what a codec put before the beginning is taken off as the file says."""
    found = []
    with av.open(BytesIO(data), "r") as container:
        resampler = av.AudioResampler(format="flt", layout="mono", rate=rate_hz)
        for frame in container.decode(audio=0):
            found += [ready.to_ndarray()[0] for ready in resampler.resample(frame)]
        found += [ready.to_ndarray()[0] for ready in resampler.resample(None)]
    samples = np.concatenate(found).astype(np.float64)
    return np.asarray(np.pad(samples, (0, max(0, count - len(samples))))[:count])
