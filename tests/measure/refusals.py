"""Sounds from which nobody can tell how fast a tape ran, made by chance; none may give a number."""

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.measure import made, untoned
from tests.measure.untoned import RATE_HZ, Note, Tape

Samples = NDArray[np.float64]
SECONDS = 30.0


def steady() -> Tape:
    """A tape that runs as it should: whatever moves in what is heard, the music does."""
    return untoned.played(SECONDS, np.zeros_like)


def hiss(draw: np.random.Generator) -> Samples:
    """White, pink or through a band."""
    return made.hiss(draw, int(SECONDS * RATE_HZ), RATE_HZ, (60.0, 3000.0), (1.2, 2.2))


def silence(draw: np.random.Generator) -> Samples:
    return 2.0**-15 * draw.standard_normal(int(SECONDS * RATE_HZ))


def speech(draw: np.random.Generator) -> Samples:
    """Syllables of a voice whose pitch never stands still, through formants."""
    out = np.zeros(int(SECONDS * RATE_HZ))
    at, usual = 0.0, draw.uniform(90.0, 230.0)
    while at < SECONDS - 1.0:
        length = draw.uniform(0.1, 0.6)
        t = np.arange(int(length * RATE_HZ)) / RATE_HZ
        pitch = usual * draw.uniform(0.8, 1.25) * (1.0 + draw.uniform(-0.3, 0.3) * t / length)
        source = np.diff(np.floor(np.cumsum(pitch) / RATE_HZ), prepend=0.0)
        source = 0.1 * draw.standard_normal(len(t)) if draw.random() < 0.25 else source
        for low, high in ((300.0, 900.0), (900.0, 2300.0), (2300.0, 3400.0)):
            peak = signal.iirpeak(draw.uniform(low, high), draw.uniform(5.0, 15.0), fs=RATE_HZ)
            source = source + 3.0 * signal.lfilter(*peak, source)
        first = int(at * RATE_HZ)
        out[first : first + len(t)] += source * np.hanning(len(t) + 2)[1:-1]
        at += length + float(draw.choice([0.02, 0.05, 0.3]))
    return untoned.noisy(out, 45.0, draw)


def birdsong(draw: np.random.Generator) -> Samples:
    out = 0.003 * draw.standard_normal(int(SECONDS * RATE_HZ))
    for _ in range(3):
        at = draw.uniform(0.0, 1.0)
        while at < SECONDS - 2.0:
            length = draw.uniform(0.05, 1.2)
            t = np.arange(int(length * RATE_HZ)) / RATE_HZ
            pitch = draw.uniform(1500.0, 5000.0) * (1.0 + draw.uniform(-0.3, 0.3) * t / length)
            pitch = pitch * (1.0 + draw.uniform(0.0, 0.1) * np.sin(2.0 * np.pi * draw.uniform(8.0, 40.0) * t))
            first = int(at * RATE_HZ)
            out[first : first + len(t)] += 0.3 * np.sin(2.0 * np.pi * np.cumsum(pitch) / RATE_HZ) * np.hanning(len(t))
            at += length + draw.exponential(0.2)
    return out


def pulses(draw: np.random.Generator) -> Samples:
    """Data on a tape, one bit a cell."""
    times = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    short = draw.uniform(2.5e-4, 8e-4)
    cells = np.where(draw.integers(0, 2, int(SECONDS * 4000)), short, short * float(draw.choice([1.5, 2.0])))
    level = np.searchsorted(np.cumsum(np.repeat(cells / 2.0, 2)), times) % 2 * 2.0 - 1.0
    return np.asarray(signal.sosfilt(signal.butter(2, [80.0, 6000.0], "band", fs=RATE_HZ, output="sos"), level))


def soloist(draw: np.random.Generator) -> Samples:
    """One voice with vibrato and slides, all its overtones in step: what moves them is the player."""
    notes, at = [], 0.0
    while at < SECONDS:
        length = draw.uniform(1.0, 4.0)
        slide, rate, depth = draw.uniform(-0.01, 0.01), draw.uniform(4.0, 7.0), draw.uniform(0.0, 0.01)
        bend = lambda u, a=slide, b=rate, c=depth: a * np.minimum(u, 2.0) + c * np.sin(2.0 * np.pi * b * u)  # noqa: E731
        pitch = 220.0 * 2.0 ** (draw.integers(0, 20) / 12.0)
        notes.append(Note(at, length, float(pitch), 1.0, 0.0, 10, bend))
        at += length * 0.98
    return untoned.noisy(untoned.sounded(steady(), notes, draw), 45.0, draw)


def wanderers(draw: np.random.Generator) -> Samples:
    """Parts that each wander by themselves, as an unsteady choir does."""
    notes = []
    for note in untoned.ensemble(draw, SECONDS, 5):
        sizes = draw.uniform(3e-3, 8e-3, 3)
        rates, phases = draw.uniform(0.1, 0.8, 3), draw.uniform(0.0, 6.3, 3)
        bend = lambda u, a=sizes, b=rates, c=phases: np.sum(  # noqa: E731
            [x * np.sin(2.0 * np.pi * y * u + z) for x, y, z in zip(a, b, c, strict=True)], axis=0
        )
        notes.append(Note(note.start_s, note.length_s, note.pitch_hz, note.loud, 0.0, 5, bend))
    return untoned.noisy(untoned.sounded(steady(), notes, draw), 45.0, draw)


