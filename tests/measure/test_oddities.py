"""What is said besides the readings: a square wave, hum beside the tone, level, the sound card's clock."""

from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from tapewright.measure.recording import measure_recording
from tapewright.measure.square import folded_hz
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.problem import InputAtFaultError
from tests.measure import made

RATE_HZ = 44100
TIMES = np.arange(12 * RATE_HZ) / RATE_HZ


def square(frequency_hz: float, slope: float = 0.0) -> np.ndarray:
    """Edges on whole samples, as a computer sets them; `slope` lets the highs stand out, as a short cable does."""
    wave = np.where((TIMES * frequency_hz) % 1.0 < 0.5, 0.4, -0.4)
    return wave - slope * np.concatenate([[0.0], wave[:-1]])


def test_the_square_wave_from_outside(shared_data: Path) -> None:
    """Oracle: the folder's README: lines near 39.4 and 60.6 Hz that must not be blamed on a part.

    The README lays them to edges on whole samples. They also stand exactly where odd harmonics of 50 Hz (650 and
    750 Hz) beat with 689.3 Hz, while folded harmonics would stand at 15.8 Hz and its multiples; so both are said.
    """
    found = measure_recording(shared_data / "not_tape" / "direct_square_wave.wav").channels[0]
    assert not found.tone.found
    why = found.tone.why_not or ""
    assert "39.4" in why
    assert "60.6" in why
    assert "sampling artefacts of a square wave" in why
    assert found.lines == ()


@pytest.mark.parametrize("frequency_hz", [689.31, 1001.7, 1203.3])
def test_a_square_wave_is_called_one(tmp_path: Path, frequency_hz: float) -> None:
    found = measure_recording(made.saved(tmp_path / "t.wav", square(frequency_hz, 0.6), RATE_HZ)).channels[0]
    assert not found.tone.found
    assert "computer's square wave" in (found.tone.why_not or "")


@pytest.mark.parametrize("frequency_hz", [3141.7, 2987.3, 1001.7])
def test_a_square_wave_whose_fundamental_holds_most_is_warned_of(tmp_path: Path, frequency_hz: float) -> None:
    """Edges on whole samples, no speed of its own: refused, or read with the warning that its lines are no part's."""
    samples = made.with_noise(square(frequency_hz), 50.0, np.random.default_rng(2))
    found = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ), frequency_hz).channels[0]
    said = " ".join([found.tone.why_not or "", *found.notes])
    assert "square wave" in said
    assert "no part" in said


def test_where_a_square_wave_feigns_lines() -> None:
    """Oracle: a Fourier sum of the wave itself over whole seconds: what stands within 60 Hz of the fundamental."""
    wave = square(1001.7)[: 10 * RATE_HZ]
    size = np.abs(np.fft.rfft(wave * np.hanning(len(wave))))
    near = size[9417:10618]
    peaks = [at for at in range(4, 1197) if near[at] > 5e-3 * near[600] and near[at] == near[at - 4 : at + 5].max()]
    apart = sorted({round(abs(at - 600) / 10.0, 1) for at in peaks} - {0.0})
    assert apart == [25.2, 50.4]
    feigned = folded_hz(1001.7, RATE_HZ, 60.0)
    assert all(np.abs(feigned - one).min() < 0.05 for one in apart)


def test_a_tone_clipped_by_the_recorder_is_still_read(tmp_path: Path) -> None:
    """Its overtones are strong as well; the speed of a machine is there all the same."""
    curve = made.rotors_curve((made.Rotor(6.3, 0.1), made.Rotor(2.3, 0.05)))
    samples, _ = made.tone(12.0, curve)
    noisy = made.with_noise(samples, 45.0, np.random.default_rng(4))
    found = measure_recording(made.saved(tmp_path / "t.wav", np.clip(3.0 * noisy, -0.9, 0.9), RATE_HZ)).channels[0]
    assert found.tone.found
    strongest = sorted(found.lines, key=lambda line: -line.peak_pct)[:2]
    assert sorted(round(line.frequency_hz, 1) for line in strongest) == [2.3, 6.3]


def test_an_instrument_with_the_same_pitch_is_no_square_wave(tmp_path: Path) -> None:
    turns = 689.3 * TIMES
    samples = sum((0.5**order * np.sin(2.0 * np.pi * order * turns) for order in range(1, 12)), np.zeros(len(TIMES)))
    found = measure_recording(made.saved(tmp_path / "t.wav", 0.4 * samples, RATE_HZ)).channels[0]
    assert "square" not in (found.tone.why_not or "")


