"""A test sequence that plays at twice or half its speed: told by its marks, so that it is not taken for none."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from tapewright.measure.audio import open_recording
from tapewright.measure.sequence_finding import LEAST_RATE_HZ
from tapewright.measure.sequence_marks import heard_marks, passes, placed_marks, sequence_heard
from tapewright.measure.sequence_sweeps import find_sweeps, pooled

RATIOS: Final = (2.0, 0.5)
"""The speeds of a cassette deck that has two of them; likewise of most open-reel machines."""


@dataclass(frozen=True, slots=True)
class OtherSpeed:
    """A sequence at another speed than its own.

    Arguments:
        name: of the sequence.
        ratio: how fast it plays; some 2 or 0.5.
        marks: how many of its marks were heard.
    """

    name: str
    ratio: float
    marks: int

    def says(self) -> str:
        """Say so in a sentence.

        >>> OtherSpeed("cassette, 4.76 cm/s, 4 tracks, type I", 1.97, 8).says()[:56]
        'A test sequence (cassette, 4.76 cm/s, 4 tracks, type I) '
        """
        way = "twice" if self.ratio > 1.0 else "half"
        return (
            f"A test sequence ({self.name}) plays at {way} its speed here ({self.ratio:.3f} times; {self.marks} marks "
            "heard). It is not read so: switch the machine to the other speed, or play a tape with the sequence for "
            "this one."
        )


def at_other_speed(path: str | Path, accept_truncated: bool = False) -> OtherSpeed | None:
    """Look for a test sequence at twice or half its speed; for a file in which there is none at its own.

    Arguments:
        path: a sound file.
        accept_truncated: take what is there of a file that is cut short.

    Returns:
        None where there is none either.

    Raises:
        InputAtFaultError: the file cannot be read.

    A file that was played twice as fast is one at half its sample rate, as far as marks go.
    """
    recording = open_recording(path, accept_truncated)
    for ratio in RATIOS:
        rate_hz = round(recording.rate_hz / ratio)
        if rate_hz < LEAST_RATE_HZ:
            continue
        sweeps = find_sweeps(replace(recording, rate_hz=rate_hz))
        heard = [heard_marks(rising, falling) for rising, falling in sweeps]
        runs = passes(placed_marks(heard, heard_marks(*pooled(sweeps)) if len(sweeps) > 1 else ()))
        if runs:
            run = max(runs, key=len)
            slowness = float(np.median([mark.slowness for mark in run]))
            return OtherSpeed(sequence_heard(run).name, recording.rate_hz / rate_hz / slowness, len(run))
    return None


__all__ = ["OtherSpeed", "at_other_speed"]
