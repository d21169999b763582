"""The tables, as typed models: the same on SQLite and PostgreSQL.

`change`, `piece` and `personal` are the truth: an append-only history. The other tables of a job say how it stands now
and follow from them; they are there to be searched and counted.
"""

from datetime import UTC, date, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    BigInteger,
    Date,
    DateTime,
    Float,
    ForeignKey,
    Index,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    text,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Every rule of the database has a name, so that a later migration can speak of it."""


class Utc(TypeDecorator[datetime]):
    """A moment, UTC; SQLite keeps no zone, so it is put back on the way out."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn a moment into UTC; one without a zone is a mistake of the program."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the moment with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """What all tables share."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: Text,
        int: BigInteger,
        float: Float(53),
        datetime: Utc,
        date: Date,
        list[str]: JSON,
        dict[str, Any]: JSON(none_as_null=True),
    }


class MetaRow(Base):
    """One thing to remember about the store itself."""

    __tablename__ = "meta"
    name: Mapped[str] = mapped_column(String(64), primary_key=True)
    number: Mapped[int]


class JobRow(Base):
    """A job as it stands; `due_or_never` is there to be sorted by: each database puts what is empty elsewhere."""

    __tablename__ = "job"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    ticket: Mapped[str] = mapped_column(String(32), index=True)
    created: Mapped[datetime]
    changed: Mapped[datetime]
    revision: Mapped[int]
    erased_at: Mapped[datetime | None]
    machine_id: Mapped[str]
    description: Mapped[str]
    described_in: Mapped[str]
    serial: Mapped[str] = mapped_column(Text, index=True)
    accessories: Mapped[list[str]]
    condition: Mapped[str]
    complaint: Mapped[str]
    tape_inside: Mapped[bool | None]
    age_years: Mapped[float | None]
    status: Mapped[str] = mapped_column(String(32))
    due: Mapped[date | None]
    due_or_never: Mapped[date]
    estimate_low: Mapped[int | None]
    estimate_low_currency: Mapped[str | None] = mapped_column(String(3))
    estimate_high: Mapped[int | None]
    estimate_high_currency: Mapped[str | None] = mapped_column(String(3))
    approved: Mapped[bool | None]
    approved_limit: Mapped[int | None]
    approved_limit_currency: Mapped[str | None] = mapped_column(String(3))
    approved_at: Mapped[datetime | None]
    approved_how: Mapped[str]
    handed_over_at: Mapped[datetime | None]
    paid: Mapped[int | None]
    paid_currency: Mapped[str | None] = mapped_column(String(3))
    hand_over_note: Mapped[str]
    __table_args__ = (  # each holds all that a page of the list is chosen by, so that the wide rows are not read for it
        Index("ix_job_status_changed_id", "status", "changed", "id"),
        Index("ix_job_changed_id_status", "changed", "id", "status"),
        Index("ix_job_created_id_status", "created", "id", "status"),
        Index("ix_job_due_or_never_id_status", "due_or_never", "id", "status"),
    )


class WordsRow(Base):
    """What a search looks through, of the job and of its owner, without capitals; narrow, so that it is quick."""

    __tablename__ = "words"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    job: Mapped[str]
    owner: Mapped[str]


class OwnerRow(Base):
    """Whose machine it is: the personal data, and nothing else."""

    __tablename__ = "owner"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    owner_id: Mapped[str] = mapped_column(String(16), index=True)
    name: Mapped[str]
    phone: Mapped[str]
    email: Mapped[str]
    address: Mapped[str]
    collected_by: Mapped[str]


class ChangeRow(Base):
    """One step of a job's history; never altered."""

    __tablename__ = "change"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    id: Mapped[str] = mapped_column(String(32), unique=True)
    kind: Mapped[str] = mapped_column(String(8))
    of: Mapped[int | None]
    who: Mapped[str]
    at: Mapped[datetime]
    how: Mapped[str]
    once: Mapped[str | None] = mapped_column(String(64), unique=True)


class PieceRow(Base):
    """What one step did to one thing: set, add or remove; `fields` is empty where the values are personal."""

    __tablename__ = "piece"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    entity: Mapped[str] = mapped_column(String(16))
    entity_id: Mapped[str] = mapped_column(String(16))
    does: Mapped[str] = mapped_column(String(8))
    fields: Mapped[dict[str, Any] | None]
    __table_args__ = (Index("ix_piece_job_id_entity_entity_id", "job_id", "entity", "entity_id"),)


