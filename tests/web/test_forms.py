"""A form comes out as it went in, however the network cut it."""

import asyncio
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.requests import Request
from starlette.types import Message

from tapewright.web.forms import LONGEST_FORM, Head, Splitter, read_form
from tapewright.words.problem import InputAtFaultError

BOUNDARY = "-----a page's own"


def form(parts: list[tuple[str, str | None, bytes]], boundary: str = BOUNDARY) -> bytes:
    """Write a form as a browser writes it: an independent, whole-in-memory writer, the oracle of the splitter."""
    pieces = b""
    for name, filename, content in parts:
        called = "" if filename is None else f'; filename="{filename}"\r\nContent-Type: application/octet-stream'
        head = f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"{called}\r\n\r\n'
        pieces += head.encode() + content + b"\r\n"
    return pieces + f"--{boundary}--\r\n".encode()


def cut(whole: bytes, places: list[int]) -> list[bytes]:
    edges = [0, *sorted(place % (len(whole) + 1) for place in places), len(whole)]
    return [whole[a:b] for a, b in pairwise(edges)]


CONTENT = st.one_of(
    st.binary(max_size=200),
    st.lists(st.sampled_from([b"\r\n", b"--", b"\r\n--", BOUNDARY.encode()[:5], b"\r", b"x"]), max_size=12).map(
        b"".join
    ),
)


@settings(max_examples=200)
@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from([None, "", "side a.wav"]), CONTENT), max_size=4),
    st.lists(st.integers(0, 5000), max_size=12),
)
def test_what_went_in_comes_out_however_it_was_cut(
    parts: list[tuple[str, str | None, bytes]], places: list[int]
) -> None:
    splitter = Splitter(BOUNDARY.encode())
    found: list[tuple[str, str | None, bytes]] = []
    for block in cut(form(parts), places):
        for piece in splitter.feed(block):
            if isinstance(piece, Head):
                found.append((piece.name, piece.filename, b""))
            else:
                found[-1] = (*found[-1][:2], found[-1][2] + piece)
    assert splitter.whole
    assert found == parts


def test_little_is_held_back() -> None:
    splitter = Splitter(BOUNDARY.encode())
    splitter.feed(form([("f", "a", b"")])[: -len(BOUNDARY) - 8])
    given_on = sum(len(piece) for _ in range(64) for piece in splitter.feed(bytes(65_536)) if isinstance(piece, bytes))
    # Only what might be the beginning of a boundary may wait: its length and four marks.
    assert 64 * 65_536 - given_on <= len(BOUNDARY) + 4


class Kept:
    def __init__(self) -> None:
        self.content = b""

    def write(self, block: bytes) -> None:
        self.content += block


def read(body: bytes, kind: str, files: dict[str, Kept] | None = None) -> dict[str, str]:
    blocks = cut(body, list(range(0, len(body), 7)))

    async def receive() -> Message:
        return {"type": "http.request", "body": blocks.pop(0), "more_body": bool(blocks)}

    def sink(_name: str, filename: str) -> Kept:
        assert files is not None
        files[filename] = Kept()
        return files[filename]

    scope = {"type": "http", "method": "POST", "headers": [(b"content-type", kind.encode())]}
    return asyncio.run(read_form(Request(scope, receive), sink if files is not None else None))


MULTIPART = f'multipart/form-data; boundary="{BOUNDARY}"'


def test_fields_and_a_file_are_told_apart() -> None:
    files: dict[str, Kept] = {}
    body = form(
        [
            ("complaint", None, "gräßlich slow".encode()),
            ("recording", "say %22a%22.wav", b"\x00\r\n\xff"),
            ("x", "", b""),
        ]
    )
    assert read(body, MULTIPART, files) == {"complaint": "gräßlich slow", "recording": 'say "a".wav', "x": ""}
    assert {name: kept.content for name, kept in files.items()} == {'say "a".wav': b"\x00\r\n\xff"}


def test_a_plain_form_is_read() -> None:
    fields = read(b"sign=play_loop&q=%C3%A9+x&back=", "application/x-www-form-urlencoded; charset=UTF-8")
    assert fields == {"sign": "play_loop", "q": "é x", "back": ""}


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (form([("a", None, b"1")])[:-6], MULTIPART),
        (b"nothing of the kind", MULTIPART),
        (b"", MULTIPART),
        (b"a=1", "text/plain"),
        (form([("a", None, b"1")]), "multipart/form-data"),
        (f"--{BOUNDARY}\r\nContent-Type: text/plain\r\n\r\nx\r\n--{BOUNDARY}--".encode(), MULTIPART),
        (f"--{BOUNDARY} words\r\n\r\n".encode(), MULTIPART),
        (form([("a", None, bytes(LONGEST_FORM + 1))]), MULTIPART),
        (form([(f"a{i}", None, b"") for i in range(60)]), MULTIPART),
        (b"a" * (LONGEST_FORM + 1), "application/x-www-form-urlencoded"),
    ],
)
def test_what_is_no_form_is_said_to_be_none(body: bytes, kind: str) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        read(body, kind)
    assert caught.value.problems[0].where == "the form"
