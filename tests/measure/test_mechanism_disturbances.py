"""What a room and a phone add to a mechanism's sound, made one by one: each is said, none passes for another."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.mechanism_bands import band_powers, octave_levels
from tapewright.measure.mechanism_disturbances import codec_band, processing, speech
from tapewright.measure.mechanism_frames import Sound, framed, thinned
from tapewright.measure.mechanism_hum import hum_taken_out, mains_hum, without_mains

FS = 6000.0
Floats = NDArray[np.float64]


def noise(seconds: float, rate_hz: float = FS, seed: int = 1) -> Floats:
    return 0.01 * np.random.default_rng(seed).standard_normal(round(seconds * rate_hz))


def sound(samples: Floats, rate_hz: float = FS) -> Sound:
    return Sound(samples.astype(np.float32), rate_hz)


def size_at(samples: Floats, frequency_hz: float, rate_hz: float = FS) -> float:
    """Give the amplitude of one line by its Fourier integral over the whole."""
    times = np.arange(len(samples)) / rate_hz
    window = np.hanning(len(samples))
    return float(2.0 * abs(np.sum(samples * window * np.exp(-2j * np.pi * frequency_hz * times))) / window.sum())


@pytest.mark.parametrize("mains_hz", [49.97, 60.02])
def test_hum_goes_and_a_motor_half_a_hertz_beside_it_stays(mains_hz: float) -> None:
    """Closed form: the hum of a known size is gone to a tenth, the motor's line keeps its amplitude to a decibel."""
    seconds = 40.0
    times = np.arange(round(seconds * FS)) / FS
    hum = sum(0.02 * np.cos(2 * np.pi * mains_hz * order * times + order) for order in range(1, 9))
    motor = 0.01 * np.cos(2 * np.pi * (6.0 * mains_hz + 0.5) * times) * (times > 5.0)
    left = hum_taken_out(sound(noise(seconds) + hum + motor), round(mains_hz / 10.0) * 10.0, (0.0, 4.0)).samples
    for order in range(1, 9):
        assert size_at(left[round(5.0 * FS) :].astype(float), mains_hz * order) < 0.1 * 0.02
    stays = size_at(left[round(8.0 * FS) :].astype(float), 6.0 * mains_hz + 0.5)
    assert 20.0 * np.log10(stays / 0.01) == pytest.approx(0.0, abs=1.0)
    assert mains_hum(sound(noise(seconds) + hum))[0] == round(mains_hz / 10.0) * 10.0


def test_a_key_does_not_ring_on_in_what_hum_leaves() -> None:
    times = np.arange(round(30.0 * FS)) / FS
    hum = sum(0.01 * np.cos(2 * np.pi * 50.0 * order * times + order) for order in range(1, 7))
    struck = noise(30.0) + hum
    struck[round(15.0 * FS) : round(15.0 * FS) + 20] += 2.0
    left = hum_taken_out(sound(struck), 50.0, (0.0, 4.0)).samples.astype(float)
    beside = left[round(16.0 * FS) : round(19.0 * FS)]
    assert max(size_at(beside, 50.0 * order) for order in range(1, 20)) < 0.003


def test_hum_that_a_recorder_turns_down_after_a_key_leaves_no_comb() -> None:
    """Closed form: hum times a gain of known course is hum; a motor near it, which starts meanwhile, stays."""
    seconds = 30.0
    times = np.arange(round(seconds * FS)) / FS
    # Down by 14 dB in a tenth of a second, and up again with a time constant of 0.8 s.
    since = times - 15.0
    down_db = np.where(since > 0.1, -14.0 * np.exp(-(since - 0.1) / 0.8), np.clip(-140.0 * since, -14.0, 0.0))
    gain = 10.0 ** (down_db / 20.0)
    hum = sum(0.02 * np.cos(2 * np.pi * 50.0 * order * times + order) for order in range(1, 9))
    motor = 0.02 * np.cos(2 * np.pi * 201.5 * times) * (times > 15.0)
    left = hum_taken_out(sound(gain * (noise(seconds) + hum + motor)), 50.0, (0.0, 4.0)).samples.astype(float)
    after = slice(round(15.15 * FS), round(16.15 * FS))
    assert max(size_at(left[after], 50.0 * order) for order in (1, 2, 3, 5, 6, 7, 8)) < 0.1 * 0.02
    late = slice(round(20.0 * FS), round(29.0 * FS))
    assert size_at(left[late], 201.5) == pytest.approx(0.02, rel=0.1)


