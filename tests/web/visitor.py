"""A browser's part in the tests, without a browser: forms sent as a page of the bench sends them."""

import asyncio
import re
import time
import wave
from collections.abc import Mapping
from html import unescape
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlencode

import httpx
import numpy as np

from tapewright.jobs.store.opened import Store
from tapewright.web.app import application
from tapewright.web.guard import Gate
from tapewright.web.reach import ONLY_HERE, Reach

HERE = "http://127.0.0.1:8137"
COMPLAINT = "In play the reels race and it gabbles"


class Visitor:
    """One bench, running, and one page open on it."""

    def __init__(self, home: Path, reach: Reach = ONLY_HERE, here: str = HERE) -> None:
        self.app = application(home, ahead=False, reach=reach)
        self.here = here
        self._loop = asyncio.Runner()
        self._running = self.app.app.router.lifespan_context(self.app.app)  # type: ignore[attr-defined]

    def __enter__(self) -> Self:
        self._loop.run(self._running.__aenter__())
        transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
        self._client = httpx.AsyncClient(transport=transport, base_url=self.here, headers={"origin": self.here})
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._loop.run(self._client.aclose())
        self._loop.run(self._running.__aexit__(kind, error, trace))
        self._loop.close()

    def ask(self, method: str, address: str, **said: Any) -> httpx.Response:
        return self._loop.run(self._client.request(method, address, **said))

    def get(self, address: str, **said: Any) -> httpx.Response:
        return self.ask("GET", address, **said)

    def post(self, address: str, fields: Mapping[str, str], **said: Any) -> httpx.Response:
        headers = {"content-type": "application/x-www-form-urlencoded"} | said.pop("headers", {})
        return self.ask("POST", address, content=urlencode(fields), headers=headers, **said)

    def begin(self, machine: str = "one_motor_portable", complaint: str = COMPLAINT, age: str = "") -> str:
        """Begin a job, and give its address."""
        answer = self.post("/jobs", {"machine": machine, "complaint": complaint, "age": age})
        assert answer.status_code == 303, answer.text
        return answer.headers["location"].removesuffix("/ticket")

    @property
    def store(self) -> Store:
        """The store that the bench keeps jobs in."""
        store = self.app.app.state.bench.store  # type: ignore[attr-defined]
        assert isinstance(store, Store)
        return store

    @property
    def gate(self) -> Gate:
        """Who is signed in at the bench."""
        gate = self.app.app.state.gate  # type: ignore[attr-defined]
        assert isinstance(gate, Gate)
        return gate

    @property
    def cookies(self) -> httpx.Cookies:
        """What the browser keeps."""
        return self._client.cookies

    def say(self, job: str, sign: str, present: str) -> httpx.Response:
        return self.post(f"{job}/answer", {"sign": sign, "present": present})

    def measured(self, job: str) -> str:
        """Wait until everything is measured, and give the page of recordings."""
        for _ in range(600):
            page = self.get(f"{job}/recordings").text
            if "data-measuring" not in page:
                return page
            time.sleep(0.05)
        raise AssertionError("a recording was never done")


def seen(page: str) -> str:
    """Give the words of a page as a person reads them."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


def tone_with_flutter(path: Path, seconds: float = 8.0, rate_hz: int = 44_100, flutter_hz: float = 8.0) -> Path:
    """Write a tone of 3150 Hz that wavers by 0.1 % peak: a recording made by the test, 16 bit, one channel."""
    times = np.arange(int(seconds * rate_hz)) / rate_hz
    phase = 2 * np.pi * 3150.0 * times + 3150.0 * 0.001 / flutter_hz * np.sin(2 * np.pi * flutter_hz * times)
    rng = np.random.default_rng(5)
    samples = 0.5 * np.sin(phase) + 0.0005 * rng.standard_normal(len(times))
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes((samples * 32767).astype("<i2").tobytes())
    return path
