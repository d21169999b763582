"""A job's history: steps are only ever added, and how the job stands follows from those that are not undone.

A step is one thing done at the bench, of one or more pieces: a field set, an item added, an item removed. Undoing it
adds another step that names it; redoing adds a third. So any step can be undone, not the last alone, and what later
steps said of other things stands. The tables that say how a job stands are written anew, thing by thing, in the
transaction that adds the step.
"""

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final

from sqlalchemy import Connection, Row, Select, and_, bindparam, delete, insert, select, update

from tapewright.jobs.store.models import CHANGE, ITEM_TABLES, JOB, OWNER, PERSONAL, PIECE, WORDS
from tapewright.jobs.store.nouns import NoSuchJobError
from tapewright.jobs.store.values import columns_of, search_words

JOB_WORDS: Final = ("machine_id", "described_in", "serial", "complaint", "condition")
OWNER_WORDS: Final = ("name", "phone", "email", "address", "collected_by")
NEVER: Final = date(9999, 12, 31)
_THIS_JOB: Final = JOB.c.id == bindparam("this")
_THESE_WORDS: Final = WORDS.c.job_id == bindparam("this")


@dataclass(frozen=True, slots=True)
class Piece:
    """What a step does to one thing.

    Arguments:
        entity: "job", "owner", or a kind of item.
        entity_id: the job's id, or the item's.
        does: "add", "set" or "remove".
        fields: plain data, checked; None when erased, or when removing.
    """

    entity: str
    entity_id: str
    does: str
    fields: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """Who does a step, when, through which door; and what makes it the same step when it is sent twice."""

    who: str = ""
    how: str = ""
    at: datetime | None = None
    kind: str = "done"
    of: int | None = None
    once: str | None = None
    id: str = ""


@dataclass(frozen=True, slots=True)
class Stands:
    """A thing as it stands: all its fields, and the step that added it."""

    fields: Mapping[str, Any]
    step: int
    place: int


def fold(pieces: Iterable[tuple[int, int, str, Mapping[str, Any] | None]], undone: Iterable[int]) -> Stands | None:
    """Give how one thing stands after its pieces, or None when it is not there.

    Arguments:
        pieces: (number of the step, place in it, what it does, fields), in order.
        undone: numbers of steps that do not count.

    >>> pieces = [(1, 0, "add", {"text": "a"}), (2, 0, "set", {"text": "b"}), (3, 0, "remove", None)]
    >>> fold(pieces, {3}).fields, fold(pieces, {2, 3}).fields, fold(pieces, set())
    ({'text': 'b'}, {'text': 'a'}, None)
    """
    stands: Stands | None = None
    left_out = set(undone)
    for number, place, does, fields in pieces:
        if number in left_out:
            continue
        if does == "remove":
            stands = None
        elif does == "add" and fields is not None:
            stands = Stands(dict(fields), number, place)
        elif stands is not None and fields is not None:
            stands = Stands({**stands.fields, **fields}, stands.step, stands.place)
    return stands


def undone_among(steps: Iterable[tuple[int, str, int | None]]) -> set[int]:
    """Give the steps that do not count.

    Arguments:
        steps: (number, kind, number of the step meant), in order.

    >>> undone_among([(1, "done", None), (2, "done", None), (3, "undo", 2), (4, "undo", 1), (5, "redo", 2)])
    {1}
    """
    undone = set[int]()
    for _, kind, of in steps:
        if kind == "undo" and of is not None:
            undone.add(of)
        elif kind == "redo" and of is not None:
            undone.discard(of)
    return undone


# --- looking ----------------------------------------------------------------------------------------------------------


def revision_of(connection: Connection, job_id: str, *, to_change: bool = False) -> int:
    """Give the number of a job's last step; keep others from adding one meanwhile when it is to be changed.

    Raises:
        NoSuchJobError: when there is no such job.
    """
    asked = select(JOB.c.revision).where(JOB.c.id == job_id)
    revision = connection.execute(asked.with_for_update() if to_change else asked).scalar()
    if revision is None:
        raise NoSuchJobError(job_id)
    return int(revision)


def undone_in(connection: Connection, job_id: str) -> set[int]:
    """Give the numbers of a job's steps that do not count at present."""
    asked = select(CHANGE.c.number, CHANGE.c.kind, CHANGE.c.of)
    asked = asked.where(CHANGE.c.job_id == job_id, CHANGE.c.kind.in_(("undo", "redo"))).order_by(CHANGE.c.number)
    return undone_among((row.number, row.kind, row.of) for row in connection.execute(asked))


def pieces_with_values(*columns: Any) -> Select[Any]:
    """Ask for pieces with what is personal in its place, in the order they were done."""
    same = and_(
        PERSONAL.c.job_id == PIECE.c.job_id, PERSONAL.c.number == PIECE.c.number, PERSONAL.c.place == PIECE.c.place
    )
    asked = select(PIECE, PERSONAL.c.fields.label("personal"), *columns).outerjoin(PERSONAL, same)
    return asked.order_by(PIECE.c.job_id, PIECE.c.number, PIECE.c.place)


def values_of(row: Row[Any]) -> Mapping[str, Any] | None:
    """Give the fields of a piece, personal or not; None when erased."""
    return row.personal if row.entity == "owner" else row.fields  # type: ignore[no-any-return]