def test_a_loud_motor_that_ends_leaves_no_hum_behind() -> None:
    """Closed form: once the motor stands nothing is left at the mains, however near and loud its lines were."""
    times = np.arange(round(30.0 * FS)) / FS
    hum = sum(0.001 * np.cos(2 * np.pi * 50.0 * order * times + order) for order in range(1, 9))
    motor = sum(0.1 * np.cos(2 * np.pi * 40.33 * order * times) for order in range(1, 13)) * (abs(times - 12.0) < 8.0)
    left = hum_taken_out(sound(0.01 * noise(30.0) + hum + motor), 50.0, (0.0, 3.5)).samples.astype(float)
    after = left[round(20.1 * FS) : round(21.1 * FS)]
    assert max(size_at(after, 50.0 * order) for order in range(1, 9)) < 0.25 * 0.001


def test_the_multiples_left_out_are_as_wide_as_a_line_in_a_frame() -> None:
    said = np.ones((2, 600), dtype=np.float32)
    left = without_mains(said, 0.5, 50.0)
    assert left[0, 88] == left[0, 112] == 1.0
    assert float(left[0, 89:112].max()) == 0.0


def test_noise_that_is_shut_off_again_and_again_is_suppression() -> None:
    rate = 16000.0
    times = np.arange(round(20.0 * rate)) / rate
    gate = np.where((times % 2.0) < 0.6, 0.001, 1.0)
    powers, step_s = band_powers(sound(gate * noise(20.0, rate), rate))
    levels = octave_levels(powers)
    assert "noise_suppression" in {one.kind for one in processing(levels[-1], step_s, 20.0)}
    plain = octave_levels(band_powers(sound(noise(20.0, rate), rate))[0])
    assert processing(plain[-1], step_s, 20.0) == []


def test_a_floor_that_comes_up_after_what_was_loud_is_an_automatic_gain() -> None:
    rate = 16000.0
    times = np.arange(round(40.0 * rate)) / rate
    # Loud for two seconds of ten; then the floor is 12 dB low, and recovers with a time constant of a second.
    place = times % 10.0
    level_db = np.where(place < 2.0, 14.0, -12.0 * np.exp(-(place - 2.0) / 1.0))
    powers, step_s = band_powers(sound(10.0 ** (level_db / 20.0) * noise(40.0, rate), rate))
    levels = octave_levels(powers)
    assert "automatic_gain" in {one.kind for one in processing(levels[-1], step_s, 40.0)}


@pytest.mark.parametrize("cut_hz", [3400.0, 7000.0])
def test_a_codecs_band_is_found_where_a_filter_put_it(cut_hz: float) -> None:
    rate = 48000.0
    sections = signal.ellip(10, 0.5, 80.0, cut_hz, fs=rate, output="sos")
    cut = sound(signal.sosfilt(sections, noise(4.0, rate)), rate)
    _, high, said = codec_band(cut, framed(thinned(cut)))
    # It errs to the safe side: what it leaves out it does not listen to.
    assert 0.85 * cut_hz < high < 1.02 * cut_hz
    assert [one.kind for one in said] == ["codec_band"]


def test_voices_are_speech_and_a_motor_that_comes_up_is_none() -> None:
    times = np.arange(round(12.0 * FS)) / FS
    # Four syllables a second, each with a pitch that glides; pauses between.
    pitch = 140.0 * (1.0 + 0.25 * np.sin(2 * np.pi * 1.1 * times) + 0.1 * np.sin(2 * np.pi * 4.0 * times))
    turned = np.cumsum(pitch) / FS
    voice = np.sum([np.cos(2 * np.pi * k * turned) / k for k in range(1, 7)], axis=0)
    syllables = np.maximum(0.0, np.sin(2 * np.pi * 2.0 * times)) ** 0.5
    assert [one.kind for one in speech(sound(noise(12.0) + 0.1 * voice * syllables))] == ["speech"]
    comes_up = np.cumsum(57.0 * np.minimum(1.0, times / 0.6)) / FS
    motor = np.sum([0.05 * np.cos(2 * np.pi * k * comes_up) for k in (1, 2, 3, 6)], axis=0)
    assert speech(sound(noise(12.0) + motor)) == []


def test_a_motor_whose_lines_lie_at_the_mains_is_no_hum_where_the_room_was_heard_without_it() -> None:
    """Forty turns a second have every third line at a multiple of 60 Hz (40 * 3 = 60 * 2)."""
    times = np.arange(round(30.0 * FS)) / FS
    motor = sum(0.02 * np.cos(2 * np.pi * 40.04 * order * times) for order in (1, 2, 3, 6, 9, 12, 15)) * (times > 4.0)
    assert mains_hum(sound(noise(30.0) + motor))[0] == 60.0
    assert mains_hum(sound(noise(30.0) + motor), (0.0, 3.5))[0] == 0.0
    hum = sum(0.01 * np.cos(2 * np.pi * 60.0 * order * times + order) for order in range(1, 7))
    assert mains_hum(sound(noise(30.0) + motor + hum), (0.0, 3.5))[0] == 60.0
