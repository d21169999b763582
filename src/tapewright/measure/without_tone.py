"""`measure_without_tone`: slow speed change from hum and from programme, on request only, under a grade of its own."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure import hum_frames, partials
from tapewright.measure.audio import Recording, open_recording
from tapewright.measure.hum_frames import (
    HARMONICS,
    NOMINALS_HZ,
    REACH,
    comb_score,
    harmonics,
    hum_frame,
    lines_between,
    tried_hz,
)
from tapewright.measure.hum_speed import Hum, hum_speed, joined, ways_through
from tapewright.measure.overlapping import OverlappingFrames
from tapewright.measure.partials import Linker, find_peaks
from tapewright.measure.plain import channel_blocks
from tapewright.measure.programme_speed import programme_speed
from tapewright.measure.slow_speed import LEAST_S, SlowSpeed, no_slow_speed
from tapewright.words.problem import InputAtFaultError, Problem

MOST_FRAMES: Final = 2400
"""In a longer file hum is looked at in so many frames, further apart: memory stays flat."""
PROGRAMME_S: Final = 600.0
"""Of a longer file the first ten minutes of programme are looked at."""
TRIMMED: Final = 3
LEAST_FRAMES: Final = 5
LEAST_RATE_HZ: Final = 2400


@dataclass(frozen=True, slots=True, eq=False)
class ChannelWithoutTone:
    """What one channel tells without a test tone.

    Arguments:
        hum: by mains hum on the tape.
        programme: by partials of the programme.
    """

    hum: SlowSpeed
    programme: SlowSpeed


class _Scores:
    """How tried fundamentals score, frame by frame, for one channel."""

    def __init__(self, mains_hz: float | None) -> None:
        self.nominals = NOMINALS_HZ if mains_hz is None else (mains_hz,)
        self.tried = [tried_hz(one) for one in self.nominals]
        self.rows: list[NDArray[np.float32]] = []

    def add(self, frame: hum_frames.HumFrame) -> None:
        """Take the next frame."""
        self.rows.append(np.concatenate([comb_score(frame, one) for one in self.tried]).astype(np.float32))

    def ways(self, step_s: float) -> list[tuple[float, float, NDArray[np.float64]]]:
        """Give nominal, mean score and fundamentals of each hum worth following."""
        scores = np.array(self.rows, dtype=np.float64)
        found, at = [], 0
        for nominal, tried in zip(self.nominals, self.tried, strict=True):
            part = scores[:, at : at + len(tried)]
            at += len(tried)
            found += [
                (nominal, float(part[np.arange(len(way)), way].mean()), tried[way])
                for way in ways_through(part, step_s)
            ]
        return found


def measure_without_tone(
    path: str | Path,
    mains_hz: float | None = None,
    progress: Callable[[float], None] | None = None,
    accept_truncated: bool = False,
) -> tuple[ChannelWithoutTone, ...]:
    """Estimate slow speed change of a recording that has no test tone. The file is only read.

    Arguments:
        path: a sound file.
        mains_hz: nominal frequency of the mains where the tape was recorded; None for 50 or 60.
        progress: called with the share done, 0 to 1.
        accept_truncated: take what is there of a file that is cut short.

    Returns:
        One for each channel; what tells nothing says why.

    Errors:
        InputAtFaultError: the file cannot be read, or `mains_hz` is no mains frequency.
    """
    if mains_hz is not None and not 40.0 <= mains_hz <= 70.0:
        raise InputAtFaultError(
            Problem("--mains", f"{mains_hz:g} Hz is no mains frequency.", "Give 50 or 60, whichever it was.")
        )
    recording = open_recording(path, accept_truncated)
    tell = progress or (lambda share: None)
    if recording.rate_hz < LEAST_RATE_HZ or recording.duration_s < LEAST_S:
        reason = f"The recording lasts {recording.duration_s:.0f} s; {LEAST_S:g} s are needed."
        if recording.rate_hz < LEAST_RATE_HZ:
            reason = f"{recording.rate_hz} samples a second are too few."
        none = ChannelWithoutTone(no_slow_speed("hum", reason), no_slow_speed("programme", reason))
        return (none,) * recording.channels
    step_s = max(0.5 * hum_frames.FRAME_S, recording.duration_s / MOST_FRAMES)
    scores, linkers = _first_pass(recording, mains_hz, step_s, lambda share: tell(0.6 * share))
    ways = [one.ways(step_s) if len(one.rows) > LEAST_S / step_s / 2 else [] for one in scores]
    hums = _second_pass(recording, ways, step_s, lambda share: tell(0.6 + 0.4 * share))
    return tuple(
        ChannelWithoutTone(
            hum_speed(hums[at], mains_hz, hum_frames.FRAME_S / 2.0),
            programme_speed(linkers[at].tracks(TRIMMED, LEAST_FRAMES)),
        )
        for at in range(recording.channels)
    )


def _top_hz() -> float:
    return HARMONICS * max(NOMINALS_HZ) * (1.0 + 2.0 * REACH) + 20.0


def _first_pass(
    recording: Recording, mains_hz: float | None, step_s: float, tell: Callable[[float], None]
) -> tuple[list[_Scores], list[Linker]]:
    rate = recording.rate_hz
    slow = OverlappingFrames(round(hum_frames.FRAME_S * rate), round(step_s * rate))
    quick = OverlappingFrames(round(partials.FRAME_S * rate), round(partials.HOP_S * rate))
    scores = [_Scores(mains_hz) for _ in range(recording.channels)]
    linkers = [Linker() for _ in range(recording.channels)]
    done = 0
    for block in channel_blocks(recording, progress=tell):
        for _, frame in slow.add(block):
            for channel, samples in enumerate(frame):
                scores[channel].add(hum_frame(samples, rate, _top_hz()))
        if done > PROGRAMME_S * rate:
            continue
        done += block.shape[1]
        for _, frame in quick.add(block):
            for channel, samples in enumerate(frame):
                linkers[channel].add(find_peaks(samples, rate))
    return scores, linkers


_Row = tuple[NDArray[np.float64], NDArray[np.bool_]]


def _along(spectrum: hum_frames.HumFrame, fundamental_hz: float) -> _Row:
    """Read the harmonics of one frame, and what stands between them."""
    found = harmonics(spectrum, fundamental_hz)
    there = found[0][np.isfinite(found[0])]
    return found, lines_between(spectrum, float(np.median(there)) if len(there) else fundamental_hz)


def _second_pass(
    recording: Recording,
    ways: list[list[tuple[float, float, NDArray[np.float64]]]],
    step_s: float,
    tell: Callable[[float], None],
) -> list[list[Hum]]:
    """Read the harmonics along each way; which way to go is known only when the file has been read once."""
    rate = recording.rate_hz
    slow = OverlappingFrames(round(hum_frames.FRAME_S * rate), round(step_s * rate))
    read: list[list[list[_Row]]] = [[[] for _ in one] for one in ways]
    times: list[float] = []
    for block in channel_blocks(recording, progress=tell):
        for at, frame in slow.add(block):
            number = len(times)
            times.append(at / rate + hum_frames.FRAME_S / 2.0)
            for channel, samples in enumerate(frame):
                spectrum = hum_frame(samples, rate, _top_hz()) if ways[channel] else None
                for into, way in zip(read[channel], ways[channel], strict=True):
                    if spectrum is not None and number < len(way[2]):
                        into.append(_along(spectrum, float(way[2][number])))
    middles = np.array(times)
    return [
        [
            joined(way[0], way[1], middles[: len(rows)], np.array([r[0] for r in rows]), np.array([r[1] for r in rows]))
            for way, rows in zip(one, into, strict=True)
        ]
        for one, into in zip(ways, read, strict=True)
    ]


__all__ = ["ChannelWithoutTone", "measure_without_tone"]
