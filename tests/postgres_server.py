"""A throw-away PostgreSQL server for the tests: Debian's own binaries, a fresh cluster, a free loopback port, gone afterwards.

    python3 tests/postgres_server.py     install Debian's server when it is missing and this may be done; say what was found

Only the standard library, so that the test command can call it before any environment exists.
"""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

DEBIAN_FOLDER = Path("/usr/lib/postgresql")
NEEDED = ("initdb", "postgres")
USER = "kerf"
MISSING = "PostgreSQL's server is not installed: apt-get install postgresql (root runs python3 tests/postgres_server.py)"


def find_binaries() -> Path | None:
    """The folder of the newest server's programs, or None."""
    folders = sorted(DEBIAN_FOLDER.glob("*/bin"), key=lambda folder: float(folder.parent.name))
    if (elsewhere := shutil.which("initdb")) is not None:
        folders.insert(0, Path(elsewhere).resolve().parent)
    complete = [folder for folder in folders if all((folder / name).exists() for name in NEEDED)]
    return complete[-1] if complete else None


def ensure_installed() -> Path | None:
    """The binaries, installed first when they are missing, apt-get is here and we are root; None when that cannot be."""
    if find_binaries() is None and shutil.which("apt-get") is not None and _root():
        print("installing Debian's PostgreSQL server ...", flush=True)
        quiet: dict[str, Any] = {"env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}, "stdin": subprocess.DEVNULL,
                                 "stdout": subprocess.DEVNULL, "check": False}
        subprocess.run(["apt-get", "update", "-qq"], **quiet)
        subprocess.run(["apt-get", "install", "-y", "-qq", "--no-install-recommends", "postgresql"], **quiet)
    return find_binaries()


class Server:
    """One server with its own cluster. It never runs as root: initdb would refuse."""

    def __init__(self, binaries: Path) -> None:
        self._binaries = binaries
        self._account = _unprivileged()
        self.password = secrets.token_hex(8)
        self.folder = Path(tempfile.mkdtemp(prefix="kerf-pg-"))
        self.port = _free_port()
        self._process: subprocess.Popen[Any] | None = None
        self._n_databases = 0
        self._make_cluster()

    def start(self) -> None:
        """Start, or start again, and wait until it answers."""
        log = (self.folder / "log").open("ab")
        with log:
            process = subprocess.Popen(
                [str(self._binaries / "postgres"), "-D", str(self.folder / "data")], stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                **self._account)
        self._process = process
        until = time.monotonic() + 20
        while not self._answers():
            if process.poll() is not None or time.monotonic() > until:
                raise RuntimeError("the server did not start:\n" + (self.folder / "log").read_text(encoding="utf-8"))
            time.sleep(0.03)

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """Stop: SIGINT ends the sessions and shuts down, SIGQUIT leaves at once as if the power had failed."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(20)
            self._process = None

    def remove(self) -> None:
        """Stop and leave nothing behind."""
        self.stop(signal.SIGQUIT)
        shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, database: str, password: str | None = None) -> str:
        """The database's URL; another ``password`` than the right one on request."""
        return f"{'postgresql'}://{USER}:{password or self.password}@127.0.0.1:{self.port}/{database}"

    def connect(self, database: str = "postgres") -> Any:
        """A plain psycopg connection, each statement for itself."""
        import psycopg

        return psycopg.connect(self.url(database), autocommit=True)

    def emptied_database(self) -> str:
        """The name of a database that is kept for all tests and holds nothing: much quicker than a new one."""
        with self.connect() as connection:
            connection.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                               "WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'")
            for statement in ("DROP SCHEMA public CASCADE", "CREATE SCHEMA public", "GRANT USAGE ON SCHEMA public TO PUBLIC"):
                connection.execute(statement)
        return "postgres"

    def new_database(self, options: str = "") -> str:
        """A new empty database's name."""
        self._n_databases += 1
        name = f"shop_{self._n_databases}"
        with self.connect() as connection:
            connection.execute(f"CREATE DATABASE {name} {options}")
        return name

    def _make_cluster(self) -> None:
        word = self.folder / "word"
        word.write_text(self.password, encoding="utf-8")
        if "user" in self._account:
            for path in (self.folder, word):
                os.chown(path, self._account["user"], self._account["group"])
        subprocess.run([str(self._binaries / "initdb"), "-D", str(self.folder / "data"), "-U", USER, "-A", "scram-sha-256",
                        f"--pwfile={word}", "-E", "UTF8", "--locale=C", "--no-sync", "--no-instructions"],
                       check=True, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, **self._account)
        settings = {"port": self.port, "listen_addresses": "'127.0.0.1'", "unix_socket_directories": "''", "fsync": "off",
                    "max_connections": 20, "shared_buffers": "16MB", "timezone": "'Asia/Kathmandu'"}  # not UTC, to catch a slip
        with (self.folder / "data" / "postgresql.conf").open("a", encoding="utf-8") as stream:
            stream.writelines(f"{name} = {value}\n" for name, value in settings.items())

    def _answers(self) -> bool:
        import psycopg

        try:
            with self.connect():
                return True
        except psycopg.OperationalError:
            return False


def _unprivileged() -> dict[str, Any]:
    """How to start a child that is not root; its folder must be one that it may enter."""
    if not _root():
        return {"cwd": "/"}
    import pwd

    try:
        account = pwd.getpwnam("postgres")
    except KeyError:
        account = pwd.getpwnam("nobody")
    return {"cwd": "/", "user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


def _root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


if __name__ == "__main__":
    found = ensure_installed()
    print(found or MISSING)
    sys.exit(0 if found else 1)
