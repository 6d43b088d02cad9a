"""Bring a notebook up to this version, or say why it cannot be opened. Alembic is only loaded when there is work for it."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from kerfwright.core.errors import InputError
from kerfwright.notebook.address import Address
from kerfwright.notebook.engine import POSTGRES, reading, write_ahead, writing
from kerfwright.notebook.tables import KNOWN, NEWEST, VERSION_TABLE
from kerfwright.notebook.trouble import damaged

MIGRATIONS = Path(__file__).parent / "migrations"


def bring_up_to_date(engine: Engine, address: Address, wait_s: float) -> None:
    """Make the tables of a new notebook or migrate an old one, in one transaction; two openers at once wait for each other.

    Raises InputError for a notebook of a newer version or a database that belongs to something else.
    """
    with reading(engine) as connection:
        found = _version(connection, address)
        _check_whole(connection, address)
    write_ahead(engine, wait_s)  # only now: the file of another program is left as it is
    if found == NEWEST:
        return
    with writing(engine) as connection:
        if _version(connection, address) == NEWEST:
            return  # someone else was quicker
        _check_letters(connection, address)
        _upgrade(connection)


def _version(connection: Connection, address: Address) -> str | None:
    """The notebook's last migration; None for an empty database."""
    tables = inspect(connection).get_table_names()
    if VERSION_TABLE not in tables:
        if tables and connection.dialect.name != POSTGRES:  # a server's database may be shared with others
            raise InputError("this is a database of something else", accepted="a notebook or a new file name", where=address.name)
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar_one_or_none()
    if found is None:
        raise damaged("it does not say its version", address)
    if found not in KNOWN:
        raise InputError(f"this notebook was written by a newer version (its format is {found})", accepted=f"up to {NEWEST}",
                         remedy="Install that version of kerfwright; the notebook was left as it is", where=address.name)
    return str(found)


def _check_whole(connection: Connection, address: Address) -> None:
    """SQLite's own quick look over its pages; a server looks after itself."""
    if connection.dialect.name == POSTGRES:
        return
    found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
    if found != "ok":
        raise damaged(str(found).replace("\n", " "), address)


def _check_letters(connection: Connection, address: Address) -> None:
    if connection.dialect.name == POSTGRES and (found := connection.exec_driver_sql("SHOW server_encoding").scalar_one()) != "UTF8":
        raise InputError(f"the database keeps text as {found}", accepted="a database made with ENCODING 'UTF8'", where=address.name)


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
