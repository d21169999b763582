"""Text files that arrive with a form, and how large a file may be."""

from typing import Final

from tapewright.words.problem import InputAtFaultError, Problem

MOST_RECORDING_BYTES: Final = 2 * 1024**3
MOST_DESCRIPTION_BYTES: Final = 1_000_000


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
