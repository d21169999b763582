"""Plain whole numbers read straight from the file, each channel on its own.

A file of 16, 24 or 32 bit samples in the order of small machines holds nothing to decode. libsndfile turns them into
single precision one by one; here a block is turned at once and the channels are parted in the same step. Where the
samples lie is read from the header and then held against what libsndfile gives in several places: the smallest
difference, and libsndfile reads the file.
"""

import contextlib
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.audio import BLOCK_FRAMES, Recording, sound_blocks, sound_pieces

Progress = Callable[[float], None]
_BYTES: Final = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}
_COMPARED_FRAMES: Final = 64
_PLACES: Final = 5
_MOST_CHUNKS: Final = 1000
_GUID_RIFF: Final = bytes.fromhex("726966662e91cf11a5d628db04c10000")
_GUID_TAIL: Final = bytes.fromhex("f3acd3118cd100c04f8edb8a")


@dataclass(frozen=True, slots=True)
class PlainSamples:
    """Where plain samples lie.

    Arguments:
        path: the file.
        offset: byte of the first sample.
        width: bytes of one sample.
        channels: how many stand side by side.
        frames: samples per channel.
    """

    path: Path
    offset: int
    width: int
    channels: int
    frames: int


def _riff_data(file: BinaryIO, size: int) -> int | None:
    """Find the byte at which the samples of a WAV or RF64 file begin."""

    def chunk(head: bytes) -> tuple[bool, int]:
        name, length = struct.unpack("<4sI", head)
        return name == b"data", 8 + length + length % 2

    return _data_at(file, size, 12, 8, chunk)


def _w64_data(file: BinaryIO, size: int) -> int | None:
    """Find the same in a W64 file, whose chunks have names of 16 bytes and lengths that count the head as well."""

    def chunk(head: bytes) -> tuple[bool, int]:
        length = int.from_bytes(head[16:], "little")
        return head[:4] == b"data" and head[4:16] == _GUID_TAIL, (max(length, 24) + 7) // 8 * 8

    return _data_at(file, size, 40, 24, chunk)


def _data_at(
    file: BinaryIO, size: int, at: int, head_bytes: int, chunk: Callable[[bytes], tuple[bool, int]]
) -> int | None:
    """Go from chunk to chunk; `chunk` says of a head whether the samples follow it, and how far the next one is."""
    for _ in range(_MOST_CHUNKS):
        file.seek(at)
        head = file.read(head_bytes)
        if len(head) < head_bytes:
            return None
        is_data, length = chunk(head)
        if is_data:
            return at + head_bytes
        at += length
        if at >= size:
            return None
    return None


def _data_offset(path: Path) -> int | None:
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(16)
        if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
            return _riff_data(file, size)
        if head == _GUID_RIFF:
            return _w64_data(file, size)
    return None


def plain_samples(recording: Recording) -> PlainSamples | None:
    """Find where the samples lie in a file that can be read directly; None when libsndfile has to read it.

    Arguments:
        recording: from `open_recording`.
    """
    if recording.packed:
        return None
    container, sample = recording.format.split(" ", 1)
    width = _BYTES.get(sample)
    if container not in ("WAV", "WAVEX", "RF64", "W64") or width is None:
        return None
    offset = _data_offset(recording.path)
    if offset is None:
        return None
    found = PlainSamples(recording.path, offset, width, recording.channels, recording.frames)
    return found if _agrees(found, recording) else None


def _agrees(found: PlainSamples, recording: Recording) -> bool:
    """Say whether libsndfile gives the same samples at the beginning, at the end and between."""
    if found.offset + found.frames * found.channels * found.width > recording.path.stat().st_size:
        return False
    count = min(_COMPARED_FRAMES, found.frames)
    starts = [int(start) for start in np.linspace(0, found.frames - count, _PLACES)]
    for start, piece in zip(starts, sound_pieces(recording, starts, count), strict=False):
        block = next(iter(_plain_blocks(found, start, start + count, count)), None)
        if block is None or not np.array_equal(block.T, piece):
            return False
    return True


def _filled(file: BinaryIO, into: memoryview) -> int:
    """Read until the memory is full or the file ends; give the count of bytes."""
    done = 0
    while done < len(into):
        got = file.readinto(into[done:])  # type: ignore[attr-defined]
        if not got:
            break
        done += got
    return done


def _plain_blocks(found: PlainSamples, start: int, stop: int, block_frames: int) -> Iterator[NDArray[np.float32]]:
    width, channels = found.width, found.channels
    frame = width * channels
    block_frames = min(block_frames, max(1, stop - start))
    raw = bytearray(4 + frame * block_frames)
    window = memoryview(raw)[1:]  # a byte in front, so that a 24-bit sample is the upper part of four bytes
    whole = np.empty(block_frames, dtype=np.int32)
    block = np.empty((channels, block_frames), dtype=np.float32)
    with contextlib.ExitStack() as stack:
        file = stack.enter_context(found.path.open("rb", buffering=0))
        file.seek(found.offset + start * frame)
        at = start
        while at < stop:
            wanted = min(block_frames, stop - at)
            count = _filled(file, window[: wanted * frame]) // frame
            if not count:
                return
            for channel in range(channels):
                _turned(raw, 1 + channel * width, width, frame, whole[:count], block[channel, :count])
            at += count
            yield block[:, :count]


def _turned(
    raw: bytearray, first: int, width: int, step: int, whole: NDArray[np.int32], into: NDArray[np.float32]
) -> None:
    """Turn one channel into single precision, full scale 1; exactly, but for 32 bit, which is rounded."""
    count = len(into)
    if width == 2:
        np.copyto(into, np.ndarray((count,), "<i2", buffer=raw, offset=first, strides=(step,)))
        np.multiply(into, np.float32(2.0**-15), out=into)
        return
    if width == 3:
        four: NDArray[np.int32] = np.ndarray((count,), "<i4", buffer=raw, offset=first - 1, strides=(step,))
        np.bitwise_and(four, np.int32(-256), out=whole)
    else:
        np.copyto(whole, np.ndarray((count,), "<i4", buffer=raw, offset=first, strides=(step,)))
    np.copyto(into, whole, casting="unsafe")
    np.multiply(into, np.float32(2.0**-31), out=into)


def channel_blocks(
    recording: Recording,
    start: int = 0,
    stop: int | None = None,
    block_frames: int = 2 * BLOCK_FRAMES,
    progress: Progress | None = None,
) -> Iterator[NDArray[np.float32]]:
    """Give the sound block by block as `sound_blocks` does, but each of shape (channels, frames), rows unbroken.

    Arguments:
        recording: from `open_recording`.
        start: first frame wanted.
        stop: frame after the last one wanted; None for the end.
        block_frames: frames per block.
        progress: called with the share done, 0 to 1.

    The array is used again for the next block: copy what is to be kept.
    """
    stop = recording.frames if stop is None else min(stop, recording.frames)
    found = plain_samples(recording)
    if found is None:
        turned = np.empty((recording.channels, block_frames), dtype=np.float32)
        for sound in sound_blocks(recording, start, stop, block_frames, progress):
            part = turned[:, : len(sound)]
            np.copyto(part, sound.T)
            yield part
        return
    at = start
    for block in _plain_blocks(found, start, stop, block_frames):
        at += block.shape[1]
        yield block
        if progress is not None:
            progress(min(1.0, (at - start) / max(1, stop - start)))


__all__ = ["PlainSamples", "channel_blocks", "plain_samples"]
