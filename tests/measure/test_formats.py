"""Every kind of file: plain samples read directly as libsndfile reads them, large files, phone formats."""

import struct
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.audio import open_recording, sound_blocks
from tapewright.measure.plain import channel_blocks, plain_samples
from tapewright.measure.recording import measure_recording
from tapewright.words.problem import InputAtFaultError
from tests.measure import made
from tests.measure.test_audio import complaint

KINDS = [(kind, sample) for kind in ("WAV", "WAVEX", "RF64", "W64") for sample in ("PCM_16", "PCM_24", "PCM_32")]


@pytest.mark.parametrize(("kind", "sample"), KINDS)
@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    channels=st.integers(1, 8),
    frames=st.integers(1, 3000),
    block=st.integers(1, 4000),
    start=st.integers(0, 2999),
    seed=st.integers(0, 99),
)
def test_plain_samples_are_what_libsndfile_reads(
    tmp_path: Path, kind: str, sample: str, channels: int, frames: int, block: int, start: int, seed: int
) -> None:
    """Oracle: libsndfile itself, sample by sample, over the whole range of whole numbers."""
    path = tmp_path / f"t.{kind.lower()}"
    whole = np.random.default_rng(seed).integers(-(2**31), 2**31, (frames, channels), dtype=np.int32)
    soundfile.write(str(path), whole, 48000, subtype=sample, format=kind)
    opened = open_recording(path)
    assert plain_samples(opened) is not None
    wanted, _ = soundfile.read(str(path), dtype="float32", always_2d=True, start=min(start, frames))
    found = [part.copy() for part in channel_blocks(opened, start, None, block)]
    joined = np.concatenate(found, axis=1) if found else np.zeros((channels, 0), dtype=np.float32)
    np.testing.assert_array_equal(joined.T, wanted)


@pytest.mark.parametrize("kind", ["FLAC", "AIFF", "CAF", "AU", "OGG"])
def test_what_is_not_plain_is_left_to_libsndfile(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"t.{kind.lower()}"
    samples = 0.3 * np.random.default_rng(1).standard_normal((5000, 3))
    soundfile.write(str(path), samples, 44100, format=kind)
    opened = open_recording(path)
    assert plain_samples(opened) is None
    joined = np.concatenate([part.copy() for part in channel_blocks(opened, block_frames=777)], axis=1)
    wanted = np.concatenate([part.copy() for part in sound_blocks(opened)])
    np.testing.assert_array_equal(joined.T, wanted)


def test_a_header_that_lies_about_its_place_is_left_to_libsndfile(tmp_path: Path) -> None:
    """A chunk named data inside another chunk does not lead astray: what was found is held against libsndfile."""
    samples, _ = made.tone(1.0)
    path = made.saved(tmp_path / "t.wav", samples, subtype="PCM_16")
    raw = path.read_bytes()
    inner = b"junk" + struct.pack("<I", 16) + b"data" + struct.pack("<I", 8) + bytes(8)
    path.write_bytes(raw[:4] + struct.pack("<I", len(raw) + len(inner) - 8) + raw[8:36] + inner + raw[36:])
    wanted, _ = soundfile.read(str(path), dtype="float32")
    opened = open_recording(path)
    found = np.concatenate([part.copy() for part in channel_blocks(opened)], axis=1)[0]
    np.testing.assert_array_equal(found, wanted)


def beyond_four_gib(path: Path, kind: str) -> tuple[int, NDArray[np.float32]]:
    """Write a file of 4.6 GiB with a hole in it: a second of tone at the beginning, and one at the end."""
    samples, _ = made.tone(1.0, rate_hz=96000)
    tone = np.repeat(samples[:, None], 4, axis=1).astype(np.float32)
    soundfile.write(str(path), tone, 96000, subtype="PCM_24", format=kind)
    opened = open_recording(path)
    plain = plain_samples(opened)
    assert plain is not None
    frames = 4_116_000_00
    size = frames * 12
    whole = path.read_bytes()
    head, body = bytearray(whole[: plain.offset]), whole[plain.offset : plain.offset + 96000 * 12]
    if kind == "W64":
        head[16:24] = struct.pack("<Q", size + plain.offset)
        head[plain.offset - 8 : plain.offset] = struct.pack("<Q", size + 24)
    else:
        at = bytes(head).index(b"ds64") + 8
        head[at : at + 24] = struct.pack("<QQQ", size + plain.offset - 8, size, frames)
    with path.open("wb") as file:
        file.write(head + body)
        file.seek(plain.offset + size - len(body))
        file.write(body)
    return frames, tone


@pytest.mark.parametrize("kind", ["RF64", "W64"])
def test_beyond_four_gib(tmp_path: Path, kind: str) -> None:
    """A sparse file: all frames are seen, and the last second is found where it stands."""
    path = tmp_path / f"t.{kind.lower()}"
    frames, tone = beyond_four_gib(path, kind)
    opened = open_recording(path)
    assert (opened.frames, opened.channels) == (frames, 4)
    assert plain_samples(opened) is not None
    last = np.concatenate([part.copy() for part in channel_blocks(opened, frames - 96000)], axis=1)
    np.testing.assert_allclose(last.T, tone, atol=2.0**-23)


PACKED = [
    ("m4a", "ipod", "aac"),
    ("mp4", "mp4", "aac"),
    ("3gp", "3gp", "aac"),
    ("aac", "adts", "aac"),
    ("m4a", "ipod", "alac"),
    ("mov", "mov", "pcm_s16le"),
    ("mkv", "matroska", "flac"),
    ("webm", "webm", "libopus"),
    ("mp3", "mp3", "mp3"),
    ("opus", "opus", "libopus"),
]


def packed(
    path: Path, kind: str, codec: str, samples: NDArray[np.float64], rate_hz: int = 48000, pictures: bool = False
) -> Path:
    """Encode a channel or two, with a moving picture beside it if that is wanted."""
    samples = np.atleast_2d(samples)
    layout = "mono" if len(samples) == 1 else "stereo"
    with av.open(str(path), "w", format=kind) as container:
        stream = container.add_stream(codec, rate=rate_hz)
        assert isinstance(stream, av.AudioStream)
        stream.layout = layout
        seen = pictures_beside(container) if pictures else None
        turn = av.AudioResampler(format=stream.format.name, layout=layout, rate=rate_hz)
        for first in range(0, samples.shape[1], 1024):
            part = np.ascontiguousarray(samples[:, first : first + 1024].astype(np.float32))
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, first, Fraction(1, rate_hz)
            for turned in turn.resample(frame):
                container.mux(stream.encode(turned))
        container.mux(stream.encode(None))
        if seen is not None:
            show(container, seen)
    return path


def pictures_beside(container: "av.container.OutputContainer") -> av.VideoStream:
    stream = container.add_stream("mpeg4", rate=25)
    assert isinstance(stream, av.VideoStream)
    stream.width = stream.height = 64
    stream.pix_fmt = "yuv420p"
    return stream


def show(container: "av.container.OutputContainer", stream: av.VideoStream) -> None:
    for number in range(50):
        frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), dtype=np.uint8), format="rgb24")
        frame.pts = number
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


