"""Where a notebook lives: a file, or a PostgreSQL database named by its URL. No password is ever put into words."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import URL
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from kerfwright.core.errors import FolderError, InputError

FILE_NAME = "notebook.db"
DRIVER = "postgresql+psycopg"
SERVER_SCHEMES = ("postgresql", "postgres", DRIVER)
ACCEPTED = "a file name, or " + URL.create("postgresql", "user", "password", "host", 5432, "database").render_as_string(hide_password=False)


@dataclass(frozen=True)
class Address:
    """url: for the engine; name: for people, without password; path: the file, None for a server; secrets: never to be shown."""

    url: URL = field(repr=False)
    name: str
    path: Path | None
    secrets: tuple[str, ...] = field(repr=False, default=())

    def hushed(self, text: str) -> str:
        """``text`` with every secret blacked out."""
        for secret in sorted(self.secrets, key=len, reverse=True):
            text = text.replace(secret, "***")
        return text


def default_path() -> Path:
    """The notebook's file in the platform's folder for a person's data."""
    from platformdirs import user_data_path

    return user_data_path("kerfwright", appauthor=False) / FILE_NAME


def address_of(where: str | Path | None) -> Address:
    """The address meant by a file name, a URL or None (the platform's data folder, made when missing).

    Raises InputError for a URL that cannot be used, FolderError when the file's folder is not there.
    """
    if isinstance(where, str) and "://" in where:
        return _server(where)
    path = default_path() if where is None else Path(where).expanduser()
    try:
        if where is None:
            path.parent.mkdir(parents=True, exist_ok=True)
        path = path.absolute()  # also makes a name such as ":memory:" a file like any other
        if not path.parent.is_dir():
            raise FolderError("the notebook's folder is not there", remedy="Make the folder or correct the name", where=str(path))
        if path.exists() and not path.is_file():
            raise FolderError("this is not a file", accepted=ACCEPTED, where=str(path))
    except OSError as bad:
        if isinstance(bad, FolderError):
            raise
        raise FolderError(f"the notebook's folder cannot be used: {bad.strerror or bad}",
                          remedy="Name another file with --notebook", where=str(path)) from bad
    return Address(URL.create("sqlite", database=str(path)), str(path), path)


def _server(where: str) -> Address:
    scheme, _, rest = where.partition("://")
    if scheme.lower() not in SERVER_SCHEMES:
        raise InputError("the notebook's URL is of an unknown sort", accepted=ACCEPTED)
    try:
        url = make_url(f"{DRIVER}://{rest}")
    except (ArgumentError, ValueError):
        url = None  # their messages may quote the password
    if url is None or "@" in (url.host or "") or not url.database:
        raise InputError("the notebook's URL cannot be read", accepted=ACCEPTED,
                         remedy='Signs such as "@", ":" and "/" in a password are written as %40, %3A and %2F')
    name = URL.create("postgresql", url.username, None, url.host or "localhost", url.port, url.database).render_as_string()
    asked = url.query.get("password", ())
    secrets = [url.password or "", *((asked,) if isinstance(asked, str) else asked)]
    return Address(url, name, None, tuple(secret for secret in secrets if secret))
