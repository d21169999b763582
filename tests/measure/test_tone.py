"""What is a test tone, what is none, and where it stands in a file."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.recording import measure_recording
from tests.measure import made

RATE_HZ = 44100
TIMES = np.arange(12 * RATE_HZ) / RATE_HZ
Samples = NDArray[np.float64]


def draw(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def sine(frequency_hz: float) -> Samples:
    return np.sin(2.0 * np.pi * frequency_hz * TIMES)


def swung(share: float, rate_hz: float) -> Samples:
    turns = np.cumsum(3150.0 * (1.0 + share * np.sin(2.0 * np.pi * rate_hz * TIMES))) / RATE_HZ
    return 0.5 * np.sin(2.0 * np.pi * turns)


def narrow_noise(low_hz: float, high_hz: float, seed: int) -> Samples:
    band = signal.butter(2, [low_hz, high_hz], "band", fs=RATE_HZ, output="sos")
    noise = signal.sosfilt(band, draw(seed).standard_normal(len(TIMES)))
    return np.asarray(0.3 * noise / np.std(noise))


NO_TONE: dict[str, Callable[[], Samples]] = {
    "white noise": lambda: 0.2 * draw(1).standard_normal(len(TIMES)),
    "rumbling noise": lambda: np.asarray(signal.lfilter([0.05], [1.0, -0.98], draw(2).standard_normal(len(TIMES)))),
    "silence with dither": lambda: draw(3).integers(-1, 2, len(TIMES)) / 32768.0,
    "noise 3.0 to 3.3 kHz": lambda: narrow_noise(3000.0, 3300.0, 4),
    "noise 20 Hz wide": lambda: narrow_noise(3140.0, 3160.0, 5),
    "noise 4 Hz wide": lambda: narrow_noise(3148.0, 3152.0, 6),
    "sweep": lambda: 0.5 * np.asarray(signal.chirp(TIMES, 300.0, 12.0, 9000.0, "logarithmic")),
    "slow sweep": lambda: 0.5 * np.asarray(signal.chirp(TIMES, 2900.0, 12.0, 3300.0)),
    "third": lambda: 0.3 * (sine(1000.0) + sine(1250.0)),
    "two test tones at once": lambda: 0.3 * (sine(3150.0) + sine(3000.0)),
    "beating tones": lambda: 0.3 * (sine(3150.0) + sine(3170.0)),
    "tones 5 Hz apart, one half as loud": lambda: 0.3 * (sine(3150.0) + 0.5 * sine(3155.0)),
    "tones 100 Hz apart, one a third as loud": lambda: 0.3 * (sine(3150.0) + 0.3 * sine(3250.0)),
    "triad": lambda: 0.2 * (sine(880.0) + sine(1108.7) + sine(1318.5)),
    "10 % at 5 Hz": lambda: swung(0.1, 5.0),
    "8 % at 0.2 Hz": lambda: swung(0.08, 0.2),
    "20 % at 50 Hz": lambda: swung(0.2, 50.0),
    "8 % at 3 Hz": lambda: swung(0.08, 3.0),
    "beeps": lambda: 0.5 * sine(3150.0) * (TIMES % 1.0 < 0.4),
    "fast beeps": lambda: 0.5 * sine(3150.0) * (TIMES % 0.2 < 0.1),
    "notes that die away": lambda: 0.5 * sine(880.0) * np.exp(-3.0 * (TIMES % 2.5)),
    "pulses": lambda: np.where((500.0 * TIMES) % 1.0 < 0.06, 0.6, 0.0),
    "a second of tone": lambda: 0.5 * sine(3150.0) * (TIMES < 1.0),
}


@pytest.mark.parametrize("what", NO_TONE)
def test_no_number_without_a_tone(tmp_path: Path, what: str) -> None:
    samples = NO_TONE[what]()
    found = measure_recording(
        made.saved(tmp_path / "t.wav", 0.9 * samples / max(1.0, np.max(np.abs(samples))))
    ).channels[0]
    assert not found.tone.found
    assert found.tone.frequency_hz is None
    assert len(found.tone.why_not or "") > 20
    for reading in (found.speed_error_pct, found.drift_pct, found.weighted_peak_pct, found.unweighted_rms_pct):
        assert reading.value is None
        assert reading.why_not == found.tone.why_not
    assert found.lines == ()
    assert found.trace is None


@pytest.mark.parametrize(
    ("frequency_hz", "rate_hz"), [(600.0, 44100), (1579.3, 8000), (3150.0, 11025), (3150.0, 192000), (9990.0, 48000)]
)
def test_tones_from_half_to_ten_kilohertz_at_any_rate(tmp_path: Path, frequency_hz: float, rate_hz: int) -> None:
    samples, _ = made.tone(8.0, made.rotors_curve((made.Rotor(5.0, 0.2),)), tone_hz=frequency_hz, rate_hz=rate_hz)
    found = measure_recording(made.saved(tmp_path / "t.wav", samples, rate_hz)).channels[0]
    assert found.tone.frequency_hz == pytest.approx(frequency_hz, rel=2e-5)
    assert found.weighted_peak_pct.value == pytest.approx(0.2 * 0.99692 * 0.9744, rel=0.01)  # the network at 5 Hz
    assert found.unweighted_rms_pct.value == pytest.approx(0.2 / np.sqrt(2.0), rel=0.01)


def test_a_tone_in_the_middle_of_a_file(tmp_path: Path) -> None:
    samples = np.where((TIMES > 3.0) & (TIMES < 10.0), 0.5 * sine(3093.0), 0.005 * draw(7).standard_normal(len(TIMES)))
    found = measure_recording(made.saved(tmp_path / "t.wav", samples)).channels[0]
    assert found.tone.start_s == pytest.approx(3.1, abs=0.05)  # a tenth of a second inside the edge
    assert found.tone.end_s == pytest.approx(9.9, abs=0.05)
    assert found.tone.frequency_hz == pytest.approx(3093.0, abs=0.01)
    assert any("holds 6.8 s of 12.0 s" in note for note in found.notes)


def test_of_several_tones_the_test_tone_is_taken_and_another_when_told(tmp_path: Path) -> None:
    samples = np.select([TIMES < 5.0, TIMES < 8.0], [0.5 * sine(1000.0), 0.3 * sine(3120.0)], 0.5 * sine(8000.0))
    path = made.saved(tmp_path / "t.wav", samples)
    assert measure_recording(path).channels[0].tone.frequency_hz == pytest.approx(3120.0, abs=0.02)
    told = measure_recording(path, 8100.0).channels[0]
    assert told.tone.frequency_hz == pytest.approx(8000.0, abs=0.02)
    assert told.speed_error_pct.value == pytest.approx(-1.2346, abs=0.001)


@pytest.mark.parametrize("snr_db", [40.0, 20.0, 10.0])
def test_signal_to_noise(tmp_path: Path, snr_db: float) -> None:
    """Oracle: white noise over the whole band, of which 300 Hz to 22.05 kHz counts (0.06 dB less)."""
    samples, _ = made.tone(8.0)
    path = made.saved(tmp_path / "t.wav", made.with_noise(samples, snr_db, draw(8)))
    assert measure_recording(path).channels[0].tone.snr_db == pytest.approx(snr_db, abs=0.7)


def test_a_tone_lost_in_noise_is_refused(tmp_path: Path) -> None:
    samples, _ = made.tone(8.0)
    path = made.saved(tmp_path / "t.wav", 0.2 * made.with_noise(samples, -6.0, draw(9)))
    assert not measure_recording(path).channels[0].tone.found


def test_dropouts_are_neither_counted_nor_mistaken_for_the_end(tmp_path: Path) -> None:
    samples, _ = made.tone(20.0, made.rotors_curve((made.Rotor(4.0, 0.1),)))
    samples = made.with_dropouts(samples, RATE_HZ, [2.0, 5.5, 9.1, 9.2, 14.0], 0.03, 1.0)
    samples = made.with_dropouts(samples, RATE_HZ, [12.0], 0.3, 1.0)
    noisy = made.with_noise(samples, 40.0, draw(10))
    found = measure_recording(made.saved(tmp_path / "t.wav", noisy)).channels[0]
    assert found.tone.end_s == pytest.approx(19.9, abs=0.05)
    assert found.weighted_peak_pct.value == pytest.approx(0.0997, rel=0.01)
    assert [line.frequency_hz for line in found.lines] == [pytest.approx(4.0, abs=0.01)]
    assert found.lines[0].peak_pct == pytest.approx(0.1, abs=max(found.lines[0].doubt_pct, 0.001))
    assert any(note.startswith("6 dropouts") for note in found.notes)
