"""What a form sent. Fields are short and kept in memory; a file is handed on block by block and never held whole."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Protocol
from urllib.parse import parse_qsl

from starlette.requests import Request

from tapewright.words.problem import InputAtFaultError, Problem

LONGEST_FORM: Final = 256_000
LONGEST_HEAD: Final = 16_000
MOST_PARTS: Final = 50
PLAIN: Final = "application/x-www-form-urlencoded"


class Sink(Protocol):
    """Where a file goes."""

    def write(self, block: bytes) -> None:
        """Take the next block; raises InputAtFaultError when it is too much."""


@dataclass(frozen=True, slots=True)
class Head:
    """What stands before a part of a form: the field's name, and the file's if it is one (None if not)."""

    name: str
    filename: str | None


@dataclass(slots=True)
class Splitter:
    """Cut a form in parts (RFC 7578) as it arrives, however the network cut it.

    Arguments:
        boundary: from the request's content type.
    """

    boundary: bytes
    waiting: bytes = field(default=b"\r\n", init=False)  # so that the first boundary looks like every other
    inside: str = field(default="preamble", init=False)

    def feed(self, block: bytes) -> list[Head | bytes]:
        """Take a block, and give the heads and the contents that have become certain, in order."""
        self.waiting += block
        found: list[Head | bytes] = []
        while self._step(found):
            pass
        return found

    @property
    def whole(self) -> bool:
        """Whether the closing boundary has come."""
        return self.inside == "end"

    def _step(self, found: list[Head | bytes]) -> bool:
        """Go one step; tell whether there may be another."""
        if self.inside in ("preamble", "content"):
            return self._content(found)
        if self.inside == "after boundary":
            return self._after_boundary()
        if self.inside == "head":
            return self._head(found)
        self.waiting = b""  # whatever follows the closing boundary means nothing
        return False

    def _content(self, found: list[Head | bytes]) -> bool:
        mark = b"\r\n--" + self.boundary
        at = self.waiting.find(mark)
        certain = self.waiting[:at] if at >= 0 else self.waiting[: max(0, len(self.waiting) - len(mark) + 1)]
        if certain and self.inside == "content":
            found.append(certain)
        if at < 0:
            self.waiting = self.waiting[len(certain) :]
            return False
        self.waiting, self.inside = self.waiting[at + len(mark) :], "after boundary"
        return True

    def _after_boundary(self) -> bool:
        if len(self.waiting) < 2:
            return False
        if self.waiting.startswith(b"--"):
            self.inside = "end"
            return True
        line, ended, rest = self.waiting.partition(b"\r\n")
        if not ended:
            if len(self.waiting) > LONGEST_HEAD:
                raise _unreadable("a boundary without an end")
            return False
        if line.strip(b" \t"):
            raise _unreadable("words after a boundary")
        self.waiting, self.inside = rest, "head"
        return True

    def _head(self, found: list[Head | bytes]) -> bool:
        head, ended, rest = self.waiting.partition(b"\r\n\r\n")
        if not ended:
            if len(self.waiting) > LONGEST_HEAD:
                raise _unreadable("a head without an end")
            return False
        found.append(_head_of(head.decode("utf-8", "replace")))
        self.waiting, self.inside = rest, "content"
        return True


def _head_of(text: str) -> Head:
    """Read a part's head; browsers write a quotation mark in a name as %22 and escape nothing else that we keep."""
    said = re.search(r"^content-disposition:\s*form-data\b(.*)$", text, re.IGNORECASE | re.MULTILINE)
    given = dict(re.findall(r';\s*(name|filename)="([^"]*)"', said[1])) if said else {}
    if "name" not in given:
        raise _unreadable("a part without a name")
    filename = given.get("filename")
    return Head(given["name"], None if filename is None else filename.replace("%22", '"'))


async def read_form(request: Request, sink: Callable[[str, str], Sink] | None = None) -> dict[str, str]:
    """Read a form, as it arrives.

    Arguments:
        request: with the form as its body.
        sink: is given a file's field and name, and gives where its content goes; None when no file is expected.

    Returns:
        The fields by name; of a file, its name ("" when none was chosen, and then the sink was never asked).

    Raises:
        InputAtFaultError: when it cannot be read, is too long, or a sink refuses.
    """
    fields = await _fields(request, sink)
    if any("\0" in text for pair in fields.items() for text in pair):
        raise _unreadable("a nought character in it")  # nobody types one, and not every database takes one
    return fields


async def _fields(request: Request, sink: Callable[[str, str], Sink] | None) -> dict[str, str]:
    kind = request.headers.get("content-type", "")
    if kind.partition(";")[0].strip().lower() == PLAIN:
        return await _plain_fields(request)
    boundary = re.search(r'boundary=(?:"([^"]{1,70})"|([^\s;"]{1,70}))', kind)
    if not kind.lower().startswith("multipart/form-data") or boundary is None:
        raise _unreadable(f"the content type {kind[:60]!r}")
    splitter = Splitter((boundary[1] or boundary[2]).encode())
    desk = _Desk(sink)
    async for block in request.stream():
        for piece in splitter.feed(block):
            desk.take(piece)
    if not splitter.whole:
        raise _unreadable("its end missing")
    return {name: bytes(value).decode("utf-8", "replace") for name, value in desk.fields.items()}


async def _plain_fields(request: Request) -> dict[str, str]:
    body = bytearray()
    async for block in request.stream():
        body += block
        if len(body) > LONGEST_FORM:
            raise _too_long()
    try:
        return dict(parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_PARTS))
    except ValueError:
        raise _too_long() from None


class _Desk:
    """Sort the pieces of a form as they come: short fields here, files to their sinks."""

    def __init__(self, sink: Callable[[str, str], Sink] | None) -> None:
        self.sink = sink
        self.fields: dict[str, bytearray] = {}
        self.file: Sink | None = None
        self.name = ""
        self.read = 0

    def take(self, piece: Head | bytes) -> None:
        if isinstance(piece, Head):
            self._begin(piece)
        elif self.file is not None:
            self.file.write(piece)
        else:
            self.read += len(piece)
            if self.read > LONGEST_FORM:
                raise _too_long()
            self.fields[self.name] += piece

    def _begin(self, head: Head) -> None:
        if len(self.fields) >= MOST_PARTS:
            raise _too_long()
        self.name = head.name
        chosen = head.filename if self.sink is not None else None
        self.fields[self.name] = bytearray((head.filename or "").encode())
        self.file = self.sink(head.name, chosen) if self.sink is not None and chosen else None


def _too_long() -> InputAtFaultError:
    return InputAtFaultError(Problem("the form", "is longer than a form of this page can be.", "Shorten the text."))


def _unreadable(found: str) -> InputAtFaultError:
    return InputAtFaultError(
        Problem("the form", f"arrived with {found}.", "Go back, reload the page and send it again.")
    )
