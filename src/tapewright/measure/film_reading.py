"""Frames out of a film: the brightness plane alone, each frame with its own time, turned as it is watched.

A phone's frame rate wavers, so nothing here counts frames: the time stamp of the frame is its time. Only the luma plane
is touched, and it is not copied: a film of any length needs the memory of a few frames.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.words.problem import InputAtFaultError, Problem

if TYPE_CHECKING:
    import av

LEAST_FRAMES: Final = 10
NO_FILMS: Final = ("tty", "image2", "png_pipe", "jpeg_pipe")
FASTEST_FILM_HZ: Final = 1000.0
USUAL_FILM_HZ: Final = 30.0
LEAST_PIXELS: Final = 64
"""Smaller pictures hold no hub that could be followed; own choice."""
SMALL_WIDTH: Final = 480
"""Hubs are looked for in pictures about so wide; own choice."""

Picture = NDArray[Any]


@dataclass(frozen=True, slots=True)
class FilmHeader:
    """What a film's header says.

    Arguments:
        width, height: as it is watched, pixels.
        duration_s: by the header; 0 where it does not say.
        stated_rate_hz: frames per second by the header: of no use for times.
        tick_s: the step of the time stamps.
        format: container, codec and pixel format.
    """

    width: int
    height: int
    duration_s: float
    stated_rate_hz: float
    tick_s: float
    format: str


@dataclass(frozen=True, slots=True, eq=False)
class FilmFrame:
    """One frame.

    Arguments:
        time_s: its own time stamp, from the first frame of the film.
        luma: brightness, shape (height, width), whole numbers of 8 or 16 bits; a view, not to be written to.
    """

    time_s: float
    luma: Picture


def film_header(path: Path) -> FilmHeader:
    """Read what a film's header says.

    Arguments:
        path: mp4, mov or another container.

    Raises:
        InputAtFaultError: there is no such file, or no film in it.
    """
    import av

    with _opened(path) as container:
        stream = _stream(container, path)
        first = next(iter(_decoded(container, stream)), None)
        if first is None:
            raise _wrong(path, "holds no picture that can be decoded.", "Send the film as the phone saved it.")
        height, width = _luma(first).shape
        if min(height, width) < LEAST_PIXELS:
            raise _wrong(path, f"is only {width} by {height} pixels.", "Film the cassette well larger.")
        duration = float(stream.duration * stream.time_base) if stream.duration and stream.time_base else 0.0
        if not duration and container.duration:
            duration = container.duration / av.time_base
        name = f"{container.format.name.split(',')[0]} {stream.codec_context.name} {first.format.name}"
        rate = float(stream.average_rate or 0.0)
        return FilmHeader(width, height, duration, rate, float(stream.time_base or Fraction(1, 1000)), name)


def film_frames(path: Path) -> Iterator[FilmFrame]:
    """Give every frame in the order in which it is watched; a film that breaks off ends there.

    Arguments:
        path: the film.

    Raises:
        InputAtFaultError: there is no such file, or no film in it.
    """
    with _opened(path) as container:
        yield from _timed(_decoded(container, _stream(container, path)), None)


def film_bursts(
    path: Path, bursts: int, frames: int, span_s: float, from_s: Sequence[float] = ()
) -> Iterator[tuple[FilmFrame, ...]]:
    """Give short runs of frames from places spread over a film: each begins at a frame that needs no other one.

    Arguments:
        path: the film.
        bursts: how many at most, spread evenly.
        frames: how many frames in each.
        span_s: how long a run is to last, about: of a fast film not every frame is taken.
        from_s: where they are to begin instead, seconds from the beginning of the film, rising.

    Raises:
        InputAtFaultError: there is no such file, or no film in it.
    """
    header = film_header(path)
    # A header may state the ticks of its clock as its rate.
    rate = header.stated_rate_hz if header.stated_rate_hz < FASTEST_FILM_HZ else USUAL_FILM_HZ
    every = max(1, round(span_s * rate / frames))
    keys = _key_times(path)
    with _opened(path) as container:
        stream = _stream(container, path)
        base = stream.time_base or Fraction(1, 1000)
        began = stream.start_time or 0
        last_s, whole = -1.0, _decoded(container, stream)
        for at_s in from_s or [header.duration_s * number / bursts for number in range(bursts)]:
            # Decoding on is quicker than going back to a whole picture that lies behind.
            if any(last_s < key_s <= at_s for key_s in keys) and at_s > 0.0:
                container.seek(int(at_s / base) + began, stream=stream, backward=True)
                whole = _decoded(container, stream)
            held: list[FilmFrame] = []
            after_s = max(last_s, at_s - 0.5 / rate) if from_s else last_s
            for count, frame in enumerate(_timed(whole, float(began * base), after_s)):
                if count % every == 0:
                    held.append(FilmFrame(frame.time_s, frame.luma.copy()))
                if len(held) == frames:
                    break
            if not held:
                break
            last_s = held[-1].time_s
            yield tuple(held)


def _key_times(path: Path) -> tuple[float, ...]:
    """Give the times of the frames that need no other one, by the container, undecoded."""
    with _opened(path) as container:
        stream = _stream(container, path)
        base = stream.time_base or Fraction(1, 1000)
        began = stream.start_time or 0
        return tuple(
            float((packet.pts - began) * base)
            for packet in container.demux(stream)
            if packet.is_keyframe and packet.pts is not None
        )


def small(luma: Picture, width: int = SMALL_WIDTH) -> tuple[NDArray[np.float32], int]:
    """Give a picture thinned by a whole number, and that number: each value is the mean of up to four of its block.

    Arguments:
        luma: shape (height, width).
        width: about how wide it is to be.
    """
    by = max(1, round(max(luma.shape) / width))
    rows, columns = (size // by * by for size in luma.shape)
    offsets = sorted({by // 4, by - 1 - by // 4})
    parts = [luma[i:rows:by, j:columns:by].astype(np.float32) for i in offsets for j in offsets]
    return np.asarray(sum(parts) / np.float32(len(parts)), dtype=np.float32), by


def _wrong(path: Path, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(str(path), found, do))


def _opened(path: Path) -> "av.container.InputContainer":
    import av

    try:
        container = av.open(str(path), mode="r", metadata_errors="ignore")
    except FileNotFoundError as error:
        raise _wrong(path, "is not there.", "Give the path of the film.") from error
    except (av.FFmpegError, OSError, ValueError) as error:
        raise _wrong(path, "is no film that can be read.", "Send it as mp4 or mov, as the phone saved it.") from error
    # Any text passes for one kind of moving picture, and a photo for a film of one frame.
    if container.format.name in NO_FILMS:
        container.close()
        raise _wrong(path, "is no film.", "Send it as mp4 or mov, as the phone saved it.")
    return container


def _stream(container: "av.container.InputContainer", path: Path) -> "av.VideoStream":
    """Give the moving picture: a cover image does not count."""
    import av

    for stream in container.streams.video:
        if not stream.disposition & av.stream.Disposition.attached_pic:
            # Frame threads take in more pictures ahead, but both cores work.
            stream.thread_type = "AUTO"
            stream.codec_context.options = {"skip_loop_filter": "noref"}
            return stream
    raise _wrong(path, "holds no moving picture.", "Film the cassette well, and give that file.")


def _decoded(container: "av.container.InputContainer", stream: "av.VideoStream") -> Iterator["av.VideoFrame"]:
    import av

    try:
        yield from container.decode(stream)
    except (av.FFmpegError, ValueError):
        return


def _timed(frames: Iterator["av.VideoFrame"], began_s: float | None, after_s: float = -1.0) -> Iterator[FilmFrame]:
    """Give frames with their times; one without a time, or not later than the one before, is left out."""
    last_s = after_s
    for frame in frames:
        if frame.pts is None or frame.time_base is None:
            continue
        at_s = float(frame.pts * frame.time_base)
        began_s = at_s if began_s is None else began_s
        if at_s - began_s > last_s:
            last_s = at_s - began_s
            yield FilmFrame(last_s, _luma(frame))


def _luma(frame: "av.VideoFrame") -> Picture:
    """Give the brightness of a frame, turned as it is watched."""
    form = frame.format
    if not form.is_planar or form.is_rgb or form.is_bit_stream or form.has_palette:
        gray: Picture = frame.reformat(format="gray").to_ndarray()
    else:
        kind = "u1" if form.components[0].bits == 8 else (">u2" if form.is_big_endian else "<u2")
        plane = frame.planes[0]
        values: Picture = np.frombuffer(plane, dtype=kind)  # type: ignore[call-overload]
        gray = values.reshape(-1, plane.line_size // values.itemsize)[: frame.height, : frame.width]
        if form.components[0].bits > 8 and not form.name.startswith("p0"):
            # Ten bits stand low in their sixteen, but in p010 and its like, where they stand high.
            gray = gray << (16 - form.components[0].bits)
    turned = round(frame.rotation / 90.0) % 4
    return np.rot90(gray, turned) if turned else gray


__all__ = ["FilmFrame", "FilmHeader", "film_bursts", "film_frames", "film_header", "small"]
