"""A notebook in PostgreSQL when the server is away, says no, or goes in the middle of a write."""

from __future__ import annotations

import builtins
import logging
import signal
import socket
import threading
from collections.abc import Iterator
from typing import Any

import pytest

from kerfwright.core.errors import FolderError, InputError, KerfwrightError
from kerfwright.notebook.address import address_of
from kerfwright.notebook.fact import Kind
from kerfwright.notebook.notebook import open_notebook
from notebook.facts import fact, rest_of, writer
from notebook.writer import batch
from postgres_server import Server

WORD = "sawdust-and-shellac"
SCHEME = "postgresql" + "://"  # in two, so that no address stands in the project's files


@pytest.fixture
def restarted(server: Server) -> Iterator[Server]:
    """The server, running again afterwards whatever was done to it."""
    yield server
    server.stop(signal.SIGQUIT)
    server.start()


def _message(url: str) -> KerfwrightError:
    with pytest.raises(KerfwrightError) as caught:
        open_notebook(url)
    return caught.value


def test_no_server_there():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound and not listening: nobody answers here
        port = taken.getsockname()[1]
        bad = _message(f"{SCHEME}ann:{WORD}@127.0.0.1:{port}/shop")
    assert isinstance(bad, FolderError)
    assert bad.where == f"{SCHEME}ann@127.0.0.1:{port}/shop"
    assert "the database server cannot be reached or went away" in bad.message
    assert "nothing was half written" in bad.message
    assert WORD not in bad.message


def test_a_wrong_password_and_a_wrong_database(server: Server):
    bad = _message(server.url("postgres", password=WORD))
    assert "password authentication failed" in bad.message
    assert WORD not in bad.message
    bad = _message(server.url("no_such_shop"))
    assert 'database "no_such_shop" does not exist' in bad.message
    assert server.password not in bad.message


@pytest.mark.parametrize("rest", [
    f"ann:{WORD}", f"ann:{WORD}@host", f"ann:{WORD}@host:{WORD}/shop", f"ann:{WORD}@{WORD}@host/shop", f"{WORD}:host:5432:9/shop",
    f"ann@127.0.0.1:1/shop?password={WORD}", f"ann:{WORD}@127.0.0.1:1/shop?hosd={WORD}", f"ann:{WORD}@127.0.0.1:1/shop?sslmode={WORD}",
])
def test_no_message_shows_the_password(rest: str):
    bad = _message(SCHEME + rest)
    assert WORD not in bad.message
    assert WORD not in bad.where


def test_the_name_and_the_looks_of_a_notebook_hide_the_password(server: Server):
    url = server.url(server.emptied_database())
    with open_notebook(url.replace("postgresql:", "postgres:", 1)) as notebook:
        assert server.password not in repr(notebook) + notebook.name + repr(notebook._address) + repr(notebook._engine)
        assert notebook.name == url.replace(f":{server.password}", "")


@pytest.mark.parametrize("url", ["mysql" + "://host/shop", "sqlite" + ":///n.db", "http" + "://host/shop"])
def test_another_sort_of_url_is_refused(url: str):
    with pytest.raises(InputError, match="of an unknown sort. Accepted: a file name, or postgresql:"):
        address_of(url)


def test_without_the_driver_the_remedy_is_named(monkeypatch: pytest.MonkeyPatch):
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.split(".")[0] == "psycopg":
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    bad = _message(f"{SCHEME}ann:{WORD}@host/shop")
    assert "needs the package psycopg. Install kerfwright[postgres]" in bad.message


def test_a_database_that_cannot_keep_every_letter_is_refused(server: Server):
    name = server.new_database("ENCODING 'SQL_ASCII' TEMPLATE template0")
    assert "keeps text as SQL_ASCII. Accepted: a database made with ENCODING 'UTF8'" in _message(server.url(name)).message


def test_a_database_shared_with_others_may_hold_a_notebook(server: Server):
    name = server.emptied_database()
    with server.connect(name) as connection:
        connection.execute("CREATE TABLE songs (name TEXT)")
    with open_notebook(server.url(name)) as notebook:
        notebook.add([told := fact()])
        assert notebook.facts() == [told]


