"""Run by Alembic: applies the migrations to the connection that the journal hands over."""

from alembic import context

from models.journal.tables import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
