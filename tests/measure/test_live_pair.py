"""Several tracks at once while they play, against closed forms: delays are known because the tones are made with them.

A track further from the deck plate comes later by d tan(a)/v; the sum of two equal tones out of step by p is
20 lg cos(p/2); both closed forms.
"""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.askew import ARC_MINUTE, comes_round_arcmin, delay_s, summed_db
from tapewright.measure.azimuth import read_azimuth
from tapewright.measure.live_pair import PairMeter, PairMoment
from tapewright.measure.live_pair_delays import clear_below_hz
from tapewright.measure.live_trend import BEST, BETTER, STEADY, TOO_EARLY, WORSE, Course
from tapewright.measure.section_tone import section_tone
from tests.measure import capture

RATE = 48_000.0
SPEED = 0.047625
TWO = (0.3e-3, 1.2e-3)
FOUR = (0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3)
Sound = NDArray[np.float32]


def tones(
    frequencies_hz: Sequence[float],
    delays_s: Sequence[float],
    seconds: float = 1.5,
    levels: Sequence[float] = (),
    noise: float = 1e-5,
    flutter: float = 0.0,
    first_s: float = 0.0,
) -> Sound:
    """Tones of 0.2 (or as said) on each channel, each channel late by its delay; flutter of 8 Hz is common to all."""
    time = first_s + np.arange(round(seconds * RATE)) / RATE
    size = levels or [0.2] * len(delays_s)
    rng = np.random.default_rng(3)
    sound = np.zeros((len(time), len(delays_s)))
    for channel, late in enumerate(delays_s):
        at = time - late
        at = at + flutter / (2 * np.pi * 8.0) * np.sin(2 * np.pi * 8.0 * at)
        for frequency in frequencies_hz:
            sound[:, channel] += size[channel] * np.sin(2 * np.pi * frequency * at)
    return (sound + noise * rng.standard_normal(sound.shape)).astype(np.float32)


def late_by(angle_arcmin: float, where: Sequence[float] = TWO, speed: float = SPEED) -> list[float]:
    return [delay_s(angle_arcmin * ARC_MINUTE, one - where[0], speed) for one in where]


def last(sound: Sound, where: Sequence[float | None] = TWO, speed: float = SPEED, block: int = 2048) -> PairMoment:
    meter = PairMeter(RATE, where, speed)
    moments = [moment for at in range(0, len(sound), block) for moment in meter.add(sound[at : at + block])]
    return moments[-1]


# --- azimuth by delay ------------------------------------------------------------------------------------------------


@settings(max_examples=10, deadline=None)
@given(st.floats(-12.0, 12.0), st.sampled_from([0.0, 0.002]), st.sampled_from([SPEED, 2 * SPEED]))
def test_two_tones_tell_the_angle_without_a_turn_left_open(angle: float, flutter: float, speed: float) -> None:
    found = last(tones((400.0, 10_000.0), late_by(angle, speed=speed), flutter=flutter), speed=speed)
    assert found.comes_round_arcmin is None
    assert found.angle_arcmin.value == pytest.approx(angle, abs=0.01)
    assert found.angle_arcmin.value is not None
    assert found.angle_arcmin.doubt is not None
    assert abs(found.angle_arcmin.value - angle) <= found.angle_arcmin.doubt


@settings(max_examples=6, deadline=None)
@given(st.floats(-10.0, 10.0))
def test_a_fine_tone_alone_says_after_which_angle_it_comes_round(angle: float) -> None:
    """One turn of 10 kHz over 0.9 mm at 4.7625 cm/s is 100 µs, 18.19 minutes of arc (closed form)."""
    found = last(tones((10_000.0,), late_by(angle)))
    round_ = found.comes_round_arcmin
    assert round_ == pytest.approx(math.atan(SPEED / (10_000.0 * 0.9e-3)) / ARC_MINUTE, rel=1e-4)
    assert found.angle_arcmin.value is not None
    assert round_ is not None
    off = (found.angle_arcmin.value - angle) / round_
    assert abs(off - round(off)) < 0.002
    assert abs(found.angle_arcmin.value) <= round_ / 2 + 0.01