def standing(connection: Connection, job_id: str, entity: str, entity_id: str) -> Stands | None:
    """Give how one thing of a job stands by its history."""
    asked = pieces_with_values().where(
        PIECE.c.job_id == job_id, PIECE.c.entity == entity, PIECE.c.entity_id == entity_id
    )
    rows = connection.execute(asked)
    return fold(((row.number, row.place, row.does, values_of(row)) for row in rows), undone_in(connection, job_id))


# --- adding ----------------------------------------------------------------------------------------------------------


def begin(connection: Connection, job_id: str, ticket: str, at: datetime) -> None:
    """Make room for a job; its first step has to follow in the same transaction."""
    empty = {"ticket": ticket, "created": at, "changed": at, "revision": 0, "due_or_never": NEVER}
    connection.execute(insert(JOB), {"id": job_id, **empty, **columns_of("job", {})})
    connection.execute(insert(WORDS), {"job_id": job_id, "job": search_words([ticket]), "owner": ""})


def add_step(connection: Connection, job_id: str, pieces: Sequence[Piece], said: Said, *, bring: bool = True) -> int:
    """Add a step to a job's history and bring the tables after it; gives its number.

    The caller holds a transaction that writes, and has checked the pieces.

    Arguments:
        connection: of that transaction.
        job_id: of the job.
        pieces: what the step does.
        said: who, when, how.
        bring: False when the caller brings the tables after many steps at once.
    """
    at = said.at or datetime.now(UTC)
    number = revision_of(connection, job_id, to_change=True) + 1
    change: dict[str, Any] = {
        "id": said.id or secrets.token_hex(16),
        "kind": said.kind,
        "of": said.of,
        "once": said.once,
    }
    change |= {"job_id": job_id, "number": number, "who": said.who, "at": at, "how": said.how}
    connection.execute(insert(CHANGE), change)
    rows, personal = [], []
    for place, piece in enumerate(pieces):
        key = {"job_id": job_id, "number": number, "place": place}
        is_personal = piece.entity == "owner"
        plainly = {"entity": piece.entity, "entity_id": piece.entity_id, "does": piece.does}
        rows.append(key | plainly | {"fields": None if is_personal else piece.fields})
        if is_personal and piece.fields is not None:
            personal.append(key | {"fields": piece.fields})
    if rows:
        connection.execute(insert(PIECE), rows)
    if personal:
        connection.execute(insert(PERSONAL), personal)
    touched: dict[tuple[str, str], None] = {}
    for place, piece in enumerate(pieces if bring else ()):
        if (
            piece.does == "add" and piece.fields is not None and piece.entity in ITEM_TABLES
        ):  # it is new: nothing to fold
            by = {"who": said.who, "at": at, "how": said.how}
            _put(connection, job_id, piece.entity, piece.entity_id, Stands(piece.fields, number, place), by)
        else:
            touched[piece.entity, piece.entity_id] = None
    if bring and said.of is not None:
        meant = select(PIECE.c.entity, PIECE.c.entity_id).where(PIECE.c.job_id == job_id, PIECE.c.number == said.of)
        touched |= dict.fromkeys((row.entity, row.entity_id) for row in connection.execute(meant))
    for entity, entity_id in touched:
        bring_after(connection, job_id, entity, entity_id)
    connection.execute(update(JOB).where(_THIS_JOB), {"this": job_id, "revision": number, "changed": at})
    return number


def bring_after(connection: Connection, job_id: str, entity: str, entity_id: str) -> None:
    """Write one thing anew in the tables that say how a job stands."""
    stands = standing(connection, job_id, entity, entity_id)
    if entity == "job":
        fields = {} if stands is None else stands.fields
        columns = columns_of("job", fields)
        ticket = connection.execute(select(JOB.c.ticket).where(JOB.c.id == job_id)).scalar_one()
        words = search_words([ticket, *(columns[name] for name in JOB_WORDS), *columns["accessories"]])
        due = columns["due"] or NEVER
        connection.execute(update(JOB).where(_THIS_JOB), {"this": job_id, "due_or_never": due, **columns})
        connection.execute(update(WORDS).where(_THESE_WORDS), {"this": job_id, "job": words})
    elif entity == "owner":
        columns = columns_of("owner", {} if stands is None else stands.fields)
        words = search_words(columns[name] for name in OWNER_WORDS)
        connection.execute(delete(OWNER).where(OWNER.c.job_id == job_id))
        connection.execute(insert(OWNER), {"job_id": job_id, **columns})
        connection.execute(update(WORDS).where(_THESE_WORDS), {"this": job_id, "owner": words})
    else:
        table = ITEM_TABLES[entity]
        connection.execute(delete(table).where(table.c.job_id == job_id, table.c.id == entity_id))
        if stands is not None:
            by = select(CHANGE.c.who, CHANGE.c.at, CHANGE.c.how)
            by = by.where(CHANGE.c.job_id == job_id, CHANGE.c.number == stands.step)
            _put(connection, job_id, entity, entity_id, stands, connection.execute(by).mappings().one())


def _put(
    connection: Connection, job_id: str, entity: str, entity_id: str, stands: Stands, by: Mapping[Any, Any]
) -> None:
    key = {"job_id": job_id, "id": entity_id, "step": stands.step, "place": stands.place}
    connection.execute(insert(ITEM_TABLES[entity]), {**key, **by, **columns_of(entity, stands.fields)})
