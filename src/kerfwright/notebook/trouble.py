"""What a database says, told to a person: what happened, what was kept, what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Generator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from kerfwright.core.errors import FolderError, InputError, KerfwrightError
from kerfwright.notebook.address import Address

AGAIN = "then do it again: nothing was half written, and facts given again are not doubled"
HELD = ("another program is writing in the notebook and does not let go", f"Close it or wait, {AGAIN}")
READ_ONLY = ("the notebook or its folder is read-only", "Allow writing there, or name another file with --notebook")
BACKUP = "Leave it as it is, and import the last backup into a new one"

# SQLite's primary result codes, see its documentation "Result and Error Codes".
_FILE_TROUBLE: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_BUSY: HELD,
    sqlite3.SQLITE_LOCKED: HELD,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: ("the notebook cannot be opened: its file or folder does not allow it",
                              "Allow reading and writing there, or name another file with --notebook"),
    sqlite3.SQLITE_FULL: ("the disk is full", f"Free some space, {AGAIN}"),
    sqlite3.SQLITE_IOERR: ("the disk did not take or give the data", f"See that the disk is connected and has room, {AGAIN}"),
    sqlite3.SQLITE_CORRUPT: ("the notebook is damaged", BACKUP),
    sqlite3.SQLITE_NOTADB: ("this file is not a notebook, or its beginning is damaged", f"Name another file, or: {BACKUP.lower()}"),
}
# PostgreSQL's SQLSTATE codes, see its documentation "PostgreSQL Error Codes".
_SERVER_TROUBLE: dict[str, tuple[str, str]] = {
    "53100": ("the server's disk is full", f"Free some space there, {AGAIN}"),
    "55P03": HELD,
    "42501": ("this database user may not do that", "Ask whoever keeps the server"),
    "25006": ("the server is read-only just now", "Wait until it takes writing, or ask whoever keeps it"),
}


@contextmanager
def told(address: Address) -> Generator[None]:
    """Turn every database error into one of ours, in plain words and without passwords."""
    try:
        yield
    except PoolTimeoutError as bad:
        raise _error("too many at once are using the notebook", f"Wait a moment, {AGAIN}", address) from bad
    except DBAPIError as bad:
        raise _spoken(bad.orig, address) from bad
    except sqlite3.Error as bad:
        raise _spoken(bad, address) from bad
    except SQLAlchemyError as bad:
        raise _error(f"the database gave an answer that was not expected ({type(bad).__name__})", "", address) from bad


def driver_missing(address: Address) -> InputError:
    """The driver for PostgreSQL is an extra."""
    return InputError("a notebook in PostgreSQL needs the package psycopg", remedy="Install kerfwright[postgres]", where=address.name)


def damaged(what: str, address: Address) -> KerfwrightError:
    """The notebook's own checks failed."""
    return _error(f"the notebook is damaged: {what}", BACKUP, address)


def _spoken(bad: BaseException | None, address: Address) -> KerfwrightError:
    if isinstance(bad, sqlite3.Error):
        code = getattr(bad, "sqlite_errorcode", 0) & 0xFF  # the high bytes only refine
        what, remedy = _FILE_TROUBLE.get(code, (f"SQLite refused: {bad}", ""))
        return _error(what, remedy, address)
    state = str(getattr(bad, "sqlstate", None) or "")
    reason = address.hushed(str(bad).strip().split("\n")[0])
    if state in _SERVER_TROUBLE:
        return _error(*_SERVER_TROUBLE[state], address)
    if not state or state[:2] in ("08", "28", "3D", "57"):  # no connection, not let in, no such database, shut down
        return _error(f"the database server cannot be reached or went away ({reason})",
                      f"See that it runs, and that host, port, database, user and password are right, {AGAIN}", address)
    return _error(f"the database server refused: {reason}", "", address)


def _error(what: str, remedy: str, address: Address) -> FolderError:
    return FolderError(what, remedy=remedy, where=address.name)
