"""Alembic's entry: runs on the connection the store hands over, inside its transaction."""

from alembic import context

from studyapp.store.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transaction_per_migration=False,
    transactional_ddl=False,
)
context.run_migrations()
