"""Files on their way to the disk: written block by block, bounded, gone when anything fails."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from tapewright.words.problem import InputAtFaultError, Problem

MOST_RECORDING_BYTES: Final = 2 * 1024**3
MOST_DESCRIPTION_BYTES: Final = 1_000_000


class Arriving:
    """A file that is arriving; it counts only once `whole` was called, and is deleted otherwise.

    Arguments:
        path: where it goes; its folder exists.
        called: what the user calls it, for messages.
        most_bytes: how long it may be.
    """

    def __init__(self, path: Path, called: str, most_bytes: int = MOST_RECORDING_BYTES) -> None:
        self.path, self.called, self.most_bytes = path, called, most_bytes
        self.size_bytes = 0
        try:
            self._file = path.open("xb")
        except OSError as error:
            raise self._refused(error) from error

    def write(self, block: bytes) -> None:
        """Take the next block.

        Raises:
            InputAtFaultError: when it is too much, or the disk is full.
        """
        self.size_bytes += len(block)
        if self.size_bytes > self.most_bytes:
            found = f"is larger than {self.most_bytes / 1024**3:.2g} GiB."
            raise InputAtFaultError(Problem(self.called, found, "Cut it to the part with the test tone and try again."))
        try:
            self._file.write(block)
        except OSError as error:
            raise self._refused(error) from error

    def whole(self) -> Path:
        """Say that all of it has come; gives where it lies."""
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
        except OSError as error:
            raise self._refused(error) from error
        return self.path

    def give_up(self) -> None:
        """Delete what has come."""
        with contextlib.suppress(OSError):
            self._file.close()
        self.path.unlink(missing_ok=True)

    def _refused(self, error: OSError) -> InputAtFaultError:
        found = f"cannot be written to this computer's disk: {error.strerror or error}."
        return InputAtFaultError(Problem(self.called, found, "Make room there and try again."))


@contextlib.contextmanager
def arriving(path: Path, called: str) -> Iterator[Arriving]:
    """Open a place for a recording; whatever goes wrong inside, nothing half written is left."""
    coming = Arriving(path, called)
    try:
        yield coming
    except BaseException:
        coming.give_up()
        raise


class ShortText:
    """A text file that is arriving, kept in memory.

    Arguments:
        called: what the user calls it.
    """

    def __init__(self, called: str) -> None:
        self.called, self._content = called, bytearray()

    def write(self, block: bytes) -> None:
        """Take the next block.

        Raises:
            InputAtFaultError: when it is longer than any description.
        """
        self._content += block
        if len(self._content) > MOST_DESCRIPTION_BYTES:
            do = "Choose a description, a .toml file; a recording is added to the job later."
            raise InputAtFaultError(Problem(self.called, "is larger than 1 MB.", do))

    def text(self) -> str:
        """Give all of it.

        Raises:
            InputAtFaultError: when it is not UTF-8.
        """
        try:
            return self._content.decode("utf-8-sig")
        except UnicodeDecodeError:
            do = "Save it as UTF-8 text and choose it again."
            raise InputAtFaultError(Problem(self.called, "is not text in UTF-8.", do)) from None
