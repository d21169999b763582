"""Begin the bench: find the port free, say the address, end cleanly on Ctrl-C."""

import asyncio
import contextlib
import socket
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from tapewright.jobs.home import bench_home
from tapewright.web.app import application
from tapewright.web.reach import LOOPBACK, ONLY_HERE, Reach, reach_of
from tapewright.web.settings import Settings, settings_of
from tapewright.words.problem import InputAtFaultError, Problem

MOST_MESSAGE_BYTES: Final = 1 << 20
"""Of sound from the browser; ten seconds of one channel, and a block is a twentieth of a second."""
USUAL_PORT: Final = 8137
CIPHERS: Final = "ECDHE+AESGCM:ECDHE+CHACHA20"
"""For TLS 1.2; what 1.3 has is all of this kind, and what is older is not spoken."""
MOST_CONNECTIONS: Final = 300
SLOWEST_HEAD_S: Final = 20.0
"""Whoever takes longer over the first lines of a request means to keep a place taken."""


class Hurried(H11Protocol):
    """The server's half of a connection, closed when nothing is asked for long."""

    slowest_head_s = SLOWEST_HEAD_S

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to look, from time to time, whether something is asked."""
        super().connection_made(transport)
        self._idle_before = False
        self._later()

    def _later(self) -> None:
        self.loop.call_later(self.slowest_head_s / 2, self._look)

    def _look(self) -> None:
        if self.transport.is_closing() or getattr(self.transport, "get_protocol", lambda: self)() is not self:
            return  # over, or handed on to a WebSocket, which has its own watch
        answering = self.cycle is not None and not self.cycle.response_complete
        idle = not answering and self.conn.their_state is not h11.DONE
        if idle and self._idle_before:
            self.transport.close()
            return
        self._idle_before = idle
        self._later()


def serve(
    port: int | None,
    note: Callable[[str], None],
    home: Path | None = None,
    *,
    host: str | None = None,
    names: Sequence[str] = (),
    certificate: Path | None = None,
    key: Path | None = None,
) -> None:
    """Serve the bench page until Ctrl-C.

    Arguments:
        port: to listen on; None for that of the settings, or the usual one.
        note: is told where the page is and where jobs are kept.
        home: the folder jobs lie in; None for the usual one.
        host: the address to listen on; None for that of the settings, or this computer alone.
        names: what else a browser may call it; none for those of the settings.
        certificate: file with its certificate; None for that of the settings.
        key: file with the certificate's key; None for that of the settings.

    Raises:
        InputAtFaultError: when the port is taken, the folder cannot be used, or strangers could come in.
    """
    kept = bench_home(home)
    asked = settings_of(kept, Settings(host, port, tuple(names), certificate, key))
    reach = reach_of(kept, asked.host or LOOPBACK, asked.names, asked.certificate, asked.key)
    with contextlib.closing(_listening(reach.host, USUAL_PORT if asked.port is None else asked.port)) as listening:
        _usable(kept)
        note(_where(reach, listening.getsockname()[1]))
        note(f"Jobs are kept in {kept}.")
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(server_settings(application(kept, reach=reach), reach)).run(sockets=[listening])
    note("The bench is closed. Everything is kept.")


def server_settings(app: ASGIApp, reach: Reach = ONLY_HERE) -> uvicorn.Config:
    """Give how pages are served.

    Arguments:
        app: the bench.
        reach: from where it can be reached.
    """
    return uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=3,
        http=Hurried, limit_concurrency=MOST_CONNECTIONS,
        proxy_headers=False,  # nobody stands between: what a request says of where it comes from is not believed
        ws="websockets-sansio", ws_max_size=MOST_MESSAGE_BYTES, ws_per_message_deflate=False,
        ssl_certfile=reach.certificate, ssl_keyfile=reach.key, ssl_ciphers=CIPHERS,
    )  # fmt: skip


def _where(reach: Reach, port: int) -> str:
    if not reach.beyond:
        host = f"[{reach.host}]" if ":" in reach.host else reach.host
        return f"The bench is at {reach.scheme}://{host}:{port} on this computer only. Ctrl-C ends it."
    named = [name for name in reach.names if name not in ONLY_HERE.names]
    said = " or ".join(f"{reach.scheme}://{name}:{port}" for name in named)
    return f"The bench is at {said} for everybody on the network who has a password. Ctrl-C ends it."


def _listening(host: str, port: int) -> socket.socket:
    """Take the port before anything else is done, so that nobody can take it in between."""
    # Named as TCP, since asyncio only then sends small answers at once instead of waiting 40 ms for a receipt.
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows would let two programs share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:  # elsewhere this only means that a port closed a moment ago can be used again
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if listening.family == socket.AF_INET6:  # every address is every address of its own kind, and no other
            listening.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        listening.bind((host, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise _unusable(host, port, error) from None
    return listening


def _unusable(host: str, port: int, error: OSError) -> InputAtFaultError:
    if host != LOOPBACK:
        found = f"{port} cannot be used at {host}: {error.strerror or error}."
        do = f"See that {host} is an address of this computer and the port is free: --port {_another(port)}."
    else:
        found = f"{port} cannot be used on this computer: {error.strerror or error}."
        do = f"If a bench is open already it is at http://{host}:{port}; else take another: --port {_another(port)}."
    return InputAtFaultError(Problem("--port", found, do))


def _another(port: int) -> int:
    return port + 1 if 1024 <= port < 65535 else 8137


def _usable(folder: Path) -> None:
    """See that jobs can be kept, before anybody types one in."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".writable.part"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        found = f"jobs cannot be kept there: {error.strerror or error}."
        do = "Make it writable, or set TAPEWRIGHT_DATA to a folder that is."
        raise InputAtFaultError(Problem(str(folder), found, do)) from None
