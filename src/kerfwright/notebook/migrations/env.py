"""How alembic runs a migration here: on the connection it is given, inside the transaction that is open already."""

from __future__ import annotations

from alembic import context
from sqlalchemy import Connection

from kerfwright.notebook.tables import VERSION_TABLE, metadata


def run() -> None:
    """Run what was asked for; whoever opened the transaction ends it."""
    connection = context.config.attributes["connection"]
    assert isinstance(connection, Connection)
    context.configure(connection=connection, target_metadata=metadata, version_table=VERSION_TABLE, render_as_batch=True)
    with context.begin_transaction():
        context.run_migrations()


run()
