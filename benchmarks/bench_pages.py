"""How long every page of the bench takes with many jobs in the list, through the real server, beside a trivial answer.

The jobs are invented (`job_store.fill`). One more job is made as a shop would make it, with an answer, two recordings
of a tone and a part that went in; its pages are asked for. "first" is the first time that the page was asked for,
"median" and "longest" are of the times after it: what was worked out once is kept. The trivial answer holds nothing and
is made of nothing; what other work on the same computer takes shows in it too.

Run: python -m benchmarks.bench_pages [JOBS]
"""

import http.client
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import soundfile

from benchmarks.job_store import fill
from tapewright.jobs.store.opened import open_store

JOBS = 10_000
RUNS = 21
COMMAND = [
    sys.executable,
    "-c",
    "from tapewright.web.serve import serve; serve(0, lambda text: print(text, flush=True))",
]
FORM = {"content-type": "application/x-www-form-urlencoded"}


class Client:
    """A browser's part: one connection, and the origin that a page of the bench has."""

    def __init__(self, host: str) -> None:
        self.host = host
        self.connection = http.client.HTTPConnection(host, timeout=120)

    def ask(self, method: str, address: str, body: bytes | None = None, **headers: str) -> tuple[int, str, bytes]:
        """Give status, where it leads to, and the content."""
        self.connection.request(method, address, body, {"origin": f"http://{self.host}", **headers})
        answer = self.connection.getresponse()
        return answer.status, answer.getheader("location") or "", answer.read()

    def post(self, address: str, **fields: str) -> str:
        """Send a form; give where it leads to."""
        status, to, content = self.ask("POST", address, urlencode(fields).encode(), **FORM)
        assert status == 303, content[:400]
        return to

    def taken_ms(self, address: str) -> float:
        """Give how long an answer takes, the last byte included."""
        begun = time.perf_counter()
        status, _, content = self.ask("GET", address)
        taken = 1e3 * (time.perf_counter() - begun)
        assert status in (200, 204), content[:400]
        return taken


def tone(path: Path, flutter_hz: float, seconds: float = 20.0, rate_hz: int = 44100) -> bytes:
    """Make a tone of 3150 Hz that wavers by 0.1 % peak."""
    times = np.arange(int(seconds * rate_hz)) / rate_hz
    phase = 2 * np.pi * 3150.0 * times + 3.15 / flutter_hz * np.sin(2 * np.pi * flutter_hz * times)
    soundfile.write(str(path), 0.5 * np.sin(phase), rate_hz, subtype="PCM_16")
    return path.read_bytes()


def job_in_hand(client: Client, folder: Path) -> str:
    """Make one job as a shop would; give its address."""
    fields = {"machine": "four_track", "complaint": "it wavers", "serial": "17", "name": "Inge Invented", "age": "40"}
    job = client.post("/jobs", **fields).removesuffix("/ticket")
    page = client.ask("GET", job)[2].decode()
    found = re.search(r'name="sign" value="(\w+)"', page)
    assert found
    client.post(f"{job}/answer", sign=found[1], present="yes")
    for stage, flutter_hz in (("before", 8.0), ("after", 5.0)):
        sound = tone(folder / "tone.wav", flutter_hz)
        client.ask("PUT", f"{job}/recordings?name={stage}.wav&stage={stage}&tone=", sound)
    while b"data-measuring" in client.ask("GET", f"{job}/recordings")[2]:
        time.sleep(0.2)
    client.post(f"{job}/add", kind="part", what="capstan belt", part="capstan_belt", cost="4.50")
    return job


def pages_of(job: str, charts: str) -> dict[str, str]:
    """Give every page by its name."""
    return {
        "trivial answer": "/favicon.ico",
        "list": "/",
        "list, middle": "/?status=all&page=150",
        "list, searched": "/?q=squeals&status=all",
        "a machine arrives": "/arrive",
        "ticket": f"{job}/ticket",
        "checks": job,
        "checks, searched": f"{job}?q=loop",
        "signs found": f"{job}/found?q=loop",
        "drawing": f"{job}/drawing",
        "sound": f"{job}/recordings",
        "sound, charts": f"{job}/charts/{charts}",
        "findings": f"{job}/findings",
        "plan": f"{job}/plan",
        "proof": f"{job}/proof",
        "proof, charts": f"{job}/proof/charts",
        "sheet": f"{job}/sheet",
        "over the years": f"{job}/years",
        "years, charts": f"{job}/years/charts",
        "who": "/who",
        "report": f"{job}/report",
        "for the owner": f"{job}/hand-over/owner.html",
        "for the owner, PDF": f"{job}/hand-over/owner.pdf",
        "for the bench": f"{job}/hand-over/bench.html",
        "for the bench, PDF": f"{job}/hand-over/bench.pdf",
    }


def table(client: Client, job: str) -> None:
    """Print how long each page takes."""
    page = client.ask("GET", f"{job}/recordings")[2].decode()
    charts = re.search(r"/recordings/([0-9a-f]{64})", page)
    assert charts
    plain = 0.0
    print(f"{'':22s}{'first':>9s}{'median':>9s}{'longest':>9s}   ms   times trivial")
    for name, address in pages_of(job, charts[1]).items():
        first = client.taken_ms(address)
        taken = [client.taken_ms(address) for _ in range(5 if "PDF" in name else RUNS)]
        median = statistics.median(taken)
        plain = plain or median
        print(f"{name:22s}{first:9.1f}{median:9.1f}{max(taken):9.1f}{median / plain:12.1f}", flush=True)


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        with open_store(home) as store:
            fill(store, count)
        print(f"{count} jobs in the list", flush=True)
        environment = os.environ | {"TAPEWRIGHT_DATA": str(home)}
        with subprocess.Popen(COMMAND, env=environment, stdout=subprocess.PIPE, text=True) as bench:
            assert bench.stdout
            said = re.search(r"http://([\d.:]+)", bench.stdout.readline())
            assert said
            try:
                client = Client(said[1])
                table(client, job_in_hand(client, Path(folder)))
            finally:
                bench.terminate()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else JOBS)
