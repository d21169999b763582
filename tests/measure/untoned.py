"""Programme and hum on a tape whose speed is known, in closed form; shares no code with what measures them.

A sound that was recorded at time u is heard at time t where u is the integral of the speed: every partial is a sine of
its own phase at u(t), so that nothing is resampled.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 16000
Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Tape:
    """A tape being played.

    Arguments:
        times_s: of each sample.
        speed: over the recording machine's, at each.
        recorded_s: when what is heard was recorded.
    """

    times_s: Samples
    speed: Samples
    recorded_s: Samples

    def at(self, times_s: Samples, over_s: float) -> Samples:
        """Give the logarithm of speed, the plain mean of so long round each time."""
        passed = np.interp(times_s + over_s / 2.0, self.times_s, self.recorded_s)
        passed -= np.interp(times_s - over_s / 2.0, self.times_s, self.recorded_s)
        return np.log(passed / over_s)


def played(seconds: float, deviation: Callable[[Samples], Samples]) -> Tape:
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    speed = 1.0 + deviation(times)
    recorded = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) / RATE_HZ
    return Tape(times, speed, recorded)


def slow_curve(
    draw: np.random.Generator, seconds: float, error: float = 0.0, size: float = 1.0
) -> Callable[[Samples], Samples]:
    """A belt that warms up, one or two slow swings, and a capstan's own quick flutter."""
    drift = size * draw.uniform(-5e-3, 5e-3)
    swings = [
        (size * draw.uniform(5e-4, 3e-3), draw.uniform(8.0, 60.0), draw.uniform(0.0, 6.3))
        for _ in range(draw.integers(1, 3))
    ]
    flutter = [(draw.uniform(2e-4, 1e-3), draw.uniform(3.0, 12.0), draw.uniform(0.0, 6.3))]

    def deviation(t: Samples) -> Samples:
        out = error + drift * (t / seconds - 0.5)
        for peak, period, phase in swings:
            out = out + peak * np.sin(2.0 * np.pi * t / period + phase)
        for peak, rate, phase in flutter:
            out = out + peak * np.sin(2.0 * np.pi * rate * t + phase)
        return np.asarray(out)

    return deviation


def mains_phase(recorded_s: Samples, nominal_hz: float, draw: np.random.Generator, offset: float) -> Samples:
    """Turns of the mains, whose frequency wanders by +-20 mHz of 50 Hz and forgets within minutes."""
    grid_s = 0.5
    count = int(recorded_s[-1] / grid_s) + 3
    keep = np.exp(-grid_s / 300.0)
    wander = np.empty(count)
    wander[0] = draw.standard_normal()
    for at in range(1, count):
        wander[at] = keep * wander[at - 1] + np.sqrt(1.0 - keep**2) * draw.standard_normal()
    hz = nominal_hz * (1.0 + offset + 2e-4 * wander)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1])) * grid_s])
    return np.asarray(np.interp(recorded_s, np.arange(count) * grid_s, turns))


def hum(turns: Samples, draw: np.random.Generator, orders: Sequence[int] = range(1, 9), level: float = 0.02) -> Samples:
    out = np.zeros(len(turns))
    for order in orders:
        out += level * draw.uniform(0.2, 1.0) * np.sin(2.0 * np.pi * order * turns + draw.uniform(0.0, 6.3))
    return out


@dataclass(frozen=True)
class Note:
    start_s: float
    length_s: float
    pitch_hz: float
    loud: float = 1.0
    decay_s: float = 0.0
    overtones: int = 6
    bend: Callable[[Samples], Samples] | None = None


def sounded(tape: Tape, notes: Sequence[Note], draw: np.random.Generator) -> Samples:
    """Sound notes that were recorded; `bend` is what a note does by itself, ratio over its own time."""
    out = np.zeros(len(tape.times_s))
    for note in notes:
        first, last = np.searchsorted(tape.recorded_s, [note.start_s, note.start_s + note.length_s])
        u = tape.recorded_s[first:last] - note.start_s
        if len(u) < 10:
            continue
        if note.bend is None:
            turns = note.pitch_hz * u
        else:
            grid = np.linspace(0.0, note.length_s, int(note.length_s * 1000) + 2)
            hz = note.pitch_hz * (1.0 + note.bend(grid))
            turns = np.interp(u, grid, np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1]) * np.diff(grid))]))
        ramp = np.clip(np.minimum(u, note.length_s - u) / 0.03, 0.0, 1.0)
        envelope = ramp * (np.exp(-u / note.decay_s) if note.decay_s else 1.0)
        fall = draw.uniform(0.35, 0.75)
        for order in range(1, note.overtones + 1):
            if order * note.pitch_hz < 0.4 * RATE_HZ:
                phase = draw.uniform(0.0, 6.3)
                out[first:last] += note.loud * fall**order * envelope * np.sin(2.0 * np.pi * order * turns + phase)
    return out


def ensemble(draw: np.random.Generator, seconds: float, parts: int = 4, detuned: float = 2e-4) -> list[Note]:
    """Parts that move by themselves over a tempered scale; every note a little off, and held or dying away."""
    scale = np.array([0, 2, 3, 5, 7, 8, 10])
    notes = []
    for part in range(parts):
        at = draw.uniform(-2.0, 0.0)
        held = bool(draw.integers(2))
        while at < seconds:
            length = draw.uniform(1.2, 5.0)
            degree = 12 * (part % 3 + 1) + draw.choice(scale)
            pitch = 110.0 * draw.choice([1.0]) * 2.0 ** (degree / 12.0) * (1.0 + detuned * draw.standard_normal())
            notes.append(
                Note(at, length, float(pitch), draw.uniform(0.4, 1.0), 0.0 if held else draw.uniform(1.0, 3.0),
                     int(draw.integers(3, 9)))
            )  # fmt: skip
            at += length * draw.uniform(0.9, 1.1)
    return notes


def noisy(samples: Samples, db: float, draw: np.random.Generator) -> Samples:
    """Add pink-like hiss so far below the samples' own power."""
    white = draw.standard_normal(len(samples))
    return np.asarray(samples + white * float(np.sqrt(np.mean(samples**2))) * 10.0 ** (-db / 20.0))
