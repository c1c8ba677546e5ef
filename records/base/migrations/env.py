# ruff: noqa: INP001  found by its path, by Alembic
"""Where Alembic runs the record base's migrations: on the connection it is handed."""

from alembic import context

from halfpower.records.base.schema import METADATA, VERSION_TABLE

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    version_table=VERSION_TABLE,
    transactional_ddl=True,  # SQLite's too: the caller has begun the transaction
    render_as_batch=True,  # SQLite cannot alter a column in place
)
with context.begin_transaction():
    context.run_migrations()
