"""What a picture says of itself, against the library that wrote it (Pillow, whose readers are its own)."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from tapewright.web.pictures import MOST_PIXELS, Picture, picture_of

KINDS = {"PNG": "image/png", "JPEG": "image/jpeg", "WEBP": "image/webp"}


@pytest.mark.parametrize(
    ("written_as", "more"),
    [("PNG", {}), ("JPEG", {}), ("JPEG", {"progressive": True, "exif": b"Exif\0\0" + b"x" * 5000}), ("WEBP", {}),
     ("WEBP", {"lossless": True}), ("WEBP", {"exif": b"Exif\0\0invented"})],
)  # fmt: skip
@pytest.mark.parametrize("size", [(1, 1), (640, 480), (3, 2000)])
def test_kind_and_size_are_those_it_was_written_with(
    tmp_path: Path, written_as: str, more: dict[str, object], size: tuple[int, int]
) -> None:
    path = tmp_path / "photo"
    Image.new("RGB", size, (10, 200, 30)).save(path, written_as, **more)
    assert picture_of(path) == Picture(KINDS[written_as], *size)


@given(
    st.sampled_from([b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe0", b"RIFF\0\0\0\0WEBPVP8X"]), st.binary(max_size=80)
)
def test_whatever_the_bytes_there_is_an_answer(
    tmp_path_factory: pytest.TempPathFactory, begins: bytes, rest: bytes
) -> None:
    path = tmp_path_factory.mktemp("photo") / "photo"
    path.write_bytes(begins + rest)
    found = picture_of(path)
    assert found is None or found.kind in KINDS.values()


@pytest.mark.parametrize(
    "content", [b"<svg xmlns='x'/>", b"<html>", b"GIF89a", b"\xff\xd8\xff", b"\x89PNG", b"RIFF....WAVE"]
)
def test_what_is_no_photo_is_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "photo").write_bytes(content + b"\0" * 40)
    assert picture_of(tmp_path / "photo") is None


def test_no_more_points_than_can_be_shown() -> None:
    assert Picture("image/png", 12_000, 10_000).fits
    assert not Picture("image/png", 12_000, MOST_PIXELS // 12_000 + 1).fits
    assert not Picture("image/png", 0, 10).fits