def plucked(draw: np.random.Generator) -> Samples:
    """Strings that all fall in pitch as they die away: nothing is sounded long enough to tell that from the tape."""
    notes = []
    tempered = bool(draw.integers(2))
    for part in range(7):
        at = draw.uniform(0.0, 0.5)
        while at < SECONDS:
            length = draw.uniform(0.8, 1.6)
            fall = draw.uniform(1.5e-3, 4e-3)
            bend = lambda u, a=fall: a * np.exp(-u / 0.8)  # noqa: E731
            step = float(draw.integers(0, 12)) if tempered else draw.uniform(0.0, 12.0)
            pitch = 130.0 * 2.0 ** (part % 4 + step / 12.0)
            notes.append(Note(at, length, float(pitch), draw.uniform(0.5, 1.0), 0.7, 5, bend))
            at += length
    return untoned.noisy(untoned.sounded(steady(), notes, draw), 45.0, draw)


def slides(draw: np.random.Generator) -> Samples:
    """Every note slides, each its own way."""
    notes = []
    for note in untoned.ensemble(draw, SECONDS, 5):
        slide = draw.uniform(0.005, 0.03) * draw.choice([-1.0, 1.0])
        bend = lambda u, a=slide: a * u  # noqa: E731
        notes.append(Note(note.start_s, note.length_s, note.pitch_hz, note.loud, 0.0, 5, bend))
    return untoned.noisy(untoned.sounded(steady(), notes, draw), 45.0, draw)


def still_hum(draw: np.random.Generator) -> Samples:
    """Hum that came in at playback: it wanders as the mains do, whatever the tape does."""
    nominal = float(draw.choice([50.0, 60.0]))
    times = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    turns = untoned.mains_phase(times, nominal, draw, draw.uniform(-3e-4, 3e-4))
    return untoned.hum(turns, draw) + 1e-3 * draw.standard_normal(len(times))


def two_hums(draw: np.random.Generator) -> Samples:
    """Harmonics that each go their own way: several machines that hum, no mains."""
    tape = steady()
    out = 1e-3 * draw.standard_normal(len(tape.times_s))
    for order in range(1, 9):
        away = draw.uniform(-0.004, 0.004)
        period, phase = draw.uniform(5.0, 20.0), draw.uniform(0.0, 6.3)
        hz = 50.0 * order * (1.0 + away + 2e-3 * np.sin(2.0 * np.pi * tape.times_s / period + phase))
        out += 0.02 * draw.uniform(0.3, 1.0) * np.sin(2.0 * np.pi * np.cumsum(hz) / RATE_HZ)
    return out


def bass_line(draw: np.random.Generator) -> Samples:
    """A bass that walks through the range of hum, note by note."""
    notes, at = [], 0.0
    while at < SECONDS:
        length = draw.uniform(0.4, 2.0)
        pitch = 55.0 * 2.0 ** (draw.integers(-4, 8) / 12.0)
        notes.append(Note(at, length, float(pitch), 1.0, draw.uniform(0.5, 3.0), 10))
        at += length
    return untoned.noisy(untoned.sounded(steady(), notes, draw), 45.0, draw)


def drone(draw: np.random.Generator) -> Samples:
    """One low note held throughout."""
    note = Note(-1.0, SECONDS + 2.0, float(draw.uniform(47.0, 63.0)), 1.0, 0.0, 10)
    return untoned.noisy(untoned.sounded(steady(), [note], draw), 45.0, draw)


def motor(draw: np.random.Generator) -> Samples:
    """A motor that runs up and down beside the microphone: tones and noise in step, at no mains frequency."""
    tape = steady()
    hz = draw.uniform(28.0, 42.0) * (1.0 + 0.02 * np.sin(2.0 * np.pi * tape.times_s / draw.uniform(5.0, 20.0)))
    turns = np.cumsum(hz) / RATE_HZ
    out = untoned.hum(turns, draw, (1, 2, 3, 4, 6, 9, 12), 0.05)
    return out + 0.02 * draw.standard_normal(len(out))


def weak_hum(draw: np.random.Generator) -> Samples:
    """Hum on the tape that drowns in the hiss."""
    tape = untoned.played(SECONDS, untoned.slow_curve(draw, SECONDS))
    turns = untoned.mains_phase(tape.recorded_s, 50.0, draw, 0.0)
    return untoned.hum(turns, draw, level=0.001) + 0.2 * draw.standard_normal(len(turns))


KINDS = (
    hiss, silence, speech, birdsong, pulses, soloist, wanderers, plucked, slides, still_hum, two_hums, bass_line, drone,
    motor, weak_hum,
)  # fmt: skip
