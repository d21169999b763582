"""What must not change a reading, and what must change it in a known way."""

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapewright.measure import recording
from tapewright.measure.audio import open_recording, sound_blocks
from tapewright.measure.recording import ChannelReadings, measure_recording
from tests.measure import made

RATE_HZ = 22050
FEW = settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
READINGS = (
    "speed_error_pct",
    "weighted_peak_pct",
    "weighted_quasi_peak_pct",
    "weighted_rms_pct",
    "unweighted_peak_pct",
    "unweighted_rms_pct",
)


def a_tone(seed: int, seconds: float = 8.0) -> np.ndarray:
    draw = np.random.default_rng(seed)
    rotors = made.rotors_curve((made.Rotor(draw.uniform(1.0, 30.0), 0.1, draw.uniform(0.0, 6.0)),))
    noise = made.broadband(seconds, 0.03, draw)
    samples, _ = made.tone(seconds, lambda t: rotors(t) + noise(t), error_pct=draw.uniform(-3.0, 3.0), rate_hz=RATE_HZ)
    return made.with_noise(samples, 40.0, draw)


def values(channel: ChannelReadings) -> list[float]:
    return [getattr(channel, name).value for name in READINGS]


@FEW
@given(seed=st.integers(0, 1000), gain=st.floats(1e-3, 1.9))
def test_the_level_changes_no_reading(tmp_path: Path, seed: int, gain: float) -> None:
    samples = a_tone(seed)
    first, second = (
        measure_recording(made.saved(tmp_path / f"{number}.wav", scale * samples, RATE_HZ, "DOUBLE")).channels[0]
        for number, scale in enumerate((1.0, gain * 0.5 / np.max(np.abs(samples))))
    )
    assert values(second) == pytest.approx(values(first), rel=1e-4, abs=1e-7)
    assert len(second.lines) == len(first.lines)


@FEW
@given(seed=st.integers(0, 1000), silence_s=st.floats(0.2, 3.0))
def test_silence_before_the_tone_shifts_it_and_no_more(tmp_path: Path, seed: int, silence_s: float) -> None:
    samples = a_tone(seed)
    silence = np.zeros(int(silence_s * RATE_HZ))
    plain = measure_recording(made.saved(tmp_path / "a.wav", samples, RATE_HZ)).channels[0]
    later = measure_recording(made.saved(tmp_path / "b.wav", np.concatenate([silence, samples]), RATE_HZ)).channels[0]
    assert plain.tone.start_s is not None
    assert later.tone.start_s == pytest.approx(plain.tone.start_s + len(silence) / RATE_HZ, abs=0.03)
    assert values(later) == pytest.approx(values(plain), rel=0.02, abs=2e-3)


@FEW
@given(seed=st.integers(0, 1000), other=st.integers(1001, 2000))
def test_swapping_channels_swaps_the_answers(tmp_path: Path, seed: int, other: int) -> None:
    left, right = a_tone(seed), a_tone(other)
    one = measure_recording(made.saved(tmp_path / "a.wav", np.stack([left, right], axis=1), RATE_HZ)).channels
    two = measure_recording(made.saved(tmp_path / "b.wav", np.stack([right, left], axis=1), RATE_HZ)).channels
    alone = measure_recording(made.saved(tmp_path / "c.wav", left, RATE_HZ)).channels[0]
    assert values(one[0]) == values(two[1]) == values(alone)
    assert values(one[1]) == values(two[0])
    assert one[0].lines == two[1].lines


@FEW
@given(seed=st.integers(0, 1000))
def test_a_tone_played_backwards_has_the_same_rms(tmp_path: Path, seed: int) -> None:
    samples = a_tone(seed)
    there = measure_recording(made.saved(tmp_path / "a.wav", samples, RATE_HZ)).channels[0]
    back = measure_recording(made.saved(tmp_path / "b.wav", samples[::-1], RATE_HZ)).channels[0]
    assert back.unweighted_rms_pct.value == pytest.approx(there.unweighted_rms_pct.value, rel=0.01)
    assert back.speed_error_pct.value == pytest.approx(there.speed_error_pct.value, abs=1e-4)


