"""Two tracks of one tone read as one: what it gains, and when it is not done."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.measure.follow import Followed
from tapewright.measure.recording import ChannelReadings, RecordingReadings, measure_recording
from tapewright.measure.together import together
from tests.measure import made

TRACE_HZ = 1225.0
RATE_HZ = 16000


def tracks(seed: int, noises: tuple[float, float] = (1e-7, 1e-7), seconds: float = 12.0) -> tuple[Followed, ...]:
    """Two tracks with one speed curve and noises of these densities (rad²/Hz) of their own, and a skew between them."""
    draw = np.random.default_rng(seed)
    times = np.arange(int(seconds * TRACE_HZ)) / TRACE_HZ
    speed = made.rotors_curve((made.Rotor(6.2, 0.05, 1.0),))(times) + made.broadband(seconds, 0.01, draw)(times)
    common = 2.0 * np.pi * 3150.0 * np.cumsum(speed) / TRACE_HZ
    skew = (np.zeros(len(times)), 1.3 + 0.05 * np.sin(2.0 * np.pi * 0.1 * times))
    whole = np.zeros(len(times), dtype=np.intp)
    return tuple(
        Followed(
            common + apart + np.sqrt(noise * TRACE_HZ / 2.0) * draw.standard_normal(len(times)),
            np.ones(len(times)), whole, TRACE_HZ, 0.0, 3150.0, 0, 0.0, noise, 0.5, 0.0,
        )
        for noise, apart in zip(noises, skew, strict=True)
    )  # fmt: skip


def fast_errors(tone: Followed, seed: int) -> float:
    """How far the phase is from the common one above 4 Hz, rms: the noise that is left. Oracle: the curve put in."""
    quiet = tracks(seed, (1e-30, 1e-30))[0]
    spectrum = np.fft.rfft(tone.phase_rad - quiet.phase_rad)
    frequency = np.fft.rfftfreq(len(tone.phase_rad), 1.0 / TRACE_HZ)
    return float(np.sqrt(np.mean(np.abs(spectrum[(frequency > 4.0) & (frequency < 200.0)]) ** 2)))


@pytest.mark.parametrize("noises", [(1e-7, 1e-7), (1e-7, 3e-7), (4e-7, 1e-7)])
def test_the_noise_falls_as_the_inverse_variance_mean_does(noises: tuple[float, float]) -> None:
    """Oracle: 1/N = 1/N1 + 1/N2, for equal noises 1/sqrt 2 of the error; 20 records of 4700 values scatter by 0.3 %."""
    ratios = []
    for seed in range(20):
        first, second = tracks(seed, noises)
        both = together(first, second)
        assert both.tone is not None, both.why_not
        ratios.append(fast_errors(both.tone, seed) / fast_errors(first, seed))
    expected = np.sqrt(1.0 / (1.0 / noises[0] + 1.0 / noises[1]) / noises[0])
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(expected, rel=0.02)
    assert both.tone is not None
    assert both.tone.noise_rad2_per_hz == pytest.approx(1.0 / (1.0 / noises[0] + 1.0 / noises[1]))
    assert both.shares[0] == pytest.approx(noises[1] / sum(noises))


def gone(tone: Followed, seconds: tuple[float, float], turns: float = 0.0) -> Followed:
    """A track that drops out for a while, and may lose whole turns there."""
    phase, piece = tone.phase_rad.copy(), tone.piece.copy()
    first, last = (int(at * TRACE_HZ) for at in seconds)
    phase[first:last] = np.nan
    phase[last:] += 2.0 * np.pi * turns
    piece[last:] = int(turns != 0.0)
    return replace(tone, phase_rad=phase, piece=piece)


@pytest.mark.parametrize("turns", [0.0, 3.0])
def test_where_one_track_drops_out_the_other_goes_on(turns: float) -> None:
    """Oracle: the common curve; what one lost in the dropout the other gives back."""
    first, second = tracks(3)
    for pair in ((gone(first, (4.0, 4.3), turns), second), (first, gone(second, (4.0, 4.3), turns))):
        both = together(*pair).tone
        assert both is not None
        assert both.dropouts == 0
        assert not both.piece.any()
        quiet = tracks(3, (1e-30, 1e-30))[0].phase_rad
        off = both.phase_rad - quiet - np.median(both.phase_rad - quiet)
        assert np.abs(off).max() < 0.15  # the skew that was put in, and five sigma of the noise


def test_one_sound_twice_gains_nothing() -> None:
    first, _ = tracks(5)
    assert "twice" in together(first, replace(first)).why_not


def test_another_tone_is_not_mixed_in() -> None:
    first, second = tracks(6)
    assert "different frequency" in together(first, replace(second, frequency_hz=3152.0)).why_not


def test_a_track_with_a_line_of_its_own_is_not_mixed_in() -> None:
    """A hum that beats with the tone of one track alone."""
    first, second = tracks(7)
    hum = 0.01 * np.sin(2.0 * np.pi * 50.0 * np.arange(len(second.phase_rad)) / TRACE_HZ)
    assert "not the same" in together(first, replace(second, phase_rad=second.phase_rad + hum)).why_not


def test_a_much_noisier_track_is_not_mixed_in() -> None:
    first, second = tracks(8, (1e-8, 1e-6))
    assert "noisier" in together(first, second).why_not


def two_channels(path: Path, curve: made.Curve, second: str, seed: int) -> RecordingReadings:
    """15 s, the right track 30 µs late (azimuth), noise of its own in each, 28 dB."""
    draw = np.random.default_rng(seed)
    left, _ = made.tone(15.0, curve, rate_hz=RATE_HZ)
    right, _ = made.tone(
        15.0, lambda t: curve(t - 3e-5), rate_hz=RATE_HZ, tone_hz=3150.0 if second != "other" else 3003.0
    )
    right = np.roll(right, 1) if second != "twice" else left
    sounds = [made.with_noise(left, 28.0, draw), made.with_noise(right, 28.0, draw)]
    if second == "twice":
        sounds[1] = sounds[0]
    if second == "dropouts":
        sounds[1] = made.with_dropouts(sounds[1], RATE_HZ, [2.0, 5.0, 9.0], 0.2)
    both: NDArray[np.float64] = np.stack(sounds, axis=1)
    return measure_recording(made.saved(path, both, RATE_HZ), 3150.0 if second != "other" else None)


@pytest.mark.slow
def test_in_a_recording_noise_limited_lines_come_nearer(tmp_path: Path) -> None:
    """Oracle: the line put in, 0.02 % at 90 Hz, where the tone's own noise is all there is: 1/sqrt 2 of its error.

    Twenty-four recordings: the ratio of the rms errors scatters by some 0.12.
    """
    alone: list[float] = []
    joint: list[float] = []
    curve = made.rotors_curve((made.Rotor(90.0, 0.02, 0.7), made.Rotor(6.1, 0.05, 0.1)))
    for seed in range(24):
        found = two_channels(tmp_path / "t.wav", curve, "same", seed)
        assert found.together is not None, found.together_said
        assert "put together" in found.together.notes[0]
        whole: tuple[ChannelReadings, ...] = (found.together,)
        for where, kept in ((found.channels, alone), (whole, joint)):
            for channel in where:
                line = min(channel.lines, key=lambda one: abs(one.frequency_hz - 90.0))
                kept.append(line.peak_pct - 0.02)
    ratio = float(np.sqrt(np.mean(np.square(joint)) / np.mean(np.square(alone))))
    assert 0.48 < ratio < 0.93
    assert whole[0].weighted_rms_pct.value == pytest.approx(found.channels[0].weighted_rms_pct.value, rel=0.01)


@pytest.mark.parametrize(("second", "says"), [("other", "different frequency"), ("twice", "twice")])
def test_in_a_recording_what_is_not_the_same_is_left_alone(tmp_path: Path, second: str, says: str) -> None:
    found = two_channels(tmp_path / "t.wav", made.rotors_curve((made.Rotor(6.1, 0.05),)), second, 3)
    assert found.together is None
    assert says in found.together_said


def test_in_a_recording_a_dropout_of_one_track_is_not_mixed_in(tmp_path: Path) -> None:
    found = two_channels(tmp_path / "t.wav", made.rotors_curve((made.Rotor(6.1, 0.05),)), "dropouts", 4)
    assert found.together is not None
    assert any("dropouts" in note for note in found.channels[1].notes)
    assert not any("dropout" in note for note in found.together.notes[1:])
    assert found.together.trace is not None
    assert np.isfinite(found.together.trace.values).all()
