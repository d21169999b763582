"""Sound out of the containers of phones and cameras, which libsndfile does not read: M4A, MP4, MOV, 3GP, MKV, AMR.

They are decoded with PyAV, which is loaded only when such a file is opened. What is decoded runs on without a break.
Only where the file itself says that a piece of more than a fiftieth of a second is missing does silence stand in for
it, so that what comes after keeps its time.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import av

MISSING_S: Final = 0.02
"""A time stamp that is off by less is rounding; some containers count in thousandths of a second."""
LONGEST_GAP_S: Final = 60.0
"""A longer gap is a damaged time stamp and is not filled."""
_HEADS: Final = (b"\x1aE\xdf\xa3", b"#!AMR", b"ID3", b"OggS", b"\x30\x26\xb2\x75\x8e\x66\xcf\x11")
_SCALES: Final = {"u8": (2.0**-7, -1.0), "s16": (2.0**-15, 0.0), "s32": (2.0**-31, 0.0), "s64": (2.0**-63, 0.0)}


@dataclass(frozen=True, slots=True)
class PackedHeader:
    """What the header of a packed file says of its sound.

    Arguments:
        rate_hz: samples per second.
        channels: how many.
        frames: samples per channel, by the length that the file states.
        format: container and codec, in capitals.
        fault: why there is no sound to be had; empty when there is.
    """

    rate_hz: int
    channels: int
    frames: int
    format: str
    fault: str = ""


def looks_packed(path: Path) -> bool:
    """Say whether a file begins as one of these containers does.

    Arguments:
        path: the file.
    """
    with path.open("rb") as file:
        head = file.read(16)
    if len(head) < 12:
        return False
    sync = head[0] == 0xFF and head[1] & 0xE0 == 0xE0  # frames of MP3 or AAC without a container
    return head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free") or head.startswith(_HEADS) or sync


def packed_header(path: Path) -> PackedHeader | None:
    """Read the header; None when this is no such file after all.

    Arguments:
        path: the file.
    """
    import av

    try:
        with av.open(str(path), mode="r", metadata_errors="ignore") as container:
            name = container.format.name.split(",")[0].upper()
            if not container.streams.audio:
                return PackedHeader(0, 0, 0, name, "The file holds pictures but no sound.")
            stream = container.streams.audio[0]
            codec = stream.codec_context
            seconds = _seconds(container, stream)
            rate = int(codec.sample_rate or 0)
            frames = round(seconds * rate) if seconds else _counted(path)
            return PackedHeader(rate, int(codec.channels), frames, f"{name} {codec.name.upper()}")
    except (av.FFmpegError, ValueError, OverflowError, UnicodeDecodeError):
        return None


def _seconds(container: "av.container.InputContainer", stream: "av.AudioStream") -> float:
    """Give the length that the stream states, else the container's; 0 when neither does."""
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    return float(container.duration) / 1e6 if container.duration else 0.0


def _counted(path: Path) -> int:
    """Count the frames of a file that does not say how many there are."""
    return sum(piece.shape[1] for piece in _pieces(path))


def _samples(frame: "av.AudioFrame") -> NDArray[np.float32]:
    """Give the samples of one decoded frame, full scale 1, shape (channels, n)."""
    raw: NDArray[Any] = frame.to_ndarray()
    kind = frame.format.name
    if not frame.format.is_planar:
        raw = raw.reshape(-1, len(frame.layout.channels)).T
    scale, offset = _SCALES.get(kind.removesuffix("p"), (1.0, 0.0))
    return np.asarray(raw * np.float64(scale) + offset if scale != 1.0 else raw, dtype=np.float32)


def _pieces(path: Path) -> Iterator[NDArray[np.float32]]:
    """Decode from the beginning, piece by piece, shape (channels, n); a file that breaks off ends there."""
    import av

    try:
        with av.open(str(path), mode="r", metadata_errors="ignore") as container:
            stream = container.streams.audio[0]
            rate, channels = int(stream.codec_context.sample_rate), int(stream.codec_context.channels)
            done, began = 0, None
            for frame in container.decode(stream):
                samples = _samples(frame)
                if frame.sample_rate != rate or samples.shape[0] != channels:
                    return
                if frame.pts is not None and frame.time_base:
                    at = round(float(frame.pts * frame.time_base) * rate)
                    began = at - done if began is None else began
                    missing = at - began - done
                    if MISSING_S * rate < missing < LONGEST_GAP_S * rate:
                        yield np.zeros((channels, missing), dtype=np.float32)
                        done += missing
                yield samples
                done += samples.shape[1]
    except (av.FFmpegError, ValueError):
        return


def packed_blocks(path: Path, start: int, stop: int, block_frames: int) -> Iterator[NDArray[np.float32]]:
    """Decode and give the sound block by block, each of shape (frames, channels), from `start` to `stop`.

    Arguments:
        path: the file.
        start: first frame wanted; what lies before is decoded and let go.
        stop: frame after the last one wanted.
        block_frames: frames per block.
    """
    held: list[NDArray[np.float32]] = []
    count, at = 0, 0
    for piece in _pieces(path):
        first, at = at, at + piece.shape[1]
        kept = piece[:, max(0, start - first) : max(0, stop - first)]
        if kept.shape[1]:
            held.append(kept)
            count += kept.shape[1]
        while count >= block_frames:
            joined = np.concatenate(held, axis=1)
            yield np.ascontiguousarray(joined[:, :block_frames].T)
            held = [joined[:, block_frames:]]
            count -= block_frames
        if at >= stop:
            break
    if count:
        yield np.ascontiguousarray(np.concatenate(held, axis=1).T)


__all__ = ["PackedHeader", "looks_packed", "packed_blocks", "packed_header"]
