"""Captures of a whole test tape with known truth, all defects at once; invented. Shares no code with the measuring.

Everything is made where it happens: the tape carries the recorded flux; the transport moves it with flutter; each gap
is a strip that leans, of a finite length, a little off the tape, and reads the mean of what lies under it; then come
the machine's gain and ripple, crosstalk between its channels, noise and hum. Losses are means over the strip
and over the gap, point by point, not the closed forms that the measuring uses.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
CENTRES_M = np.array([0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3])
WIDTH_M = 0.6e-3
MINUTE_RAD = 2.0 * np.pi / 360.0 / 60.0
NOMINAL_M_PER_S = 0.047625
DESIGN_GAP_M = 1.0e-6
RIPPLE_DB = 0.02
RESPONSE_HZ = (63.0, 125.0, 315.0, 1000.0, 2000.0, 3150.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0, 14000.0)
AZIMUTH_HZ = (315.0, 1000.0, 3150.0, 10000.0)
RISING_DB = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0)


@dataclass
class Truth:
    """What one capture is made of; SI units, decibels where the name says so."""

    rate_hz: float
    speed_ratio: float
    angle_rad: float
    wander_rad: float
    wander_hz: float
    gap_off_m: Values
    spacing_m: Values
    gap_m: float
    gain_db: Values
    cross: Values
    inverted: NDArray[np.bool_]
    cubic: Values
    noise: float
    hum: Values
    mains_hz: float
    left_db: float
    ripple: Values
    wow: tuple[tuple[float, float, float], ...]

    @property
    def speed(self) -> float:
        return NOMINAL_M_PER_S * self.speed_ratio

    @property
    def line_rad(self) -> float:
        """The angle of the straight line through where the gaps really stand."""
        along = CENTRES_M * np.tan(self.angle_rad) + self.gap_off_m
        return float(np.arctan(np.polyfit(CENTRES_M, along, 1)[0]))

    @property
    def off_line_m(self) -> Values:
        along = CENTRES_M * np.tan(self.angle_rad) + self.gap_off_m
        return np.asarray(along - np.polyval(np.polyfit(CENTRES_M, along, 1), CENTRES_M))


def drawn(seed: int, rate_hz: float = 48000.0) -> Truth:
    """Draw a machine with all its defects."""
    draw = np.random.default_rng(seed)
    cross = 10.0 ** (draw.uniform(-60.0, -38.0, (4, 4)) / 20.0) * draw.choice([-1.0, 1.0], (4, 4))
    np.fill_diagonal(cross, 1.0)
    wow = tuple(
        (rate, amount, draw.uniform(0.0, 2.0 * np.pi))
        for rate, amount in (
            (draw.uniform(0.35, 0.7), 5e-4),
            (draw.uniform(1.1, 1.4), 4e-4),
            (draw.uniform(6.0, 8.0), 6e-4),
            (draw.uniform(30.0, 50.0), 2e-4),
        )
    )
    return Truth(
        rate_hz=rate_hz,
        speed_ratio=1.0 + draw.uniform(-0.02, 0.02),
        angle_rad=draw.uniform(-8.0, 8.0) * MINUTE_RAD,
        wander_rad=draw.uniform(0.1, 0.5) * MINUTE_RAD,
        wander_hz=draw.uniform(0.7, 1.4),
        gap_off_m=draw.uniform(-1.5e-6, 1.5e-6, 4),
        spacing_m=draw.uniform(0.0, 0.6e-6, 4),
        gap_m=draw.uniform(1.0e-6, 1.7e-6),
        gain_db=draw.uniform(-13.0, -11.0, 4),
        cross=cross,
        inverted=np.arange(4) == draw.integers(1, 8),
        cubic=draw.uniform(0.04, 0.16, 4),
        noise=10.0 ** (draw.uniform(-66.0, -60.0) / 20.0),
        hum=10.0 ** (draw.uniform(-70.0, -60.0, (4, 3)) / 20.0),
        mains_hz=float(draw.choice([50.0, 60.0])) * (1.0 + draw.uniform(-4e-4, 4e-4)),
        left_db=draw.uniform(-70.0, -60.0),
        wow=wow,
        ripple=np.array([draw.uniform(0.5, 3.0, 4), draw.uniform(0.0, 2.0 * np.pi, 4)]),
    )


def strip_gain(truth: Truth, track: int, frequency_hz: float) -> float:
    """Give what a gap reads of a tone over what an ideal one would: the mean over its width, its length and its
    distance.

    In decibels over the machine's own correction, which makes up for the gap it was built with and ripples a little.
    """
    per_m = 2.0 * np.pi * frequency_hz / truth.speed
    across = (np.arange(801) + 0.5) / 801.0 - 0.5
    lean = abs(np.mean(np.exp(1j * per_m * across * WIDTH_M * np.tan(truth.angle_rad))))
    seen, built = (abs(np.mean(np.exp(1j * per_m * across * 1.11 * gap))) for gap in (truth.gap_m, DESIGN_GAP_M))
    waves, phase = truth.ripple[:, track]
    ripple_db = RIPPLE_DB * np.cos(2.0 * np.pi * waves * np.log2(frequency_hz) + phase)
    return float(20.0 * np.log10(lean * seen / built * np.exp(-per_m * truth.spacing_m[track])) + ripple_db)


def moved(truth: Truth, times: Values) -> Values:
    """Give how far the tape has run, in seconds of a tape at exact speed."""
    run = truth.speed_ratio * times
    for rate, amount, phase in truth.wow:
        run = run - amount / (2.0 * np.pi * rate) * np.cos(2.0 * np.pi * rate * times + phase)
    return run


def leaning(truth: Truth, times: Values) -> Values:
    """Give the tangent of the angle over time: how much later per metre across the tape."""
    return np.asarray(np.tan(truth.angle_rad + truth.wander_rad * np.sin(2.0 * np.pi * truth.wander_hz * times)))


def played(
    truth: Truth,
    seed: int,
    start_s: float,
    seconds: float,
    frequency_hz: float | None,
    level_db: float = 0.0,
    tracks: tuple[int, ...] = (0, 1, 2, 3),
    dips: tuple[tuple[int, float, float, float], ...] = (),
) -> Values:
    """Play one section, shape (n, 4): a tone at a level on some tracks, or nothing.

    `dips`: (track, when in the section, length, depth in dB) of dropouts.
    """
    draw = np.random.default_rng([seed, round(1000 * start_s)])
    times = start_s + np.arange(int(seconds * truth.rate_hz)) / truth.rate_hz
    heads = np.zeros((len(times), 4))
    if frequency_hz is not None:
        base, lean = moved(truth, times), leaning(truth, times)
        for track in tracks:
            late = (CENTRES_M[track] * lean + truth.gap_off_m[track]) / NOMINAL_M_PER_S
            heads[:, track] = read_by_gap(truth, draw, track, frequency_hz, base - late, 10.0 ** (level_db / 20.0))
            for which, when, length, depth_db in dips:
                if which == track:
                    inside = (times - start_s >= when) & (times - start_s < when + length)
                    heads[inside, track] *= 10.0 ** (-depth_db / 20.0)
    out = heads @ truth.cross.T
    out *= 10.0 ** (truth.gain_db / 20.0) * np.where(truth.inverted, -1.0, 1.0)
    out += truth.noise * draw.standard_normal(out.shape, dtype=np.float32)
    for number in range(3):
        hum = np.cos(2.0 * np.pi * truth.mains_hz * (number + 1) * times + number)
        out += 10.0 ** (-12.0 / 20.0) * hum[:, None] * truth.hum[:, number]
    return out


def read_by_gap(
    truth: Truth, draw: np.random.Generator, track: int, frequency_hz: float, reached: Values, flux: float
) -> Values:
    """Give what one gap reads of the tape it has reached: a tone, its third harmonic, the tape's unevenness."""
    real_hz = frequency_hz * truth.speed_ratio
    wave = np.cos(2.0 * np.pi * frequency_hz * reached)
    tone = wave * (flux * 10.0 ** (strip_gain(truth, track, real_hz) / 20.0))
    tone *= 1.0 + 0.004 * smooth(draw, len(tone), truth.rate_hz)
    if frequency_hz < 1500.0:
        gain = 10.0 ** (strip_gain(truth, track, 3.0 * real_hz) / 20.0)
        tone += (4.0 * wave**3 - 3.0 * wave) * (gain * truth.cubic[track] * 0.1 * flux**3)
    return np.asarray(tone)