class PersonalRow(Base):
    """The values of a piece that are personal; an erasure deletes them."""

    __tablename__ = "personal"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    fields: Mapped[dict[str, Any]]


class FileRow(Base):
    """A file that lies beside the database under its checksum."""

    __tablename__ = "file"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size_bytes: Mapped[int]
    stored: Mapped[datetime]


class FileUseRow(Base):
    """Which job's history names which file: while a row does, the file stays."""

    __tablename__ = "file_use"
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("file.sha256"), primary_key=True, index=True)


class TakenRow(Base):
    """A job's folder of earlier versions that has been taken over; it is not looked at again."""

    __tablename__ = "taken"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    at: Mapped[datetime]


class Added:
    """What every table of added things has."""

    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    step: Mapped[int]
    place: Mapped[int]
    who: Mapped[str]
    at: Mapped[datetime]
    how: Mapped[str]


class AnswerRow(Added, Base):
    """See `Answer`."""

    __tablename__ = "answer"
    sign: Mapped[str]
    present: Mapped[bool | None]
    sure: Mapped[float]
    when: Mapped[str]
    cassette: Mapped[str]
    after: Mapped[list[str]]
    skipped: Mapped[bool]


class ReadingRow(Added, Base):
    """See `Measured`."""

    __tablename__ = "reading"
    name: Mapped[str]
    value: Mapped[float | None]
    unit: Mapped[str]
    doubt: Mapped[float | None]
    why_not: Mapped[str]
    method: Mapped[str]
    conditions: Mapped[str]
    stage: Mapped[str]
    sha256: Mapped[str]
    by: Mapped[str] = mapped_column(server_default=text("''"))


class AttachedRow(Added, Base):
    """See `Attached`."""

    __tablename__ = "attached"
    sha256: Mapped[str] = mapped_column(ForeignKey("file.sha256"))
    size_bytes: Mapped[int]
    called: Mapped[str]
    kind: Mapped[str]
    tone_hz: Mapped[float | None]
    stage: Mapped[str]
    note: Mapped[str]
    personal: Mapped[bool]


class PartRow(Added, Base):
    """See `PartUsed`."""

    __tablename__ = "part_used"
    what: Mapped[str]
    part: Mapped[str]
    size: Mapped[str]
    quantity: Mapped[int]
    cost: Mapped[int | None]
    cost_currency: Mapped[str | None] = mapped_column(String(3))


class WorkRow(Added, Base):
    """See `Work`."""

    __tablename__ = "work"
    what: Mapped[str]
    minutes: Mapped[float]
    cost: Mapped[int | None]
    cost_currency: Mapped[str | None] = mapped_column(String(3))


class CostRow(Added, Base):
    """See `Cost`."""

    __tablename__ = "cost"
    what: Mapped[str]
    cost: Mapped[int | None]
    cost_currency: Mapped[str | None] = mapped_column(String(3))


class SoakRow(Added, Base):
    """See `SoakTest`."""

    __tablename__ = "soak"
    minutes: Mapped[float]
    begun: Mapped[datetime | None]
    passed: Mapped[bool | None]
    note: Mapped[str]


class NoteRow(Added, Base):
    """See `Note`."""

    __tablename__ = "note"
    text: Mapped[str]


def table(model: type[Base]) -> Table:
    """Give the table of a model."""
    found = model.__table__
    assert isinstance(found, Table)
    return found


META, JOB, OWNER, CHANGE, PIECE, PERSONAL = map(table, (MetaRow, JobRow, OwnerRow, ChangeRow, PieceRow, PersonalRow))
FILE, FILE_USE, TAKEN, WORDS = map(table, (FileRow, FileUseRow, TakenRow, WordsRow))
ITEM_TABLES: dict[str, Table] = {
    "answer": table(AnswerRow),
    "reading": table(ReadingRow),
    "file": table(AttachedRow),
    "part": table(PartRow),
    "work": table(WorkRow),
    "cost": table(CostRow),
    "soak": table(SoakRow),
    "note": table(NoteRow),
}
