"""Attacks by a zip of jobs and by recordings that unpack to more than they are, each with what would be seen."""

import io
import json
import re
import secrets
import stat
import struct
import tracemalloc
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tapewright.jobs.store.nouns import Attached, FileKind, Owner, Particulars
from tapewright.words.problem import InputAtFaultError
from tests.web.attacker import EVIL, SECRET, alive, secret_job
from tests.web.visitor import Visitor

Change = Callable[[dict[str, Any]], object]


@pytest.fixture
def exported(bench: Visitor, tmp_path: Path) -> tuple[Path, str]:
    """A zip with one job and one file, of a job that is no longer here, and that job's id."""
    store = bench.store
    stored = store.put_file(io.BytesIO(b"sound"), "a.wav")
    job_id = store.begin(Particulars("four_track_starter", complaint="slow"), Owner(name="Invented")).id
    store.add(job_id, Attached(stored.sha256, stored.size_bytes, "a.wav", FileKind.RECORDING))
    path = tmp_path / "good.zip"
    store.export(path, [job_id])
    store.erase_job(job_id)
    return path, job_id


def rewritten(path: Path, change: Change | None = None, more: Mapping[str, bytes] | None = None) -> Path:
    """Write a zip anew with its job's text changed and more entries put to it."""
    out = path.with_name("bad.zip")
    with zipfile.ZipFile(path) as good, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bad:
        for info in good.infolist():
            content = good.read(info)
            if info.filename.endswith("job.json") and change is not None:
                found = json.loads(content)
                change(found)
                content = json.dumps(found).encode()
            bad.writestr(info.filename, content)
        for name, content in (more or {}).items():
            bad.writestr(name, content)
    return out


def refused(visitor: Visitor, path: Path) -> bool:
    """Bring a zip in by the page; tell whether it was refused in words and left nothing."""
    files, jobs = _files(visitor), visitor.store.jobs().total
    answer = visitor.ask("POST", "/jobs/in-and-out", files={"zip": (EVIL, path.read_bytes())})
    said = (answer.status_code, alive(answer.text))
    return (said, _files(visitor) - files, visitor.store.jobs().total) == ((422, []), set(), jobs)


def _files(visitor: Visitor) -> set[Path]:
    folder = visitor.gate._home / "files"
    return {one for one in visitor.gate._home.parent.rglob("*") if one.is_file() and not one.is_relative_to(folder)}


@pytest.mark.parametrize(
    "name", ["../../evil.txt", "/evil.txt", "..\\..\\evil.txt", "C:\\evil.txt", "jobs/../../evil.txt"]
)
def test_a_zip_that_slips_out_of_its_folder(bench: Visitor, exported: tuple[Path, str], name: str) -> None:
    assert refused(bench, rewritten(exported[0], more={name: b"evil"}))
    assert list(bench.gate._home.parent.parent.rglob("evil.txt")) == []


def test_the_same_zip_untouched_is_taken(bench: Visitor, exported: tuple[Path, str]) -> None:
    assert len(bench.store.bring_in(tmp_zip(exported[0], "26-7")).added) == 1


def test_a_link_in_a_zip(bench: Visitor, exported: tuple[Path, str]) -> None:
    path = rewritten(exported[0])
    link = zipfile.ZipInfo("files/link")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(link, "/etc/passwd")
    assert refused(bench, path)


def test_a_zip_bomb(bench: Visitor, exported: tuple[Path, str]) -> None:
    path = rewritten(exported[0], more={"bomb": b"\0" * 50_000_000})
    assert path.stat().st_size < 200_000
    tracemalloc.start()
    assert refused(bench, path)
    assert tracemalloc.get_traced_memory()[1] < 20_000_000, "it was not unpacked to find out"
    tracemalloc.stop()


def test_a_zip_that_lies_about_how_large_it_is(bench: Visitor, exported: tuple[Path, str]) -> None:
    """Both headers say 100 bytes; what follows unpacks to 50 MB."""
    path = rewritten(exported[0], more={"jobs/x/job.json": b"[" * 50_000_000})
    content = path.read_bytes()
    path.write_bytes(content.replace(struct.pack("<I", 50_000_000), struct.pack("<I", 100)))
    assert path.read_bytes() != content
    assert refused(bench, path)


@pytest.mark.parametrize(
    "change",
    [
        lambda job: job.update(ticket="26-1\r\nSet-Cookie: a=b" * 9),
        lambda job: job["files"][0].update(sha256="../../evil"),
        lambda job: job["files"][0].update(in_zip="../../evil"),
        lambda job: job.update(id="../../evil"),
        lambda job: job["steps"][0].update(id="' OR 1=1 --"),
        lambda job: job["steps"][0].update(at="\0"),
        lambda job: job["steps"][0]["pieces"][0].update(entity="sqlite_master"),
        lambda job: job["steps"][0]["pieces"][0]["fields"].update({"complaint, id": "x"}),
        lambda job: job["steps"][0]["pieces"][0].update(entity_id="0" * 16),
        lambda job: job.update(steps=[]),
        lambda job: job.update(steps=[job["steps"][0]] * 2),
    ],
)
def test_a_job_that_is_forged(bench: Visitor, exported: tuple[Path, str], change: Change) -> None:
    assert refused(bench, rewritten(exported[0], change))


