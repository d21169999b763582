"""A tone in several stretches: each is read, the longest stands for the channel, and the speed is followed."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.measure.side import Stretch, over_side
from tapewright.words.reading import Reading
from tests.measure import made

RATE_HZ = 16000
SPEEDS_PCT = (0.42, 0.31, 0.13)
LENGTHS_S = (12.0, 20.0, 9.0)
STARTS_S = (2.0, 30.0, 66.0)


def programme(count: int, draw: np.random.Generator) -> NDArray[np.float64]:
    """Notes that come and go, and noise."""
    times = np.arange(count) / RATE_HZ
    notes = [220.0 * 2.0 ** (step / 12.0) for step in draw.integers(0, 30, int(count / RATE_HZ * 4) + 1)]
    pitch = np.array(notes)[(times * 4).astype(int)]
    turns = np.cumsum(pitch) / RATE_HZ
    sound = sum(np.sin(2.0 * np.pi * order * turns) / order for order in range(1, 6))
    return np.asarray(0.1 * sound * np.exp(-6.0 * (times * 4 % 1.0)) + 0.002 * draw.standard_normal(count))


def side(path: Path, between: str, seed: int = 4) -> Path:
    """Tone, something else, tone again: three stretches at three speeds, each with a line of 6.1 Hz."""
    draw = np.random.default_rng(seed)
    whole = (
        programme(int(80.0 * RATE_HZ), draw) if between == "programme" else 5e-4 * draw.standard_normal(80 * RATE_HZ)
    )
    curve = made.rotors_curve((made.Rotor(6.1, 0.08, 0.4),))
    for start, length, speed in zip(STARTS_S, LENGTHS_S, SPEEDS_PCT, strict=True):
        noise = made.broadband(length, 0.02, draw)
        samples, _ = made.tone(length, lambda t, n=noise: curve(t) + n(t), error_pct=speed, rate_hz=RATE_HZ)  # type: ignore[misc]
        first = int(start * RATE_HZ)
        whole[first : first + len(samples)] = made.with_noise(samples, 40.0, draw)
    return made.saved(path, whole, RATE_HZ)


@pytest.fixture(scope="module", params=["silence", "programme"])
def channel(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> ChannelReadings:
    return measure_recording(side(tmp_path_factory.mktemp("side") / "t.wav", request.param)).channels[0]


def in_time(channel: ChannelReadings) -> list[ChannelReadings]:
    return sorted((channel, *channel.others), key=lambda one: one.tone.start_s or 0.0)


def test_each_stretch_is_read(channel: ChannelReadings) -> None:
    """Oracle: the speeds, places and the line that were put in."""
    found = in_time(channel)
    assert len(found) == len(SPEEDS_PCT)
    for one, speed, start, length in zip(found, SPEEDS_PCT, STARTS_S, LENGTHS_S, strict=True):
        assert one.speed_error_pct.value == pytest.approx(speed, abs=1.5 * (one.speed_error_pct.doubt or 0.0) + 2e-4)
        assert one.tone.start_s == pytest.approx(start + 0.1, abs=0.06)
        assert one.tone.end_s == pytest.approx(start + length - 0.1, abs=0.06)
        assert any(abs(line.frequency_hz - 6.1) < 0.02 for line in one.lines)
        assert one.weighted_peak_pct.value is not None


def test_the_longest_stands_for_the_channel(channel: ChannelReadings) -> None:
    assert channel.tone.start_s == pytest.approx(STARTS_S[1] + 0.1, abs=0.06)
    assert channel.notes[0].startswith("The tone stands in 3 stretches")
    assert "of the longest" in channel.notes[0]


def test_the_change_over_the_side(channel: ChannelReadings) -> None:
    """Oracle: the speeds that were put in, last less first."""
    change = channel.side_drift_pct
    assert change.doubt is not None
    assert change.doubt < 0.01
    assert change.value == pytest.approx(SPEEDS_PCT[-1] - SPEEDS_PCT[0], abs=1.5 * change.doubt + 3e-4)
    assert "Off the straight line" in change.conditions


def test_one_stretch_has_no_change(tmp_path: Path) -> None:
    samples, _ = made.tone(6.0, rate_hz=RATE_HZ)
    found = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ)).channels[0]
    assert found.others == ()
    assert found.side_drift_pct.value is None
    assert "two places" in (found.side_drift_pct.why_not or "")


def test_a_held_note_is_no_stretch(tmp_path: Path) -> None:
    """Three seconds near the tone's pitch, in what was recorded after it, are not taken for it."""
    draw = np.random.default_rng(1)
    tone, _ = made.tone(10.0, rate_hz=RATE_HZ)
    note, _ = made.tone(3.0, rate_hz=RATE_HZ, tone_hz=3120.0)
    gap = 1e-3 * draw.standard_normal(RATE_HZ)
    path = made.saved(tmp_path / "t.wav", np.concatenate([tone, gap, note, gap]), RATE_HZ)
    assert measure_recording(path).channels[0].others == ()


@given(st.lists(st.tuples(st.floats(-3.0, 3.0), st.floats(1e-4, 0.1)), min_size=2, max_size=6))
def test_the_change_is_the_ends_and_their_doubts(speeds: list[tuple[float, float]]) -> None:
    """Oracle: closed form; a clock's doubt, which all stretches share, drops out."""
    rows = [Stretch(60.0 * i, 60.0 * i + 30.0, Reading(v, "%", d)) for i, (v, d) in enumerate(speeds)]
    change = over_side(rows)
    assert change.value == pytest.approx(speeds[-1][0] - speeds[0][0], abs=1e-12)
    assert change.doubt == pytest.approx(np.hypot(speeds[0][1], speeds[-1][1]))
    with_clock = [
        Stretch(one.start_s, one.end_s, Reading(v, "%", float(np.hypot(d, 0.005))))
        for one, (v, d) in zip(rows, speeds, strict=True)
    ]
    assert over_side(with_clock, 0.005).doubt == pytest.approx(change.doubt, abs=1e-6)


@pytest.mark.slow
def test_long_stretches_at_the_two_ends(tmp_path: Path) -> None:
    """Two stretches of more than four minutes each, read in stretches of their own: memory stays flat."""
    draw = np.random.default_rng(2)
    parts = []
    for speed in (0.3, -0.2):
        samples, _ = made.tone(260.0, made.broadband(260.0, 0.02, draw), error_pct=speed, rate_hz=8000)
        parts += [made.with_noise(samples, 40.0, draw), 1e-3 * draw.standard_normal(8000 * 20)]
    found = measure_recording(made.saved(tmp_path / "t.wav", np.concatenate(parts), 8000)).channels[0]
    assert len(found.others) == 1
    assert abs(found.side_drift_pct.value or 0.0) == pytest.approx(0.5, abs=1e-3)
