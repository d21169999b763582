"""What is done at the bench, gathered piece by piece and then kept as one step."""

import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, select, text

from tapewright.jobs.store import files
from tapewright.jobs.store.database import lock
from tapewright.jobs.store.history import Piece, Said, add_step, revision_of, standing, undone_in
from tapewright.jobs.store.models import CHANGE, ITEM_TABLES, PIECE
from tapewright.jobs.store.nouns import KIND_OF, Item, NoSuchJobError
from tapewright.jobs.store.rules import check
from tapewright.jobs.store.values import checked, noun_of, noun_of_columns, plain_of
from tapewright.words.problem import InputAtFaultError, Problem

ID_BYTES: Final = 8


class Steps:
    """Gathers what one step does to a job; nothing is kept before the block it was opened by ends.

    Arguments:
        job_id: of the job.
    """

    def __init__(self, job_id: str) -> None:
        self.job_id = job_id
        self.pieces: list[Piece] = []

    def set(self, **fields: Any) -> None:
        """Say anew what is said once of a job: fields of `Particulars`."""
        self.pieces.append(Piece("job", self.job_id, "set", checked("job", fields)))

    def set_owner(self, **fields: str) -> None:
        """Say anew whose machine it is: fields of `Owner`."""
        self.pieces.append(Piece("owner", self.job_id, "set", checked("owner", fields)))

    def add(self, item: Item) -> str:
        """Add something; gives its id within the job."""
        kind, item_id = KIND_OF[type(item)], secrets.token_hex(ID_BYTES)
        plainly = checked(kind, plain_of(item))
        check(kind, plainly, plainly)
        self.pieces.append(Piece(kind, item_id, "add", plainly))
        return item_id

    def edit(self, item_id: str, **fields: Any) -> None:
        """Say anew some fields of something that was added."""
        self.pieces.append(Piece("", item_id, "set", fields))

    def remove(self, item_id: str) -> None:
        """Take out something that was added; it can be put back by undoing this."""
        self.pieces.append(Piece("", item_id, "remove"))


def keep_step(
    connection: Connection, folder: Path, job_id: str, pieces: Sequence[Piece], said: Said, seen: int | None = None
) -> bool:
    """Check what was gathered against the job as it stands, and keep it as one step; tells whether anything was new.

    Arguments:
        connection: of a transaction that writes.
        folder: the folder of the store's files.
        job_id: of the job.
        pieces: what was gathered.
        said: who, how.
        seen: number of the last step that whoever does this has seen; None for any.

    Raises:
        NoSuchJobError: when there is no such job.
        InputAtFaultError: for what cannot be meant, a file that is not in the store, or a job changed since.
    """
    if any(piece.entity == "file" for piece in pieces):
        lock(connection, "files", shared=True)  # before the job itself, as an erasure does: neither waits for the other
    revision = revision_of(connection, job_id, to_change=True)  # from here on nobody else adds a step to this job
    if sent_before(connection, said.once) is not None:
        return False
    if seen is not None and seen != revision:
        do = "Look at it again, then say it once more."
        raise InputAtFaultError(Problem("the job", "was changed by somebody else meanwhile.", do))
    news = [news for piece in pieces if (news := _news(connection, job_id, piece)) is not None]
    name_files(connection, folder, job_id, news)
    if news:
        add_step(connection, job_id, news, said)
    return bool(news)


def name_files(connection: Connection, folder: Path, job_id: str, pieces: Sequence[Piece]) -> None:
    """Note which files a step names, so that they stay.

    Raises:
        InputAtFaultError: when one is not in the store.
    """
    added = [piece.fields for piece in pieces if piece.entity == "file" and piece.does == "add" and piece.fields]
    if added:
        lock(connection, "files", shared=True)
    for fields in added:
        files.named(connection, folder, job_id, fields["sha256"], fields["size_bytes"])


def sent_before(connection: Connection, once: str | None) -> str | None:
    """Give the job of a step that was sent before; None for a new one."""
    if once is None:
        return None
    return connection.execute(select(CHANGE.c.job_id).where(CHANGE.c.once == once)).scalar()


