"""Write a file whole or not at all: beside it first, then in its place in one step."""

import contextlib
import os
import tempfile
from pathlib import Path

from tapewright.words.problem import InputAtFaultError, Problem


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that whoever looks sees the old one or the new one, also after a crash half-way.

    Arguments:
        path: where; its folder is made if need be.
        content: text (written as UTF-8) or bytes.

    Raises:
        InputAtFaultError: when it cannot be written there, with the reason.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(0o644)  # a temporary file is its maker's alone; a report is for others too
            Path(name).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as error:
        said = error.strerror or str(error)
        do = "Give another place, or make room there."
        raise InputAtFaultError(Problem(str(path), f"cannot be written: {said}.", do)) from error