def test_a_coarse_tone_before_it_settles_the_turn() -> None:
    """The tones of an azimuth section, one after the other with gaps: 12 minutes over the outer tracks."""
    late = late_by(12.0, FOUR)
    parts = [tones((one,), late, 2.0) for one in (125.0, 400.0, 1250.0, 4000.0, 10_000.0)]
    gap = np.zeros((round(0.2 * RATE), 4), dtype=np.float32)
    found = last(np.concatenate([piece for part in parts for piece in (part, gap)][:-1]), FOUR)
    assert found.comes_round_arcmin is None
    assert found.angle_arcmin.value == pytest.approx(12.0, abs=0.01)
    alone = last(parts[-1], FOUR)
    assert alone.comes_round_arcmin == pytest.approx(5.10, abs=0.005)


def test_a_long_silence_is_not_bridged() -> None:
    late = late_by(12.0, FOUR)
    silence = np.zeros((round(2.0 * RATE), 4), dtype=np.float32)
    sound = np.concatenate([tones((125.0, 1250.0), late, 2.0), silence, tones((10_000.0,), late, 2.0)])
    assert last(sound, FOUR).comes_round_arcmin is not None


def test_a_turning_screw_is_followed_through_a_whole_turn() -> None:
    """From 0 to 30 minutes in six seconds, more than a turn of 10 kHz over 0.9 mm; 400 Hz was there at first."""
    time = np.arange(round(8.0 * RATE)) / RATE
    angle = np.clip((time - 1.0) * 5.0, 0.0, 30.0) * ARC_MINUTE
    late = 0.9e-3 * np.tan(angle) / SPEED
    sound = 0.2 * np.stack([np.sin(2e4 * np.pi * time), np.sin(2e4 * np.pi * (time - late))], axis=1)
    coarse = 0.2 * np.sin(800.0 * np.pi * time[: round(RATE)])
    sound[: len(coarse)] += coarse[:, None]
    found = last((sound + 1e-5 * np.random.default_rng(1).standard_normal(sound.shape)).astype(np.float32))
    assert found.angle_arcmin.value == pytest.approx(30.0, abs=0.02)
    assert found.comes_round_arcmin is None


@settings(max_examples=5, deadline=None)
@given(st.lists(st.floats(-2.0, 2.0), min_size=4, max_size=4), st.floats(-4.0, 4.0))
def test_four_tracks_give_the_line_and_what_each_gap_stands_off_it(off_um: list[float], angle: float) -> None:
    """Least squares over four places, worked out by a general solver: slope and residuals."""
    late = np.array(late_by(angle, FOUR)) + 1e-6 * np.array(off_um) / SPEED
    design = np.stack([np.ones(4), np.array(FOUR)], axis=1)
    (_, slope), *_ = np.linalg.lstsq(design, late, rcond=None)
    residual = late - design @ np.linalg.lstsq(design, late, rcond=None)[0]
    found = last(tones((125.0, 1250.0, 8000.0), late.tolist(), noise=1e-6), FOUR)
    assert found.angle_arcmin.value == pytest.approx(math.atan(slope * SPEED) / ARC_MINUTE, abs=0.01)
    for one, left in zip(found.scatter_um, residual, strict=True):
        assert one.value == pytest.approx(1e6 * left * SPEED, abs=0.01)
    outer = next(pair for pair in found.pairs if pair.channels == (1, 4))
    assert outer.delay_us.value == pytest.approx(1e6 * (late[3] - late[0]), abs=0.05)


