"""How long one pass of a test sequence takes to read, against its playing time, and against a plain read of the file.

Run: python benchmarks/one_pass.py [sample rate] [tracks] [runs]
     python benchmarks/one_pass.py report [sample rate] [tracks]

With "report" the capture is lengthened to four minutes, and all is counted that `examine --out` does with it: every
channel measured, the sequence found, read and held against limits, beliefs, pictures, report.

The sequence is written as it stands, with noise and a little hum, 24 bit, and read start to end: found, then read.
The processor's time is what counts: what else runs on the machine makes the clock on the wall tell little.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import tapewright  # noqa: F401  first, since it sets the number of BLAS threads before numpy is loaded

# isort: split
import numpy as np
import soundfile

from tapewright.measure.one_pass import read_one_pass
from tapewright.measure.sequence_finding import find_sequence
from tapewright.measure.sequence_plan import planned_sequence
from tapewright.measure.sequence_writing import write_sequence

BLOCK_FRAMES = 1 << 16


def captured(folder: Path, rate_hz: int, tracks: int) -> tuple[Path, float]:
    """Write a sequence and the same with noise, block by block; give the second and its length in seconds."""
    clean, noisy = folder / "clean.wav", folder / "noisy.wav"
    sequence = planned_sequence(tracks=tracks)
    write_sequence(sequence, clean, rate_hz)
    draw = np.random.default_rng(1)
    with (
        soundfile.SoundFile(str(clean)) as source,
        soundfile.SoundFile(str(noisy), "w", rate_hz, tracks, subtype="PCM_24", format="RF64") as out,
    ):
        for block in source.blocks(BLOCK_FRAMES, dtype="float32", always_2d=True):
            out.write(0.7 * block + 5e-4 * draw.standard_normal(block.shape, dtype=np.float32))
        return noisy, source.frames / rate_hz


def plain_read(path: Path) -> None:
    with soundfile.SoundFile(str(path)) as file:
        for _ in file.blocks(BLOCK_FRAMES, dtype="float64", always_2d=True):
            pass


def least_s(work: Callable[[], object], runs: int) -> float:
    """Give the least processor time of several runs, seconds."""
    took = []
    for _ in range(runs):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    return min(took)


def lengthened(path: Path, seconds: float) -> float:
    """Let a file end with as much of its own beginning as makes it so long, for it was silent tape otherwise."""
    with soundfile.SoundFile(str(path), "r+") as file:
        first = file.read(max(0, int(seconds * file.samplerate) - file.frames), dtype="float32", always_2d=True)
        file.seek(0, soundfile.SEEK_END)
        file.write(first[::-1] * 0.01)
        return float(file.frames / file.samplerate)


def report() -> None:
    """Print what the whole way from capture to report takes, processor time and by the clock on the wall."""
    from tapewright.jobs.examine import examine
    from tapewright.machine.load import read_machine
    from tapewright.show.report import write_report
    from tapewright.words.evidence import Evidence

    rate_hz, tracks = (int(sys.argv[at]) if len(sys.argv) > at else default for at, default in ((2, 96000), (3, 4)))
    machine = read_machine("four_track")
    examine(machine, Evidence())  # what a bench has worked out of a machine before the first capture comes
    with tempfile.TemporaryDirectory() as folder:
        path, _ = captured(Path(folder), rate_hz, tracks)
        seconds = lengthened(path, 240.0)
        began, by_clock = time.process_time(), time.perf_counter()
        record = examine(machine, Evidence(), [path])
        readings = time.process_time() - began
        write_report(record, machine, Path(folder) / "out")
        whole, on_the_wall = time.process_time() - began, time.perf_counter() - by_clock
    print(f"{seconds:.0f} s of {tracks} tracks at {rate_hz} Hz, 24 bit, to readings and report")
    for name, took in (("readings", readings), ("report, all", whole), ("by the clock", on_the_wall)):
        print(f"{name:20s}{took:8.2f} s  {took / seconds:7.4f} of its playing time")


def main() -> None:
    if sys.argv[1:2] == ["report"]:
        report()
        return
    rate_hz, tracks, runs = (
        int(sys.argv[number]) if len(sys.argv) > number else default for number, default in ((1, 96000), (2, 4), (3, 3))
    )
    with tempfile.TemporaryDirectory() as folder:
        path, seconds = captured(Path(folder), rate_hz, tracks)
        found = find_sequence(path)
        rows = {
            "plain read": least_s(lambda: plain_read(path), runs),
            "find": least_s(lambda: find_sequence(path), runs),
            "read, found before": least_s(lambda: read_one_pass(path, found), runs),
            "find and read": least_s(lambda: read_one_pass(path), runs),
        }
    print(f"{seconds:.0f} s of {tracks} tracks at {rate_hz} Hz, 24 bit; processor time, least of {runs} runs")
    for name, took in rows.items():
        print(f"{name:20s}{took:8.2f} s  {took / seconds:7.4f} of its playing time")


if __name__ == "__main__":
    main()
