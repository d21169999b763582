"""Erasing an owner's data for good: from the tables, from the history, from the files, from the database's own pages.

What is erased leaves a step in the history that says so and when, and nothing else.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import Connection, Engine, and_, delete, insert, select, update

from tapewright.jobs.store.files import forget_unnamed
from tapewright.jobs.store.history import Said, add_step, bring_after, revision_of
from tapewright.jobs.store.models import FILE_USE, JOB, META, OWNER, PERSONAL, PIECE, WORDS
from tapewright.jobs.store.nouns import NoSuchJobError

GONE: Final = "[erased]"
SHORTEST: Final = 3
DUE: Final = "erasing to be finished"
FREE_TEXTS: Final = ("complaint", "condition", "approved_how", "hand_over_note")


@dataclass(frozen=True, slots=True)
class Wiped:
    """What was erased: jobs, checksums of files to be deleted, and what a person has to look at."""

    jobs: tuple[str, ...]
    files: tuple[str, ...]
    look_at: tuple[str, ...]


def erase_owner(connection: Connection, job_id: str, *, also: Iterable[str], words: bool, said: Said) -> Wiped:
    """Erase an owner's data from every job of that owner.

    Arguments:
        connection: of a transaction that writes, with the lock on files.
        job_id: one of the jobs.
        also: ids of entries to be erased with them: photos, notes.
        words: whether complaint, condition, notes and all other free words go too.
        said: who does it.

    Raises:
        NoSuchJobError: when there is no such job.
    """
    revision_of(connection, job_id, to_change=True)
    owner_id = connection.execute(select(OWNER.c.owner_id).where(OWNER.c.job_id == job_id)).scalar()
    same = select(OWNER.c.job_id).where(OWNER.c.owner_id == owner_id, OWNER.c.owner_id != "")
    jobs = sorted({job_id, *connection.execute(same).scalars()})
    names = _names(connection, jobs)
    chosen, look_at = set(also), list[str]()
    for each in jobs:
        revision_of(connection, each, to_change=True)
        connection.execute(delete(PERSONAL).where(PERSONAL.c.job_id == each))
        _wipe(connection, each, names, chosen, words=words)
        now = said.at or datetime.now(UTC)
        add_step(connection, each, (), Said(said.who, said.how, now, "erased"))
        connection.execute(update(JOB).where(JOB.c.id == each).values(erased_at=now))
        look_at += _still_named(connection, each, names)
    _to_be_finished(connection)
    return Wiped(tuple(jobs), tuple(forget_unnamed(connection)), tuple(look_at))


def erase_job(connection: Connection, job_id: str) -> Wiped:
    """Erase a whole job.

    Raises:
        NoSuchJobError: when there is no such job.
    """
    if connection.execute(delete(JOB).where(JOB.c.id == job_id)).rowcount == 0:
        raise NoSuchJobError(job_id)
    _to_be_finished(connection)
    return Wiped((job_id,), tuple(forget_unnamed(connection)), ())


# --- what to erase ----------------------------------------------------------------------------------------------------


def _names(connection: Connection, jobs: list[str]) -> list[str]:
    """Give all that the owner was ever said to be, the longest first."""
    rows = connection.execute(select(PERSONAL.c.fields).where(PERSONAL.c.job_id.in_(jobs))).scalars()
    said = {str(value).strip() for fields in rows for name, value in fields.items() if name != "owner_id"}
    said |= {line.strip() for value in said for line in value.splitlines()}
    return sorted((value for value in said if len(value) >= SHORTEST), key=len, reverse=True)


def _wipe(connection: Connection, job_id: str, names: list[str], chosen: set[str], *, words: bool) -> None:
    rows = list(connection.execute(select(PIECE).where(PIECE.c.job_id == job_id)))
    gone = chosen | {
        row.entity_id
        for row in rows
        if (row.entity == "file" and (row.fields or {}).get("personal")) or (words and row.entity == "note")
    }
    for row in rows:
        if row.fields is None:
            continue
        kept = None if row.entity_id in gone else scrubbed(row.fields, names)
        if kept is not None and words and row.entity == "job":
            kept = {name: "" if name in FREE_TEXTS else value for name, value in kept.items()}
        if kept != row.fields:
            this = and_(PIECE.c.job_id == job_id, PIECE.c.number == row.number, PIECE.c.place == row.place)
            connection.execute(update(PIECE).where(this).values(fields=kept))
    for entity, entity_id in dict.fromkeys((row.entity, row.entity_id) for row in rows):
        bring_after(connection, job_id, entity, entity_id)
    _name_files_anew(connection, job_id)


def _name_files_anew(connection: Connection, job_id: str) -> None:
    """Note anew which files the job's history names: an erased piece names none."""
    rows = connection.execute(select(PIECE.c.fields).where(PIECE.c.job_id == job_id, PIECE.c.entity == "file"))
    still = {row.fields["sha256"] for row in rows if row.fields and "sha256" in row.fields}
    connection.execute(delete(FILE_USE).where(FILE_USE.c.job_id == job_id, FILE_USE.c.sha256.not_in(still)))