def test_hum_that_beats_with_the_tone_is_said(tmp_path: Path) -> None:
    """A harmonic of 50 Hz, 40 dB down and 28 Hz from the tone, looks like a line of 28 Hz."""
    samples, _ = made.tone(12.0, tone_hz=3122.0)
    beside = 0.005 * np.sin(2.0 * np.pi * 3150.0 * TIMES)
    noisy = made.with_noise(samples + beside, 60.0, np.random.default_rng(1))
    found = measure_recording(made.saved(tmp_path / "t.wav", noisy, RATE_HZ)).channels[0]
    assert [round(line.frequency_hz, 1) for line in found.lines] == [28.0]
    assert any("3150 Hz, a harmonic of the mains" in note for note in found.notes)


def test_level_that_swings_or_sags_is_said_and_changes_nothing(tmp_path: Path) -> None:
    curve = made.rotors_curve((made.Rotor(4.0, 0.1),))
    samples, _ = made.tone(12.0, curve, amplitude=0.3)
    uneven = samples * (1.0 + 0.2 * np.sin(2.0 * np.pi * 9.0 * TIMES)) * np.exp(-0.03 * TIMES)
    plain, found = (
        measure_recording(
            made.saved(tmp_path / f"{at}.wav", made.with_noise(one, 60.0, np.random.default_rng(3)), RATE_HZ)
        ).channels[0]
        for at, one in enumerate((samples, uneven))
    )
    assert found.weighted_peak_pct.value == pytest.approx(plain.weighted_peak_pct.value, rel=0.002)
    assert any("modulated by 20 % at 9.0 Hz" in note for note in found.notes)
    said = next(note for note in found.notes if note.startswith("The level changes by"))
    assert float(said.split()[4]) == pytest.approx(-0.03 * 11.8 * 0.9 * 8.686, abs=0.4)  # from tenth to tenth
    assert not any("level" in note.lower() for note in plain.notes)


@pytest.mark.parametrize(("error_ppm", "doubt_ppm"), [(100.0, 5.0), (-40.0, 20.0), (0.0, 50.0)])
def test_the_clock_of_the_sound_card(tmp_path: Path, error_ppm: float, doubt_ppm: float) -> None:
    """Oracle: a clock that runs fast by so much shows the tone too low by as much; its doubt adds in squares."""
    samples, _ = made.tone(10.0, tone_hz=3150.0 * 1.004 / (1.0 + 1e-6 * error_ppm))
    path = made.saved(tmp_path / "t.wav", made.with_noise(samples, 50.0, np.random.default_rng(1)), RATE_HZ)
    plain = measure_recording(path).channels[0].speed_error_pct
    told = measure_recording(path, clock_error_ppm=error_ppm, clock_doubt_ppm=doubt_ppm).channels[0].speed_error_pct
    assert told.value == pytest.approx(0.4, abs=1e-5)
    assert plain.value == pytest.approx(0.4 - 1e-4 * error_ppm * 1.004, abs=1e-5)
    assert told.doubt == pytest.approx(np.hypot(plain.doubt or 0.0, 1e-4 * doubt_ppm), rel=0.01)
    assert "clock" in told.conditions


@pytest.mark.parametrize(("error_ppm", "doubt_ppm"), [(5000.0, 0.0), (0.0, -1.0), (float("nan"), 0.0)])
def test_no_sound_card_has_such_a_clock(tmp_path: Path, error_ppm: float, doubt_ppm: float) -> None:
    path = made.saved(tmp_path / "t.wav", made.tone(2.0)[0])
    with pytest.raises(InputAtFaultError, match="clock"):
        measure_recording(path, clock_error_ppm=error_ppm, clock_doubt_ppm=doubt_ppm)


def test_the_phase_tells_how_far_the_tape_went_in_a_dropout(tmp_path: Path) -> None:
    """Oracle: the speed curve itself, where it counts: slow flutter runs on through twenty gaps."""
    draw = np.random.default_rng(8)
    curve = made.broadband(12.0, 0.1, draw)
    samples, speed = made.tone(12.0, curve)
    broken = made.with_dropouts(samples, RATE_HZ, np.linspace(2.5, 11.5, 20).tolist(), 0.03, 1.0)
    path = made.saved(tmp_path / "t.wav", made.with_noise(broken, 50.0, draw), RATE_HZ)
    found = measure_recording(path).channels[0]
    assert found.trace is not None
    assert found.tone.start_s is not None
    flat = signal.detrend(signal.resample_poly(speed, 1, 21))
    spectrum = np.fft.rfft(flat, 2 * len(flat)) * weighting_response(np.fft.rfftfreq(2 * len(flat), 21.0 / RATE_HZ))
    weighted = 100.0 * np.fft.irfft(spectrum, 2 * len(flat))[: len(flat)]
    times = np.arange(len(flat)) * 21.0 / RATE_HZ
    there = np.interp(times, found.trace.times_s, np.isfinite(found.trace.values).astype(float)) > 0.99
    counted = there & (times > found.tone.start_s + 2.0) & (times < 11.9)
    assert np.mean(there) < 0.95
    assert found.weighted_rms_pct.value == pytest.approx(float(np.sqrt(np.mean(weighted[counted] ** 2))), rel=0.005)
