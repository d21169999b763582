"""Listening live: what the browser sends is read or refused with a reason, and what is recorded lands in the job."""

import contextlib
import json
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import uvicorn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from tapewright.jobs.store.nouns import Particulars
from tapewright.jobs.store.opened import Store
from tapewright.web.app import application
from tapewright.web.live import Listening, Opening, block_of, opening_of
from tapewright.web.serve import MOST_MESSAGE_BYTES
from tests.measure import made
from tests.web.in_thread import in_thread

RATE = 48000
OPENING = {"rate_hz": RATE, "channels": 1}


class Line:
    """One connection to a bench that runs in this process, and the store behind it."""

    def __init__(self, connection: ClientConnection, store: Store, job_id: str) -> None:
        self._connection, self.store, self.job_id = connection, store, job_id

    def send(self, message: str | bytes) -> None:
        self._connection.send(message)

    def receive(self) -> Any:
        return json.loads(self._connection.recv(timeout=20))

    def closed(self) -> tuple[int | None, str | None]:
        """Wait until the other end closes; give its code and reason."""
        with contextlib.suppress(ConnectionClosed):
            while True:
                self._connection.recv(timeout=20)
        return self._connection.close_code, self._connection.close_reason


@contextmanager
def connection(
    home: Path, origin: str = "", host: str = "", job: str | None = None, path: str = "/live"
) -> Iterator[Line]:
    app = application(home, ahead=False)
    store = app.app.state.bench.store  # type: ignore[attr-defined]
    job_id = job or store.begin(Particulars(machine_id="four_track")).id
    config = uvicorn.Config(app, log_level="error", ws="websockets-sansio", ws_max_size=MOST_MESSAGE_BYTES)
    with in_thread(config) as port:
        here = f"127.0.0.1:{port}"
        with connect(
            f"ws://{here}/jobs/{job_id}{path}",
            origin=Origin(origin or f"http://{here}"),
            additional_headers={"Host": host} if host else {},
            open_timeout=20,
            proxy=None,
        ) as line:
            yield Line(line, store, job_id)


def block(number: int, samples: NDArray[np.float64], lost: int = 0) -> bytes:
    return struct.pack("<II", number, lost) + samples.astype("<f4").tobytes()


def blocks(samples: NDArray[np.float64], first: int = 0) -> list[bytes]:
    return [block(first + i, samples[at : at + 4800]) for i, at in enumerate(range(0, len(samples), 4800))]


def tone(seconds: float, error_pct: float = 0.4) -> NDArray[np.float64]:
    return made.tone(seconds, error_pct=error_pct, rate_hz=RATE)[0]


def test_a_tone_is_read_and_a_take_lands_in_the_job_byte_for_byte(tmp_path: Path) -> None:
    samples = tone(8.0)
    with connection(tmp_path) as line:
        line.send(json.dumps(OPENING))
        line.send('{"record": true}')
        assert line.receive() == {"recording": True}
        moments = []
        for one in blocks(samples):
            line.send(one)
            moments += line.receive()["moments"]
        assert len(moments) == 80
        assert moments[-1]["now"]["value"] == pytest.approx(0.4, abs=0.005)
        assert moments[-1]["verdicts"]["speed_error_pct"]["verdict"] == "pass"
        line.send('{"record": false}')
        kept = line.receive()
        assert kept["recording"] is False
        (entry,) = line.store.job(line.job_id).files
        assert entry.what.called == kept["kept"]
        read, rate = soundfile.read(line.store.file_path(entry.what.sha256), dtype="float32")
        assert rate == RATE
        np.testing.assert_array_equal(read, samples.astype(np.float32))


def test_a_lost_block_is_never_bridged(tmp_path: Path) -> None:
    sent = blocks(tone(8.0))
    with connection(tmp_path) as line:
        line.send(json.dumps(OPENING))
        moments: list[dict[str, Any]] = []
        for at, one in enumerate(sent):
            if at == 50:
                continue
            line.send(one)
            moments += line.receive()["moments"]
    before, after = moments[49], moments[50:75]
    assert before["now"]["value"] is not None
    assert [one["now"]["value"] for one in after] == [None] * len(after)
    assert any("Sound was lost" in remark for remark in after[0]["remarks"])