@pytest.mark.parametrize(("suffix", "kind", "codec"), PACKED)
def test_phone_formats(tmp_path: Path, suffix: str, kind: str, codec: str) -> None:
    """Oracle: the tone put in; a codec may add what lies far below the line, and does not change the speed."""
    samples, _ = made.tone(12.0, made.rotors_curve((made.Rotor(6.3, 0.1),)), rate_hz=48000, error_pct=0.5)
    found = measure_recording(packed(tmp_path / f"t.{suffix}", kind, codec, samples))
    (channel,) = found.channels
    assert found.rate_hz == 48000
    assert found.duration_s == pytest.approx(12.0, abs=1.0)
    assert channel.speed_error_pct.value == pytest.approx(0.5, abs=1e-4)
    assert channel.weighted_peak_pct.value == pytest.approx(0.1 * 0.99692 * 0.9292, rel=0.02)  # the network at 6.3 Hz
    strongest = max(channel.lines, key=lambda line: line.peak_pct)
    assert strongest.frequency_hz == pytest.approx(6.3, abs=0.01)


def test_the_sound_of_a_film_and_its_two_channels(tmp_path: Path) -> None:
    first, _ = made.tone(6.0, rate_hz=44100, error_pct=1.0)
    second, _ = made.tone(6.0, rate_hz=44100, error_pct=-1.0)
    path = packed(tmp_path / "t.mp4", "mp4", "aac", np.stack([first, second]), 44100, pictures=True)
    channels = measure_recording(path).channels
    assert [channel.speed_error_pct.value for channel in channels] == [
        pytest.approx(1.0, abs=2e-4),
        pytest.approx(-1.0, abs=2e-4),
    ]


def test_lossless_in_a_container_is_what_was_put_in(tmp_path: Path) -> None:
    samples = np.round(0.3 * np.random.default_rng(3).standard_normal((2, 30000)) * 2.0**15) / 2.0**15
    samples = np.clip(samples, -1.0, 1.0 - 2.0**-15)
    opened = open_recording(packed(tmp_path / "t.mov", "mov", "pcm_s16le", samples))
    assert opened.frames == 30000
    read = np.concatenate([part.copy() for part in sound_blocks(opened, block_frames=777)])
    np.testing.assert_allclose(read.T, samples, atol=2.0**-15)
    part = np.concatenate([one.copy() for one in sound_blocks(opened, 12345, 23456)])
    np.testing.assert_array_equal(part, read[12345:23456])


def test_a_film_without_sound_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.mp4"
    with av.open(str(path), "w", format="mp4") as container:
        show(container, pictures_beside(container))
    with pytest.raises(InputAtFaultError, match="no sound"):
        measure_recording(path)


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9])
@pytest.mark.parametrize(("suffix", "kind", "codec"), [("m4a", "ipod", "aac"), ("mkv", "matroska", "flac")])
def test_a_packed_file_cut_short_is_read_or_refused(
    tmp_path: Path, suffix: str, kind: str, codec: str, share: float
) -> None:
    samples, _ = made.tone(4.0, rate_hz=48000)
    path = packed(tmp_path / f"t.{suffix}", kind, codec, samples)
    raw = path.read_bytes()
    path.write_bytes(raw[: int(share * len(raw))])
    said = complaint(path)
    assert said is None or str(path) in said


def test_the_decoder_is_loaded_only_when_it_is_needed() -> None:
    script = "import sys, tapewright.measure.recording; print('av' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
