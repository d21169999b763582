"""Open a recording and read it in blocks, never altering it; refuse what cannot be read, with a sentence.

libsndfile reads it; what it does not know and is a phone's or a camera's container, `packed` decodes.

The only repair is in the reading: a WAV file whose recorder was switched off before it wrote the length into the header
is read to its end, and the reading says so.
"""

import contextlib
import io
import os
import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from tapewright.measure.packed import looks_packed, packed_blocks, packed_header
from tapewright.words.problem import InputAtFaultError, Problem

BLOCK_FRAMES: Final = 1 << 16
_PLAIN_CONTAINERS: Final = ("WAV", "WAVEX", "RF64", "W64", "AIFF", "CAF", "AU")
MOST_STATED: Final = 0xFFFFFFF0
"""The longest sound, bytes, that a length of 32 bits is let state here."""
_LOSSLESS: Final = ("PCM", "FLAC", "ALAC", "WAVPACK")


@dataclass(frozen=True, slots=True)
class Recording:
    """A sound file that can be read, and what its header says.

    Arguments:
        path: the file.
        rate_hz: samples per second of each channel.
        channels: how many.
        frames: samples per channel that can be read.
        format: container and sample type, as libsndfile names them.
        notes: what is odd about the file, sentences.
        data_size_at: byte at which a length that was never written stands; None when the header is sound.
        packed: whether it has to be decoded from a container that libsndfile does not read.
    """

    path: Path
    rate_hz: int
    channels: int
    frames: int
    format: str
    notes: tuple[str, ...] = ()
    data_size_at: int | None = None
    packed: bool = False

    @property
    def duration_s(self) -> float:
        """Give the length in seconds."""
        return self.frames / self.rate_hz


class _Finished(io.RawIOBase):
    """A file seen with the lengths its recorder never wrote; the file itself stays as it is."""

    def __init__(self, file: BinaryIO, data_size_at: int, size: int) -> None:
        self._file = file
        self._patches = {
            4: struct.pack("<I", min(size - 8, MOST_STATED)),
            data_size_at: struct.pack("<I", min(size - data_size_at - 4, MOST_STATED)),
        }

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: "memoryview") -> int:  # type: ignore[override]
        start = self._file.tell()
        raw = bytearray(self._file.read(len(buffer)))
        for at, patch in self._patches.items():
            for index, byte in enumerate(patch):
                if start <= at + index < start + len(raw):
                    raw[at + index - start] = byte
        buffer[: len(raw)] = raw
        return len(raw)


def _wav_chunks(file: BinaryIO, size: int) -> tuple[tuple[bytes, int, int], ...]:
    """List the chunks of a RIFF WAVE file up to its data: name, byte of the length field, length written there."""
    file.seek(0)
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return ()
    found: list[tuple[bytes, int, int]] = []
    at = 12
    while at + 8 <= size and len(found) < 1000:
        file.seek(at)
        name, length = struct.unpack("<4sI", file.read(8))
        found.append((name, at + 4, length))
        if name == b"data":
            break
        at += 8 + length + length % 2
    return tuple(found)


def _only_chunks_follow(file: BinaryIO, at: int, size: int) -> bool:
    """Say whether what follows an empty data chunk is a chain of chunks that ends with the file, and so no sound."""
    while at < size:
        file.seek(at)
        head = file.read(8)
        if len(head) < 8 or not all(32 <= byte < 127 for byte in head[:4]):
            return False
        at += 8 + int.from_bytes(head[4:], "little") + int.from_bytes(head[4:], "little") % 2
    return at - size <= 1


def _never_written(there: int) -> str:
    """Say how far a file is read whose recorder never wrote the length of its sound, `there` bytes."""
    said = "The header's length was never written: the recorder did not finish the file. "
    if there <= MOST_STATED:
        return said + "It is read to its end."
    return said + f"A WAV header states 4 GiB at most; the {there - MOST_STATED} bytes after that are left out."


def _header_state(path: Path) -> tuple[int | None, str]:
    """Look at a WAV header: the byte of a length that was never written, or None; and a note on a length too large."""
    size = path.stat().st_size
    with path.open("rb") as file:
        chunks = _wav_chunks(file, size)
        if not chunks or chunks[-1][0] != b"data" or not any(name == b"fmt " for name, _, _ in chunks):
            return None, ""
        _, at, length = chunks[-1]
        there = size - at - 4
        if there <= 0:
            return None, ""
        if length == 0xFFFFFFFF or (length == 0 and not _only_chunks_follow(file, at + 4, size)):
            return at, _never_written(there)
    if length > there + 1:
        return None, f"The file is cut short: its header promises {length} bytes of sound and {there} are there."
    return None, ""


def _sound_file(path: Path, data_size_at: int | None, stack: contextlib.ExitStack) -> "soundfile.SoundFile":
    if data_size_at is None:
        return stack.enter_context(soundfile.SoundFile(str(path)))
    raw = stack.enter_context(path.open("rb"))
    seen = io.BufferedReader(_Finished(raw, data_size_at, path.stat().st_size), 1 << 20)
    return stack.enter_context(soundfile.SoundFile(seen))


def _refusal(path: Path, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(str(path), found, do))


def _plain_reason(error: Exception) -> str:
    """Turn the library's sentence into the part of it that says what is wrong."""
    return str(error).rsplit(": ", 1)[-1].strip().rstrip(".") or "no reason given"