@pytest.mark.parametrize(
    "first",
    ["", "nonsense", "[]", "{}", '{"rate_hz": 1, "channels": 1}', '{"rate_hz": 48000, "channels": 99}',
     '{"rate_hz": 1e999, "channels": 1}', '{"rate_hz": 48000, "channels": true}', "[" * 3000,
     '{"rate_hz": 48000, "channels": 1, "altered": 3}', '{"rate_hz": 48000, "channels": 1, "tone_hz": "x"}',
     "x" * 9999],
)  # fmt: skip
def test_an_opening_that_cannot_be_meant_closes_with_a_reason(tmp_path: Path, first: str) -> None:
    with connection(tmp_path) as line:
        line.send(first)
        code, reason = line.closed()
    assert code == 1003
    assert reason


@pytest.mark.parametrize("message", [b"", b"1234567", b"12345678", b"123456789", b"\0" * 2_000_000])
def test_a_malformed_block_closes_with_a_reason(tmp_path: Path, message: bytes) -> None:
    with connection(tmp_path) as line:
        line.send(json.dumps(OPENING))
        line.send(message)
        code, reason = line.closed()
    assert code in (1003, 1009)  # cannot be read; too large (RFC 6455, 7.4.1)
    assert reason


@given(st.binary(max_size=200), st.integers(1, 8))
def test_bytes_are_a_block_or_a_value_error(message: bytes, channels: int) -> None:
    try:
        _, _, samples = block_of(message, channels)
    except ValueError:
        return
    assert samples.shape == ((len(message) - 8) // 4 // channels, channels)


@given(st.text(max_size=200))
def test_words_are_an_opening_or_a_value_error(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        opening_of(text)


@settings(max_examples=20)
@given(st.binary(min_size=12, max_size=4000).filter(lambda message: (len(message) - 8) % 4 == 0))
def test_any_floats_at_all_leave_the_meter_standing(message: bytes) -> None:
    listening = Listening(Opening(8000.0, 1, None, (), None), None, 0.0)
    for moment in listening.add(message, 0.0):
        json.dumps(moment, allow_nan=False)


@pytest.mark.parametrize(
    ("origin", "host"), [("http://elsewhere.invalid", ""), ("null", ""), ("http://evil.invalid", "evil.invalid")]
)
def test_a_page_from_elsewhere_may_not_listen(tmp_path: Path, origin: str, host: str) -> None:
    with pytest.raises(InvalidHandshake, match=r"40[03]"), connection(tmp_path, origin, host):
        pass


def test_a_job_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(InvalidHandshake, match="403"), connection(tmp_path, job="0" * 16):
        pass


def test_what_the_browser_does_to_the_sound_is_said_with_every_moment() -> None:
    opening = opening_of(json.dumps(OPENING | {"altered": ["automatic gain is on"], "device_rate_hz": 44100}))
    (moment,) = Listening(opening, None, 0.0).add(block(0, tone(0.1)), 0.1)
    said = " ".join(moment["remarks"])
    assert "automatic gain is on" in said
    assert "44100 samples a second to 48000" in said


def test_samples_that_come_at_another_pace_than_they_say_are_not_believed() -> None:
    listening = Listening(Opening(float(RATE), 1, None, (), None), None, 0.0)
    sent = blocks(tone(10.0))
    right = [one for i, message in enumerate(sent) for one in listening.add(message, 0.1 * (i + 1))]
    assert right[-1]["remarks"] == []
    slow = Listening(Opening(float(RATE), 1, None, (), None), None, 0.0)
    late = [one for i, message in enumerate(sent) for one in slow.add(message, 0.1 * (i + 1) * 48.0 / 44.1)]
    assert "not to be trusted" in " ".join(late[-1]["remarks"])
