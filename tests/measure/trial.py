"""Two hundred recordings of machines in trouble, each with the truth about it, by a road of its own.

A recording is a speed curve: up to four rotors, noise of the first order, dips of a belt that sticks. The curve is
known at any moment, so that the truth is computed from it at a rate of its own and not from the sound. Nothing here is
shared with what measures.

Two truths are told apart. What the tape did in this stretch: the curve through the exact response of the network, where
the tone could be heard (what a dropout hides nobody can know). And what the machine does in the long run, which is what
a 95 % interval is about: for rotors that turn without relation, in noise, the two-sigma value follows from the product
of their characteristic functions (closed form).
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import signal, special

from tests.measure import made

Values = NDArray[np.float64]
OWN_RATE_HZ = 2400.0
TONE_HZ = 3150.0
TABLE = (
    (0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0), (1.0, -4.2), (1.6, -1.8),
    (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9), (40.0, -10.4), (63.0, -14.2), (100.0, -17.3),
    (200.0, -23.0),
)  # fmt: skip
"""IEC 60386's weighting, hertz and decibels, from memory, as the project's own table says."""


@dataclass(frozen=True)
class Machine:
    """What turns and what trembles: noise of `noise_pct` rms below `corner_hz`, dips of a sticking belt."""

    rotors: tuple[made.Rotor, ...]
    noise_pct: float
    corner_hz: float
    dips: tuple[tuple[float, float, float], ...]
    error_pct: float

    def density(self, frequency_hz: Values) -> Values:
        """Power of the noise per hertz, percent² per hertz: steps of the first order (closed form), drawn straight."""
        share = np.exp(-2.0 * np.pi * self.corner_hz / OWN_RATE_HZ)
        steps = 1.0 - 2.0 * share * np.cos(2.0 * np.pi * frequency_hz / OWN_RATE_HZ) + share**2
        drawn = np.sinc(frequency_hz / OWN_RATE_HZ) ** 4
        return np.asarray(self.noise_pct**2 * (1.0 - share**2) * 2.0 / OWN_RATE_HZ / steps * drawn)

    def slips(self, frequency_hz: Values, seconds: float) -> Values:
        """The dips as power per hertz over so many seconds: each is a triangle squared, whose transform is known."""
        power = np.zeros(len(frequency_hz))
        for _, depth, width_s in self.dips:
            turn = 2.0 * np.pi * frequency_hz * width_s
            power += (100.0 * depth * width_s * 4.0 / turn**2 * (1.0 - np.sin(turn) / turn)) ** 2
        return np.asarray(2.0 * power / seconds)


@dataclass(frozen=True)
class Sound:
    """A recording and how it was spoilt."""

    path: Path
    machine: Machine
    curve: made.Curve
    rate_hz: int
    seconds: float
    snr_db: float

    def tone_noise(self, frequency_hz: Values) -> Values:
        """Power per hertz, percent² per hertz, that the noise beside the tone adds to the speed: (f/f0)² N0/C."""
        return np.asarray(1e4 * (frequency_hz / TONE_HZ) ** 2 * 10.0 ** (-self.snr_db / 10.0) / (self.rate_hz / 2.0))


def first_order(seconds: float, machine: Machine, draw: np.random.Generator) -> made.Curve:
    """Noise of the first order on a grid of 2400 values a second, ratio, drawn straight between."""
    share = float(np.exp(-2.0 * np.pi * machine.corner_hz / OWN_RATE_HZ))
    steps = draw.standard_normal(int((seconds + 8.0) * OWN_RATE_HZ)) * np.sqrt(1.0 - share**2)
    noise = signal.lfilter([1.0], [1.0, -share], steps)[int(6.0 * OWN_RATE_HZ) :] * machine.noise_pct / 100.0
    return lambda t: np.interp(t, np.arange(len(noise)) / OWN_RATE_HZ, noise)


def drawn_machine(draw: np.random.Generator, seconds: float, most_rotors: int = 4, dips: bool = True) -> Machine:
    rotors = tuple(
        made.Rotor(
            float(np.exp(draw.uniform(np.log(0.5), np.log(60.0)))), draw.uniform(0.01, 0.15), draw.uniform(0.0, 6.28)
        )
        for _ in range(draw.integers(0, most_rotors + 1))
    )
    slips = tuple(
        (draw.uniform(1.0, seconds - 1.0), draw.uniform(2e-3, 1e-2), draw.uniform(0.05, 0.2))
        for _ in range(draw.integers(0, 3))
    )
    return Machine(
        rotors, draw.uniform(0.01, 0.05), draw.uniform(3.0, 40.0), slips if dips else (), draw.uniform(-2.0, 2.0)
    )


def made_sound(path: Path, seed: int, most_rotors: int = 4, dips: bool = True) -> Sound:
    """44.1 to 96 kHz, 15 to 40 s, 30 to 55 dB, dropouts, hum, clipping; all from the seed."""
    draw = np.random.default_rng(seed)
    rate_hz, seconds = int(draw.choice([44100, 48000, 96000])), draw.uniform(15.0, 40.0)
    machine = drawn_machine(draw, seconds, most_rotors, dips)
    lines = made.rotors_curve(machine.rotors) if machine.rotors else np.zeros_like
    noise = first_order(seconds, machine, draw)

    def curve(t: Values) -> Values:
        slips = sum(
            (depth * np.clip(1.0 - np.abs(t - at) / width, 0.0, 1.0) ** 2 for at, depth, width in machine.dips),
            np.zeros(len(t)),
        )
        return np.asarray(lines(t) + noise(t) - slips)

    samples, _ = made.tone(seconds, curve, rate_hz=rate_hz, error_pct=machine.error_pct)
    gaps = draw.uniform(0.5, seconds - 1.0, draw.integers(0, 8)).tolist()
    samples = made.with_dropouts(samples, rate_hz, gaps, draw.uniform(0.01, 0.05)) if gaps else samples
    hum, snr_db, clipped = draw.random() < 0.3, draw.uniform(30.0, 55.0), draw.random() < 0.3
    samples = made.with_noise(samples, snr_db, draw)
    if hum:
        samples = samples + 0.2 * np.sin(2.0 * np.pi * 50.0 * np.arange(len(samples)) / rate_hz)
    if clipped:
        samples = np.clip(1.5 * samples, -0.6, 0.6)
    samples *= 0.99 / max(1.0, float(np.max(np.abs(samples))))
    return Sound(made.saved(path, samples, rate_hz), machine, curve, rate_hz, seconds, snr_db)


def network(frequency_hz: Values) -> Values:
    """The weighting network by its poles and zeros, 1 at 4 Hz, complex."""

    def response(hertz: Values) -> Values:
        s, turn = 2j * np.pi * hertz, 2.0 * np.pi
        below = (s + turn * 1.5114) * (s + turn * 8.54) * (s + turn * 44.018)
        below = below * (s**2 + s * turn * 0.4426 / 0.6553 + (turn * 0.4426) ** 2)
        return np.asarray(s**3 * (s + turn * 31.7176) / below)

    return np.asarray(response(frequency_hz) / abs(response(np.array(4.0))))


def as_doubted(frequency_hz: Values, sigmas: float) -> Values:
    """The weighting as it might be in truth: off by so many sigmas; 1.96 are what lies between network and table."""
    rows = np.array(TABLE)
    apart_db = np.maximum(np.abs(20.0 * np.log10(np.abs(network(rows[:, 0]))) - rows[:, 1]), 0.1)
    off_db = sigmas / 1.96 * np.interp(np.log(np.maximum(frequency_hz, 1e-3)), np.log(rows[:, 0]), apart_db)
    return np.asarray(np.abs(network(frequency_hz)) * 10.0 ** (off_db / 20.0))


def flat_band(frequency_hz: Values) -> Values:
    """0.2 to 200 Hz, 3 dB down at either edge: a quarter sine over an octave below, over an eighth of one above."""
    gain = np.ones(len(frequency_hz))
    for edge_hz, rise in ((0.2, 1.0), (200.0, -8.0)):
        octaves = np.log2(np.maximum(frequency_hz, 1e-9) / edge_hz)
        gain *= np.sin(np.pi / 2.0 * np.clip(0.5 + rise * octaves, 0.0, 1.0))
    return gain


def weighted_curve(sound: Sound, start_s: float, end_s: float) -> tuple[Values, Values]:
    """What the tape did from here to there, weighted, percent, its first 2 s left out: times and values."""
    times = np.arange(start_s, end_s, 1.0 / OWN_RATE_HZ)
    flat: Values = sound.curve(times)
    flat = signal.detrend(flat - flat.mean()) / (1.0 + flat.mean())
    spectrum = np.fft.rfft(flat, 2 * len(flat))
    spectrum = spectrum * network(np.asarray(np.fft.rfftfreq(2 * len(flat), 1.0 / OWN_RATE_HZ), dtype=np.float64))
    settled = int(2.0 * OWN_RATE_HZ)
    return times[settled:], 100.0 * np.fft.irfft(spectrum, 2 * len(flat))[settled : len(flat)]


def in_the_long_run(peaks: Values, noise_rms: float) -> tuple[float, float]:
    """What unrelated sines of these peaks in Gaussian noise exceed for 5 % of the time either way, and their rms.

    P(|x| < q) = 2/pi ∫ sin(q u)/u · Π J0(a u) · exp(-s² u²/2) du: the characteristic function turned back (Rice 1944).
    """
    rms = float(np.sqrt(np.sum(np.square(peaks)) / 2.0 + noise_rms**2))
    most = 7.0 / noise_rms
    step = 0.1 / (float(np.sum(peaks)) + 3.0 * noise_rms)
    u = (np.arange(int(most / step) + 1) + 0.5) * step
    known = np.exp(-0.5 * (noise_rms * u) ** 2) * np.prod(special.j0(np.outer(peaks, u)), axis=0) / u
    low, high = 0.0, float(np.sum(peaks)) + 5.0 * noise_rms
    for _ in range(40):
        middle = (low + high) / 2.0
        inside = 2.0 / np.pi * float(np.sum(np.sin(middle * u) * known)) * step
        low, high = (middle, high) if inside < 0.95 else (low, middle)
    return (low + high) / 2.0, rms


def long_run_readings(machine: Machine, sigmas: float) -> dict[str, float]:
    """Weighted and unweighted two-sigma and rms of the machine in the long run, percent, dips aside."""
    frequency = np.concatenate([np.linspace(0.005, 2.0, 2000), np.geomspace(2.0, 1000.0, 4000)[1:]])
    rates = np.array([rotor.rate_hz for rotor in machine.rotors])
    peaks = np.array([rotor.peak_pct for rotor in machine.rotors])
    found = {}
    for name, gain in (("weighted", lambda f: as_doubted(f, sigmas)), ("unweighted", flat_band)):
        rms = float(np.sqrt(np.trapezoid(machine.density(frequency) * gain(frequency) ** 2, frequency)))
        passed = peaks * gain(rates) if len(peaks) else peaks
        found[f"{name}_peak_pct"], found[f"{name}_rms_pct"] = in_the_long_run(passed, rms)
    return found


def bounds_pct(sound: Sound, seconds: float) -> Values:
    """The least rms error of each rotor's size, percent, with the background known: sqrt(S/T), more beside a neighbour.

    Rife and Boorstyn 1974 in local noise; beside a neighbour the variance grows by 1/(1 - sinc²(Δf T)), the least
    squares of two sines.
    """
    rates = np.array([rotor.rate_hz for rotor in sound.machine.rotors])
    density = sound.machine.density(rates) + sound.machine.slips(rates, seconds) + sound.tone_noise(rates)
    apart = np.abs(rates[:, None] - rates[None, :]) + np.diag(np.full(len(rates), np.inf))
    shared = np.sinc(np.where(np.isfinite(apart), apart, 0.5 / seconds + 1e9) * seconds) ** 2
    np.fill_diagonal(shared, 0.0)
    return np.asarray(np.sqrt(density / seconds / (1.0 - np.minimum(shared.max(axis=1), 0.999))))
