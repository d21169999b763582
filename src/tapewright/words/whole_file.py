"""Write a file whole or not at all: beside it first, then in its place in one step; and read one as text.

A long file is written by its own library: what it needs of a place is asked before, and the name beside it given here.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
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


def wrong_place(path: Path, endings: Sequence[str], beside: str) -> Problem | None:
    """Say what keeps a file from being written at a place by its name alone; None where nothing does.

    Arguments:
        path: where it is to go.
        endings: those it may have, in small letters, the usual one first.
        beside: what goes beside it, as the end of a sentence.

    >>> wrong_place(Path("a.txt"), (".wav",), "the truth goes beside it").found
    'does not end in .wav.'
    """
    where = str(path)
    if "\0" in where:
        return Problem(where, "no file can have this name.", "Give another.")
    if path.is_dir():
        return Problem(where, "is a folder.", f"Name a file in it that ends in {endings[0]}.")
    if path.suffix.lower() not in endings:
        return Problem(where, f"does not end in {' or '.join(endings)}.", f"Give a name that does; {beside}.")
    if not path.parent.is_dir():
        return Problem(where, f"the folder {path.parent} is not there.", "Make it first, or give another.")
    return None


def no_room(path: Path, size_bytes: int, instead: str) -> Problem | None:
    """Say that the disk has no room for a file and a little more; None where it has.

    Arguments:
        path: where it is to go, in a folder that is there.
        size_bytes: its size.
        instead: what to do where room cannot be made, as the end of a sentence.
    """
    free = shutil.disk_usage(path.parent).free
    if free >= size_bytes + 1_000_000:
        return None
    found = f"needs {size_bytes / 1e6:.0f} MB, and {free / 1e6:.0f} MB are free there."
    return Problem(str(path), found, f"Make room, or {instead}.")


@contextlib.contextmanager
def written_beside(path: Path) -> Iterator[Path]:
    """Give a name beside the place, with the same ending, which is gone again whatever happens.

    Arguments:
        path: which what was written takes the place of at the end, in one step.
    """
    part = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix.lower()}")
    try:
        yield part
    finally:
        with contextlib.suppress(OSError):
            part.unlink()


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
