"""A server that runs in this process, on a port of its own."""

import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager

import uvicorn


@contextmanager
def in_thread(settings: uvicorn.Config) -> Iterator[int]:
    """Serve until the end of the block; gives the port."""
    server = uvicorn.Server(settings)
    with closing(socket.create_server(("127.0.0.1", 0))) as listening:
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield int(listening.getsockname()[1])
        finally:
            server.should_exit = True
            thread.join()
