"""How long measuring a recording takes, against reading the same file plainly with libsndfile, in the same run.

Run: python benchmarks/measure_speed.py [seconds of recording]
"""

import sys
import tempfile
import time
from pathlib import Path

import tapewright  # noqa: F401  first, since it sets the number of BLAS threads before numpy is loaded

# isort: split
import numpy as np
import soundfile

from tapewright.measure.recording import measure_recording

RATE_HZ = 48000
CHANNELS = 2


def written(path: Path, seconds: float) -> None:
    """Write a stereo tone with 0.1 % at 6.3 Hz and some noise, 24 bit, minute by minute."""
    draw = np.random.default_rng(1)
    with soundfile.SoundFile(str(path), "w", RATE_HZ, CHANNELS, subtype="PCM_24", format="RF64") as file:
        for first in np.arange(0.0, seconds, 10.0):
            times = first + np.arange(int(min(10.0, seconds - first) * RATE_HZ)) / RATE_HZ
            phase = 2.0 * np.pi * 3150.0 * times - 0.5 * np.cos(2.0 * np.pi * 6.3 * times)
            noise = 0.005 * draw.standard_normal((len(times), CHANNELS))
            file.write(0.4 * np.sin(phase)[:, None] + noise)


def plain_read_s(path: Path) -> float:
    """Time one pass of libsndfile over the file, into one array of single precision."""
    began = time.perf_counter()
    block = np.empty((1 << 17, CHANNELS), dtype=np.float32)
    with soundfile.SoundFile(str(path)) as file:
        while len(file.read(len(block), dtype="float32", out=block)):
            pass
    return time.perf_counter() - began


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tone.rf64"
        written(path, seconds)
        plain_read_s(path)
        read = min(plain_read_s(path) for _ in range(3))
        took = []
        for _ in range(3):
            began = time.perf_counter()
            found = measure_recording(path)
            took.append(time.perf_counter() - began)
    best = min(took)
    reading = found.channels[0].weighted_peak_pct
    print(f"{seconds:.0f} s of {CHANNELS} channels at {RATE_HZ} Hz, 24 bit; weighted peak {reading.value:.4f} %")
    print(f"plain read  {read:8.3f} s   {seconds / read:8.0f} times real time")
    print(f"measure     {best:8.3f} s   {seconds / best:8.0f} times real time")
    print(f"ratio       {best / read:8.2f}")


if __name__ == "__main__":
    main()
