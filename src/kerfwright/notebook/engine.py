"""Connections to the notebook's database: how each engine is set up so that nothing is lost or half there."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Generator
from contextlib import closing, contextmanager

from sqlalchemy import Connection, Engine, create_engine, event, text

from kerfwright.notebook.address import Address
from kerfwright.notebook.trouble import driver_missing

WRITES = "kerfwright_writes"
POSTGRES = "postgresql"
WRITER_LOCK = 0x6B657266  # "kerf": the advisory lock that lets one writer in at a time
CONNECT_S = 5


def make_engine(address: Address, wait_s: float) -> Engine:
    """An engine for ``address``; a writer waits up to ``wait_s`` for another one. Nothing is opened yet."""
    if address.path is None:
        return _server_engine(address, wait_s)
    engine = create_engine(address.url, connect_args={"timeout": wait_s})

    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # transactions are begun below, not by the driver's guess
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")  # a fact that was taken survives a power cut

    event.listen(engine, "connect", prepare)
    event.listen(engine, "begin", _begin)
    return engine


@contextmanager
def reading(engine: Engine) -> Generator[Connection]:
    """A connection that sees one moment of the notebook, whatever others write meanwhile."""
    with engine.connect() as connection:
        if engine.dialect.name == POSTGRES:
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine) -> Generator[Connection]:
    """The one connection that may write now; all it writes is kept together, or none of it."""
    with engine.connect() as connection:
        connection = connection.execution_options(**{WRITES: True})
        with connection.begin():
            if engine.dialect.name == POSTGRES:
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITER_LOCK})
            yield connection


def write_ahead(engine: Engine, wait_s: float) -> None:
    """Have SQLite keep a write-ahead log, so that readers and the writer do not wait for each other; the file remembers it.

    SQLite does not wait by itself while someone else switches a new file.
    """
    if engine.dialect.name == POSTGRES:
        return
    until = time.monotonic() + wait_s
    with closing(engine.raw_connection()) as connection:
        while True:
            try:
                connection.cursor().execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as bad:
                if bad.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
                time.sleep(0.02)


def _server_engine(address: Address, wait_s: float) -> Engine:
    options = {
        "connect_timeout": CONNECT_S,
        "application_name": "kerfwright",
        "client_encoding": "utf8",
        "options": f"-c lock_timeout={max(1, round(wait_s * 1000))}",
        "keepalives_idle": 30,  # notice a server that vanished without a word
    }
    try:
        return create_engine(address.url, connect_args={name: value for name, value in options.items() if name not in address.url.query},
                             pool_pre_ping=True)
    except ModuleNotFoundError as bad:
        raise driver_missing(address) from bad


def _begin(connection: Connection) -> None:
    # a writer takes its lock at the start: taken later it could only fail, not wait
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get(WRITES) else "BEGIN")


