"""The first tables.

The types stand here as they were, whatever becomes of the models later.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("stored", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_file")),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("erased_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("machine_id", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("described_in", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("accessories", sa.JSON(), nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.Column("complaint", sa.Text(), nullable=False),
        sa.Column("tape_inside", sa.Boolean(), nullable=True),
        sa.Column("age_years", sa.Float(precision=53), nullable=True),
        sa.Column("status", sa.String(length=32), nullable=False),
        sa.Column("due", sa.Date(), nullable=True),
        sa.Column("due_or_never", sa.Date(), nullable=False),
        sa.Column("estimate_low", sa.BigInteger(), nullable=True),
        sa.Column("estimate_low_currency", sa.String(length=3), nullable=True),
        sa.Column("estimate_high", sa.BigInteger(), nullable=True),
        sa.Column("estimate_high_currency", sa.String(length=3), nullable=True),
        sa.Column("approved", sa.Boolean(), nullable=True),
        sa.Column("approved_limit", sa.BigInteger(), nullable=True),
        sa.Column("approved_limit_currency", sa.String(length=3), nullable=True),
        sa.Column("approved_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("approved_how", sa.Text(), nullable=False),
        sa.Column("handed_over_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("paid", sa.BigInteger(), nullable=True),
        sa.Column("paid_currency", sa.String(length=3), nullable=True),
        sa.Column("hand_over_note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    op.create_index("ix_job_changed_id_status", "job", ["changed", "id", "status"], unique=False)
    op.create_index("ix_job_created_id_status", "job", ["created", "id", "status"], unique=False)
    op.create_index("ix_job_due_or_never_id_status", "job", ["due_or_never", "id", "status"], unique=False)
    op.create_index(op.f("ix_job_serial"), "job", ["serial"], unique=False)
    op.create_index("ix_job_status_changed_id", "job", ["status", "changed", "id"], unique=False)
    op.create_index(op.f("ix_job_ticket"), "job", ["ticket"], unique=False)
    op.create_table(
        "meta",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_meta")),
    )
    op.create_table(
        "taken",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taken")),
    )
    op.create_table(
        "answer",
        sa.Column("sign", sa.Text(), nullable=False),
        sa.Column("present", sa.Boolean(), nullable=True),
        sa.Column("sure", sa.Float(precision=53), nullable=False),
        sa.Column("when", sa.Text(), nullable=False),
        sa.Column("cassette", sa.Text(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.Column("skipped", sa.Boolean(), nullable=False),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_answer_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_answer")),
    )
    op.create_table(
        "attached",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("called", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tone_hz", sa.Float(precision=53), nullable=True),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("personal", sa.Boolean(), nullable=False),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_attached_job_id_job"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name=op.f("fk_attached_sha256_file")),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_attached")),
    )
    op.create_table(
        "change",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("of", sa.BigInteger(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("once", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_change_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "number", name=op.f("pk_change")),
        sa.UniqueConstraint("id", name=op.f("uq_change_id")),
        sa.UniqueConstraint("once", name=op.f("uq_change_once")),
    )
    op.create_table(
        "cost",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("cost_currency", sa.String(length=3), nullable=True),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_cost_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_cost")),
    )
    op.create_table(
        "file_use",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_file_use_job_id_job"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name=op.f("fk_file_use_sha256_file")),
        sa.PrimaryKeyConstraint("job_id", "sha256", name=op.f("pk_file_use")),
    )
    op.create_index(op.f("ix_file_use_sha256"), "file_use", ["sha256"], unique=False)
    op.create_table(
        "note",
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_note_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_note")),
    )
    op.create_table(
        "owner",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("owner_id", sa.String(length=16), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("email", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("collected_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_owner_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_owner")),
    )
    op.create_index(op.f("ix_owner_owner_id"), "owner", ["owner_id"], unique=False)
    op.create_table(
        "part_used",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("size", sa.Text(), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("cost_currency", sa.String(length=3), nullable=True),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_part_used_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_part_used")),
    )
    op.create_table(
        "personal",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("place", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_personal_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "number", "place", name=op.f("pk_personal")),
    )
    op.create_table(
        "piece",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("place", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("entity", sa.String(length=16), nullable=False),
        sa.Column("entity_id", sa.String(length=16), nullable=False),
        sa.Column("does", sa.String(length=8), nullable=False),
        sa.Column("fields", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_piece_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "number", "place", name=op.f("pk_piece")),
    )
    op.create_index("ix_piece_job_id_entity_entity_id", "piece", ["job_id", "entity", "entity_id"], unique=False)
    op.create_table(
        "reading",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("doubt", sa.Float(precision=53), nullable=True),
        sa.Column("why_not", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("conditions", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_reading_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_reading")),
    )
    op.create_table(
        "soak",
        sa.Column("minutes", sa.Float(precision=53), nullable=False),
        sa.Column("begun", sa.DateTime(timezone=True), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_soak_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_soak")),
    )
    op.create_table(
        "words",
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_words_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_words")),
    )
    op.create_table(
        "work",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Float(precision=53), nullable=False),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("cost_currency", sa.String(length=3), nullable=True),
        sa.Column("job_id", sa.String(length=16), nullable=False),
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("step", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_work_job_id_job"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "id", name=op.f("pk_work")),
    )


def downgrade() -> None:
    """Take the tables away."""
    op.drop_table("work")
    op.drop_table("words")
    op.drop_table("soak")
    op.drop_table("reading")
    op.drop_index("ix_piece_job_id_entity_entity_id", table_name="piece")
    op.drop_table("piece")
    op.drop_table("personal")
    op.drop_table("part_used")
    op.drop_index(op.f("ix_owner_owner_id"), table_name="owner")
    op.drop_table("owner")
    op.drop_table("note")
    op.drop_index(op.f("ix_file_use_sha256"), table_name="file_use")
    op.drop_table("file_use")
    op.drop_table("cost")
    op.drop_table("change")
    op.drop_table("attached")
    op.drop_table("answer")
    op.drop_table("taken")
    op.drop_table("meta")
    op.drop_index(op.f("ix_job_ticket"), table_name="job")
    op.drop_index("ix_job_status_changed_id", table_name="job")
    op.drop_index(op.f("ix_job_serial"), table_name="job")
    op.drop_index("ix_job_due_or_never_id_status", table_name="job")
    op.drop_index("ix_job_created_id_status", table_name="job")
    op.drop_index("ix_job_changed_id_status", table_name="job")
    op.drop_table("job")
    op.drop_table("file")
