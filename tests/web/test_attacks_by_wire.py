"""Attacks by bytes that no browser sends, on a bench that is served as the command serves it."""

import contextlib
import json
import re
import socket
import struct
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tapewright.jobs.people import Role, set_person
from tapewright.jobs.store.files import INCOMING
from tapewright.jobs.store.nouns import Status
from tapewright.web.serve import MOST_MESSAGE_BYTES
from tapewright.web.sessions import FREE_TRIES
from tests.web.attacker import PASSWORD, SECRET, Port, answer_of, frame, port

SILENCE_S = 0.6
SLOWEST_HEAD_S = 1.2
TEXT, BINARY, CLOSE, PING = 1, 2, 8, 9


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Port]:
    with port(tmp_path_factory.mktemp("wire") / "home", SILENCE_S, SLOWEST_HEAD_S) as one:
        yield one


def status_of(answer: bytes) -> int:
    """Give the status of the first answer; 0 when the line was closed without one."""
    return int(answer.split()[1]) if answer.startswith(b"HTTP/1.1 ") else 0


# --- requests ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "lines",
    ["Host: HERE\r\nHost: elsewhere.invalid", "Host: elsewhere.invalid\r\nHost: HERE",
     "Host: HERE\r\n elsewhere.invalid", "Host : HERE", "X: y", "Host: HERE\r\nOrigin: http://HERE\r\nOrigin: http://elsewhere.invalid"],
)  # fmt: skip
def test_no_name_is_said_twice_or_not_at_all(served: Port, lines: str) -> None:
    asked = f"GET /jobs/{served.job_id} HTTP/1.1\r\n{lines}\r\nConnection: close\r\n\r\n".replace("HERE", served.here)
    answer = served.say(asked.encode())
    assert (status_of(answer) in (400, 421), SECRET.encode() in answer) == (True, False)


def test_an_address_with_another_host_inside_is_still_this_bench(served: Port) -> None:
    first = f"GET http://elsewhere.invalid/jobs/{served.job_id} HTTP/1.1"
    asked = f"{first}\r\nHost: elsewhere.invalid\r\nConnection: close\r\n\r\n"
    answer = served.say(asked.encode())
    assert (status_of(answer), SECRET.encode() in answer) == (421, False)


@pytest.mark.parametrize(
    "path",
    ["/static/../serve.py", "/static/../../jobs/people.py", "/static/..%2f..%2fserve.py", "/static/%2e%2e/serve.py",
     "/static//etc/passwd",
     "/static/..\\serve.py", "//etc/passwd",
     "/../../../../etc/passwd", "/static/%2e%2e%5cserve.py", "/static/./../serve.py"],
)  # fmt: skip
def test_a_path_that_no_browser_would_send_as_it_is(served: Port, path: str) -> None:
    answer = served.say(served.head(f"GET {path}", "Connection: close"))
    assert status_of(answer) in (400, 404)
    assert b"uvicorn" not in answer
    assert b"root:" not in answer
    assert status_of(served.say(served.head("GET /static/bench.css", "Connection: close"))) == 200


@pytest.mark.parametrize(
    "lines",
    [("Content-Length: 5", "Transfer-Encoding: chunked"), ("Content-Length: 5", "Content-Length: 6"),
     ("Content-Length: -1",), ("Content-Length: 5, 6",), ("Transfer-Encoding: chunked, identity",),
     ("Transfer-Encoding : chunked",)],
)  # fmt: skip
def test_no_second_request_is_hidden_in_a_first(served: Port, lines: tuple[str, ...]) -> None:
    hidden = served.head(f"GET /jobs/{served.job_id}", "Connection: close")
    body = b"0\r\n\r\n" + hidden
    answer = served.say(served.head("POST /jobs", "Content-Type: application/x-www-form-urlencoded", *lines) + body)
    assert SECRET.encode() not in answer
    assert status_of(answer) in (0, 400, 501)


def test_a_head_without_end_is_cut_off(served: Port) -> None:
    answer = served.say(b"GET / HTTP/1.1\r\n" + b"A: " + b"b" * 200_000)
    assert status_of(answer) in (0, 400, 431)
    assert served.stands()


@pytest.mark.parametrize(
    "data",
    [b"\0\1\2\3" * 100, b"\x16\x03\x01" + b"\0" * 300, b"GET\r\n\r\n", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
     b"GET / HTTP/9\r\n\r\n"],
    ids=range(5),
)  # fmt: skip
def test_what_is_no_request_harms_nothing(served: Port, data: bytes) -> None:
    assert status_of(served.say(data, end=True)) in (0, 400, 421)
    assert served.stands()


