"""Alembic's way in. The store hands over its own connection, inside its own transaction."""

from alembic import context

from planner.records.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
