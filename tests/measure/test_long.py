"""Tones of more than a few minutes: read in stretches as they are read whole, in memory that does not grow."""

import tracemalloc
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure import listening
from tapewright.measure.averaged import MeanSpectrum, find_in_mean, mean_lines
from tapewright.measure.flutter import Flutter
from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.measure.reels import find_reels
from tapewright.measure.shares import Shares
from tapewright.words.signal import Line, Trace
from tests.measure import made

RATE_HZ = 8000
ROTORS = (made.Rotor(1.27, 0.06, 1.0), made.Rotor(6.1, 0.09, 0.3), made.Rotor(23.4, 0.04, 2.0))
READINGS = tuple(each.name for each in fields(Flutter))


def long_tone(path: Path, seconds: float, dropouts: int = 0, drift: float = 0.0, seed: int = 1) -> Path:
    draw = np.random.default_rng(seed)
    lines, noise = made.rotors_curve(ROTORS), made.broadband(seconds, 0.03, draw)
    samples, _ = made.tone(
        seconds, lambda t: lines(t) + noise(t) + drift * (t / seconds - 0.5), error_pct=0.43, rate_hz=RATE_HZ
    )
    if dropouts:
        samples = made.with_dropouts(samples, RATE_HZ, draw.uniform(1.0, seconds - 2.0, dropouts).tolist(), 0.03)
    return made.saved(path, made.with_noise(samples, 38.0, draw), RATE_HZ)


@pytest.mark.parametrize(("dropouts", "drift"), [(0, 0.0), (60, 0.0), (0, 0.01)])
def test_in_stretches_as_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dropouts: int, drift: float) -> None:
    """Two roads that must meet: filters over the whole trace, and stretch by stretch."""
    path = long_tone(tmp_path / "t.wav", 400.0, dropouts, drift)
    long = measure_recording(path).channels[0]
    monkeypatch.setattr(listening, "LONG_S", 1e9)
    whole = measure_recording(path).channels[0]
    for name in READINGS:
        first, second = getattr(long, name), getattr(whole, name)
        assert first.value == pytest.approx(second.value, rel=1e-3), name
        assert first.method == second.method
    assert long.speed_error_pct.value == pytest.approx(whole.speed_error_pct.value, abs=1e-5)
    assert long.drift_pct.value == pytest.approx(whole.drift_pct.value, abs=1e-4)
    assert long.tone.start_s == pytest.approx(whole.tone.start_s, abs=1e-3)
    assert long.tone.end_s == pytest.approx(whole.tone.end_s, abs=1e-3)
    assert long.notes == whole.notes
    check_lines(long)


def check_lines(channel: ChannelReadings) -> None:
    """Oracle: the rotors put in, within twice their doubts, four sigma."""
    assert len(channel.lines) == len(ROTORS)
    for line, rotor in zip(channel.lines, ROTORS, strict=True):
        assert line.frequency_hz == pytest.approx(rotor.rate_hz, abs=2.0 * line.frequency_doubt_hz)
        assert line.peak_pct == pytest.approx(rotor.peak_pct, abs=2.0 * line.doubt_pct)
        assert line.doubt_pct < 0.02 * rotor.peak_pct


def test_a_tone_that_ends_early_and_one_that_is_gone_for_a_while(tmp_path: Path) -> None:
    path = long_tone(tmp_path / "t.wav", 420.0)
    samples, _ = soundfile.read(str(path))
    times = np.arange(len(samples)) / RATE_HZ
    gone = (times > 200.0) & (times < 200.4)
    samples[gone | (times > 371.3)] = 1e-3 * np.random.default_rng(1).standard_normal(
        np.count_nonzero(gone | (times > 371.3))
    )
    found = measure_recording(made.saved(path, samples, RATE_HZ)).channels[0]
    assert found.tone.end_s == pytest.approx(371.2, abs=0.05)
    assert found.speed_error_pct.value == pytest.approx(0.43, abs=0.002)
    assert found.weighted_rms_pct.value == pytest.approx(0.0697, rel=0.02)
    assert any("1 dropout," in note for note in found.notes)


def memory_peak(path: Path) -> int:
    tracemalloc.start()
    try:
        measure_recording(path)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def repeated(path: Path, minute: NDArray[np.float32], minutes: int) -> Path:
    with soundfile.SoundFile(str(path), "w", RATE_HZ, 1, subtype="PCM_16", format="RF64") as file:
        for _ in range(minutes):
            file.write(minute)
    return path


@pytest.mark.slow
def test_memory_is_flat_in_length(tmp_path: Path) -> None:
    """An hour and four hours within a tenth; the minute that is repeated joins on without a break."""
    times = np.arange(60 * RATE_HZ) / RATE_HZ
    noise = 0.005 * np.random.default_rng(1).standard_normal(len(times))
    minute = (0.4 * np.sin(2.0 * np.pi * 3150.0 * times - 0.5 * np.cos(2.0 * np.pi * 6.3 * times)) + noise).astype("f4")
    short, long = (memory_peak(repeated(tmp_path / f"{minutes}.rf64", minute, minutes)) for minutes in (60, 240))
    assert long < 1.1 * short
    hiss = (0.1 * np.random.default_rng(2).standard_normal(len(times))).astype("f4")
    short, long = (memory_peak(repeated(tmp_path / f"{minutes}.rf64", hiss, minutes)) for minutes in (60, 240))
    assert long < 1.1 * short