def test_what_a_request_says_of_its_own_sender_is_not_believed(served: Port) -> None:
    """Else guesses at a password would each seem to come from another computer."""
    statuses = []
    for n in range(FREE_TRIES + 2):
        lines = (f"X-Forwarded-For: 10.0.0.{n}", "X-Forwarded-Proto: https", f"Forwarded: for=10.0.0.{n}",
                 "Connection: close", "Content-Type: application/x-www-form-urlencoded",
                 "Content-Length: 20")  # fmt: skip
        statuses.append(status_of(served.say(served.head("POST /sign-in", *lines) + b"name=Ana&password=xx")))
    assert statuses == [422] * FREE_TRIES + [429] * 2


# --- slowly, and not to the end ---------------------------------------------------------------------------------------


def coming(served: Port) -> list[Path]:
    return list((served.store.files / INCOMING).glob("*"))


def until(true: object, wait_s: float = 10.0) -> bool:
    end_s = time.monotonic() + wait_s
    while time.monotonic() < end_s:
        if true():  # type: ignore[operator]
            return True
        time.sleep(0.02)
    return False


def test_an_upload_that_breaks_off_leaves_nothing(served: Port) -> None:
    head = served.head(f"PUT /jobs/{served.job_id}/recordings?name=a.wav", "Content-Length: 1000000")
    line = socket.create_connection(("127.0.0.1", served.number))
    line.sendall(head + b"RIFF" * 1000)
    assert until(lambda: coming(served)), "it had begun"
    line.close()
    assert until(lambda: not coming(served))
    assert served.store.job(served.job_id).files == ()


def test_an_upload_that_falls_silent_is_given_up_and_holds_up_nobody(served: Port) -> None:
    head = served.head(f"PUT /jobs/{served.job_id}/recordings?name=a.wav", "Transfer-Encoding: chunked")
    lines = [socket.create_connection(("127.0.0.1", served.number)) for _ in range(30)]
    for line in lines:
        line.sendall(head + b"4\r\nRIFF\r\n")
    assert until(lambda: coming(served))
    assert served.stands(), "others are answered meanwhile"
    assert until(lambda: not coming(served))
    assert served.store.job(served.job_id).files == ()
    for line in lines:
        line.settimeout(10.0)
        with contextlib.suppress(ConnectionError):
            while line.recv(4096):
                pass  # closed by the bench, or this would wait in vain
        line.close()


def test_a_place_is_not_kept_by_saying_nothing(served: Port) -> None:
    lines = [socket.create_connection(("127.0.0.1", served.number), timeout=10.0) for _ in range(20)]
    for n, line in enumerate(lines):
        line.sendall(b"GET / HT" if n % 2 else served.head("GET /")[:-2])
    for line in lines:
        with contextlib.suppress(ConnectionError):
            assert line.recv(4096) == b"", "closed without an answer"
        line.close()