@FEW
@given(block=st.integers(1, 40000), start=st.integers(0, 9000), count=st.integers(1, 9000))
def test_blocks_of_any_size_are_the_file(tmp_path: Path, block: int, start: int, count: int) -> None:
    samples = np.stack([a_tone(1, 1.0), a_tone(2, 1.0)], axis=1)
    opened = open_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ, "FLOAT"))
    read = np.concatenate([one.copy() for one in sound_blocks(opened, start, start + count, block)])
    np.testing.assert_array_equal(read, samples[start : start + count].astype(np.float32))


def test_progress_goes_from_nothing_to_all(tmp_path: Path) -> None:
    told: list[float] = []
    samples, _ = made.tone(12.0)
    measure_recording(made.saved(tmp_path / "t.wav", samples), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) >= 5


def test_twice_is_the_same(tmp_path: Path) -> None:
    path = made.saved(tmp_path / "t.wav", a_tone(7), RATE_HZ)
    assert values(measure_recording(path).channels[0]) == values(measure_recording(path).channels[0])


def test_a_silent_channel_beside_a_tone(tmp_path: Path) -> None:
    samples = a_tone(3)
    path = made.saved(tmp_path / "t.wav", np.stack([samples, np.zeros(len(samples))], axis=1), RATE_HZ)
    left, right = measure_recording(path).channels
    assert left.tone.found
    assert right.tone.why_not == "The channel is silent."


def test_memory_does_not_grow_with_the_sample_rate(tmp_path: Path) -> None:
    """A minute of stereo at 96 kHz is 46 MB in single precision; only the thinned trace may be held whole."""
    samples, _ = made.tone(60.0, rate_hz=96000)
    path = made.saved(tmp_path / "t.wav", np.stack([samples, samples], axis=1), 96000)
    del samples
    tracemalloc.start()
    try:
        measure_recording(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 40e6


def test_a_long_recording_is_read_at_a_glance_as_it_is_read_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two roads that must meet: a look at some frames first, and a look at all of them."""
    draw = np.random.default_rng(4)
    curve = made.rotors_curve((made.Rotor(6.1, 0.08), made.Rotor(1.3, 0.05)))
    samples, _ = made.tone(75.0, curve, rate_hz=RATE_HZ, error_pct=0.7)
    samples = made.with_dropouts(made.with_noise(samples, 40.0, draw), RATE_HZ, [20.0, 41.0, 61.3], 0.08)
    samples[int(4.0 * RATE_HZ) : int(4.01 * RATE_HZ)] = 1.0
    path = made.saved(tmp_path / "t.wav", samples, RATE_HZ)
    glanced = measure_recording(path).channels[0]
    monkeypatch.setattr(recording, "glimpses", lambda recording, tone_hz: None)
    whole = measure_recording(path).channels[0]
    assert values(glanced) == pytest.approx(values(whole), rel=1e-4)
    assert glanced.tone.start_s == pytest.approx(whole.tone.start_s, abs=0.01)
    assert glanced.tone.end_s == pytest.approx(whole.tone.end_s, abs=0.01)
    assert glanced.tone.snr_db == pytest.approx(whole.tone.snr_db, abs=0.5)
    assert glanced.notes == whole.notes
    assert any("clipped" in note for note in glanced.notes)


@pytest.mark.parametrize("seed", range(3))
def test_what_comes_between_the_glimpses_is_not_missed(tmp_path: Path, seed: int) -> None:
    """A tone in half-second bursts, or one that ends half way, is treated as the whole file says."""
    draw = np.random.default_rng(seed)
    samples, _ = made.tone(70.0, rate_hz=RATE_HZ)
    times = np.arange(len(samples)) / RATE_HZ
    beeps = np.where(times % draw.uniform(0.6, 1.5) < 0.3, samples, 0.0)
    assert not measure_recording(made.saved(tmp_path / "a.wav", beeps, RATE_HZ)).channels[0].tone.found
    ends_s = draw.uniform(35.0, 60.0)
    half = np.where(times < ends_s, samples, 1e-3 * draw.standard_normal(len(times)))
    found = measure_recording(made.saved(tmp_path / "b.wav", half, RATE_HZ)).channels[0]
    assert found.tone.end_s == pytest.approx(ends_s - 0.1, abs=0.03)