@pytest.mark.parametrize("angle", [-7.0, 0.3, 5.0])
def test_it_agrees_with_what_reads_a_file(angle: float) -> None:
    """Two ways to the same number: cross-spectra of frames here, tones mixed down and a settled mean there."""
    sound = tones((400.0, 1250.0, 8000.0), late_by(angle), 1.5, noise=1e-4)
    by_file = read_azimuth(
        [section_tone(sound.astype(np.float64), RATE, one) for one in (400.0, 1250.0, 8000.0)], TWO, SPEED
    ).angle_arcmin
    live = last(sound).angle_arcmin
    assert live.value is not None
    assert by_file.value is not None
    assert abs(live.value - by_file.value) <= (live.doubt or 0.0) + (by_file.doubt or 0.0) + 0.02


def whole_capture(seed: int) -> tuple[float, PairMoment]:
    """Play the azimuth tones of an invented machine with everything wrong; the truth is over the same second."""
    truth = capture.drawn(seed)
    meter = PairMeter(RATE, FOUR, truth.speed)
    meter.add(np.zeros((4800, 4), dtype=np.float32))
    for number, frequency in enumerate(capture.AZIMUTH_HZ):
        sound = capture.played(truth, seed, 2.2 * number, 2.0, frequency, -10.0)
        moments = meter.add(sound.astype(np.float32))
        if number < 3:
            meter.add(np.zeros((round(0.2 * RATE), 4), dtype=np.float32))
    end = 2.2 * 3 + 2.0
    lean = float(np.mean(capture.leaning(truth, np.linspace(end - 1.1, end - 0.2, 500))))
    off = float(np.polyfit(capture.CENTRES_M, truth.gap_off_m, 1)[0])
    return math.atan(lean + off) / ARC_MINUTE, moments[-1]


@pytest.mark.parametrize("seed", [0, 1])
def test_an_invented_machine_with_everything_wrong_at_once(seed: int) -> None:
    """The generator shares no code with the measuring: flutter, leaning strips, crosstalk, hum, noise, wires."""
    truth, found = whole_capture(seed)
    assert found.comes_round_arcmin is None
    assert found.angle_arcmin.value is not None
    assert found.angle_arcmin.doubt is not None
    assert abs(found.angle_arcmin.value - truth) < max(0.1, found.angle_arcmin.doubt)


@pytest.mark.slow
def test_twenty_such_machines_and_intervals_that_hold() -> None:
    off, held = [], 0
    for seed in range(100, 120):
        truth, found = whole_capture(seed)
        assert found.angle_arcmin.value is not None
        off.append(abs(found.angle_arcmin.value - truth))
        held += off[-1] <= (found.angle_arcmin.doubt or 0.0)
    print(f"worst {max(off):.3f} minutes of arc, median {np.median(off):.3f}; {held} of 20 intervals hold")
    assert max(off) < 0.3
    assert held >= 18


def test_crossed_wires_are_said_and_read_turned_over() -> None:
    sound = tones((400.0, 8000.0), late_by(2.0))
    sound[:, 1] *= -1.0
    found = last(sound)
    assert found.angle_arcmin.value == pytest.approx(2.0, abs=0.02)
    assert any("Channel 2 stands half a turn off" in one for one in found.remarks)


# --- the second road -------------------------------------------------------------------------------------------------


@settings(max_examples=6, deadline=None)
@given(st.floats(1.0, 8.0), st.floats(0.3, 1.0))
def test_the_sum_of_tracks_meets_the_delay(angle: float, second: float) -> None:
    """Against the sum made in the time domain, and against 20 lg cos(p/2) where both are alike."""
    sound = tones((400.0, 6300.0), late_by(angle), levels=(0.2, 0.2 * second))
    found = last(sound)
    (pair,) = found.pairs
    assert pair.by_sum_arcmin.value is not None
    assert pair.by_sum_arcmin.value == pytest.approx(abs(angle), abs=(pair.by_sum_arcmin.doubt or 0.0) + 0.02)
    fine = tones((6300.0,), late_by(angle), levels=(0.2, 0.2 * second), noise=0.0).astype(np.float64)
    summed = math.sqrt(2.0 * float(np.mean(fine.sum(axis=1) ** 2)))
    assert pair.sum_db.value == pytest.approx(20 * math.log10(summed / (0.2 + 0.2 * second)), abs=0.01)
    if second == 1.0:
        closed = float(summed_db(np.array(6300.0), angle * ARC_MINUTE, 0.9e-3, SPEED))
        assert pair.sum_db.value == pytest.approx(closed, abs=0.01)


