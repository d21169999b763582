"""Files beside the database, each under the checksum of its bytes: written once, whole, never altered.

A file on its way lies in a folder of its own under a name drawn at random; when all of it has reached the disk it is
given its final name in one step. It counts once a row of the database names it. What no row names, and nobody has
touched for an hour, a crash has left: it is swept away.
"""

import contextlib
import hashlib
import os
import secrets
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import Connection, delete, insert, select

from tapewright.jobs.store.models import FILE, FILE_USE
from tapewright.jobs.store.nouns import Stored
from tapewright.jobs.store.rules import SHA256
from tapewright.words.problem import InputAtFaultError, Problem

MOST_BYTES: Final = 2 * 1024**3
BLOCK_BYTES: Final = 1 << 20
UNTOUCHED_S: Final = 3600.0
INCOMING: Final = ".incoming"


def blocks_of(source: IO[bytes]) -> Iterator[bytes]:
    """Read an open file block by block."""
    while block := source.read(BLOCK_BYTES):
        yield block


def place_of(folder: Path, sha256: str) -> Path:
    """Give where a file lies; nothing but a checksum ever becomes part of a path.

    >>> place_of(Path("files"), "ab" * 32).parts[:2]
    ('files', 'ab')
    """
    if not SHA256.fullmatch(sha256):
        raise InputAtFaultError(Problem("file", f"is named {sha256[:80]!r}.", "Choose a file of this job."))
    return folder / sha256[:2] / sha256


class Incoming:
    """A file on its way: write its blocks, then `keep` it; what was not kept is deleted at the block's end.

    Arguments:
        folder: the folder of the store's files.
        called: what the user calls it, for messages.
        most_bytes: how long it may be.
    """

    def __init__(self, folder: Path, called: str, most_bytes: int = MOST_BYTES) -> None:
        self._folder, self._called, self._most = folder, called, most_bytes
        self._hash, self.size_bytes = hashlib.sha256(), 0
        self._path = folder / INCOMING / f"{secrets.token_hex(8)}.part"
        with self._refusing():
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._file = self._path.open("xb")

    def __enter__(self) -> "Incoming":
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError):
            self._file.close()
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)

    @property
    def sha256(self) -> str:
        """The checksum of what has come so far."""
        return self._hash.hexdigest()

    @property
    def path(self) -> Path:
        """Where it lies until it is kept; to look whether it is what it should be, call `flush` first."""
        return self._path

    def write(self, block: bytes) -> None:
        """Take the next block.

        Raises:
            InputAtFaultError: when it is too much, or the disk is full.
        """
        self.size_bytes += len(block)
        if self.size_bytes > self._most:
            found = f"is larger than {self._most / 1e6:.4g} MB."
            raise InputAtFaultError(Problem(self._called, found, "Give a shorter or smaller one."))
        self._hash.update(block)
        with self._refusing():
            self._file.write(block)

    def flush(self) -> None:
        """See that what was written so far can be read at `path`."""
        with self._refusing():
            self._file.flush()

    def keep(self) -> Stored:
        """Say that all of it has come; it is on the disk, under its checksum, when this returns.

        Raises:
            InputAtFaultError: when the disk is full.
        """
        sha256 = self.sha256
        final = place_of(self._folder, sha256)
        with self._refusing():
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
            final.parent.mkdir(exist_ok=True)
            if final.exists() and final.stat().st_size == self.size_bytes:
                os.utime(final)  # so that nobody sweeps it away before a row names it
            else:
                self._path.chmod(0o600)
                self._path.replace(final)
            for folder in (final.parent, self._folder):
                sync_folder(folder)
        return Stored(sha256, self.size_bytes)

    @contextlib.contextmanager
    def _refusing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            found = f"cannot be written to this computer's disk: {error.strerror or error}."
            raise InputAtFaultError(Problem(self._called, found, "Make room there and try again.")) from error


def sync_folder(folder: Path) -> None:
    """See that a folder's names have reached the disk; some systems have no such thing."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def put(folder: Path, blocks: Iterable[bytes], called: str, most_bytes: int = MOST_BYTES) -> Stored:
    """Put a file into the store block by block; it counts once a step names it.

    Raises:
        InputAtFaultError: when it is too large, or the disk is full; nothing is left of it then.
    """
    with Incoming(folder, called, most_bytes) as incoming:
        for block in blocks:
            incoming.write(block)
        return incoming.keep()


def named(connection: Connection, folder: Path, job_id: str, sha256: str, size_bytes: int) -> None:
    """Note that a job's history names a file.

    Raises:
        InputAtFaultError: when the file is not in the store.
    """
    place = place_of(folder, sha256)
    if not place.is_file() or place.stat().st_size != size_bytes:
        raise InputAtFaultError(Problem("file", f"{sha256[:12]}… is not in the store.", "Put it there first."))
    if connection.execute(select(FILE.c.sha256).where(FILE.c.sha256 == sha256)).scalar() is None:
        connection.execute(
            _unless_there(connection, FILE, sha256=sha256, size_bytes=size_bytes, stored=datetime.now(UTC))
        )
    connection.execute(_unless_there(connection, FILE_USE, job_id=job_id, sha256=sha256))


def _unless_there(connection: Connection, table: Any, **values: Any) -> Any:
    """Insert a row unless another program has just done so."""
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as insert_there

        return insert_there(table).values(**values).on_conflict_do_nothing()
    return insert(table).prefix_with("OR IGNORE").values(**values)


def forget_unnamed(connection: Connection) -> list[str]:
    """Take out the rows of files that no history names; gives their checksums, to be deleted after the transaction.

    The caller's transaction writes and holds the lock on files.
    """
    named_by = select(FILE_USE.c.sha256).where(FILE_USE.c.sha256 == FILE.c.sha256)
    unnamed = list(connection.execute(select(FILE.c.sha256).where(~named_by.exists())).scalars())
    connection.execute(delete(FILE).where(FILE.c.sha256.in_(unnamed)))
    return unnamed


def delete_unnamed(connection: Connection, folder: Path, among: Iterable[str]) -> None:
    """Delete files whose rows were taken out, unless another job has named one again since.

    Arguments:
        connection: of a transaction that writes, with the lock on files: nobody names one meanwhile.
        folder: the folder of the store's files.
        among: their checksums.
    """
    for sha256 in among:
        if connection.execute(select(FILE.c.sha256).where(FILE.c.sha256 == sha256)).first() is None:
            place_of(folder, sha256).unlink(missing_ok=True)


def sweep(connection: Connection, folder: Path, now_s: float | None = None) -> int:
    """Delete what a crash has left: files on their way, and whole ones that no row names; gives how many.

    Arguments:
        connection: of a transaction that writes, with the lock on files.
        folder: the folder of the store's files.
        now_s: the time, seconds since 1970; None for the clock's.
    """
    before = (time.time() if now_s is None else now_s) - UNTOUCHED_S
    kept = set(connection.execute(select(FILE.c.sha256)).scalars())
    found = [
        path for path in folder.glob("[0-9a-f][0-9a-f]/*") if SHA256.fullmatch(path.name) and path.name not in kept
    ]
    found += folder.glob(f"{INCOMING}/*.part")
    gone = 0
    for path in found:
        with contextlib.suppress(OSError):  # on its way elsewhere just now, or held open by another program
            if path.stat().st_mtime < before:
                path.unlink()
                gone += 1
    return gone
