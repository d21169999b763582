"""Real recordings from outside: read as others read them, or refused with a reason. Skips where they are absent."""

import csv
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapewright.measure.audio import open_recording, sound_blocks
from tapewright.measure.bands import Band
from tapewright.measure.flutter import flutter
from tapewright.measure.lines import FittedLines
from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.words.problem import InputAtFaultError
from tapewright.words.signal import Trace


@pytest.fixture(scope="module")
def leader(shared_data: Path) -> ChannelReadings:
    return measure_recording(shared_data / "tape_tone" / "patch_cassette_leader.wav").channels[0]


def test_leader_tone(leader: ChannelReadings) -> None:
    """Oracle: 1579.3 Hz, 30 dB, by two other methods, as the folder's README says."""
    tone = leader.tone
    assert tone.found
    assert tone.frequency_hz == pytest.approx(1579.3, abs=0.3)
    assert tone.snr_db == pytest.approx(30.0, abs=2.0)
    assert tone.start_s == pytest.approx(0.15, abs=0.05)  # a tenth of a second inside where the tone begins
    assert tone.end_s == pytest.approx(3.15, abs=0.05)


def test_leader_flutter(leader: ChannelReadings) -> None:
    """Oracle: 0.186 % unweighted rms, 0.5 to 100 Hz, drift taken out, by two other methods."""
    trace = leader.trace
    assert trace is not None
    none = np.zeros(0)
    lines = FittedLines((), none, none, none, 0.0, 0.0)
    inside = (trace.times_s > 0.2) & (trace.times_s < 3.1)
    cut = Trace(trace.values[inside], trace.rate_hz, 0.2)
    for part in (trace, cut):
        found = flutter(part, lines, 0.0, 1579.3, whole=Band((0.5, 100.0), "unweighted", 1.0)).unweighted_rms_pct
        assert found.value == pytest.approx(0.186, rel=0.03)


def test_leader_lines(leader: ChannelReadings) -> None:
    """Oracle: 3.04 Hz (0.145 %), 12.60 (0.090), 16.82 (0.080) by two other methods."""
    for rate_hz, peak_pct in ((3.04, 0.145), (12.60, 0.090), (16.82, 0.080)):
        line = min(leader.lines, key=lambda one: abs(one.frequency_hz - rate_hz))
        assert line.frequency_hz == pytest.approx(rate_hz, abs=0.1)
        assert line.peak_pct == pytest.approx(peak_pct, abs=line.doubt_pct)


def test_leader_is_too_short_for_a_peak_reading(leader: ChannelReadings) -> None:
    assert leader.weighted_peak_pct.value is None
    assert "5 s" in (leader.weighted_peak_pct.why_not or "")
    assert leader.speed_error_pct.value is None


def test_leader_with_its_nominal_tone(shared_data: Path) -> None:
    path = shared_data / "tape_tone" / "patch_cassette_leader.wav"
    found = measure_recording(path, 1600.0).channels[0].speed_error_pct
    assert found.value == pytest.approx(100.0 * (1579.3 / 1600.0 - 1.0), abs=0.02)


def test_what_is_no_tape_tone_is_refused(shared_data: Path) -> None:
    paths = sorted(
        path
        for folder in ("programme", "mechanism_sound")
        for path in (shared_data / folder).rglob("*")
        if path.suffix in {".wav", ".ogg"}
    )
    paths.append(shared_data / "not_tape" / "pulse_tape_no_tone.wav")
    assert len(paths) > 20
    for path in paths:
        for channel in measure_recording(path).channels:
            assert not channel.tone.found, path.name
            assert len(channel.tone.why_not or "") > 20
            assert channel.weighted_peak_pct.value is None
            assert channel.lines == ()


def test_a_square_wave_from_a_computer(shared_data: Path) -> None:
    """Refused, or read with a warning: its edges land on whole samples and feign lines near 39.4 and 60.6 Hz."""
    found = measure_recording(shared_data / "not_tape" / "direct_square_wave.wav").channels[0]
    assert not found.tone.found or any("square wave" in note for note in found.notes)


def test_every_odd_file_is_read_as_libsndfile_reads_it_or_refused(shared_data: Path) -> None:
    """Oracle: the table of what libsndfile 1.2.2 does with each file."""
    root = shared_data / "formats"
    with (root / "libsndfile_results.csv").open(encoding="utf-8", newline="") as file:
        known = {row["file"].split("/", 1)[1]: row for row in csv.DictReader(file)}
    read = refused = 0
    for path in sorted(one for one in root.rglob("*") if one.is_file()):
        row = known.get(path.relative_to(root).as_posix())
        frames = int(row["frames"]) if row and row["libsndfile"] == "reads" else 0
        if frames == 0:
            with pytest.raises(InputAtFaultError, match=re.escape(str(path))):
                measure_recording(path, accept_truncated=True)
            refused += 1
            continue
        recording = open_recording(path, accept_truncated=True)
        assert row is not None
        assert (recording.frames, recording.rate_hz, recording.channels) == (frames, int(row["sr"]), int(row["ch"]))
        blocks = [block.copy() for block in sound_blocks(recording, block_frames=1000)]
        samples, _ = soundfile.read(str(path), dtype="float32", always_2d=True)
        np.testing.assert_array_equal(np.concatenate(blocks), samples)
        assert len(measure_recording(path, accept_truncated=True).channels) == recording.channels
        read += 1
    assert read > 80
    assert refused > 30