def test_aligned_tracks_sum_to_nought_lost() -> None:
    found = last(tones((400.0, 10_000.0), [0.0] * 4), FOUR)
    assert found.sum_db.value == pytest.approx(0.0, abs=0.001)
    assert found.balance_db.value == pytest.approx(0.0, abs=0.001)


# --- level and response ----------------------------------------------------------------------------------------------


def test_levels_are_those_of_a_sine_that_just_fills_the_scale() -> None:
    found = last(tones((315.0,), [0.0, 0.0], levels=(0.1, 0.05), noise=1e-3))
    levels = [one.value for one in found.tones[0].levels_db]
    assert levels == pytest.approx([-20.0, 20 * math.log10(0.05)], abs=0.02)
    assert found.balance_db.value == pytest.approx(20 * math.log10(0.5), abs=0.03)


def test_each_tone_is_told_against_315_hz_that_came_first() -> None:
    """A response section: 315 Hz at 0.1, then 10 kHz 3 dB down on channel 2 alone (20 lg 0.708)."""
    meter = PairMeter(RATE, TWO, SPEED)
    meter.add(tones((315.0,), [0.0, 0.0], 1.2, levels=(0.1, 0.1)))
    found = meter.add(tones((10_000.0,), [0.0, 0.0], 1.2, levels=(0.1, 0.0708)))[-1]
    deviation = [one.value for one in found.tones[0].deviation_db]
    assert deviation == pytest.approx([0.0, 20 * math.log10(0.708)], abs=0.02)
    assert [round(one.frequency_hz) for one in found.response] == [315, 10_000]


def test_without_315_hz_there_is_a_reason() -> None:
    found = last(tones((10_000.0,), [0.0, 0.0]))
    assert found.tones[0].deviation_db[0].why_not == "315 Hz has not been heard before it."
    assert found.response == ()


def test_a_level_that_was_kept_is_the_reference() -> None:
    meter = PairMeter(RATE, TWO, SPEED)
    assert not meter.keep_reference()
    meter.add(tones((315.0,), [0.0, 0.0], 1.2, levels=(0.1, 0.1)))
    assert meter.keep_reference()
    meter.lost(0.5)
    found = meter.add(tones((315.0,), [0.0, 0.0], 1.2, levels=(0.2, 0.1)))[-1]
    assert [one.value for one in found.tones[0].against_kept_db] == pytest.approx([6.0206, 0.0], abs=0.01)


# --- what it refuses -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sound", "where", "why_not"),
    [
        (np.zeros((72_000, 2), dtype=np.float32), TWO, "There is no tone."),
        (1e-2 * np.random.default_rng(7).standard_normal((72_000, 2)).astype(np.float32), TWO, "There is no tone."),
        (tones((1000.0,), [0.0, 0.0], levels=(0.2, 1e-9)), TWO, "Only one track"),
        (tones((1000.0,), [0.0]), (0.3e-3,), "Fewer than two"),
        (tones((1000.0,), [0.0, 0.0]), (0.3e-3, None), "Fewer than two"),
        (tones((1000.0,), [0.0, 0.0], 0.6), TWO, "only begun"),
    ],
)
def test_what_cannot_be_read_has_its_reason(sound: Sound, where: Sequence[float | None], why_not: str) -> None:
    found = last(sound, where)
    assert found.angle_arcmin.value is None
    assert why_not in (found.angle_arcmin.why_not or "")
    assert found.sum_db.value is None or len(found.tones) > 0


