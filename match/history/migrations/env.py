"""Run migration steps on the connection, and in the transaction, that the caller opened."""

from alembic import context

from match.history.schema import VERSION_TABLE
from match.history.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