def spectrum(count: int, seed: int, rotors: tuple[made.Rotor, ...] = (), slow_hz: float = 100.0) -> MeanSpectrum:
    """Stretches of 60 s of noise, 0.03 % below `slow_hz`, and rotors, 600 values a second."""
    draw = np.random.default_rng(seed)
    length = 36000
    sections = signal.butter(1, slow_hz, fs=600.0, output="sos")
    noise = signal.sosfilt(sections, draw.standard_normal(length * count + 6000))[6000:]
    speed = 3e-4 * noise / np.std(noise)
    times = np.arange(len(speed)) / 600.0
    if rotors:
        speed = speed + made.rotors_curve(rotors)(times)
    mean = MeanSpectrum(600.0)
    for number in range(count):
        part = signal.detrend(speed[number * length : (number + 1) * length])
        mean.add(part, np.ones(length, dtype=bool), 0.0)
    return mean


@pytest.mark.parametrize("slow_hz", [100.0, 5.0, 0.3])
def test_noise_feigns_few_lines_in_the_mean(slow_hz: float) -> None:
    """Oracle: one in a hundred; 4 or more in 24 has a chance under 0.01 % (Poisson, mean 0.24)."""
    found = [len(find_in_mean(spectrum(6, seed, slow_hz=slow_hz).means()[0])) for seed in range(24)]
    assert np.count_nonzero(found) <= 3


def test_sizes_come_near_the_bound_and_keep_to_their_doubts() -> None:
    """Oracle: the rotors put in; the bound sqrt(S/T) with the background known (closed form of a first-order noise)."""
    rotors = (made.Rotor(1.3, 0.02), made.Rotor(6.2, 0.01, 1.0), made.Rotor(23.0, 0.006, 2.0))
    errors, inside = [], []
    for seed in range(40):
        lines = mean_lines(spectrum(8, 100 + seed, rotors), 0.0, 1.0).lasting
        for rotor in rotors:
            line = min(lines.lines, key=lambda one: abs(one.frequency_hz - rotor.rate_hz))
            errors.append((line.peak_pct - rotor.peak_pct) / bound_pct(rotor.rate_hz, 480.0))
            inside.append(abs(line.peak_pct - rotor.peak_pct) < line.doubt_pct)
    assert np.sqrt(np.mean(np.square(errors))) < 1.4  # 1.25 by the same simulation; 120 values scatter by 0.08
    assert 0.88 < np.mean(inside) < 1.0


def bound_pct(rate_hz: float, seconds: float) -> float:
    """sqrt(S/T), the Cramér-Rao bound of an amplitude (Rife and Boorstyn 1974), S from the noise filter's response."""
    frequency, response = signal.freqz_sos(signal.butter(1, 100.0, fs=600.0, output="sos"), 20001, fs=600.0)
    gain = np.abs(response) ** 2
    density = 9e-8 * float(np.interp(rate_hz, frequency, gain)) / float(np.trapezoid(gain, frequency))
    return 100.0 * float(np.sqrt(density / seconds))


def test_lines_are_followed_in_step_with_the_speed() -> None:
    """A machine that runs 1 % faster at the end: every rate goes with it, and is one line all the same."""
    draw = np.random.default_rng(5)
    mean = MeanSpectrum(600.0)
    for number in range(8):
        faster = 1.0 + 0.01 * number / 7.0
        times = number * 60.0 + np.arange(36000) / 600.0
        speed = 1e-3 * np.cos(2.0 * np.pi * 23.0 * faster * times) + 3e-5 * draw.standard_normal(36000)
        mean.add(speed - speed.mean(), np.ones(36000, dtype=bool), faster - 1.0)
    lines = mean_lines(mean, 0.0, 480.0).lasting
    assert [round(line.frequency_hz, 2) for line in lines.lines] == [23.0]
    assert lines.lines[0].peak_pct == pytest.approx(0.1, rel=0.02)


def slow_trace(seed: int, seconds: float, ends_hz: tuple[float, float] | None, peak: float = 2e-4) -> Trace:
    """Ten values a second of slow noise of 0.02 %, a flywheel, and a reel whose 1/f² runs straight (closed form)."""
    draw = np.random.default_rng(seed)
    times = np.arange(int(10 * seconds)) / 10.0
    noise = signal.sosfilt(signal.butter(1, 1.0, fs=10.0, output="sos"), draw.standard_normal(len(times) + 500))[500:]
    speed = 2e-4 * noise / np.std(noise) + 5e-4 * np.cos(2.0 * np.pi * 2.33 * times)
    if ends_hz is not None:
        first, slope = ends_hz[0] ** -2.0, (ends_hz[1] ** -2.0 - ends_hz[0] ** -2.0) / seconds
        turns = 2.0 * (np.sqrt(first + slope * times) - np.sqrt(first)) / slope
        speed = speed + peak * np.cos(2.0 * np.pi * turns + draw.uniform(0.0, 6.0))
    return Trace(speed, 10.0, 5.0)


