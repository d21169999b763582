"""Jobs as they stand, read back: one sheet, pages of the list, a history in words."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Row, Select, func, or_, select

from tapewright.jobs.store.history import pieces_with_values, undone_among
from tapewright.jobs.store.models import CHANGE, ITEM_TABLES, JOB, OWNER, PIECE, WORDS
from tapewright.jobs.store.nouns import (
    ITEMS,
    PLACE_OF,
    Entry,
    Line,
    Money,
    NoSuchJobError,
    Owner,
    Page,
    Sheet,
    Status,
    Step,
)
from tapewright.jobs.store.values import noun_of_columns
from tapewright.words.problem import InputAtFaultError, Problem

MOST_PER_PAGE: Final = 500
MOST_WORDS: Final = 10
MOST_NAMED: Final = 500
ORDERS: Final = {
    "changed": (JOB.c.changed.desc(), JOB.c.id.desc()),
    "due": (JOB.c.due_or_never, JOB.c.id),
    "ticket": (JOB.c.created.desc(), JOB.c.id.desc()),
}
IN_WORDS: Final = {
    "answer": "an answer",
    "reading": "a reading",
    "file": "a file",
    "part": "a part used",
    "work": "work done",
    "cost": "a cost",
    "soak": "a soak test",
    "note": "a note",
}
SHOWN_CHARACTERS: Final = 60


def read_sheet(connection: Connection, job_id: str) -> Sheet:
    """Read a job with all that belongs to it.

    Raises:
        NoSuchJobError: when there is none of this id.
    """
    job = connection.execute(select(JOB).where(JOB.c.id == job_id)).mappings().first()
    if job is None:
        raise NoSuchJobError(job_id)
    owner = connection.execute(select(OWNER).where(OWNER.c.job_id == job_id)).mappings().first()
    added: dict[str, Any] = {}
    for kind in ITEMS:
        table = ITEM_TABLES[kind]
        rows = connection.execute(select(table).where(table.c.job_id == job_id).order_by(table.c.step, table.c.place))
        added[PLACE_OF[kind]] = tuple(
            Entry(row["id"], noun_of_columns(kind, row), row["who"], row["at"], row["how"], row["step"])
            for row in rows.mappings()
        )
    return Sheet(
        **{name: job[name] for name in ("id", "ticket", "created", "changed", "revision", "erased_at")},
        particulars=noun_of_columns("job", job),
        owner=Owner() if owner is None else noun_of_columns("owner", owner),
        **added,
    )


def read_page(
    connection: Connection,
    *,
    words: str = "",
    statuses: Sequence[Status] = (),
    serial: str = "",
    owner_id: str = "",
    page: int = 1,
    per_page: int = 50,
    order: str = "changed",
) -> Page:
    """Read a page of the list of jobs.

    Arguments:
        connection: to look through.
        words: each has to stand somewhere in ticket, machine, serial, complaint, condition, accessories or owner.
        statuses: one of them; empty for all but those put away.
        serial: of this very machine.
        owner_id: of this very owner.
        page: from 1; one past the last is the last.
        per_page: lines on a page.
        order: "changed" (last changed first), "due" (first due first) or "ticket" (newest first).

    Raises:
        InputAtFaultError: for an order that there is not.
    """
    if order not in ORDERS:
        raise InputAtFaultError(Problem("order", f"is {order!r}.", f"It can be: {', '.join(ORDERS)}."))
    per_page = min(max(per_page, 1), MOST_PER_PAGE)
    narrow = _narrowed(words, statuses, serial, owner_id)
    chosen = narrow(select(JOB.c.id).select_from(JOB)).order_by(*ORDERS[order])
    found = _with_words(connection, words, WORDS.c.job, WORDS.c.owner)
    if found is None:
        total = int(connection.execute(narrow(select(func.count()).select_from(JOB))).scalar_one())
    else:
        found = _in_order(connection, chosen, set(found))
        total = len(found)
    pages = max(1, -(-total // per_page))
    page = min(max(page, 1), pages)
    first = (page - 1) * per_page
    if found is None:
        ids = list(connection.execute(chosen.limit(per_page).offset(first)).scalars())
    else:
        ids = found[first : first + per_page]
    names = ("id", "ticket", "machine_id", "described_in", "serial", "complaint", "due", "created", "changed", "status")
    joined = JOB.outerjoin(OWNER, OWNER.c.job_id == JOB.c.id)
    asked = select(*(JOB.c[name] for name in names), OWNER.c.name.label("owner_name")).select_from(joined)
    asked = asked.where(JOB.c.id.in_(ids)).order_by(*ORDERS[order])
    rows = connection.execute(asked).mappings()
    lines = [Line(**dict(r) | {"status": Status(r["status"]), "owner_name": r["owner_name"] or ""}) for r in rows]
    return Page(tuple(lines), page, pages, total)


def _narrowed(
    words: str, statuses: Sequence[Status], serial: str, owner_id: str
) -> Callable[[Select[Any]], Select[Any]]:
    """Give what narrows a question about jobs, the words left aside."""
    names = [Status(one).value for one in statuses]

    def narrow(asked: Select[Any]) -> Select[Any]:
        if owner_id:
            asked = asked.join(OWNER, OWNER.c.job_id == JOB.c.id).where(OWNER.c.owner_id == owner_id)
        if serial:
            asked = asked.where(JOB.c.serial == serial)
        if names:
            return asked.where(JOB.c.status.in_(names))
        return asked if words.split() or serial or owner_id else asked.where(JOB.c.status != Status.AWAY.value)

    return narrow


def _with_words(connection: Connection, words: str, *columns: ColumnElement[str]) -> list[str] | None:
    """Give the jobs in which each word stands somewhere, in no order; None when there is no word.

    The narrow table is read from end to end, and by itself: joined with the jobs it would be read row by row in their
    order, which takes three times as long.
    """
    each = words.casefold().split()[:MOST_WORDS]
    if not each:
        return None
    # Several times quicker than by a pattern, and no character is special.
    find = func.strpos if connection.dialect.name == "postgresql" else func.instr
    asked = select(WORDS.c.job_id).where(*(or_(*(find(column, word) > 0 for column in columns)) for word in each))
    return list(connection.execute(asked).scalars())


def _in_order(connection: Connection, chosen: Select[Any], found: set[str]) -> list[str]:
    """Give those of the chosen jobs that were found, in the order they are chosen in."""
    if len(found) <= MOST_NAMED:
        chosen = chosen.where(JOB.c.id.in_(found))
    return [job_id for job_id in connection.execute(chosen).scalars() if job_id in found]


def count_by_status(connection: Connection) -> dict[Status, int]:
    """Count the jobs in each status."""
    found = {row[0]: row[1] for row in connection.execute(select(JOB.c.status, func.count()).group_by(JOB.c.status))}
    return {status: int(found.get(status.value, 0)) for status in Status}


def find_owners(connection: Connection, words: str, most: int) -> tuple[Owner, ...]:
    """Find owners who have been here before, the latest first, each once."""
    latest = select(JOB.c.id).order_by(*ORDERS["ticket"])
    with_words = _with_words(connection, words, WORDS.c.owner)
    ids = [] if with_words is None else _in_order(connection, latest, set(with_words))[: 20 * most]
    asked = select(OWNER).join(JOB, JOB.c.id == OWNER.c.job_id).where(OWNER.c.name != "")
    if with_words is not None:
        asked = asked.where(OWNER.c.job_id.in_(ids))
    found: dict[str, Owner] = {}
    for row in connection.execute(asked.order_by(JOB.c.created.desc()).limit(20 * most)).mappings():
        owner: Owner = noun_of_columns("owner", row)
        found.setdefault(owner.owner_id, owner)
    return tuple(found.values())[:most]


# --- a history in words -----------------------------------------------------------------------------------------------


def read_steps(connection: Connection, job_id: str) -> tuple[Step, ...]:
    """Read a job's history, the oldest step first.

    Raises:
        NoSuchJobError: when there is no such job.
    """
    changes = list(connection.execute(select(CHANGE).where(CHANGE.c.job_id == job_id).order_by(CHANGE.c.number)))
    if not changes:
        raise NoSuchJobError(job_id)
    by_step: dict[int, list[Row[Any]]] = {}
    kinds: dict[str, str] = {}
    for row in connection.execute(pieces_with_values().where(PIECE.c.job_id == job_id)):
        by_step.setdefault(row.number, []).append(row)
        kinds.setdefault(row.entity_id, row.entity)
    undone = undone_among((row.number, row.kind, row.of) for row in changes)
    return tuple(
        Step(
            row.number,
            row.kind,
            _says(row, by_step.get(row.number, ())),
            row.who,
            row.at,
            row.how,
            row.of,
            row.number in undone,
        )
        for row in changes
    )


def _says(change: Row[Any], pieces: Iterable[Row[Any]]) -> str:
    if change.kind in ("undo", "redo"):
        return f"step {change.of} {'undone' if change.kind == 'undo' else 'done again'}"
    if change.kind == "erased":
        return "the owner's data erased"
    if change.number == 1:
        return "the machine came in"
    return "; ".join(_said_of(piece) for piece in pieces)


def _said_of(piece: Row[Any]) -> str:
    if piece.entity == "owner":
        return "the owner's data changed"
    fields = piece.fields or {}
    if piece.entity == "job":
        return ", ".join(f"{name.replace('_', ' ')}: {_shown(value)}" for name, value in fields.items())
    what = IN_WORDS[piece.entity]
    if piece.does == "remove":
        return f"{what} taken out"
    said = next((_shown(fields[key]) for key in ("sign", "name", "called", "what", "text") if key in fields), "")
    if piece.does == "set":
        return f"{what} changed: " + ", ".join(f"{name.replace('_', ' ')}: {_shown(v)}" for name, v in fields.items())
    return f"{what} added" + (f": {said}" if said else "")


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return str(Money(value["amount"], value["currency"]))
    if isinstance(value, list):
        shown = ", ".join(map(str, value))
    elif isinstance(value, bool):
        shown = "yes" if value else "no"
    else:
        shown = "not said" if value is None else str(value)
    shown = shown or "nothing"
    return shown if len(shown) <= SHOWN_CHARACTERS else shown[: SHOWN_CHARACTERS - 1] + "…"
