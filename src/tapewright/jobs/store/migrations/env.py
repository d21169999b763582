"""Run by the migrations' tool: the caller hands its connection over, and its transaction holds all of it."""

from alembic import context

from tapewright.jobs.store.models import Base

_CONFIG = getattr(context, "config", None)  # None when this file is only read, and no migration is running

if _CONFIG is not None:
    context.configure(
        connection=_CONFIG.attributes["connection"],
        target_metadata=Base.metadata,
        render_as_batch=True,
        compare_type=True,
    )
    context.run_migrations()
