"""A stretch of a recording, chosen by hand, as a recording of its own; the one that it is taken from stays as it is."""

import math
import tempfile
from pathlib import Path

import soundfile

from tapewright.jobs.store.nouns import Attached, FileKind, Sheet
from tapewright.jobs.store.opened import Store
from tapewright.measure.audio import Recording, open_recording, sound_blocks
from tapewright.web.asking import Typed, number
from tapewright.web.workbench import renamed
from tapewright.words.problem import InputAtFaultError, Problem


def take_stretch(store: Store, job_id: str, whole: Attached, typed: Typed, who: str) -> Sheet:
    """Add a stretch of a recording to the job.

    Arguments:
        store: where jobs are kept.
        job_id: of the job.
        whole: the recording that it is taken from.
        typed: `from` and `to`, seconds; where one is empty, from the beginning or to the end.
        who: asks for it.

    Raises:
        InputAtFaultError: for a stretch that it does not have.
    """
    path = store.file_path(whole.sha256)
    try:
        recording = open_recording(path)
    except InputAtFaultError as error:
        raise renamed(error, path, whole.called) from None
    start_s, stop_s = _asked(typed, recording)
    with tempfile.TemporaryDirectory(prefix="tapewright-stretch-") as folder:
        cut = Path(folder) / "stretch.wav"
        write_stretch(recording, start_s, stop_s, cut)
        called = f"{Path(whole.called).stem[:150]}, {start_s:g} to {stop_s:g} s.wav"
        with cut.open("rb") as file:
            stored = store.put_file(file, called)
    note = f"seconds {start_s:g} to {stop_s:g} of {whole.called}, chosen by hand"
    kept = Attached(
        stored.sha256, stored.size_bytes, called, FileKind.RECORDING, whole.tone_hz, whole.stage, note, whole.personal
    )
    return store.add(job_id, kept, who=who, once=typed.get("once") or None)


def _asked(typed: Typed, recording: Recording) -> tuple[float, float]:
    start_s, stop_s = number(typed.get("from", ""), "from"), number(typed.get("to", ""), "to")
    length_s = math.floor(1000.0 * recording.duration_s) / 1000.0
    start_s, stop_s = 0.0 if start_s is None else start_s, length_s if stop_s is None else stop_s
    if not 0.0 <= start_s < stop_s <= length_s:
        found = f"{start_s:g} to {stop_s:g} s is no stretch of this recording, which lasts {length_s:g} s."
        raise InputAtFaultError(Problem("stretch", found, "Give seconds as the charts show them, from before to."))
    if (start_s, stop_s) == (0.0, length_s):
        raise InputAtFaultError(
            Problem("stretch", "is the whole recording.", "Give where it begins, or ends, or both.")
        )
    return start_s, stop_s


def write_stretch(recording: Recording, start_s: float, stop_s: float, into: Path) -> None:
    """Copy a stretch sample by sample, as 32-bit floats, block by block.

    Arguments:
        recording: from `open_recording`.
        start_s: where it begins, s.
        stop_s: where it ends, s.
        into: the file to be written.
    """
    first, last = round(start_s * recording.rate_hz), round(stop_s * recording.rate_hz)
    with soundfile.SoundFile(
        str(into), "w", recording.rate_hz, recording.channels, subtype="FLOAT", format="WAV"
    ) as file:
        for block in sound_blocks(recording, first, last):
            file.write(block)