@pytest.mark.parametrize(
    "text",
    ["[" * 200_000, '{"schema":' * 50_000, '{"schema": 1' + "0" * 100_000 + "}", '{"schema": NaN}', '{"schema": 1e999}',
     "", "\ufeff{}"],
    ids=["lists", "objects", "a number", "no number", "a large number", "nothing", "a mark"],
)  # fmt: skip
def test_a_text_that_is_a_bomb_to_whoever_reads_it(bench: Visitor, tmp_path: Path, text: str) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("jobs/x/job.json", text)
    assert refused(bench, path)


@pytest.mark.parametrize("ticket", ['26-1"; filename="x.exe', "26-1\r\nSet-Cookie: a=b", EVIL[:32], "\u0661", "26-1"])
def test_a_ticket_from_elsewhere_writes_no_header(bench: Visitor, exported: tuple[Path, str], ticket: str) -> None:
    """A ticket may be any words of up to 32 characters, and becomes the name of a download."""
    path = tmp_zip(exported[0], ticket)
    try:
        brought = bench.store.bring_in(path)
    except InputAtFaultError:
        assert ticket != "26-1"
        return
    (job_id,) = brought.added
    answer = bench.get(f"/jobs/{job_id}/export.zip")
    assert (answer.status_code, "set-cookie" in answer.headers) == (200, False)
    assert re.fullmatch(r'attachment; filename="job-[A-Za-z0-9._-]+\.zip"', answer.headers["content-disposition"])
    assert alive(bench.get(f"/jobs/{job_id}/ticket").text) == []


def tmp_zip(good: Path, ticket: str) -> Path:
    """Write a job of another shop: with a ticket, and ids that are not known here."""

    def change(job: dict[str, Any]) -> None:
        job.update(ticket=ticket, id=secrets.token_hex(8))
        for step in job["steps"]:
            step["id"] = secrets.token_hex(16)
            for piece in step["pieces"]:
                if piece["entity"] in ("job", "owner"):
                    piece["entity_id"] = job["id"]

    return rewritten(good, change)


# --- recordings -------------------------------------------------------------------------------------------------------


def _claims(kind: str, path: Path) -> bytes:
    """Write a second of sound whose header claims hours of it."""
    soundfile.write(path, 0.1 * np.sin(np.arange(8000) * 0.4488), 8000, format=kind)
    content = bytearray(path.read_bytes())
    if kind == "FLAC":  # the number of samples: the last 36 bits of STREAMINFO's bytes 13 to 17 (RFC 9639, 8.2)
        content[22:26] = struct.pack(">I", 8000 * 36_000)
    else:
        content[4:8] = content[40:44] = struct.pack("<I", 0xFFFFFFF0)
    return bytes(content)


@pytest.mark.parametrize("kind", ["FLAC", "WAV"])
def test_a_header_that_claims_hours_takes_no_room_for_them(bench: Visitor, tmp_path: Path, kind: str) -> None:
    job = f"/jobs/{secret_job(bench.store)}"
    content = _claims(kind, tmp_path / "a")
    bench.get(job)  # what a machine costs once is no matter here
    tracemalloc.start()
    answer = bench.ask("PUT", f"{job}/recordings?name=a.{kind.lower()}", content=content)
    assert answer.status_code in (201, 422)
    bench.measured(job)
    assert tracemalloc.get_traced_memory()[1] < 200_000_000
    tracemalloc.stop()


def test_silence_packed_a_thousand_times_smaller_is_read_piece_by_piece(bench: Visitor, tmp_path: Path) -> None:
    """Ten minutes of four channels: 460 MB as the program reads samples, a thousandth of that as it is sent."""
    path = tmp_path / "a.flac"
    block = np.zeros((1_440_000, 4), dtype=np.int16)
    with soundfile.SoundFile(path, "w", 48_000, 4, "PCM_16") as file:
        for _ in range(20):
            file.write(block)
    job = f"/jobs/{secret_job(bench.store)}"
    assert path.stat().st_size < 28_800_000 * 16 / 1000
    bench.get(job)
    tracemalloc.start()
    bench.ask("PUT", f"{job}/recordings?name=a.flac", content=path.read_bytes())
    page = bench.measured(job)
    assert tracemalloc.get_traced_memory()[1] < 150_000_000
    tracemalloc.stop()
    assert "Every sample is zero" in page, "all of it was read"


@pytest.mark.parametrize(
    "content",
    [b"PK\x03\x04" + b"\0" * 400, b"<html>", SECRET.encode() * 99, b"#EXTM3U\n/etc/passwd", b"\0" * 5000,
     b"ffconcat version 1.0\nfile /etc/passwd\n", b"RIFF" + b"\xff" * 400, b"OggS" + b"\0" * 4000],
    ids=range(8),
)  # fmt: skip
def test_what_is_no_recording_is_not_kept(bench: Visitor, content: bytes) -> None:
    job_id = secret_job(bench.store)
    for name in ("a.wav", "a.m3u8", "a.ffconcat", "a.ogg"):
        answer = bench.ask("PUT", f"/jobs/{job_id}/recordings?name={name}", content=content)
        assert (answer.status_code, "root:" in answer.text) == (422, False)
    assert bench.store.job(job_id).files == ()
