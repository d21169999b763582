"""More kinds of file beyond 4 GiB, by their headers alone: sparse files with a second of sound at either end."""

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tapewright.measure.audio import open_recording, sound_blocks
from tests.measure import made

RATE_HZ = 48000
CHANNELS = 2
FRAMES = 800_000_000
WIDTH = 3
SIZE = FRAMES * CHANNELS * WIDTH
"""4.8 thousand million bytes: more than 32 bits count."""


def sound() -> NDArray[np.float32]:
    samples, _ = made.tone(1.0, rate_hz=RATE_HZ)
    return np.repeat(samples[:, None], CHANNELS, axis=1).astype(np.float32)


def sparse(path: Path, kind: str, patch: dict[int, bytes], offset: int) -> None:
    """Write a short file, mend its header, and put its sound at both ends of a long hole."""
    soundfile.write(str(path), sound(), RATE_HZ, subtype="PCM_24", format=kind)
    whole = path.read_bytes()
    head, body = bytearray(whole[:offset]), whole[offset : offset + RATE_HZ * CHANNELS * WIDTH]
    for at, data in patch.items():
        head[at : at + len(data)] = data
    with path.open("wb") as file:
        file.write(head + body)
        file.seek(offset + SIZE - len(body))
        file.write(body)


def last_second(path: Path) -> NDArray[np.float32]:
    opened = open_recording(path)
    assert (opened.frames, opened.channels, opened.rate_hz) == (FRAMES, CHANNELS, RATE_HZ)
    return np.concatenate([part.copy() for part in sound_blocks(opened, FRAMES - RATE_HZ)])


def test_caf(tmp_path: Path) -> None:
    """Its lengths have 64 bits: name, length, then four bytes of edit count before the samples."""
    path = tmp_path / "t.caf"
    soundfile.write(str(path), sound(), RATE_HZ, subtype="PCM_24", format="CAF")
    at = path.read_bytes().index(b"data")
    sparse(path, "CAF", {at + 4: struct.pack(">q", SIZE + 4)}, at + 16)
    np.testing.assert_allclose(last_second(path), sound(), atol=2.0**-23)


@pytest.mark.parametrize("stated", [0xFFFFFFFF, 0])
def test_a_wav_with_no_length_says_how_far_it_is_read(tmp_path: Path, stated: int) -> None:
    """A plain WAV cannot state such a length: 4 GiB of it are read, and what is left out is said."""
    path = tmp_path / "t.wav"
    soundfile.write(str(path), sound(), RATE_HZ, subtype="PCM_24", format="WAV")
    at = path.read_bytes().index(b"data")
    sparse(path, "WAV", {4: struct.pack("<I", stated), at + 4: struct.pack("<I", stated)}, at + 8)
    opened = open_recording(path)
    left_out = SIZE - opened.frames * CHANNELS * WIDTH
    assert left_out > 0
    (note,) = opened.notes
    said = int(note.split(" bytes after")[0].rsplit(" ", 1)[1])
    assert 0 <= left_out - said < CHANNELS * WIDTH
    first = next(iter(sound_blocks(opened, 0, RATE_HZ)))
    np.testing.assert_allclose(first, sound()[: len(first)], atol=2.0**-23)


@pytest.mark.parametrize("kind", ["RF64", "W64"])
def test_the_last_sample_and_no_more(tmp_path: Path, kind: str) -> None:
    """Oracle: libsndfile's own header of the short file, its lengths replaced."""
    path = tmp_path / "t.x"
    soundfile.write(str(path), sound(), RATE_HZ, subtype="PCM_24", format=kind)
    whole = path.read_bytes()
    if kind == "W64":
        offset = whole.index(b"data") + 24
        patch = {16: struct.pack("<Q", SIZE + offset), offset - 8: struct.pack("<Q", SIZE + 24)}
    else:
        at, offset = whole.index(b"ds64") + 8, whole.index(b"data") + 8
        patch = {at: struct.pack("<QQQ", SIZE + offset - 8, SIZE, FRAMES)}
    sparse(path, kind, patch, offset)
    np.testing.assert_allclose(last_second(path), sound(), atol=2.0**-23)
    assert list(sound_blocks(open_recording(path), FRAMES)) == []
