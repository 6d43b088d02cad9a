"""Notebooks to test on, each test once for SQLite and once for a real PostgreSQL server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

import postgres_server
from postgres_server import Server

ENGINES = ("sqlite", "postgresql")


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A server for the whole run. KERFWRIGHT_NEED_POSTGRES=1 makes its absence an error."""
    binaries = postgres_server.find_binaries()
    if binaries is None:
        if os.environ.get("KERFWRIGHT_NEED_POSTGRES") == "1":
            pytest.fail(postgres_server.MISSING)
        pytest.skip(postgres_server.MISSING)
    server = Server(binaries)
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture(params=ENGINES)
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a notebook may be made: a file name or a URL."""
    if request.param == "sqlite":
        return str(tmp_path / "notebook.db")
    server: Server = request.getfixturevalue("server")
    return server.url(server.emptied_database())
