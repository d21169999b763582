"""What comes back in the loudness of a sound: trains of knocks, thumps and swelling noise made for the purpose."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.mechanism_bands import band_powers
from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_repeats import repeats_heard, repeats_in
from tapewright.words.mechanism_heard import Knock, NoRepeats, Rubbing

FS = 16000.0
LASTS_S = 12.0
TIMES_S = np.arange(round(LASTS_S * FS)) / FS
Floats = NDArray[np.float64]


def noise(seed: int) -> Floats:
    return 0.01 * np.random.default_rng(seed).standard_normal(len(TIMES_S))


def train(rate_hz: float, pitch_hz: float, size: float) -> Floats:
    """Give strokes at equal distances, each a tone that dies away within a few hundredths of a second."""
    since_s = (TIMES_S * rate_hz % 1.0) / rate_hz
    return size * np.sin(2 * np.pi * pitch_hz * since_s) * np.exp(-since_s / 0.006)


def heard(
    samples: Floats, spans: tuple[tuple[str, float, float], ...] = (("play", 0.0, LASTS_S),)
) -> tuple[list[Knock], list[Rubbing], list[NoRepeats]]:
    return repeats_heard(*band_powers(Sound(samples.astype(np.float32), FS)), spans)


@settings(max_examples=4, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.floats(0.8, 12.0), st.integers(0, 1000))
def test_a_train_of_knocks_has_the_rate_at_which_they_come(rate_hz: float, seed: int) -> None:
    """Closed form: r strokes a second come back r times a second, within the doubt."""
    knocks, _, _ = heard(noise(seed) + train(rate_hz, 3000.0, 0.3))
    best = max(knocks, key=lambda one: one.strength_db)
    assert best.rate_hz.value == pytest.approx(rate_hz, abs=best.rate_hz.doubt)
    assert best.high_db > 5.0


def test_swelling_noise_rubs_at_its_rate_and_as_far_as_it_swells() -> None:
    """An amplitude from 0.5 to 1.5 swells by 20 log10(3) = 9.5 dB; places of a round take a little off."""
    swelling = 1.0 + 0.5 * np.cos(2 * np.pi * 3.7 * TIMES_S)
    _, (one,), _ = heard(noise(2) * swelling)
    assert one.rate_hz.value == pytest.approx(3.7, abs=one.rate_hz.doubt)
    assert one.high_db == pytest.approx(9.5, abs=1.0)


def test_a_thump_is_a_knock_that_nothing_is_heard_of_above() -> None:
    knocks, rubbings, _ = heard(noise(3) + train(2.2, 350.0, 0.1))
    assert not rubbings
    (thump,) = knocks
    assert thump.rate_hz.value == pytest.approx(2.2, abs=thump.rate_hz.doubt)
    assert thump.high_db < 1.3 < thump.strength_db


def test_noise_alone_comes_back_at_no_rate() -> None:
    """Twenty stretches of noise: at most one is believed at a sureness of 0.9."""
    found = [
        repeats_in(*band_powers(Sound(noise(seed).astype(np.float32), FS)), 0.0, LASTS_S) for seed in range(20, 40)
    ]
    assert sum(bool(one) for one in found) <= 1


def test_what_comes_back_with_the_machine_off_is_the_rooms() -> None:
    ticking = noise(5) + train(1.9, 3000.0, 0.3)
    assert heard(ticking, (("play", 0.0, 6.0), ("play", 6.0, 12.0)))[0]
    knocks, rubbings, _ = heard(ticking, (("off", 0.0, 6.0), ("play", 6.0, 12.0)))
    assert (knocks, rubbings) == ([], [])


def test_a_stretch_says_how_plain_a_noise_would_have_had_to_be() -> None:
    """What swells by three times as much as is said to be enough is found, what swells by a quarter is not."""
    (quiet,) = heard(noise(6))[2]
    for share, found in ((3.0, True), (0.25, False)):
        deep = 10.0 ** (share * quiet.enough_db * np.cos(2 * np.pi * 5.3 * TIMES_S) / 40.0)
        rates = [one.rate_hz.value for part in heard(noise(6) * deep)[:2] for one in part]
        assert any(abs((rate or 0.0) - 5.3) < 0.05 for rate in rates) == found


def test_a_sound_too_short_or_too_dull_repeats_nothing() -> None:
    assert heard(noise(7), (("play", 0.0, 2.0),)) == ([], [], [])
    assert repeats_in(*band_powers(Sound(noise(7)[:8000].astype(np.float32), FS)), 0.0, 5.0) == []
    assert repeats_in(*band_powers(Sound(noise(7)[:8000].astype(np.float32), 900.0)), 0.0, 8.0) == []