def _check_there(path: Path) -> None:
    if path.is_dir():
        raise _refusal(path, "This is a folder.", "Name a sound file in it.")
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except FileNotFoundError as error:
        raise _refusal(path, "There is no such file.", "Check the name and the folder.") from error
    except (OSError, ValueError) as error:
        raise _refusal(
            path, f"The file cannot be opened ({_plain_reason(error)}).", "Check who may read it."
        ) from error
    if size == 0:
        raise _refusal(path, "The file is empty: 0 bytes.", "Record again, or copy it again from the recorder.")


def _packed(path: Path) -> Recording | None:
    """Look into a container that libsndfile does not read; None when it is none."""
    header = packed_header(path) if looks_packed(path) else None
    if header is None:
        return None
    if header.fault:
        raise _refusal(path, header.fault, "Name a file with sound in it.")
    said = f"Decoded from {header.format}."
    if not any(name in header.format for name in _LOSSLESS):
        said += " What such a codec leaves out and puts in stands in the readings: WAV or FLAC is better."
    return Recording(path, header.rate_hz, header.channels, header.frames, header.format, (said,), packed=True)


def open_recording(path: str | Path, accept_truncated: bool = False) -> Recording:
    """Look at a sound file and say what is in it; read nothing but the header.

    Arguments:
        path: any file that libsndfile reads (WAV, RF64, W64, AIFF, FLAC, OGG, MP3, CAF, AU and others), or the sound of
            M4A, MP4, MOV, 3GP, MKV.
        accept_truncated: take what is there of a WAV that is shorter than its header promises, and note it.

    Errors:
        InputAtFaultError: no such file, empty, not audio, a kind of sample that cannot be read, no samples in it, or
            cut short.
    """
    path = Path(path)
    _check_there(path)
    data_size_at, note = _header_state(path)
    if note and data_size_at is None and not accept_truncated:
        raise _refusal(path, note, "Copy it again from the recorder, or say --accept-truncated to take what is there.")
    try:
        with contextlib.ExitStack() as stack:
            file = _sound_file(path, data_size_at, stack)
            found = Recording(
                path,
                int(file.samplerate),
                int(file.channels),
                int(file.frames),
                f"{file.format} {file.subtype}",
                (note,) if note else (),
                data_size_at,
            )
    except (soundfile.SoundFileError, RuntimeError, TypeError, ValueError, OSError) as error:
        unpacked = _packed(path)
        if unpacked is None:
            raise _refusal(
                path,
                f"This is no sound file that can be read ({_plain_reason(error)}).",
                "Save it as WAV or FLAC, 16 or 24 bit, and try again.",
            ) from error
        found = unpacked
    if found.frames <= 0:
        raise _refusal(path, "The file has a header but no samples.", "Record again; nothing was written to it.")
    if found.rate_hz <= 0 or found.channels <= 0:
        raise _refusal(path, "The header names no sample rate or no channels.", "Save it again as WAV or FLAC.")
    return found


def sound_blocks(
    recording: Recording,
    start: int = 0,
    stop: int | None = None,
    block_frames: int = BLOCK_FRAMES,
    progress: Callable[[float], None] | None = None,
) -> Iterator[NDArray[np.float32]]:
    """Give the sound block by block, each of shape (frames, channels), full scale 1, from `start` to `stop`.

    Arguments:
        recording: from `open_recording`.
        start: first frame wanted.
        stop: frame after the last one wanted; None for the end.
        block_frames: frames per block.
        progress: called with the share done, 0 to 1.

    A file that breaks off in the middle ends there. Memory does not grow with the length of the file. The array is
    used again for the next block: copy what is to be kept.
    """
    stop = recording.frames if stop is None else min(stop, recording.frames)
    if recording.packed:
        at = start
        for piece in packed_blocks(recording.path, start, stop, block_frames):
            at += len(piece)
            yield piece
            if progress is not None:
                progress(min(1.0, (at - start) / max(1, stop - start)))
        return
    block = np.empty((block_frames, recording.channels), dtype=np.float32)
    with contextlib.ExitStack() as stack:
        file = _sound_file(recording.path, recording.data_size_at, stack)
        if start:
            file.seek(start)
        at = start
        while at < stop:
            wanted = block[: min(block_frames, stop - at)]
            try:
                got = file.read(len(wanted), dtype="float32", always_2d=True, out=wanted)
            except (soundfile.SoundFileError, RuntimeError):
                return
            if not len(got):
                return
            at += len(got)
            yield got
            if progress is not None:
                progress(min(1.0, (at - start) / (stop - start)))


def sound_pieces(recording: Recording, starts: Iterable[int], frames: int) -> Iterator[NDArray[np.float32]]:
    """Give pieces of the sound from here and there, each of shape (frames, channels); for files quick to seek in.

    Arguments:
        recording: from `open_recording`; `seeks_quickly` says whether this is worth while.
        starts: first frame of each piece, rising.
        frames: length of each; one that would reach past the end is left out.

    The array is used again for the next piece.
    """
    piece = np.empty((frames, recording.channels), dtype=np.float32)
    with contextlib.ExitStack() as stack:
        file = _sound_file(recording.path, recording.data_size_at, stack)
        for start in starts:
            try:
                file.seek(start)
                got = file.read(frames, dtype="float32", always_2d=True, out=piece)
            except (soundfile.SoundFileError, RuntimeError):
                return
            if len(got) == frames:
                yield got


def seeks_quickly(recording: Recording) -> bool:
    """Say whether any place in the file can be read without reading what lies before: plain samples, not packed."""
    container, sample = recording.format.split(" ", 1)
    return not recording.packed and container in _PLAIN_CONTAINERS and sample.startswith(("PCM", "FLOAT", "DOUBLE"))
