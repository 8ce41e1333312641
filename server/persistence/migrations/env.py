"""Runs the steps over the connection that `server.persistence.migrate` hands in."""

from alembic import context

from server.persistence import tables

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=tables.metadata,
    render_as_batch=True,
    compare_type=True,
    transaction_per_migration=False,
)
context.run_migrations()
