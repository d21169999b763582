"""Write a file whole or not at all: beside it first, then in its place in one step; and read one as text."""

import contextlib
import os
import tempfile
from pathlib import Path

from tapewright.words.problem import InputAtFaultError, Problem


def write_whole(path: Path, content: str | bytes, *, private: bool = False) -> None:
    """Write a file so that whoever looks sees the old one or the new one, also after a crash half-way.

    Arguments:
        path: where; its folder is made if need be.
        content: text (written as UTF-8) or bytes.
        private: whether nobody else on this computer may read it.

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
            if not private:
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


def read_text(path: Path, *, largest_mb: int, instead: str, absent: str, kind: str) -> str:
    """Read a text file of the user's.

    Arguments:
        path: of the file, UTF-8 with or without a mark at its start.
        largest_mb: a larger one is not what was meant.
        instead: what to give instead of one that is too large.
        absent: what to do when it is not there.
        kind: "JSON", "TOML": what it should be.

    Raises:
        InputAtFaultError: when it is too large, not there, or cannot be read as text.
    """
    where = str(path)
    try:
        if path.stat().st_size > largest_mb * 1_000_000:
            raise InputAtFaultError(Problem(where, f"is larger than {largest_mb} MB.", instead))
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputAtFaultError(Problem(where, "is not there.", absent)) from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputAtFaultError(Problem(where, f"cannot be read: {error}.", f"Give a {kind} file in UTF-8.")) from None
