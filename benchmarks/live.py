"""What one live stream costs, and how far what it tells lags behind the sound.

A tone is sent at the pace of real time, in blocks as a browser sends them, through the real server. A block leaves when
its last sample would have sounded. The lag of a moment is from its last sample to its arrival: gathering a block,
reading it, and the way there and back; a screen adds one of its frames. A moment comes every tenth of a second, and
"speed now" is a mean over half a second: neither is in the lag. The cost is the processor time of the server's process.

Linux only, for the processor time of another process. Run: python -m benchmarks.live [SECONDS] [CHANNELS]
"""

import json
import os
import re
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from benchmarks.bench_pages import COMMAND, Client

SECONDS = 40.0
RATE_HZ = 48_000
FRAMES = 2048
SETTLES_S = 15.0
"""The window of twelve seconds is full, and the libraries are loaded: what is counted begins here."""


def used_s(process: int) -> float:
    """Give the processor time that a process has had, all its threads together."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def sound(seconds: float, channels: int) -> np.ndarray:
    """Make the tone: 0.5 % fast, wavering, with some noise."""
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    phase = 2 * np.pi * 3165.75 * times + 0.4 * np.sin(2 * np.pi * 8.0 * times)
    noise = np.random.default_rng(1).standard_normal((len(times), channels))
    return (0.5 * np.sin(phase)[:, None] + 0.0005 * noise).astype("<f4")


class Ear(threading.Thread):
    """Receive what the bench tells, and note when."""

    def __init__(self, line: ClientConnection) -> None:
        super().__init__(daemon=True)
        self.line, self.told = line, list[tuple[float, float, bool]]()

    def run(self) -> None:
        for message in self.line:
            now = time.monotonic()
            for moment in json.loads(message).get("moments", []):
                self.told.append((moment["time_s"], now, moment["now"]["value"] is not None))


def play(line: ClientConnection, samples: np.ndarray, process: int) -> tuple[Ear, float, float]:
    """Send at the pace of the sound; give what was told, when the sound began, and the share of a core it took."""
    ear = Ear(line)
    ear.start()
    began, counted_from, used = time.monotonic(), 0.0, 0.0
    for number, first in enumerate(range(0, len(samples) - FRAMES + 1, FRAMES)):
        due = began + (first + FRAMES) / RATE_HZ
        time.sleep(max(0.0, due - time.monotonic()))
        line.send(struct.pack("<II", number, 0) + samples[first : first + FRAMES].tobytes())
        if not counted_from and due - began > SETTLES_S:
            counted_from, used = time.monotonic(), used_s(process)
    share = (used_s(process) - used) / (time.monotonic() - counted_from)
    time.sleep(0.5)
    return ear, began, share


def main(seconds: float, channels: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {"TAPEWRIGHT_DATA": folder}
        with subprocess.Popen(COMMAND, env=environment, stdout=subprocess.PIPE, text=True) as bench:
            assert bench.stdout
            said = re.search(r"http://([\d.:]+)", bench.stdout.readline())
            assert said
            try:
                host = said[1]
                job = Client(host).post("/jobs", machine="four_track", complaint="it wavers").removesuffix("/ticket")
                with connect(f"ws://{host}{job}/live", origin=Origin(f"http://{host}"), compression=None) as line:
                    line.send(json.dumps({"rate_hz": RATE_HZ, "channels": channels}))
                    ear, began, share = play(line, sound(seconds, channels), bench.pid)
            finally:
                bench.terminate()
        lags = [1e3 * (at - began - time_s) for time_s, at, _ in ear.told if time_s > SETTLES_S]
        read = statistics.mean(found for time_s, _, found in ear.told if time_s > SETTLES_S)
        counted = f"{seconds - SETTLES_S:.0f} s counted; {100 * read:.0f} % of {len(lags)} moments read"
        print(f"{channels} channel(s), {counted}")
        print(f"lag behind the sound: median {statistics.median(lags):.0f} ms, 99 of 100 within "
              f"{np.percentile(lags, 99):.0f} ms, longest {max(lags):.0f} ms")  # fmt: skip
        print(f"processor: {100 * share:.1f} % of one core")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