FLYWHEEL = (Line(2.33, 0.05, 1e-4, 1e-4, 0.0),)


@pytest.mark.parametrize(
    ("seconds", "ends_hz"),
    [(2700.0, (0.689, 0.33)), (2700.0, (0.33, 0.689)), (600.0, (0.689, 0.62)), (3600.0, (1.38, 0.62))],
)
def test_a_reel_is_followed_over_the_whole_side(seconds: float, ends_hz: tuple[float, float]) -> None:
    """Oracle: the pack's closed form: rate and slowing half way, size within twice its doubt."""
    (reel,) = find_reels(slow_trace(3, seconds, ends_hz), FLYWHEEL)
    middle = ((ends_hz[0] ** -2.0 + ends_hz[1] ** -2.0) / 2.0) ** -0.5
    slowing = (ends_hz[1] ** -2.0 - ends_hz[0] ** -2.0) / seconds * middle**2 / 2.0
    assert reel.line.frequency_hz == pytest.approx(middle, abs=0.003)
    assert reel.slowing_per_s == pytest.approx(slowing, rel=0.05, abs=2e-5)
    assert reel.line.peak_pct == pytest.approx(0.02, abs=2.0 * reel.line.doubt_pct)


def test_no_reel_is_invented_on_a_whole_side() -> None:
    for seed in range(20):
        for seconds in (300.0, 2700.0):
            assert find_reels(slow_trace(seed, seconds, None), FLYWHEEL) == ()


def test_a_reel_in_a_recording(tmp_path: Path) -> None:
    """The same from the sound: twelve minutes of a take-up reel beside a capstan."""
    seconds = 720.0
    draw = np.random.default_rng(3)
    reel = slow_trace(9, seconds, (0.689, 0.5), 6e-4)
    quiet = slow_trace(9, seconds, None)
    own = (reel.values - quiet.values, np.arange(len(quiet.values)) / 10.0)
    fine = signal.resample(np.concatenate([own[0], own[0][::-1]]), 20 * len(own[0]))[: 10 * len(own[0])]
    capstan = made.rotors_curve((made.Rotor(6.1, 0.09),))
    samples, _ = made.tone(
        seconds, lambda t: capstan(t) + np.interp(t, np.arange(len(fine)) / 100.0, fine), rate_hz=RATE_HZ
    )
    found = measure_recording(made.saved(tmp_path / "t.wav", made.with_noise(samples, 40.0, draw), RATE_HZ)).channels[0]
    first = min(found.lines, key=lambda line: line.frequency_hz)
    assert first.frequency_hz == pytest.approx(((0.689**-2 + 0.5**-2) / 2.0) ** -0.5, abs=0.005)
    assert first.peak_pct == pytest.approx(0.06, rel=0.1)
    assert any("take-up" in note for note in found.notes)


def test_shares_are_quantiles() -> None:
    """Oracle: the sorted values."""
    draw = np.random.default_rng(2)
    values = 1e-4 * draw.standard_normal(100_000)
    held = Shares()
    for part in np.array_split(values, 7):
        held.add(part)
    for share in (0.5, 0.05, 0.01):
        assert held.exceeded(share) == pytest.approx(float(np.quantile(np.abs(values), 1.0 - share)), rel=1e-3)


def test_a_channel_that_a_glance_does_not_settle_is_surveyed_beside_one_that_it_does(tmp_path: Path) -> None:
    """Left a long tone; right hiss, and a tone of six seconds in it that is found where it stands."""
    draw = np.random.default_rng(7)
    left, _ = made.tone(120.0, made.rotors_curve((made.Rotor(6.3, 0.1),)), rate_hz=RATE_HZ, error_pct=0.3)
    right = 0.01 * draw.standard_normal(len(left))
    short, _ = made.tone(6.0, rate_hz=RATE_HZ, error_pct=-0.8)
    right[int(71.0 * RATE_HZ) : int(71.0 * RATE_HZ) + len(short)] += short
    both = np.stack([made.with_noise(left, 40.0, draw), right], axis=1)
    first, second = measure_recording(made.saved(tmp_path / "t.wav", both, RATE_HZ)).channels
    assert first.speed_error_pct.value == pytest.approx(0.3, abs=1e-3)
    assert second.speed_error_pct.value == pytest.approx(-0.8, abs=2e-3)
    assert second.tone.start_s == pytest.approx(71.1, abs=0.05)
    alone = measure_recording(made.saved(tmp_path / "a.wav", both[:, 0], RATE_HZ)).channels[0]
    assert alone.weighted_peak_pct == first.weighted_peak_pct