def smooth(draw: np.random.Generator, count: int, rate_hz: float) -> Values:
    """Give the tape's own unevenness: noise below some 200 Hz, of size 1."""
    points = draw.standard_normal(int(count / rate_hz * 400.0) + 3)
    return np.asarray(np.interp(np.arange(count) * 400.0 / rate_hz, np.arange(len(points)), points))


def harmonic_pct(truth: Truth, track: int, frequency_hz: float, level_db: float) -> float:
    """Give the third harmonic as it comes out of the machine."""
    real_hz = frequency_hz * truth.speed_ratio
    more_db = strip_gain(truth, track, 3.0 * real_hz) - strip_gain(truth, track, real_hz)
    return float(10.0 * truth.cubic[track] * 10.0 ** (2.0 * level_db / 20.0) * 10.0 ** (more_db / 20.0))


def hum_db(truth: Truth, track: int, number: int) -> float:
    """Give one harmonic of the hum, from 0, over what the reference level reads on the track."""
    return float(20.0 * np.log10(truth.hum[track, number]) - 12.0 - own_level_db(truth, track, 315.0))


def crosstalk_db(truth: Truth, onto: int, source: int) -> float:
    """Give how much of a track is heard on another, over what it reads itself."""
    return float(20.0 * np.log10(abs(truth.cross[onto, source])) + truth.gain_db[onto] - truth.gain_db[source])


def own_level_db(truth: Truth, track: int, frequency_hz: float) -> float:
    """Give what a track itself reads of a tone at the reference level, without what crosses over, dB re full scale."""
    return float(truth.gain_db[track] + strip_gain(truth, track, frequency_hz * truth.speed_ratio))
