"""Music, speech, birdsong, noise, silence and pulse tapes, made here by chance: never a number from any of them."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.recording import measure_recording
from tapewright.words.problem import InputAtFaultError
from tests.measure import made

RATE_HZ = 22050
SECONDS = 12.0
Samples = NDArray[np.float64]
TIMES = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ


def note(pitch_hz: float, seconds: float, draw: np.random.Generator, held: bool) -> Samples:
    """A string or a key that dies away, or a pipe that swells and has vibrato; up to a dozen overtones."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    vibrato = draw.uniform(0.0, 0.008) * np.sin(2.0 * np.pi * draw.uniform(4.0, 7.0) * t) if held else 0.0
    turns = np.cumsum(pitch_hz * (1.0 + vibrato) * np.ones(len(t))) / RATE_HZ
    loud = np.hanning(len(t) + 2)[1:-1] ** 0.3 if held else np.exp(-t / draw.uniform(0.15, 0.8))
    fall = draw.uniform(0.35, 0.8)
    orders = np.arange(1, 13)[np.arange(1, 13) * pitch_hz < 0.45 * RATE_HZ]
    return loud * sum(
        (fall**order * np.sin(2.0 * np.pi * order * turns + draw.uniform(0.0, 6.0)) for order in orders),
        np.zeros(len(t)),
    )


def music(draw: np.random.Generator) -> Samples:
    """Chords and a melody over them, on a scale."""
    out = np.zeros(len(TIMES))
    at, held = 0.0, bool(draw.integers(2))
    while at < SECONDS - 1.5:
        length = float(draw.choice([0.2, 0.4, 0.8, 1.2]))
        for _ in range(int(draw.integers(1, 5))):
            part = note(110.0 * 2.0 ** (draw.integers(0, 40) / 12.0), length, draw, held)
            first = int(at * RATE_HZ)
            out[first : first + len(part)] += draw.uniform(0.3, 1.0) * part[: len(out) - first]
        at += length * float(draw.choice([0.5, 1.0]))
    return out


def speech(draw: np.random.Generator) -> Samples:
    """Syllables: pulses of a wandering pitch or hiss, through three formants each."""
    out = np.zeros(len(TIMES))
    at = 0.0
    while at < SECONDS - 0.5:
        length = draw.uniform(0.08, 0.35)
        t = np.arange(int(length * RATE_HZ)) / RATE_HZ
        pitch = draw.uniform(90.0, 240.0) * (1.0 + draw.uniform(-0.3, 0.3) * t / length)
        source = np.diff(np.floor(np.cumsum(pitch) / RATE_HZ), prepend=0.0)
        if draw.random() < 0.3:
            source = 0.1 * draw.standard_normal(len(t))
        for low, high in ((300.0, 900.0), (900.0, 2300.0), (2300.0, 3400.0)):
            centre = draw.uniform(low, high)
            peak = signal.iirpeak(centre, draw.uniform(5.0, 15.0), fs=RATE_HZ)
            source = source + 3.0 * signal.lfilter(*peak, source)
        first = int(at * RATE_HZ)
        part = source * np.hanning(len(t) + 2)[1:-1]
        out[first : first + len(part)] += part[: len(out) - first]
        at += length + float(draw.choice([0.02, 0.05, 0.4]))
    return out


def birdsong(draw: np.random.Generator) -> Samples:
    """Whistles of a tenth to six tenths of a second that glide and trill between 1.5 and 7 kHz, over leaves."""
    out = 0.003 * draw.standard_normal(len(TIMES))
    at = 0.0
    while at < SECONDS - 1.0:
        length = draw.uniform(0.05, 0.6)
        t = np.arange(int(length * RATE_HZ)) / RATE_HZ
        low, glide = draw.uniform(1500.0, 6000.0), draw.uniform(-0.3, 0.3)
        pitch = low * (
            1.0 + glide * t / length + draw.uniform(0.0, 0.15) * np.sin(2.0 * np.pi * draw.uniform(10, 40) * t)
        )
        first = int(at * RATE_HZ)
        part = np.sin(2.0 * np.pi * np.cumsum(pitch) / RATE_HZ) * np.hanning(len(t) + 2)[1:-1]
        out[first : first + len(part)] += draw.uniform(0.1, 0.6) * part[: len(out) - first]
        at += length + draw.exponential(0.2)
    return out


def noise(draw: np.random.Generator) -> Samples:
    """White, pink, or through a band an octave wide and wider."""
    return made.hiss(draw, len(TIMES), RATE_HZ, (200.0, 4000.0), (1.3, 2.2))


def silence(draw: np.random.Generator) -> Samples:
    """A channel with nothing on it: a converter's last bits, mains hum at most."""
    hum = draw.uniform(0.0, 1e-3) * np.sin(2.0 * np.pi * float(draw.choice([50.0, 60.0, 100.0])) * TIMES)
    return 2.0**-15 * draw.standard_normal(len(TIMES)) + hum


def pulses(draw: np.random.Generator) -> Samples:
    """Data on a tape: one bit a cell, told by its length, by a change or by the pitch of its waves."""
    bits = draw.integers(0, 2, int(SECONDS * 4000))
    short = draw.uniform(2e-4, 8e-4)
    cells = np.where(bits, short, short * float(draw.choice([1.5, 2.0])))
    edges = np.cumsum(np.repeat(cells / 2.0, 2))
    level = np.searchsorted(edges, TIMES) % 2 * 2.0 - 1.0
    if draw.integers(2):
        level = np.diff(level, prepend=level[0])
    return np.asarray(signal.sosfilt(signal.butter(2, [80.0, 6000.0], "band", fs=RATE_HZ, output="sos"), level))


KINDS: tuple[Callable[[np.random.Generator], Samples], ...] = (music, speech, birdsong, noise, silence, pulses)


def numbers_from(path: Path, seeds: range) -> list[str]:
    """Give what was wrongly read: each with its kind and seed."""
    wrong = []
    for seed in seeds:
        kind = KINDS[seed % len(KINDS)]
        samples = kind(np.random.default_rng(seed))
        loud = 1.0 if kind is silence else 0.7 / max(1e-9, float(np.max(np.abs(samples))))
        try:
            channel = measure_recording(made.saved(path / "t.wav", loud * samples, RATE_HZ)).channels[0]
        except InputAtFaultError:
            continue
        readings = (channel.speed_error_pct, channel.weighted_peak_pct, channel.unweighted_rms_pct, channel.drift_pct)
        if channel.tone.found or channel.lines or any(one.value is not None for one in readings):
            wrong.append(f"{kind.__name__} {seed}: {channel.tone}")
        assert len(channel.tone.why_not or "") > 20
    return wrong


def test_never_a_number(tmp_path: Path) -> None:
    """Oracle: twenty inputs without a test tone."""
    assert numbers_from(tmp_path, range(20)) == []


@pytest.mark.slow
def test_never_a_number_in_two_hundred(tmp_path: Path) -> None:
    assert numbers_from(tmp_path, range(20, 220)) == []


def test_a_tone_would_be_seen(tmp_path: Path) -> None:
    """The check can fail: a test tone among the leaves is read."""
    samples, _ = made.tone(SECONDS, rate_hz=RATE_HZ)
    path = made.saved(
        tmp_path / "t.wav", samples + 0.003 * np.random.default_rng(1).standard_normal(len(samples)), RATE_HZ
    )
    assert measure_recording(path).channels[0].tone.found
