"""A tone read while it comes in: what is shown is what the file would say, soon enough, or a reason and no number."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.live import STEP_S, LiveMeter, Moment
from tapewright.measure.live_follower import NOW_S
from tapewright.measure.recording import measure_recording
from tapewright.measure.speed import Clock
from tests.measure import made
from tests.measure.test_no_number import KINDS, RATE_HZ

RATE = 48000
LINES = made.rotors_curve((made.Rotor(2.4, 0.05, 1.0), made.Rotor(8.0, 0.09, 0.3)))
Samples = NDArray[np.float64]


def played(samples: Samples, rate_hz: int = RATE, block: int = 2048, meter: LiveMeter | None = None) -> list[Moment]:
    """Show samples, shape (n,) or (n, channels), to a meter in blocks."""
    columns = (samples if samples.ndim == 2 else samples[:, None]).astype(np.float32)
    meter = LiveMeter(rate_hz, columns.shape[1]) if meter is None else meter
    return [one for at in range(0, len(columns), block) for one in meter.add(columns[at : at + block])]


def numbers(moment: Moment) -> list[float]:
    readings = (moment.now, moment.mean, moment.weighted_peak, moment.weighted_rms)
    return [one.value for one in readings if one.value is not None]


@pytest.fixture(scope="module")
def wavering() -> Samples:
    draw = np.random.default_rng(5)
    samples, _ = made.tone(20.0, LINES, error_pct=0.5, rate_hz=RATE)
    return made.with_noise(samples, 45.0, draw)


def test_what_is_shown_agrees_with_what_the_file_says_within_both_doubts(wavering: Samples, tmp_path: Path) -> None:
    shown = played(wavering)[-1]
    file = measure_recording(made.saved(tmp_path / "a.wav", wavering[-10 * RATE :], RATE)).channels[0]
    pairs = (
        (shown.mean, file.speed_error_pct),
        (shown.weighted_peak, file.weighted_peak_pct),
        (shown.weighted_rms, file.weighted_rms_pct),
    )
    for live, read in pairs:
        assert live.value is not None
        assert read.value is not None
        assert abs(live.value - read.value) <= np.hypot(live.doubt or 0.0, read.doubt or 0.0)
        assert live.value == pytest.approx(read.value, rel=0.05, abs=0.002)


def test_speed_now_is_the_mean_of_the_curve_over_the_last_half_second() -> None:
    samples, speed = made.tone(8.0, LINES, error_pct=-1.2, rate_hz=RATE)
    for moment in played(samples)[40::7]:
        end = round((moment.time_s - 0.03) * RATE)  # filter and differentiator hold the last 30 ms back
        truth = 100.0 * float(np.mean(speed[end - round(NOW_S * RATE) : end]))
        assert moment.now.value == pytest.approx(truth, abs=0.02)


def test_a_turn_of_the_screw_is_on_the_curve_within_three_tenths_of_a_second() -> None:
    at_s = 6.03
    samples, _ = made.tone(8.0, lambda t: np.where(t < at_s, 0.0, 0.01), rate_hz=RATE)
    seen = [one.time_s for one in played(samples) if any(point > 0.5 for point in one.curve_pct)]
    assert 0.0 < seen[0] - at_s < 0.3


@given(st.lists(st.integers(1, 9000), min_size=3, max_size=12))
@settings(max_examples=8, deadline=None)
def test_how_the_sound_is_cut_into_blocks_changes_nothing(cuts: list[int]) -> None:
    samples = made.tone(5.0, LINES, rate_hz=RATE)[0].astype(np.float32)[:, None]
    meter, at = LiveMeter(RATE, 1), 0
    found: list[Moment] = []
    while at < len(samples):
        count = cuts[len(found) % len(cuts)] if at < 2 * RATE else 7000
        found += meter.add(samples[at : at + count])
        at += count
    whole = LiveMeter(RATE, 1).add(samples)
    assert [one.time_s for one in found] == [one.time_s for one in whole]
    assert [numbers(one) for one in found] == [pytest.approx(numbers(one), abs=1e-9) for one in whole]


def test_points_of_the_curve_come_once_each_and_at_their_pace(wavering: Samples) -> None:
    points = [point for one in played(wavering)[60:] for point in one.curve_pct]
    assert len(points) == pytest.approx((20.0 - 6.0) * 40.0, rel=0.03)
    assert float(np.mean(points)) == pytest.approx(0.5, abs=0.02)


def numbers_without_a_tone(seeds: range) -> list[str]:
    wrong = []
    for seed in seeds:
        kind = KINDS[seed % len(KINDS)]
        samples = kind(np.random.default_rng(seed))
        moments = played(samples / max(1.0, 1.4 * float(np.max(np.abs(samples)))), RATE_HZ)
        assert all(moment.now.why_not for moment in moments if moment.now.value is None)
        wrong += [f"{kind.__name__} {seed} at {one.time_s:.1f} s: {one.tone}" for one in moments if numbers(one)][:1]
    return wrong


def test_no_number_from_what_is_no_tone() -> None:
    assert numbers_without_a_tone(range(12)) == []


@pytest.mark.slow
def test_no_number_from_a_hundred_that_are_no_tone() -> None:
    assert numbers_without_a_tone(range(12, 112)) == []


def test_nothing_is_shown_of_a_tone_at_no_usual_pitch_unless_it_was_said() -> None:
    samples, _ = made.tone(6.0, tone_hz=1000.0, rate_hz=RATE)
    assert "say what it is" in (played(samples)[-1].now.why_not or "")
    told = played(samples, meter=LiveMeter(RATE, 1, tone_hz=1000.0))[-1]
    assert told.now.value == pytest.approx(0.0, abs=0.001)


def test_the_number_goes_when_the_tone_stops_and_comes_back_with_it() -> None:
    tone = made.tone(6.0, rate_hz=RATE)[0]
    moments = played(np.concatenate([tone, np.zeros(3 * RATE), tone]))
    shown = [one.time_s for one in moments if one.now.value is not None]
    assert not [at for at in shown if 6.0 + NOW_S + 2 * STEP_S < at < 9.0]
    assert [at for at in shown if at < 6.0]
    assert [at for at in shown if at > 13.0]


def test_lost_sound_is_said_and_reading_begins_anew() -> None:
    samples = made.tone(8.0, LINES, rate_hz=RATE)[0].astype(np.float32)[:, None]
    meter = LiveMeter(RATE, 1)
    assert numbers(meter.add(samples)[-1])
    meter.lost(0.02)
    after = meter.add(samples[: 2 * RATE])
    assert [numbers(one) for one in after] == [[]] * len(after)
    assert "Sound was lost" in " ".join(after[-1].remarks)


def test_an_overdriven_input_is_said() -> None:
    samples = np.clip(2.0 * made.tone(4.0, rate_hz=RATE)[0], -0.5, 0.5) * 2.0
    assert "overdriven" in " ".join(played(samples)[-1].remarks)


def test_channels_are_read_each_for_itself() -> None:
    left, right = made.tone(6.0, error_pct=1.0, rate_hz=RATE)[0], made.tone(6.0, error_pct=-1.0, rate_hz=RATE)[0]
    moments = played(np.stack([left, right, np.zeros(len(left))], axis=1))[-3:]
    assert [one.channel for one in moments] == [1, 2, 3]
    assert [one.now.value for one in moments] == [pytest.approx(1.0, abs=0.01), pytest.approx(-1.0, abs=0.01), None]


def test_the_level_is_the_tones(wavering: Samples) -> None:
    # A sine of amplitude a stands 20 lg a under full scale (definition).
    assert played(wavering)[-1].level_db == pytest.approx(20.0 * np.log10(0.5), abs=0.1)


def test_a_clock_that_is_off_is_taken_out() -> None:
    samples, _ = made.tone(6.0, rate_hz=RATE)
    shown = played(samples, meter=LiveMeter(RATE, 1, clock=Clock(100.0, 5.0)))[-1]
    assert shown.mean.value == pytest.approx(0.01, abs=0.0005)  # 100 parts in a million


@pytest.mark.parametrize(("rate_hz", "channels"), [(4000.0, 1), (48000.0, 0)])
def test_what_cannot_be_read_is_refused(rate_hz: float, channels: int) -> None:
    with pytest.raises(ValueError, match="cannot be read"):
        LiveMeter(rate_hz, channels)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 96000])
def test_any_usual_rate_will_do(rate_hz: int) -> None:
    samples, _ = made.tone(6.0, error_pct=0.3, rate_hz=rate_hz)
    assert played(samples, rate_hz)[-1].now.value == pytest.approx(0.3, abs=0.005)