def test_overdriven_and_no_numbers_are_said() -> None:
    sound = tones((1000.0,), [0.0, 0.0], levels=(1.5, 1.5)).clip(-1.0, 1.0)
    assert any("overdriven" in one for one in last(sound).remarks)
    sound[-100:] = np.nan
    assert any("no numbers" in one for one in last(sound).remarks)


@settings(max_examples=5, deadline=None)
@given(st.integers(1, 9000), st.integers(1, 9000))
def test_how_the_sound_is_cut_into_blocks_changes_nothing(first: int, second: int) -> None:
    sound = tones((400.0, 4000.0), late_by(3.0), 1.0, noise=1e-3, flutter=0.002)
    assert last(sound, block=first) == last(sound, block=second)


def test_a_lost_block_is_not_bridged() -> None:
    meter = PairMeter(RATE, TWO, SPEED)
    meter.add(tones((400.0, 4000.0), late_by(3.0)))
    meter.lost(0.1)
    found = meter.add(tones((4000.0,), late_by(3.0), 1.0))
    assert found[0].angle_arcmin.value is None
    assert found[0].time_s == pytest.approx(1.7)
    assert found[-1].comes_round_arcmin is not None, "nothing of before the gap is taken for granted"


# --- how surely ------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_intervals_hold_in_noise() -> None:
    """Sixty stretches, noise 17 dB under each tone (20 lg 0.141/0.02): nine of ten intervals or more hold the truth."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(60):
        angle = float(rng.uniform(-3.0, 3.0))
        sound = tones((1000.0, 6300.0), late_by(angle), 1.2, noise=0.0)
        sound += (0.02 * rng.standard_normal(sound.shape)).astype(np.float32)
        reading = last(sound).angle_arcmin
        assert reading.value is not None
        held += abs(reading.value - angle) <= (reading.doubt or 0.0)
    assert held >= 54


def test_the_wander_of_a_weaving_tape() -> None:
    """A sine of 1 minute peak at 0.7 Hz: 95 % of the time within sin(0.95 pi/2) = 0.997 of its peak (closed form)."""
    time = np.arange(round(8.5 * RATE)) / RATE
    late = 0.9e-3 * np.tan(np.sin(2 * np.pi * 0.7 * time) * ARC_MINUTE) / SPEED
    sound = 0.2 * np.stack([np.sin(2e3 * np.pi * time), np.sin(2e3 * np.pi * (time - late))], axis=1)
    found = last((sound + 1e-5 * np.random.default_rng(1).standard_normal(sound.shape)).astype(np.float32))
    frame = math.sin(math.pi * 0.7 * 0.1) / (math.pi * 0.7 * 0.1)  # a frame's middle tenth at least is averaged
    assert found.wander_arcmin.value == pytest.approx(0.997 * frame, abs=0.05)


def test_bounds_are_closed_forms() -> None:
    assert clear_below_hz(3.21e-3, SPEED) == pytest.approx(SPEED / (2 * 3.21e-3 * math.tan(math.pi / 180)))
    assert comes_round_arcmin(6300.0, 0.9e-3, SPEED) == pytest.approx(1 / 6300.0 / 5.497e-6, rel=1e-3)


# --- trends ----------------------------------------------------------------------------------------------------------


def test_trends_are_told_only_beyond_doubt() -> None:
    course = Course()
    down = [course.add(5.0 - 0.1 * at, 0.2) for at in range(40)]
    assert set(down[:15]) == {TOO_EARLY}
    assert down[-1] == BETTER
    still = [course.add(1.1, 0.2) for _ in range(30)]
    assert still[-1] == BEST
    assert [course.add(1.1 + 0.1 * at, 0.2) for at in range(20)][-1] == WORSE
    assert [course.add(3.0, 0.2) for _ in range(30)][-1] == STEADY


@given(st.floats(0.0, 10.0), st.floats(0.001, 3.0))
def test_what_stands_still_is_at_its_best(off: float, doubt: float) -> None:
    course = Course()
    assert [course.add(off, doubt) for _ in range(40)][-1] == BEST
