"""Alembic's entry: runs inside the connection that `records.migrate` hands over, never on its own."""

from __future__ import annotations

from alembic import context

from intakebot.records.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,
    transaction_per_migration=False,
)
with context.begin_transaction():
    context.run_migrations()