def test_a_user_who_may_only_read_reads_and_is_told(server: Server):
    name = server.emptied_database()
    with open_notebook(server.url(name)) as notebook:
        notebook.add([told := fact()])
    with server.connect(name) as connection:
        connection.execute(f"CREATE ROLE guest LOGIN PASSWORD '{server.password}'")
        connection.execute("GRANT SELECT ON ALL TABLES IN SCHEMA public TO guest")
    with open_notebook(server.url(name).replace("kerf:", "guest:")) as notebook:
        assert notebook.facts() == [told]
        with pytest.raises(FolderError, match="this database user may not do that"):
            notebook.add([fact()])


def test_a_writer_who_does_not_let_go_is_told_after_the_wait(server: Server):
    url = server.url(server.emptied_database())
    with open_notebook(url, wait_s=0.2) as notebook, server.connect(url.rpartition("/")[2]) as other:
        other.execute("BEGIN")
        other.execute("SELECT pg_advisory_xact_lock(1801810534)")
        with pytest.raises(FolderError, match="another program is writing in the notebook and does not let go"):
            notebook.add([fact()])
        other.execute("ROLLBACK")
        notebook.add([told := fact()])
        assert notebook.facts() == [told]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGQUIT], ids=["shut down", "as if the power failed"])
def test_a_server_that_goes_in_the_middle_of_a_write(restarted: Server, how: signal.Signals):
    url = restarted.url(restarted.emptied_database())
    child = writer(url, "ann", 10_000, 200)
    assert child.stdout is not None
    for _ in range(5):
        child.stdout.readline()
    restarted.stop(how)
    said, wrong = rest_of(child)
    *taken, message = said.splitlines()
    n_taken = 5 + len(taken)
    assert wrong == ""  # no traceback, no chatter of the libraries
    assert child.returncode == FolderError.exit_code
    assert "the database server cannot be reached or went away" in message
    assert restarted.password not in message
    restarted.start()
    with open_notebook(url) as notebook:
        before = notebook.facts(Kind.READING)
        assert len(before) in (200 * n_taken, 200 * (n_taken + 1))  # all that was taken, and the last whole or not at all
        for number in range(n_taken + 2):
            notebook.add(batch("ann", number, 200))
        assert len(notebook.facts(Kind.READING)) == 200 * (n_taken + 2)


def test_an_open_notebook_goes_on_when_the_server_is_back(restarted: Server, caplog: pytest.LogCaptureFixture):
    with open_notebook(restarted.url(restarted.emptied_database())) as notebook:
        notebook.add([told := fact()])
        restarted.stop()
        for act in (lambda: notebook.add([fact()]), lambda: notebook.facts()):
            with pytest.raises(FolderError, match="cannot be reached or went away"):
                act()
        restarted.start()
        notebook.add([late := fact(hours=1)])
        assert notebook.facts() == [told, late]
    assert [record for record in caplog.records if record.levelno >= logging.WARNING] == []


def test_sessions_that_are_ended_in_the_middle_lose_only_what_was_not_taken(server: Server):
    """The server stays and throws one session out between the rows and their keeping."""
    url = server.url(server.emptied_database())
    with open_notebook(url) as notebook:
        notebook.add([told := fact()])
    child = writer(url, "ann", 5, 300, "stall")
    assert child.stdout is not None
    while child.stdout.readline().strip() != "inside":
        pass
    with server.connect(url.rpartition("/")[2]) as other:
        ended = other.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'kerfwright' "
                              "AND datname = current_database()").fetchall()
    assert ended == [(True,)]
    with open_notebook(url) as notebook:  # the lock is free at once
        threading.Thread(target=child.kill).start()
        notebook.add(batch("ann", 2, 300))
        assert len(notebook.facts(Kind.READING)) == 900
        assert notebook.facts(Kind.BOARD) == [told]
    rest_of(child)
