"""An attacker's tools: a page read as a browser would, a bench on a real port, and a socket to send anything by."""

import contextlib
import socket
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from tapewright.jobs.people import Role, set_person
from tapewright.jobs.store.nouns import Owner, Particulars
from tapewright.jobs.store.opened import Store
from tapewright.web.app import application
from tapewright.web.reach import OWN_NAMES, Reach
from tapewright.web.serve import server_settings
from tests.web.in_thread import in_thread
from tests.web.visitor import Visitor

CERTIFICATE = Path(__file__).parent / "certificate"
ELSEWHERE = "http://elsewhere.invalid"
AT_SHOP = "https://bench.example:8137"
SECRET = "a secret that a customer told"
PASSWORD = "seven invented tape reels"
EVIL = """x"'><img src=x onerror=alert(1)><script>alert(1)</script></title></svg></textarea>&lt;b&gt;"""
"""Words that would come alive in an attribute, an element, a title, a drawing or a text field."""


class _Alive(HTMLParser):
    """Gather what would run in a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("iframe", "object", "embed", "base") or (tag == "script" and not _ours(given.get("src"))):
            self.found.append(f"<{tag}>")
        for name, value in attrs:
            leads = (value or "").strip().lower()
            if name.startswith("on") or (name in ("href", "src", "action") and leads.startswith(("javascript:", "x"))):
                self.found.append(f"<{tag} {name}={value}>")


def _ours(address: str | None) -> bool:
    return (address or "").startswith("/static/")


def alive(page: str) -> list[str]:
    """Give whatever would run in a page, or lead out of it, that is not ours."""
    parser = _Alive()
    parser.feed(page)
    return parser.found


@contextmanager
def shop(home: Path, **people: Role) -> Iterator[Visitor]:
    """Open a bench as on a network, with a certificate, and come to it without having signed in."""
    for name, role in people.items():
        set_person(home, name, role, PASSWORD)
    reach = Reach(
        "192.168.0.7", (*OWN_NAMES, "bench.example"), CERTIFICATE / "certificate.pem", CERTIFICATE / "key.pem", True
    )
    with Visitor(home, reach, AT_SHOP) as visitor:
        yield visitor


def sign_in(visitor: Visitor, name: str = "Ana", password: str = PASSWORD, **more: str) -> Any:
    return visitor.post("/sign-in", {"name": name, "password": password, **more})


def secret_job(store: Store) -> str:
    """Keep a job that nobody but the bench may read; give its id."""
    return store.begin(Particulars("four_track_starter", complaint=SECRET), Owner(name="Invented Owner")).id


class Port:
    """A bench on a real port of this computer."""

    def __init__(self, number: int, store: Store, job_id: str) -> None:
        self.number, self.store, self.job_id = number, store, job_id

    @property
    def here(self) -> str:
        return f"127.0.0.1:{self.number}"

    def say(self, data: bytes, *, wait_s: float = 10.0, end: bool = False) -> bytes:
        """Send bytes as they are, and give all that comes back until the other end closes or falls silent."""
        with socket.create_connection(("127.0.0.1", self.number), timeout=wait_s) as line:
            with contextlib.suppress(OSError):
                line.sendall(data)
                if end:
                    line.shutdown(socket.SHUT_WR)
            return _all_of(line)

    def head(self, first: str, *lines: str) -> bytes:
        """Write the first lines of a request from the bench's own page."""
        usual = [f"Host: {self.here}", f"Origin: http://{self.here}"]
        return "\r\n".join([f"{first} HTTP/1.1", *usual, *lines, "", ""]).encode("latin-1")

    def listening(self, cookie: str = "") -> socket.socket:
        """Open a WebSocket by hand, to send frames that no browser sends."""
        line = self.asked_to_listen(cookie)
        assert b" 101 " in line.recv(4000)
        return line

    def asked_to_listen(self, cookie: str = "") -> socket.socket:
        """Ask for a WebSocket; what is answered waits to be read."""
        line = socket.create_connection(("127.0.0.1", self.number), timeout=10.0)
        upgrade = ("Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13",
                   "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==")  # fmt: skip
        line.sendall(self.head(f"GET /jobs/{self.job_id}/live", *upgrade, *([f"Cookie: {cookie}"] if cookie else ())))
        return line

    def stands(self) -> bool:
        """Tell whether the bench still answers."""
        return b"200 OK" in self.say(self.head("GET /", "Connection: close"))


def _all_of(line: socket.socket, until: bytes = b"") -> bytes:
    got = b""
    with contextlib.suppress(OSError):
        while not (until and until in got) and (piece := line.recv(65536)):
            got += piece
    return got


def answer_of(line: socket.socket) -> tuple[int, bytes]:
    """Read what comes until the other end closes; give its close code, 0 without one, and all of it."""
    got = _all_of(line, b"\x88")
    line.close()
    at = got.rfind(b"\x88")
    return (struct.unpack(">H", got[at + 2 : at + 4])[0] if at >= 0 and len(got) >= at + 4 else 0), got


def frame(opcode: int, body: bytes, *, masked: bool = True, first: int = 0x80, length: int | None = None) -> bytes:
    """Write a WebSocket frame (RFC 6455, 5.2), right or wrong."""
    size = len(body) if length is None else length
    mask = 0x80 if masked else 0
    head = bytes([first | opcode])
    if size < 126:
        head += bytes([mask | size])
    elif size < 65536:
        head += bytes([mask | 126]) + struct.pack(">H", size)
    else:
        head += bytes([mask | 127]) + struct.pack(">Q", size)
    return head + (b"\0\0\0\0" if masked else b"") + body


@contextmanager
def port(home: Path, silence_s: float = 60.0, slowest_head_s: float = 20.0) -> Iterator[Port]:
    """Serve a bench as the command does, with a job on it."""
    app = application(home, ahead=False)
    app._silence_s = silence_s  # type: ignore[attr-defined]
    settings = server_settings(app)
    settings.http = type("Hurried", (settings.http,), {"slowest_head_s": slowest_head_s})  # type: ignore[arg-type]
    settings.log_level = "critical"
    store = app.app.state.bench.store  # type: ignore[attr-defined]
    job_id = secret_job(store)
    with in_thread(settings) as number:
        yield Port(number, store, job_id)
