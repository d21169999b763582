"""Motors, squeals, ticks and clicks in sound made for the purpose: what is heard is what was put in."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.mechanism import hear_mechanism, hear_sound
from tapewright.measure.mechanism_bands import BANDS_RATE_HZ, band_powers, octave_levels
from tapewright.measure.mechanism_clicks import find_clicks
from tapewright.measure.mechanism_comb import evidence, mean_evidence
from tapewright.measure.mechanism_edges import one_change
from tapewright.measure.mechanism_frames import Sound, framed, thinned
from tapewright.measure.mechanism_picture import picture_of
from tapewright.measure.mechanism_tones import band_edges_hz, critical_band_hz, prominence
from tapewright.measure.mechanism_trust import trusted
from tapewright.words.mechanism_heard import Mark, MechanismHeard, RateExpected

FS = 16000.0
COMB = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 9.0, 12.0)
CAPSTAN = RateExpected("capstan_motor", "play", 57.0, 42.0, 74.0, "motor", COMB)
CAM = RateExpected("cam_motor", "play", 40.0, 29.0, 52.0, "motor", COMB)
MARKS = (Mark("off", 0.0), Mark("play", 2.0))
Floats = NDArray[np.float64]


def noise(seconds: float, seed: int, rate_hz: float = FS) -> Floats:
    return 0.01 * np.random.default_rng(seed).standard_normal(round(seconds * rate_hz))


def motor(
    seconds: float, rate: float, start: float, end: float, amplitude: float = 0.004, rate_hz: float = FS
) -> Floats:
    """Give a comb of four lines that begins and ends at once; its phase is the integral of its rate."""
    times = np.arange(round(seconds * rate_hz)) / rate_hz
    lines = sum(amplitude * np.cos(2 * np.pi * order * rate * times + order) for order in (1, 2, 3, 6))
    return np.asarray(lines * ((times >= start) & (times < end)))


def hear(
    samples: Floats, *expected: RateExpected, marks: tuple[Mark, ...] = MARKS, rate_hz: float = FS
) -> MechanismHeard:
    return hear_sound(Sound(samples.astype(np.float32), rate_hz), marks, expected)


# --- the pieces -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("loudness", [0.0, 3.0, 30.0])
def test_the_mean_evidence_is_that_of_many_draws(loudness: float) -> None:
    drawn = (1.0 + loudness) * np.random.default_rng(5).exponential(size=400_000)
    assert mean_evidence(loudness) == pytest.approx(float(evidence(drawn.astype(np.float32)).mean()), abs=0.01)


def test_evidence_is_for_power_and_against_its_absence_and_no_line_says_everything() -> None:
    said = evidence(np.geomspace(0.01, 1e4, 200).astype(np.float32))
    assert said[0] < 0.0 < said[-1] <= 2.5


@given(st.integers(8, 60), st.integers(8, 60), st.floats(0.1, 20.0), st.integers(0, 10_000))
def test_one_change_is_the_place_that_a_slow_search_finds(before: int, after: int, step: float, seed: int) -> None:
    draws = np.random.default_rng(seed).exponential(size=before + after)
    powers = draws * np.concatenate([np.ones(before), np.full(after, step)])
    costs = {k: k * np.log(powers[:k].mean()) + (len(powers) - k) * np.log(powers[k:].mean())
             for k in range(6, len(powers) - 5)}  # fmt: skip
    assert costs[one_change(powers)] == pytest.approx(min(costs.values()), abs=1e-9)


def test_critical_bands_are_zwickers() -> None:
    """Zwicker and Terhardt 1980, as ECMA-74 quotes it: 162.2 Hz at 1 kHz (closed form)."""
    assert float(critical_band_hz(np.array(1000.0))) == pytest.approx(162.2, abs=0.1)
    below, low, high, above = (float(one) for one in band_edges_hz(np.array(2000.0)))
    assert high - low == pytest.approx(float(critical_band_hz(np.array(2000.0))))
    assert low * high == pytest.approx(2000.0**2)
    assert below < low < high < above


@pytest.mark.parametrize("tone_hz", [1500.0, 3000.0, 6000.0])
def test_the_prominence_of_a_tone_in_white_noise_is_the_closed_form(tone_hz: float) -> None:
    bin_hz, amplitude = 5.0, 50.0
    power = np.ones((1, 3200))
    at = round(tone_hz / bin_hz)
    power[0, at] += amplitude
    own = float(critical_band_hz(np.array(tone_hz))) / bin_hz
    below, low, high, above = (float(edge) for edge in band_edges_hz(np.array(tone_hz)))
    beside = ((low - below) + (above - high)) / 2.0 / bin_hz
    wanted = 10.0 * np.log10((own + amplitude) / beside)
    assert prominence(power, bin_hz, np.array([at]))[0, 0] == pytest.approx(wanted, abs=0.25)


def test_a_comb_no_better_than_those_out_of_step_is_not_believed() -> None:
    decoys = np.random.default_rng(1).gumbel(3.0, 0.5, size=60)
    assert trusted(3.0, decoys, 8).sure < 0.5
    assert trusted(9.0, decoys, 8).sure > 0.99
    assert trusted(9.0, decoys, 8, lines=2).sure < trusted(9.0, decoys, 8).sure


def test_frames_of_noise_are_exponential_over_their_background() -> None:
    frames = framed(thinned(Sound(noise(20.0, 3).astype(np.float32), FS)))
    above = frames.above[:, 200:]
    assert float(above.mean()) == pytest.approx(1.0, abs=0.05)
    assert float(np.mean(above > 3.0)) == pytest.approx(np.exp(-3.0), abs=0.01)


# --- motors -----------------------------------------------------------------------------------------------------------


def test_two_motors_are_heard_from_when_to_when_and_at_their_rates() -> None:
    sound = noise(12.0, 1) + motor(12.0, 57.63, 3.0, 11.0) + motor(12.0, 40.31, 5.0, 7.0)
    heard = {one.name: one for one in hear(sound, CAPSTAN, CAM).stretches}
    assert set(heard) == {"capstan_motor", "cam_motor"}
    for name, rate, start, end in (("capstan_motor", 57.63, 3.0, 11.0), ("cam_motor", 40.31, 5.0, 7.0)):
        one = heard[name]
        assert one.rate_hz.value == pytest.approx(rate, rel=0.0005)
        assert one.start_s == pytest.approx(start, abs=0.1)
        assert one.end_s == pytest.approx(end, abs=0.1)
        assert one.sure > 0.95


def test_noise_alone_runs_no_motor() -> None:
    heard = hear(noise(12.0, 2), CAPSTAN, CAM)
    assert heard.stretches == ()
    assert {one.name for one in heard.not_heard} == {"capstan_motor", "cam_motor"}


def test_a_silent_motor_says_how_loud_it_would_have_had_to_be() -> None:
    quiet = hear(noise(6.0, 3) + motor(6.0, 57.0, 2.5, 6.0), CAPSTAN, CAM)
    loud = hear(20.0 * noise(6.0, 3) + motor(6.0, 57.0, 2.5, 6.0, 0.03), CAPSTAN, CAM)
    here = next(one for one in quiet.not_heard if one.name == "cam_motor")
    there = next(one for one in loud.not_heard if one.name == "cam_motor")
    # Its level is known from the other motor alone: no more than nine of ten.
    assert 0.8 < here.sure <= 0.9
    assert there.loud_enough_db - here.loud_enough_db == pytest.approx(26.0, abs=3.0)
    assert there.sure < here.sure


def test_lines_where_a_motor_should_stand_may_be_those_of_a_slow_one_that_is_due() -> None:
    marks = (Mark("off", 0.0), Mark("stop", 2.0))
    slow = RateExpected("slow_motor", "stop", 5.0, 3.6, 6.5, "motor", ())
    sound = noise(6.0, 4) + motor(6.0, 57.0, 2.5, 6.0)
    (one,) = hear(sound, CAPSTAN, marks=marks).stretches
    assert one.name == "capstan_motor"
    heard = hear(sound, CAPSTAN, slow, marks=marks)
    assert heard.stretches == ()
    assert "where the capstan motor should stand" in " ".join(heard.cannot_say)


@pytest.mark.slow
def test_the_error_of_a_rate_stays_near_its_bound_and_inside_its_interval() -> None:
    """Cramér and Rao's bound for a comb in white noise (algorithms b.3: s_f = sqrt(6/N) s/(pi T a)).

    It cannot be better than the bound for all the sound at once, and should not be worse than that for frames on their
    own.
    """
    orders, amplitude, sigma, frame_s, lasts = np.array([1, 2, 3, 6]), 0.004, 0.01, 0.4, 6.0

    def bound_hz(seconds: float) -> float:
        return float(
            np.sqrt(6.0 / (seconds * FS)) * sigma / (np.pi * seconds * amplitude * np.sqrt(np.sum(orders**2.0)))
        )

    errors, held = [], []
    for seed in range(12):
        rate = 55.0 + 0.37 * seed
        sound = noise(lasts, seed) + motor(lasts, rate, 0.0, lasts)
        (one,) = hear(sound, CAPSTAN, marks=(Mark("play", 0.0),)).stretches
        assert one.rate_hz.value is not None
        assert one.rate_hz.doubt is not None
        errors.append(one.rate_hz.value - rate)
        held.append(abs(errors[-1]) <= one.rate_hz.doubt)
    assert 0.7 * bound_hz(lasts) < float(np.std(errors)) < bound_hz(frame_s) / np.sqrt(lasts / frame_s)
    assert sum(held) >= 10


@pytest.mark.slow
@settings(max_examples=4, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(st.floats(-40.0, 30.0))
def test_how_loud_it_was_recorded_does_not_matter(gain_db: float) -> None:
    sound = noise(4.0, 7) + motor(4.0, 57.6, 2.2, 4.0)
    (plain,) = hear(sound, CAPSTAN).stretches
    (other,) = hear(10.0 ** (gain_db / 20.0) * sound, CAPSTAN).stretches
    assert other.rate_hz.value == pytest.approx(plain.rate_hz.value, rel=1e-4)
    assert other.start_s == pytest.approx(plain.start_s, abs=0.021)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [8000.0, 44100.0, 48000.0])
def test_the_sample_rate_does_not_matter(rate_hz: float) -> None:
    sound = noise(5.0, 7, rate_hz) + motor(5.0, 57.6, 2.4, 5.0, rate_hz=rate_hz)
    (one,) = hear(sound, CAPSTAN, rate_hz=rate_hz).stretches
    assert one.rate_hz.value == pytest.approx(57.6, rel=0.002)
    assert one.start_s == pytest.approx(2.4, abs=0.1)


def test_a_comb_at_even_multiples_alone_is_the_faster_motors() -> None:
    twice = RateExpected("reel_motor", "play", 80.0, 60.0, 104.0, "motor", COMB)
    sound = noise(8.0, 4) + motor(8.0, 80.3, 3.0, 8.0)
    assert {one.name for one in hear(sound, CAM, twice).stretches} == {"reel_motor"}


def test_lines_of_the_room_are_not_a_motors() -> None:
    room = motor(10.0, 57.0, 0.0, 10.0)
    marks = (Mark("off", 0.0), Mark("play", 4.0))
    assert hear(noise(10.0, 5) + room, CAPSTAN, marks=marks).stretches == ()


# --- everything else --------------------------------------------------------------------------------------------------


def squealing(seconds: float, start: float, end: float, pitch: float = 3200.0, back_hz: float = 0.0) -> Floats:
    times = np.arange(round(seconds * FS)) / FS
    inside = (times >= start) & (times < end)
    swells = 1.0 if not back_hz else np.maximum(0.0, np.cos(2 * np.pi * back_hz * times)) ** 2
    return np.asarray(0.02 * swells * np.cos(2 * np.pi * pitch * times) * inside)


def test_a_squeal_is_heard_where_it_is_and_no_motor_made_it() -> None:
    heard = hear(noise(8.0, 6) + squealing(8.0, 4.0, 5.5) + motor(8.0, 57.0, 2.5, 8.0), CAPSTAN)
    (squeal,) = heard.squeals
    assert squeal.frequency_hz.value == pytest.approx(3200.0, abs=5.0)
    assert squeal.start_s == pytest.approx(4.0, abs=0.05)
    assert squeal.end_s == pytest.approx(5.5, abs=0.05)
    assert squeal.kind == "squeal"


def test_a_squeal_that_comes_back_says_how_often() -> None:
    heard = hear(noise(14.0, 6) + squealing(14.0, 3.0, 13.0, back_hz=0.82), CAPSTAN)
    (squeal,) = heard.squeals
    back = squeal.modulation_hz
    assert back.value is not None
    assert back.doubt is not None
    assert back.value == pytest.approx(0.82, abs=max(back.doubt, 0.02))


def test_a_motors_own_high_harmonic_and_a_chord_are_no_squeals() -> None:
    times = np.arange(round(8.0 * FS)) / FS
    whine = 0.02 * np.cos(2 * np.pi * 27 * 57.0 * times) * (times > 2.5)
    chord = sum(0.02 * np.cos(2 * np.pi * pitch * times) for pitch in (1400.0, 1870.0, 2490.0, 3330.0))
    assert hear(noise(8.0, 6) + motor(8.0, 57.0, 2.5, 8.0) + whine, CAPSTAN).squeals == ()
    assert hear(noise(8.0, 6) + chord, CAPSTAN).squeals == ()


def test_clicks_are_found_where_they_are_and_a_motor_is_none() -> None:
    sound = noise(6.0, 8) + motor(6.0, 57.0, 2.5, 6.0)
    burst = np.random.default_rng(2).standard_normal(300) * np.exp(-np.arange(300) / 80.0)
    for at in (1.0, 2.4, 4.7):
        sound[round(at * FS) : round(at * FS) + 300] += 0.3 * burst
    powers, step_s = band_powers(thinned(Sound(sound.astype(np.float32), FS), BANDS_RATE_HZ))
    found = find_clicks(octave_levels(powers), step_s)
    assert [one.at_s for one in found] == pytest.approx([1.0, 2.4, 4.7], abs=0.02)


def test_ticks_that_come_back_have_a_rate_and_noise_has_none() -> None:
    sound = noise(16.0, 9)
    burst = np.random.default_rng(3).standard_normal(400) * np.exp(-np.arange(400) / 150.0)
    for at in np.arange(2.2, 15.8, 1.0 / 1.37):
        sound[round(at * FS) : round(at * FS) + 400] += 0.08 * burst[: len(sound) - round(at * FS)]
    (knock,) = hear(sound, CAPSTAN).knocks
    assert knock.rate_hz.value == pytest.approx(1.37, abs=0.02)
    plain = hear(noise(16.0, 9), CAPSTAN)
    assert (plain.knocks, plain.rubbings) == ((), ())


def test_noise_that_swells_is_rubbing() -> None:
    times = np.arange(round(16.0 * FS)) / FS
    heard = hear(noise(16.0, 9) * (1.0 + 0.6 * np.cos(2 * np.pi * 2.31 * times)), CAPSTAN)
    (rubbing,) = heard.rubbings
    assert rubbing.rate_hz.value == pytest.approx(2.31, abs=0.03)


def test_hum_and_clipping_are_said(tmp_path: Path) -> None:
    times = np.arange(round(8.0 * FS)) / FS
    hum = sum(0.02 * np.cos(2 * np.pi * 50.0 * order * times) for order in (1, 2, 3, 4, 6))
    assert "mains_hum" in {one.kind for one in hear(noise(8.0, 1) + hum, CAPSTAN).disturbances}
    soundfile.write(tmp_path / "clipped.wav", np.clip(30.0 * noise(2.0, 1), -0.5, 0.5), round(FS))
    clipped = hear_mechanism(tmp_path / "clipped.wav", None, [CAPSTAN])
    assert "clipping" in {one.kind for one in clipped.disturbances}
    assert hear(noise(8.0, 1), CAPSTAN).disturbances == ()


def test_what_a_recording_cannot_say_is_said() -> None:
    said = " ".join(hear(noise(0.1, 1), CAPSTAN, marks=()).cannot_say)
    assert "too short for any rate" in said
    slow = RateExpected("reel_motor", "play", 0.4, 0.3, 0.6, "motor", (5.0, 10.0))
    assert "turns too slowly" in " ".join(hear(noise(5.0, 1), slow).cannot_say)


def test_a_picture_shows_where_it_is_loud() -> None:
    picture = picture_of(Sound((noise(4.0, 1) + squealing(4.0, 2.0, 3.0)).astype(np.float32), FS))
    at = int(np.argmin(np.abs(picture.frequency_hz - 3200.0)))
    loudest = float(picture.times_s[int(np.argmax(picture.level_db[:, at]))])
    assert 1.9 < loudest < 3.1