def _news(connection: Connection, job_id: str, piece: Piece) -> Piece | None:
    """Give a piece with its kind and its new values alone; None when it says nothing new."""
    if piece.does == "add":
        return None if piece.entity == "answer" and _said_just_now(connection, job_id, piece) else piece
    entity = piece.entity or _kind_of(connection, job_id, piece.entity_id)
    stands = standing(connection, job_id, entity, piece.entity_id)
    if piece.does == "remove":
        return None if stands is None else Piece(entity, piece.entity_id, "remove")
    before: Mapping[str, Any] = {} if stands is None else stands.fields
    if stands is None and entity not in ("job", "owner"):
        raise InputAtFaultError(Problem("this entry", "has been taken out.", "Undo that first, or add it anew."))
    plainly = checked(entity, piece.fields or {})
    if entity == "file" and plainly.keys() & {"sha256", "size_bytes"}:
        raise InputAtFaultError(Problem("file", "cannot become another.", "Take it out and add the other one."))
    check(entity, {**before, **plainly}, plainly)
    usual = checked(entity, plain_of(noun_of(entity, {}))) if entity in ("job", "owner") else {}
    changed = {name: value for name, value in plainly.items() if before.get(name, usual.get(name)) != value}
    return Piece(entity, piece.entity_id, "set", changed) if changed else None


def _kind_of(connection: Connection, job_id: str, item_id: str) -> str:
    asked = select(PIECE.c.entity).where(PIECE.c.job_id == job_id, PIECE.c.entity_id == item_id, PIECE.c.does == "add")
    kind = connection.execute(asked).scalar()
    if kind is None or kind not in ITEM_TABLES:
        raise InputAtFaultError(Problem("this entry", "is not in this job.", "Look at the job again."))
    return str(kind)


def _said_just_now(connection: Connection, job_id: str, piece: Piece) -> bool:
    """Tell whether the job's last answer is this one: a button touched twice in a hurry is one answer."""
    answers = ITEM_TABLES["answer"]
    asked = select(answers).where(answers.c.job_id == job_id).order_by(answers.c.step.desc(), answers.c.place.desc())
    last = connection.execute(asked.limit(1)).mappings().first()
    return last is not None and checked("answer", plain_of(noun_of_columns("answer", last))) == piece.fields


# --- beginning, undoing -----------------------------------------------------------------------------------------------


def next_ticket(connection: Connection, year: int) -> str:
    """Draw the next number for a ticket, which no other job gets: the year and a running number."""
    count = connection.execute(
        text(
            "INSERT INTO meta (name, number) VALUES (:name, 1) "
            "ON CONFLICT (name) DO UPDATE SET number = meta.number + 1 RETURNING number"
        ),
        {"name": f"ticket {year}"},
    ).scalar_one()
    return f"{year % 100:02d}-{count:04d}"


def undo(connection: Connection, job_id: str, number: int | None, said: Said, *, redo: bool) -> int | None:
    """Undo a step, or do one again that was undone; gives its number, None when there is none to take.

    Arguments:
        connection: of a transaction that writes.
        job_id: of the job.
        number: of the step; None for the last one that counts (the one undone last, to redo).
        said: who, how.
        redo: whether to do again.

    Raises:
        NoSuchJobError: when there is no such job or step.
        InputAtFaultError: when that step cannot be undone.
    """
    revision_of(connection, job_id, to_change=True)
    if sent_before(connection, said.once) is not None:
        return None
    asked = select(CHANGE.c.number, CHANGE.c.kind, CHANGE.c.of).where(CHANGE.c.job_id == job_id)
    rows = list(connection.execute(asked.order_by(CHANGE.c.number)))
    undone = undone_in(connection, job_id)
    if number is None:
        number = _last_undone(rows, undone) if redo else _last_done(rows, undone)
        if number is None:
            return None
    kind = next((row.kind for row in rows if row.number == number), None)
    if kind is None:
        raise NoSuchJobError(f"{job_id}, step {number}")
    if number == 1:
        do = "Put the job away, or erase it."
        raise InputAtFaultError(Problem("step 1", "is how the job began.", do))
    if kind != "done":
        raise InputAtFaultError(Problem(f"step {number}", f"is of the kind {kind!r}.", "Choose a step that was done."))
    if (number in undone) != redo:
        return number  # it stands already as it is wanted
    add_step(connection, job_id, (), Said(said.who, said.how, said.at, "redo" if redo else "undo", number, said.once))
    return number


def _last_done(rows: list[Any], undone: set[int]) -> int | None:
    done = [row.number for row in rows if row.kind == "done" and row.number not in undone and row.number > 1]
    return max(done, default=None)


def _last_undone(rows: list[Any], undone: set[int]) -> int | None:
    latest = None
    for row in rows:
        if row.kind == "undo" and row.of in undone:
            latest = row.of
        elif row.kind == "done":
            latest = None  # something new was done since: what was undone before it is no longer "the last"
    return latest
