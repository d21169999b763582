"""Many tones at once, against closed forms: what went in is known, tone by tone and gap by gap."""

import numpy as np
import pytest

from tapewright.measure.multitone import Multitone, multitone_of
from tapewright.measure.sequence_plan import MULTITONE_HZ

RATE_HZ = 48000.0
SIZE = 0.01
TIMES = np.arange(int(6 * RATE_HZ)) / RATE_HZ


def sound(gains_db: np.ndarray, noise: float, seed: int, flutter: float = 0.0, speed: float = 1.0) -> np.ndarray:
    """The tones, each with its gain, played with flutter at 7 Hz, and white noise."""
    draw = np.random.default_rng(seed)
    run = speed * TIMES - flutter / (2 * np.pi * 7.0) * np.cos(2 * np.pi * 7.0 * TIMES)
    phases = draw.uniform(0, 2 * np.pi, len(MULTITONE_HZ))
    tones = [
        SIZE * 10 ** (gain / 20) * np.cos(2 * np.pi * hz * run + phase)
        for hz, gain, phase in zip(MULTITONE_HZ, gains_db, phases, strict=True)
    ]
    return np.asarray(np.sum(tones, axis=0) + noise * draw.standard_normal(len(TIMES)))[:, None]


def read(samples: np.ndarray, silence: np.ndarray | None = None, speed: float = 1.0) -> Multitone:
    (found,) = multitone_of(samples, RATE_HZ, [speed * hz for hz in MULTITONE_HZ], silence, [0.0])
    return found


def silence(noise: float) -> np.ndarray:
    return noise * np.random.default_rng(99).standard_normal((int(10 * RATE_HZ), 1))


@pytest.mark.parametrize(("flutter", "speed"), [(0.0, 1.0), (0.002, 1.0), (0.001, 1.02)])
def test_each_tone_s_gain_comes_back(flutter: float, speed: float) -> None:
    """Oracle: the gains that the tones were given. 0.1 dB is what the response section is held to."""
    gains = np.random.default_rng(5).uniform(-6.0, 2.0, len(MULTITONE_HZ))
    found = read(sound(gains, 1e-4, 1, flutter, speed), speed=1.0)
    at = MULTITONE_HZ.index(293.0)
    for one, gain in zip(found.response.deviations_db, gains, strict=True):
        assert one.value == pytest.approx(gain - gains[at], abs=0.1)


def test_doubts_hold_what_noise_does() -> None:
    """Of 6 captures with noise 20 dB below each tone's own, 95 % of the intervals hold: 88 to 100 % of these."""
    gains = np.linspace(0.0, -8.0, len(MULTITONE_HZ))
    at = MULTITONE_HZ.index(293.0)
    held = []
    for seed in range(6):
        found = read(sound(gains, 2e-3, seed))
        for index, (one, gain) in enumerate(zip(found.response.deviations_db, gains, strict=True)):
            if index != at and one.value is not None and one.doubt is not None:
                held.append(abs(one.value - (gain - gains[at])) <= one.doubt)
    assert len(held) > 110
    assert np.mean(held) >= 0.88


@pytest.mark.parametrize("probe_db", [-20.0, -40.0, -55.0])
def test_a_line_in_a_gap_is_read_as_its_power(probe_db: float) -> None:
    """Oracle: a sine of known size at 1350 Hz, where no tone is, over 22 tones of known size: closed form."""
    all_tones = len(MULTITONE_HZ) * SIZE**2
    size = np.sqrt(all_tones * 10 ** (probe_db / 10))
    samples = sound(np.zeros(len(MULTITONE_HZ)), 1e-5, 3) + (size * np.sin(2 * np.pi * 1350.0 * TIMES))[:, None]
    found = read(samples, silence(1e-5)).between_db
    assert found.value == pytest.approx(probe_db, abs=0.1)


def test_a_cubic_characteristic_shows_and_a_straight_one_does_not() -> None:
    straight = sound(np.zeros(len(MULTITONE_HZ)), 1e-4, 4)
    clean = read(straight, silence(1e-4)).between_db
    assert clean.value is None or clean.value < -60.0
    bent = read(straight - 40.0 * straight**3, silence(1e-4)).between_db
    twice = read(straight - 80.0 * straight**3, silence(1e-4)).between_db
    assert bent.value is not None
    assert twice.value is not None
    # A cube's products are in proportion to its coefficient, 6 dB more for twice of it; the tones themselves come out
    # 1 - 3 a s² as strong, for a sum of many tones with the mean square s² (Bussgang).
    square = len(MULTITONE_HZ) * SIZE**2 / 2.0
    fallen_db = 20.0 * np.log10((1.0 - 3.0 * 40.0 * square) / (1.0 - 3.0 * 80.0 * square))
    assert twice.value - bent.value == pytest.approx(6.02 + fallen_db, abs=0.1)


def test_too_short_or_silent_leaves_reasons() -> None:
    short = multitone_of(np.zeros((1000, 2)), RATE_HZ, MULTITONE_HZ)
    assert [one.between_db.value for one in short] == [None, None]
    nothing = read(silence(1e-4)[: len(TIMES)])
    assert all(one.value is None for one in nothing.response.deviations_db)
    assert nothing.between_db.why_not == "There is no silent section to tell it from noise."
