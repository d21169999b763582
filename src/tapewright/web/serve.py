"""Begin the bench: find the port free, say the address, end cleanly on Ctrl-C."""

import contextlib
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Final

import uvicorn

from tapewright.jobs.bench_job import bench_home
from tapewright.web.app import application
from tapewright.words.problem import InputAtFaultError, Problem

HERE: Final = "127.0.0.1"
"""The loopback address, and no other: nothing on the network can reach it."""

MOST_MESSAGE_BYTES: Final = 1 << 20
"""Of sound from the browser; ten seconds of one channel, and a block is a twentieth of a second."""


def serve(port: int, note: Callable[[str], None], home: Path | None = None) -> None:
    """Serve the bench page to this computer until Ctrl-C.

    Arguments:
        port: on this computer.
        note: is told where the page is and where jobs are kept.
        home: the folder jobs lie in; None for the usual one.

    Raises:
        InputAtFaultError: when the port is taken, or the folder cannot be used.
    """
    kept = bench_home(home)
    with contextlib.closing(_listening(port)) as listening:
        _usable(kept)
        note(f"The bench is at http://{HERE}:{listening.getsockname()[1]} on this computer only. Ctrl-C ends it.")
        note(f"Jobs are kept in {kept}.")
        settings = uvicorn.Config(
            application(kept), log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=3,
            ws="websockets-sansio", ws_max_size=MOST_MESSAGE_BYTES, ws_per_message_deflate=False,
        )  # fmt: skip
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(settings).run(sockets=[listening])
    note("The bench is closed. Everything is kept.")


def _listening(port: int) -> socket.socket:
    """Take the port before anything else is done, so that nobody can take it in between."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows would let two programs share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:  # elsewhere this only means that a port closed a moment ago can be used again
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HERE, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        found = f"{port} cannot be used on this computer: {error.strerror or error}."
        do = f"If a bench is open already it is at http://{HERE}:{port}; else take another: --port {_another(port)}."
        raise InputAtFaultError(Problem("--port", found, do)) from None
    return listening


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
