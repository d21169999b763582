"""Broken and odd files made here: read to their end, or refused with a sentence; never any other exception."""

import os
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapewright.measure.audio import open_recording, sound_blocks
from tapewright.measure.recording import measure_recording
from tapewright.words.problem import InputAtFaultError
from tests.measure import made


def refusal(path: Path) -> str:
    with pytest.raises(InputAtFaultError) as caught:
        measure_recording(path)
    (problem,) = caught.value.problems
    assert problem.where == str(path)
    assert problem.found.endswith(".")
    assert problem.do.endswith(".")
    return problem.found


def complaint(path: Path) -> str | None:
    """Give what is said against a file, or None when it is read; any other exception fails the test."""
    try:
        measure_recording(path)
    except InputAtFaultError as error:
        return str(error)
    return None


def a_wav(path: Path, seconds: float = 3.0) -> bytes:
    samples, _ = made.tone(seconds)
    return made.saved(path, samples, subtype="PCM_16").read_bytes()


def test_no_such_file(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "absent.wav")


def test_a_folder(tmp_path: Path) -> None:
    assert "folder" in refusal(tmp_path)


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.wav"
    path.touch()
    assert "empty" in refusal(path)


@pytest.mark.parametrize("content", [b"RIFF", b"hello, this is no sound\n" * 50, b"\x00" * 5000, os.urandom(64) * 40])
def test_not_audio(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "notes.wav"
    path.write_bytes(content)
    assert "no sound file" in refusal(path)


def test_header_only(tmp_path: Path) -> None:
    path = tmp_path / "t.wav"
    path.write_bytes(a_wav(path)[:44])
    assert "no samples" in refusal(path)


@pytest.mark.parametrize("format_name", ["WAV", "FLAC", "AIFF"])
def test_all_zero(tmp_path: Path, format_name: str) -> None:
    path = tmp_path / f"t.{format_name.lower()}"
    soundfile.write(str(path), np.zeros((44100, 2)), 44100)
    assert "zero" in refusal(path)


@pytest.mark.parametrize("level", [1.0, -1.0, 0.25])
def test_one_fixed_level(tmp_path: Path, level: float) -> None:
    assert "fixed level" in refusal(made.saved(tmp_path / "t.wav", np.full(44100, level)))


def test_clipped_flat(tmp_path: Path) -> None:
    noise = np.sign(np.random.default_rng(1).standard_normal(44100))
    assert "full scale" in refusal(made.saved(tmp_path / "t.wav", noise))


@pytest.mark.parametrize("never_written", [0, 0xFFFFFFFF])
def test_a_header_that_was_never_finished_is_read_to_the_end(tmp_path: Path, never_written: int) -> None:
    path = tmp_path / "t.wav"
    raw = bytearray(a_wav(path))
    whole, _ = soundfile.read(str(path), dtype="float32", always_2d=True)
    at = raw.index(b"data")
    raw[at + 4 : at + 8] = raw[4:8] = struct.pack("<I", never_written)
    path.write_bytes(raw)
    recording = open_recording(path)
    read = np.concatenate([block.copy() for block in sound_blocks(recording, block_frames=10007)])
    np.testing.assert_array_equal(read, whole)
    part = np.concatenate([block.copy() for block in sound_blocks(recording, 1000, 5000)])
    np.testing.assert_array_equal(part, whole[1000:5000])
    found = measure_recording(path)
    assert found.channels[0].tone.found
    assert any("never written" in note for note in found.notes)
    assert path.read_bytes() == bytes(raw)


def test_an_empty_data_chunk_before_other_chunks_is_no_sound(tmp_path: Path) -> None:
    path = tmp_path / "t.wav"
    head = a_wav(path)[:36]
    path.write_bytes(head + b"data" + struct.pack("<I", 0) + b"LIST" + struct.pack("<I", 4) + b"INFO")
    assert "no samples" in refusal(path)


def test_a_file_cut_short_says_so(tmp_path: Path) -> None:
    path = tmp_path / "t.wav"
    raw = a_wav(path, 6.0)
    path.write_bytes(raw[: len(raw) // 2])
    assert "cut short" in refusal(path)
    found = measure_recording(path, accept_truncated=True)
    assert found.duration_s == pytest.approx(3.0, abs=0.01)
    assert any("cut short" in note for note in found.notes)


@pytest.mark.parametrize("format_name", ["FLAC", "OGG", "W64", "RF64", "CAF", "AU", "AIFF"])
def test_other_containers(tmp_path: Path, format_name: str) -> None:
    samples, _ = made.tone(3.0, error_pct=0.5)
    path = tmp_path / f"t.{format_name.lower()}"
    with soundfile.SoundFile(str(path), "w", 44100, 1, format=format_name) as file:
        for first in range(0, len(samples), 4096):  # one call for a minute of Vorbis ends the process
            file.write(samples[first : first + 4096])
    found = measure_recording(path).channels[0]
    assert found.speed_error_pct.value == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("format_name", ["FLAC", "OGG", "W64", "RF64", "CAF", "AU", "AIFF"])
def test_other_containers_cut_anywhere(tmp_path: Path, format_name: str) -> None:
    samples, _ = made.tone(2.5)
    path = tmp_path / f"t.{format_name.lower()}"
    with soundfile.SoundFile(str(path), "w", 44100, 1, format=format_name) as file:
        for first in range(0, len(samples), 4096):
            file.write(samples[first : first + 4096])
    raw = path.read_bytes()
    for share in (0.001, 0.01, 0.3, 0.9):
        path.write_bytes(raw[: int(share * len(raw))])
        said = complaint(path)
        assert said is None or str(path) in said


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(st.tuples(st.integers(0, 120), st.integers(0, 255)), min_size=1, max_size=6),
    cut=st.integers(0, 4000),
)
def test_a_damaged_header_is_read_or_refused(tmp_path: Path, changes: list[tuple[int, int]], cut: int) -> None:
    path = tmp_path / "t.wav"
    raw = bytearray(a_wav(path, 0.05))
    for at, byte in changes:
        raw[min(at, len(raw) - 1)] = byte
    path.write_bytes(raw[: len(raw) - cut])
    said = complaint(path)
    assert said is None or str(path) in said


def test_samples_that_are_no_numbers(tmp_path: Path) -> None:
    samples, _ = made.tone(4.0)
    samples[50000:50100] = np.nan
    samples[90000] = np.inf
    path = tmp_path / "t.wav"
    soundfile.write(str(path), samples, 44100, subtype="FLOAT")
    found = measure_recording(path).channels[0]
    assert found.tone.found
    assert any("no numbers" in note for note in found.notes)


def test_too_low_a_sample_rate_is_an_answer(tmp_path: Path) -> None:
    path = made.saved(tmp_path / "t.wav", 0.5 * np.sin(np.arange(8000) * 0.7), 2000)
    assert "too few" in (measure_recording(path).channels[0].tone.why_not or "")


def test_a_tone_that_the_rate_cannot_hold(tmp_path: Path) -> None:
    path = made.saved(tmp_path / "t.wav", 0.5 * np.sin(np.arange(24000) * 0.7), 8000)
    with pytest.raises(InputAtFaultError, match="cannot hold"):
        measure_recording(path, 6300.0)
    with pytest.raises(InputAtFaultError, match="--tone"):
        measure_recording(path, -5.0)


def test_nothing_is_altered(tmp_path: Path) -> None:
    path = tmp_path / "t.wav"
    raw = a_wav(path)
    before = path.stat().st_mtime_ns
    measure_recording(path)
    assert path.read_bytes() == raw
    assert path.stat().st_mtime_ns == before
