"""A copy of the database once a day, made at opening before anything else is done with it."""

import contextlib
import os
import secrets
import sqlite3
from datetime import date
from pathlib import Path
from typing import Final

from tapewright.jobs.store.files import sync_folder
from tapewright.words.problem import Problem

KEPT: Final = 14
PATTERN: Final = "jobs-[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9].sqlite"


def back_up(database: Path, folder: Path, day: date, *, kept: int = KEPT, anew: bool = False) -> Problem | None:
    """Copy the database, unless there is a copy of this day already; the copy appears whole or not at all.

    Arguments:
        database: the file; others may be working with it meanwhile.
        folder: where copies go.
        day: today.
        kept: how many copies stay, the newest.
        anew: make it even where there is one.

    Returns:
        Why it could not be done, to be told to the user; None when there is a copy.
    """
    final = folder / f"jobs-{day.isoformat()}.sqlite"
    if not database.is_file() or (final.is_file() and not anew):
        return None
    part = folder / f".{secrets.token_hex(8)}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _copy(database, part)
        part.chmod(0o600)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(final)
        sync_folder(folder)
        for old in sorted(folder.glob(PATTERN))[:-kept]:
            old.unlink(missing_ok=True)
    except (OSError, sqlite3.Error) as error:
        return _could_not(folder, error)
    finally:
        for left in (part, part.with_name(f"{part.name}-journal")):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)
    return None


def _copy(database: Path, part: Path) -> None:
    """Copy page by page with SQLite's own means, so that what is being written meanwhile does no harm."""
    with (
        contextlib.closing(sqlite3.connect(database, timeout=30.0)) as source,
        contextlib.closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, whole by itself
        (said,) = copy.execute("PRAGMA quick_check(1)").fetchone()
        if said != "ok":
            raise sqlite3.DatabaseError(f"the copy is damaged: {said}")


def _could_not(folder: Path, error: Exception) -> Problem:
    copies = sorted(folder.glob(PATTERN)) if folder.is_dir() else []
    newest = f"the newest copy is {copies[-1].name}" if copies else "there is no copy yet"
    said = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    damaged = isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError)
    do = (
        "The database may be damaged: export what can be read."
        if damaged
        else "Make room, or see that it may be written."
    )
    do = f"{do} For now {newest}."
    return Problem(str(folder), f"could not take today's copy of the jobs: {said}.", do)