def scrubbed(value: Any, names: list[str]) -> Any:
    """Take names out of every text of a plain value, whatever its capitals.

    >>> scrubbed({"text": "rang invented owner", "list": ["Invented Owner's lead"]}, ["Invented Owner"])
    {'text': 'rang [erased]', 'list': ["[erased]'s lead"]}
    """
    if isinstance(value, str):
        for name in names:
            value = re.sub(re.escape(name), GONE, value, flags=re.IGNORECASE)
        return value
    if isinstance(value, list):
        return [scrubbed(each, names) for each in value]
    return {key: scrubbed(each, names) for key, each in value.items()} if isinstance(value, Mapping) else value


def _still_named(connection: Connection, job_id: str, names: list[str]) -> list[str]:
    """Say where a part of a name still stands, for a person to look at: it may be a word like any other."""
    parts = {word.casefold() for name in names for word in re.findall(r"[^\W\d_]{3,}", name)}
    ticket = connection.execute(select(JOB.c.ticket).where(JOB.c.id == job_id)).scalar_one()
    rows = connection.execute(select(PIECE.c.entity, PIECE.c.fields).where(PIECE.c.job_id == job_id))
    found = {word for row in rows for word in re.findall(r"[^\W\d_]{3,}", _texts(row.fields).casefold())} & parts
    return [f"{ticket} still holds the word {word!r} somewhere in its texts." for word in sorted(found)]


def _texts(value: Any) -> str:
    if isinstance(value, Mapping):
        return " ".join(_texts(each) for each in value.values())
    return " ".join(map(_texts, value)) if isinstance(value, list) else str(value)


# --- out of the database's own pages ----------------------------------------------------------------------------------


def _to_be_finished(connection: Connection) -> None:
    if connection.execute(select(META.c.number).where(META.c.name == DUE)).scalar() is None:
        connection.execute(insert(META).values(name=DUE, number=1))


def is_to_be_finished(connection: Connection) -> bool:
    """Tell whether something was erased whose bytes may still lie in the database's file."""
    return connection.execute(select(META.c.number).where(META.c.name == DUE)).scalar() is not None


def finish(engine: Engine) -> None:
    """Write the database's file anew, without what was deleted; ends once no other program is in the way."""
    if engine.dialect.name == "postgresql":
        names = ", ".join(each.name for each in (JOB, OWNER, PERSONAL, PIECE, WORDS))
        others = "answer, reading, attached, part_used, work, cost, soak, note"
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql(f"VACUUM (FULL) {names}, {others}")
        return
    with engine.connect() as connection:
        cursor = connection.connection.cursor()  # by itself: none of this may stand in a transaction
        for statement in ("PRAGMA wal_checkpoint(TRUNCATE)", "VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
            cursor.execute(statement)
            blocked = (cursor.fetchone() or (0,))[0]
        cursor.close()
        connection.connection.close()
    if blocked:
        raise BlockingIOError("another program is looking at the database")


def finished(connection: Connection) -> None:
    """Note that nothing erased lies in the database's file any more."""
    connection.execute(delete(META).where(META.c.name == DUE))
