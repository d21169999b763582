"""Write a test sequence as a sound file, to be recorded on a tape with a good machine."""

import json
import math
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from tapewright.measure.sequence_mark import Samples, edges, mark
from tapewright.measure.sequence_plan import LEAD_S, marks_of, variant_of
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.sequence import MARK, Section, Sequence
from tapewright.words.whole_file import no_room, write_whole, written_beside, wrong_place

REFERENCE_DBFS: Final = -14.0
"""A tone at the reference level peaks here, so that ten decibels more still fit."""
RISE_S: Final = 0.02
"""Each section rises and falls in this time: no click, and no treble from its edges."""
RATES_HZ: Final = (44100, 96000)
_BLOCK_S: Final = 1.0


def amplitude(level_db: float) -> float:
    """Give the peak of a tone so many decibels over the reference level, full scale 1.

    >>> round(amplitude(10.0), 3)
    0.631
    """
    return float(10.0 ** ((REFERENCE_DBFS + level_db) / 20.0))


def _tones(section: Section, times_s: Samples) -> Samples:
    """Give the tones of a section, each at peak 1; several begin out of step, so that they do not peak together.

    The phases are those of Schroeder, "Synthesis of low-peak-factor signals", IEEE Trans. Inf. Theory 16 (1970); of
    tones that are no overtones of one another they make what chance would.
    """
    together = section.frequencies_hz or ((section.frequency_hz,) if section.frequency_hz is not None else ())
    said = np.zeros(len(times_s))
    for place, hz in enumerate(together):
        said += np.sin(2.0 * np.pi * hz * times_s - math.pi * place * place / len(together))
    return said


def section_sound(sequence: Sequence, section: Section, track: int, times_s: Samples) -> Samples:
    """Give what one section puts on one track, full scale 1.

    Arguments:
        sequence: the section is of.
        section: one of its sections.
        track: counted from 1.
        times_s: from the beginning of the sequence, shape (n,).
    """
    since_s = times_s - section.start_s
    if track not in section.tracks:
        return np.zeros(len(times_s))
    if section.kind == MARK:
        said = mark(since_s, marks_of(sequence).index(section), variant_of(sequence), sequence.tracks, track)
    else:
        said = edges(since_s, section.length_s, RISE_S) * _tones(section, since_s)
    return amplitude(section.level_db) * said


def sequence_blocks(sequence: Sequence, rate_hz: int) -> Iterator[Samples]:
    """Give the sound of a sequence block by block, each of shape (frames, tracks), full scale 1.

    Arguments:
        sequence: from `planned_sequence`.
        rate_hz: samples a second.
    """
    frames, step = sequence_frames(sequence, rate_hz), round(_BLOCK_S * rate_hz)
    for first in range(0, frames, step):
        times_s = np.arange(first, min(first + step, frames)) / rate_hz
        block = np.zeros((len(times_s), sequence.tracks))
        for section in sequence.sections:
            inside = slice(*np.searchsorted(times_s, [section.start_s, section.end_s]))
            if inside.stop > inside.start:
                for track in section.tracks:
                    block[inside, track - 1] += section_sound(sequence, section, track, times_s[inside])
        yield block


def sequence_frames(sequence: Sequence, rate_hz: int) -> int:
    """Give how many samples of each track a sequence takes, the silence at its end included."""
    return math.ceil((sequence.duration_s + LEAD_S) * rate_hz)


def write_sequence(
    sequence: Sequence, path: Path, rate_hz: int = 48000, progress: Callable[[float], None] | None = None
) -> dict[str, Any]:
    """Write a sequence as a WAV file of 24 bit, a channel for each track, and what is on it as JSON beside it.

    Arguments:
        sequence: from `planned_sequence`.
        path: a name that ends in .wav; the sections go into the same name with .json.
        rate_hz: samples a second, 44100 to 96000.
        progress: called with the share done.

    Returns:
        What stands in the JSON file. The same sequence and rate give the same bytes.

    Raises:
        InputAtFaultError: a rate that is not offered, or a place that cannot be written or holds something else.
    """
    _check(path, rate_hz, 3 * sequence.tracks * sequence_frames(sequence, rate_hz))
    said = {
        "test_sequence": True,
        "file": path.name,
        "sample_rate_hz": rate_hz,
        "reference_dbfs": REFERENCE_DBFS,
        "sequence": plain(sequence),
    }
    try:
        with written_beside(path) as part:
            _write(sequence, part, rate_hz, progress)
            write_whole(path.with_suffix(".json"), json.dumps(said, indent=1, ensure_ascii=False) + "\n")
            part.replace(path)
    except (OSError, soundfile.SoundFileError) as error:
        raise _refusal(path, f"cannot be written: {error}.", "Give another place, or make room there.") from error
    return said


def _write(sequence: Sequence, part: Path, rate_hz: int, progress: Callable[[float], None] | None) -> None:
    frames, done = sequence_frames(sequence, rate_hz), 0
    with part.open("wb"):
        pass  # says why when it cannot be, where the library below only says "system error"
    with soundfile.SoundFile(str(part), "w", rate_hz, sequence.tracks, subtype="PCM_24", format="WAV") as file:
        for block in sequence_blocks(sequence, rate_hz):
            file.write(block)
            done += len(block)
            if progress is not None:
                progress(done / frames)
    with part.open("rb+") as written:
        os.fsync(written.fileno())


def _refusal(path: Path, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(str(path), found, do))


def _check(path: Path, rate_hz: int, size: int) -> None:
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise InputAtFaultError(Problem("--rate", f"is {rate_hz}.", "Give 44100 to 96000 samples a second."))
    wrong = wrong_place(path, (".wav",), "what is on it goes beside it")
    if wrong is not None:
        raise InputAtFaultError(wrong)
    beside = path.with_suffix(".json")
    if (beside.exists() and not _is_ours(beside)) or (path.exists() and not beside.exists()):
        other = beside if beside.exists() else path
        raise _refusal(other, "is there already and is no test sequence: it may be a recording.", "Give another name.")
    crowded = no_room(path, size, "give a lower --rate")
    if crowded is not None:
        raise InputAtFaultError(crowded)


def _is_ours(path: Path) -> bool:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(held, dict) and held.get("test_sequence") is True


__all__ = ["REFERENCE_DBFS", "amplitude", "section_sound", "sequence_blocks", "sequence_frames", "write_sequence"]
