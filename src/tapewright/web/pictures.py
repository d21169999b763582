"""What kind of picture a file is, and how large when unpacked: read off its first lines, nothing is unpacked here.

PNG: ISO/IEC 15948, 11.2.2. JPEG: ITU-T T.81, B.2.2. WebP: RFC 9649, section 2.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

MOST_PIXELS: Final = 120_000_000
"""More than any camera at a bench takes; a small file can claim a thousand times as much and stop whoever shows it."""
MOST_SEGMENTS: Final = 500
_NO_FRAME: Final = (0xC4, 0xC8, 0xCC)
"""JPEG markers among those of frames that are none (T.81, table B.1)."""


@dataclass(frozen=True, slots=True)
class Picture:
    """What a picture says of itself.

    Arguments:
        kind: its media type.
        width_px: across.
        height_px: down.
    """

    kind: str
    width_px: int
    height_px: int

    @property
    def fits(self) -> bool:
        """Whether it is of a size that can be shown."""
        return 0 < self.width_px * self.height_px <= MOST_PIXELS


def picture_of(path: Path) -> Picture | None:
    """Read what a file says of itself; None when it is no picture of a kind that is taken.

    Arguments:
        path: of the file.
    """
    with path.open("rb") as file:
        begins = file.read(4)
        file.seek(0)
        for mark, kind, read in _KINDS:
            if begins.startswith(mark):
                try:
                    size = read(file)
                except (struct.error, ValueError):
                    return None
                return None if size is None else Picture(kind, *size)
    return None


def _png(file: BinaryIO) -> tuple[int, int] | None:
    head = file.read(24)
    if not head.startswith(b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR"):
        return None
    width, height = struct.unpack(">II", head[16:24])
    return width, height


def _jpeg(file: BinaryIO) -> tuple[int, int] | None:
    file.seek(2)
    for _ in range(MOST_SEGMENTS):
        mark, code = struct.unpack(">BB", file.read(2))
        while code == 0xFF:  # fill bytes may stand before a marker
            (code,) = struct.unpack(">B", file.read(1))
        if mark != 0xFF:
            return None
        (length,) = struct.unpack(">H", file.read(2))
        if 0xC0 <= code <= 0xCF and code not in _NO_FRAME:
            _, height, width = struct.unpack(">BHH", file.read(5))
            return width, height
        file.seek(length - 2, 1)
    return None


def _webp(file: BinaryIO) -> tuple[int, int] | None:
    head = file.read(30)
    if head[8:12] != b"WEBP":
        return None
    chunk, body = head[12:16], head[20:]
    if chunk == b"VP8 " and body[3:6] == b"\x9d\x01\x2a":
        width, height = struct.unpack("<HH", body[6:10])
        return width & 0x3FFF, height & 0x3FFF
    if chunk == b"VP8L" and body[:1] == b"\x2f":
        (bits,) = struct.unpack("<I", body[1:5])
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8X":
        return int.from_bytes(body[4:7], "little") + 1, int.from_bytes(body[7:10], "little") + 1
    return None


_KINDS: Final[tuple[tuple[bytes, str, Callable[[BinaryIO], tuple[int, int] | None]], ...]] = (
    (b"\x89PNG", "image/png", _png),
    (b"\xff\xd8\xff", "image/jpeg", _jpeg),
    (b"RIFF", "image/webp", _webp),
)
