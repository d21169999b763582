"""How long measuring a recording takes, against reading the same file plainly with libsndfile, in the same run.

Run: python benchmarks/measure_speed.py [seconds of recording] [sample rate] [channels]

The plain reading fills one array of single precision, block by block, with `buffer_read_into`. Printed are the ratio
with start-up aside, the ratio of a whole process to a whole process, and what stands at the two ends: a bare turn of
24-bit integers into single precision, and a script that puts the whole file through a Hilbert transform (of its first
60 s, scaled up, since it needs all of the file in memory). One thread each.

An hour of four channels at 96 kHz: python benchmarks/measure_speed.py 3600 96000 4 (4.2 GB in the temporary folder).
"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import tapewright  # noqa: F401  first, since it sets the number of BLAS threads before numpy is loaded

# isort: split
import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.recording import measure_recording

BLOCK_FRAMES = 1 << 16
PLAIN_SCRIPT = """
import sys
import numpy as np
import soundfile
with soundfile.SoundFile(sys.argv[1]) as file:
    block = np.empty((1 << 16, file.channels), dtype=np.float32)
    while file.buffer_read_into(block, "float32"):
        pass
"""
MEASURE_SCRIPT = """
import sys
from tapewright.measure.recording import measure_recording
measure_recording(sys.argv[1])
"""
PEAK = """
import pathlib
status = pathlib.Path("/proc/self/status")
if status.exists():
    print(1024 * int(status.read_text().split("VmHWM:")[1].split()[0]))
else:
    import resource
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def written(path: Path, seconds: float, rate_hz: int = 48000, channels: int = 2) -> None:
    """Write a tone with 0.1 % at 6.3 Hz, slow flutter and some noise, 24 bit, ten seconds at a time."""
    draw = np.random.default_rng(1)
    slow = np.cumsum(draw.standard_normal(int(100.0 * (seconds + 20.0)))) * 0.02
    slow = signal.sosfiltfilt(signal.butter(2, 0.5, "high", fs=100.0, output="sos"), slow)
    with soundfile.SoundFile(str(path), "w", rate_hz, channels, subtype="PCM_24", format="RF64") as file:
        for first in np.arange(0.0, seconds, 10.0):
            times = first + np.arange(int(min(10.0, seconds - first) * rate_hz)) / rate_hz
            phase = 2.0 * np.pi * 3150.0 * times - 0.5 * np.cos(2.0 * np.pi * 6.3 * times)
            phase += np.interp(times, np.arange(len(slow)) / 100.0, slow)
            noise = 0.005 * draw.standard_normal((len(times), channels), dtype=np.float32)
            file.write(0.4 * np.sin(phase).astype(np.float32)[:, None] + noise)


def plain_read(path: Path) -> None:
    """Pass over the file with libsndfile, into one array of single precision."""
    with soundfile.SoundFile(str(path)) as file:
        block = np.empty((BLOCK_FRAMES, file.channels), dtype=np.float32)
        while file.buffer_read_into(block, "float32"):
            pass


def bare_read(path: Path) -> None:
    """Turn the bytes of the file, as if all were 24-bit integers, into single precision."""
    raw = bytearray(1 + 3 * BLOCK_FRAMES)
    window = memoryview(raw)[1:]
    with path.open("rb", buffering=0) as file:
        while got := file.readinto(window):
            whole: NDArray[np.int32] = np.ndarray((got // 3,), "<i4", buffer=raw, strides=(3,))
            (whole & np.int32(-256)).astype(np.float32)


def hilbert_script(path: Path, seconds: float) -> None:
    """Demodulate the first `seconds` in one go, as a short script would."""
    with soundfile.SoundFile(str(path)) as file:
        samples = file.read(int(seconds * file.samplerate), always_2d=True)
    np.diff(np.unwrap(np.angle(signal.hilbert(samples, axis=0)), axis=0), axis=0)


def process(script: str, path: Path) -> float:
    """Run a script as a process of its own; give the memory it took at its peak, bytes.

    Linux says it in /proc, for this program alone; elsewhere it is what `resource` says, in its own unit.
    """
    done = subprocess.run([sys.executable, "-c", script + PEAK, str(path)], capture_output=True, text=True, check=True)
    return float(done.stdout.split()[-1])


def best_in_turn(works: dict[str, Callable[[], object]], times: int = 3) -> dict[str, float]:
    """Give the shortest of several runs of each, seconds, turn about: what else the machine does slows all alike."""
    took: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(times):
        for name, work in works.items():
            took[name].append(best_s(work, 1))
    return {name: min(each) for name, each in took.items()}


def best_s(work: Callable[[], object], times: int = 3) -> float:
    """Give the shortest of several runs, seconds."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def main() -> None:
    seconds, rate_hz, channels = (
        float(sys.argv[number]) if len(sys.argv) > number else default
        for number, default in ((1, 600.0), (2, 96000.0), (3, 4.0))
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tone.rf64"
        written(path, seconds, int(rate_hz), int(channels))
        plain_read(path)
        rows = best_in_turn(
            {
                "plain read": lambda: plain_read(path),
                "measure": lambda: measure_recording(path),
                "bare integers": lambda: bare_read(path),
                "plain process": lambda: process(PLAIN_SCRIPT, path),
                "measure process": lambda: process(MEASURE_SCRIPT, path),
            }
        )
        part = min(60.0, seconds)
        rows["Hilbert script"] = best_s(lambda: hilbert_script(path, part), 1) * seconds / part
        memory = process(MEASURE_SCRIPT, path)
        reading = measure_recording(path).channels[0].weighted_peak_pct
        size = path.stat().st_size
    print(
        f"{seconds:.0f} s of {channels:.0f} channels at {rate_hz:.0f} Hz, 24 bit, {size / 1e6:.0f} MB; "
        f"weighted peak {reading.value:.4f} %"
    )
    for name, took in rows.items():
        print(f"{name:16s}{took:9.3f} s  {seconds / took:8.0f} times real time  {took / rows['plain read']:8.2f}")
    print(f"measure over plain read, start-up aside:  {rows['measure'] / rows['plain read']:.2f}")
    print(f"whole process over whole process:         {rows['measure process'] / rows['plain process']:.2f}")
    print(f"memory of the measuring process at its peak: {memory / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
