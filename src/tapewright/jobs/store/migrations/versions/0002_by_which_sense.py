"""A reading says by which sense it was taken.

What was kept before says nothing of it, and nothing is guessed.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the column."""
    op.add_column("reading", sa.Column("by", sa.Text(), nullable=False, server_default=sa.text("''")))


def downgrade() -> None:
    """Take it away; the history keeps what it held."""
    with op.batch_alter_table("reading") as table:
        table.drop_column("by")
