"""Alembic's entry: runs the scripts on the connection that the caller gives."""

from alembic import context

from stability.records.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    compare_type=True,
    transaction_per_migration=False,
)
context.run_migrations()
