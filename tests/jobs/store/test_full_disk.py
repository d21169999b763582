"""A full disk gives a sentence and does no damage; what was acknowledged is there, and work goes on afterwards."""

import errno
import io
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tapewright.jobs.store.nouns import Attached, FileKind, Note
from tapewright.jobs.store.opened import Store, open_store
from tapewright.words.problem import InputAtFaultError

FILL = """
import io, resource, sys
from pathlib import Path
from tapewright.jobs.store.nouns import Note
from tapewright.jobs.store.opened import open_store
from tapewright.words.problem import InputAtFaultError
with open_store(Path(sys.argv[1])) as store:
    job = store.begin()
    room = int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
    kept, said = 0, ""
    while not said and kept < 10_000:
        try:
            store.add(job.id, Note("x" * 10_000))
            kept += 1
        except InputAtFaultError as error:
            said = str(error)
    try:
        store.put_file(io.BytesIO(bytes(room + 1)), "a.wav")
    except InputAtFaultError as error:
        said += " " + str(error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    store.add(job.id, Note("there is room again"))
    print(job.id, kept, said)
"""


@pytest.mark.slow
@pytest.mark.parametrize("room", [600_000, 1_500_000, 4_500_000])
def test_no_file_may_grow_any_more(tmp_path: Path, room: int) -> None:
    """A real limit of the system, in a program of its own: the database's file and its log stop growing."""
    pytest.importorskip("resource", reason="this system has no limit on the size of a file")
    call = [sys.executable, "-W", "error", "-c", FILL, str(tmp_path), str(room)]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    job_id, kept, said = done.stdout.strip().split(" ", 2)
    assert "nothing was changed" in said
    assert "cannot be written to this computer's disk" in said
    with open_store(tmp_path) as store:
        notes = [entry.what.text for entry in store.job(job_id).notes]
        assert notes == ["x" * 10_000] * int(kept) + ["there is room again"]
        assert int(kept) > 1
        with store.engine.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    assert [path for path in (tmp_path / "files").rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("where", ["write", "fsync", "replace"])
def test_a_file_for_which_there_is_no_room(on_file: Store, monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def refuse(*_: Any, **__: Any) -> Any:
        raise full

    class Full(io.FileIO):
        def write(self, _content: Any) -> int:
            raise full

    job = on_file.begin()
    with monkeypatch.context() as patched:
        if where == "write":
            patched.setattr(Path, "open", lambda path, mode: Full(path, mode.replace("b", "")))
        else:
            patched.setattr(os if where == "fsync" else Path, where, refuse)
        with pytest.raises(InputAtFaultError, match="No space left"):
            on_file.put_file(io.BytesIO(b"x" * 100_000), "a.wav")
        assert [path for path in on_file.files.rglob("*") if path.is_file()] == []
    stored = on_file.put_file(io.BytesIO(b"x" * 100_000), "a.wav")
    on_file.add(job.id, Attached(stored.sha256, stored.size_bytes, "a.wav", FileKind.RECORDING))
    assert on_file.file_path(stored.sha256).stat().st_size == 100_000


def test_a_database_that_may_not_grow_says_so(on_file: Store) -> None:
    """SQLite's own limit on pages stands for the disk: the same code of error, from the library itself."""
    job = on_file.begin()
    with on_file.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    on_file.engine.dispose()

    from sqlalchemy import event

    @event.listens_for(on_file.engine, "connect")
    def limited(connection: Any, _record: Any) -> None:
        connection.execute(f"PRAGMA max_page_count={pages}")

    with pytest.raises(InputAtFaultError, match="The disk is full; nothing was changed"):
        on_file.add(job.id, *(Note("x" * 10_000) for _ in range(10)))
    event.remove(on_file.engine, "connect", limited)
    on_file.engine.dispose()
    kept = len(on_file.job(job.id).notes)
    assert len(on_file.add(job.id, Note("y")).notes) == kept + 1


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("x", "utf-8")
    with pytest.raises(InputAtFaultError, match="cannot be made"):
        open_store(tmp_path / "a file" / "home")


def test_what_a_crash_left_is_swept_away_and_what_is_named_stays(on_file: Store) -> None:
    from tapewright.jobs.store import files
    from tapewright.jobs.store.database import lock, writing

    job = on_file.begin()
    named, orphan = (on_file.put_file(io.BytesIO(content), "x") for content in (b"named", b"orphan"))
    on_file.add(job.id, Attached(named.sha256, named.size_bytes, "x"))
    half = on_file.files / files.INCOMING / "0123456789abcdef.part"
    half.write_bytes(b"half")
    for now_s, gone in ((0.0, 0), (None, 0), (4e9, 2)):
        with writing(on_file.engine) as connection:
            lock(connection, "files")
            assert files.sweep(connection, on_file.files, now_s) == gone
    assert not half.exists()
    with pytest.raises(InputAtFaultError, match="is not there"):
        on_file.file_path(orphan.sha256)
    assert on_file.file_path(named.sha256).read_bytes() == b"named"
