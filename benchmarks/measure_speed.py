"""How long measuring a recording takes, against reading the same file plainly with libsndfile, in the same run.

Run: python benchmarks/measure_speed.py [seconds of recording] [sample rate] [channels]

Prints too what stands at the two ends: a bare turn of 24-bit integers into single precision, and a script that puts the
whole file through a Hilbert transform (of its first 60 s, scaled up, since it needs all of the file in memory).
"""

import sys
import tempfile
import time
import tracemalloc
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


def written(path: Path, seconds: float, rate_hz: int = 48000, channels: int = 2) -> None:
    """Write a tone with 0.1 % at 6.3 Hz and some noise, 24 bit, ten seconds at a time."""
    draw = np.random.default_rng(1)
    with soundfile.SoundFile(str(path), "w", rate_hz, channels, subtype="PCM_24", format="RF64") as file:
        for first in np.arange(0.0, seconds, 10.0):
            times = first + np.arange(int(min(10.0, seconds - first) * rate_hz)) / rate_hz
            phase = 2.0 * np.pi * 3150.0 * times - 0.5 * np.cos(2.0 * np.pi * 6.3 * times)
            noise = 0.005 * draw.standard_normal((len(times), channels), dtype=np.float32)
            file.write(0.4 * np.sin(phase).astype(np.float32)[:, None] + noise)


def plain_read(path: Path, channels: int) -> None:
    """Pass over the file with libsndfile, into one array of single precision."""
    block = np.empty((BLOCK_FRAMES, channels), dtype=np.float32)
    with soundfile.SoundFile(str(path)) as file:
        while len(file.read(len(block), dtype="float32", out=block)):
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
        for number, default in ((1, 600.0), (2, 48000.0), (3, 2.0))
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tone.rf64"
        written(path, seconds, int(rate_hz), int(channels))
        plain_read(path, int(channels))
        read, bare = best_s(lambda: plain_read(path, int(channels))), best_s(lambda: bare_read(path))
        part = min(60.0, seconds)
        hilbert = best_s(lambda: hilbert_script(path, part), 1) * seconds / part
        best = best_s(lambda: measure_recording(path))
        tracemalloc.start()
        reading = measure_recording(path).channels[0].weighted_peak_pct
        memory = tracemalloc.get_traced_memory()[1]
        size = path.stat().st_size
    print(
        f"{seconds:.0f} s of {channels:.0f} channels at {rate_hz:.0f} Hz, 24 bit; weighted peak {reading.value:.4f} %"
    )
    for name, took in (("bare integers", bare), ("plain read", read), ("measure", best), ("Hilbert script", hilbert)):
        print(f"{name:15s}{took:9.3f} s  {seconds / took:8.0f} times real time  {took / read:8.2f} plain reads")
    print(f"memory of measuring at its peak: {memory / 1e6:.0f} MB for a file of {size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