def test_a_slow_answer_is_not_taken_for_silence(served: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other way round: what takes the bench long is no fault of who waits."""

    def counted_slowly() -> dict[Status, int]:
        time.sleep(2.5 * SLOWEST_HEAD_S)
        return {}

    monkeypatch.setattr(served.store, "counts", counted_slowly)
    assert served.stands()


# --- WebSocket frames -------------------------------------------------------------------------------------------------

OPENING = frame(TEXT, json.dumps({"rate_hz": 48000, "channels": 1}).encode())


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        (frame(TEXT, b"{}", masked=False), 1002),  # RFC 6455, 5.1: a client masks
        (frame(TEXT, b"{}", first=0xF0), 1002),  # 5.2: reserved bits without an extension
        (frame(3, b"x"), 1002),  # 5.2: an opcode that is none
        (frame(11, b"x"), 1002),
        (frame(PING, b"x" * 126), 1002),  # 5.5: a control frame of more than 125 bytes
        (frame(PING, b"x", first=0), 1002),  # 5.5: a control frame in pieces
        (frame(0, b"x"), 1002),  # 5.4: a piece of nothing
        (frame(TEXT, b"\xff\xfe"), 1007),  # 8.1: no UTF-8
        (frame(CLOSE, b"x"), 1002),  # 5.5.1: half a code
        (frame(CLOSE, struct.pack(">H", 999)), 1002),  # 7.4.2: a code that is none
        (frame(TEXT, b"", length=2**63), 1009),  # 5.2: the highest bit must be 0; and too large
        (frame(BINARY, b"x" * 100, length=2**62), 1009),  # 7.4.1: too large
        (frame(BINARY, b"x" * 100, length=MOST_MESSAGE_BYTES + 1), 1009),
        (OPENING + frame(BINARY, b"x" * 600_000, first=0) + frame(0, b"x" * 600_000), 1009),  # too large in pieces
        (frame(TEXT, b"[" * 3999), 1003),
        (OPENING + frame(TEXT, b"[" * 3999), 1003),
        (OPENING + frame(TEXT, b"{" * 100_000), 1003),
        (OPENING + frame(TEXT, b'{"record": "yes"}'), 1003),
        (OPENING + frame(BINARY, struct.pack("<II", 0, 2**32 - 1) + b"\xff" * 7), 1003),
        (frame(BINARY, b"x" * 100), 1003),  # sound before it is said what comes
        (frame(TEXT, b'{"rate_hz": 1e999, "channels": 1}'), 1003),
        (frame(TEXT, b'{"rate_hz": 48000, "channels": 100000000}'), 1003),
    ],
    ids=range(22),
)
def test_a_frame_that_is_none_closes_the_line_and_nothing_else(served: Port, sent: bytes, code: int) -> None:
    line = served.listening()
    with contextlib.suppress(ConnectionError):
        line.sendall(sent)
    found, _ = answer_of(line)
    assert found == code
    assert served.stands()


def test_words_of_a_browser_get_into_the_job_only_as_sound(served: Port) -> None:
    line = served.listening()
    line.sendall(
        OPENING
        + frame(TEXT, b'{"record": true, "called": "../../evil", "who": "Ana"}')
        + frame(BINARY, struct.pack("<II", 0, 0) + b"\0" * 19200)
    )
    line.sendall(frame(TEXT, b'{"record": false, "called": "../../evil"}'))
    line.settimeout(10.0)
    got = b""
    while b'"kept"' not in got:
        got += line.recv(4096)
    line.close()
    (entry,) = served.store.job(served.job_id).files
    assert (entry.what.called.startswith("live "), entry.who) == (True, "")
    served.store.remove(served.job_id, entry.id)


def test_a_page_elsewhere_hears_nothing(served: Port) -> None:
    upgrade = "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
    upgrade += "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    for origin in ("Origin: http://elsewhere.invalid\r\n", "Origin: null\r\n", ""):
        asked = f"GET /jobs/{served.job_id}/live HTTP/1.1\r\nHost: {served.here}\r\n{origin}{upgrade}"
        assert status_of(served.say(asked.encode(), wait_s=5.0)) in (400, 403)


def test_only_who_has_signed_in_at_the_bench_listens_and_only_so_long(tmp_path: Path) -> None:
    home = tmp_path / "home"
    set_person(home, "Ana", Role.BENCH, PASSWORD)
    set_person(home, "Bo", Role.COUNTER, PASSWORD)
    with port(home) as one:
        for cookie in ("", "tapewright-session=x", "tapewright-who=Ana", signed_in(one, "Bo")):
            with one.asked_to_listen(cookie) as line:
                assert status_of(line.recv(4096)) == 403
        cookie = signed_in(one, "Ana")
        line = one.listening(cookie)
        block = frame(BINARY, struct.pack("<II", 0, 0) + b"\0" * 19200)
        line.sendall(OPENING + frame(TEXT, b'{"record": true}') + block)
        line.settimeout(10.0)
        got = b""
        while b'"moments"' not in got:
            got += line.recv(65536)
        head = one.head("POST /sign-out", f"Cookie: {cookie}", "Content-Length: 0", "Connection: close",
                        "Content-Type: application/x-www-form-urlencoded")  # fmt: skip
        assert status_of(one.say(head)) == 303
        line.sendall(block)
        assert answer_of(line)[0] == 1008
        assert until(lambda: one.store.job(one.job_id).files), "what was recorded until then is kept"
        (entry,) = one.store.job(one.job_id).files
        assert entry.who == "Ana"


def signed_in(one: Port, name: str) -> str:
    """Sign in; give the cookie."""
    body = f"name={name}&password={PASSWORD.replace(' ', '+')}".encode()
    head = one.head("POST /sign-in", f"Content-Length: {len(body)}", "Connection: close",
                    "Content-Type: application/x-www-form-urlencoded")  # fmt: skip
    found = re.search(rb"set-cookie: (tapewright-session=[^;]+)", one.say(head + body))
    assert found
    return found[1].decode()
