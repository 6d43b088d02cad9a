"""A notebook in a file when things go wrong: clear words, and what was there stays."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import event

from kerfwright.core.errors import FolderError, InputError, KerfwrightError
from kerfwright.notebook.fact import Kind
from kerfwright.notebook.notebook import open_notebook
from notebook.facts import child_environment, fact
from notebook.writer import batch


def test_a_notebook_that_someone_holds_says_so_after_the_wait(tmp_path: Path):
    path, told = tmp_path / "n.db", fact()
    with open_notebook(path, wait_s=0.2) as notebook, closing(sqlite3.connect(path, isolation_level=None)) as other:
        notebook.add([told])
        other.execute("BEGIN IMMEDIATE")
        start = time.monotonic()
        with pytest.raises(FolderError) as caught:
            notebook.add([fact()])
        assert 0.2 <= time.monotonic() - start < 5
        assert caught.value.message == (
            f"{path}: another program is writing in the notebook and does not let go. Close it or wait, then do it again: "
            "nothing was half written, and facts given again are not doubled.")
        assert notebook.facts() == [told]  # reading goes on meanwhile
        other.execute("ROLLBACK")
        notebook.add([late := fact(hours=1)])
        assert notebook.facts() == [told, late]


def test_a_file_held_for_good_cannot_be_opened(tmp_path: Path):
    path = tmp_path / "n.db"
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(FolderError, match="does not let go"):
            open_notebook(path, wait_s=0.1)


@pytest.fixture
def guarded() -> Iterator[Path]:
    """A folder in which nobody else may write, while the test is not root."""
    folder = Path(tempfile.mkdtemp(prefix="kerf-guarded-"))
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    with open_notebook(folder / "old.db") as notebook:  # also loads all that a plain user could not
        notebook.add([fact()])
    (folder / "old.db").chmod(0o444)
    folder.chmod(0o555)
    try:
        if root:
            os.seteuid(65534)
        yield folder
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)
        shutil.rmtree(folder)


@pytest.mark.skipif(sys.platform == "win32", reason="folders are guarded otherwise there")
@pytest.mark.parametrize("name", ["old.db", "new.db"])
def test_a_read_only_folder(guarded: Path, name: str):
    with pytest.raises(FolderError) as caught, open_notebook(guarded / name) as notebook:
        notebook.add([fact()])
    assert "Allow reading and writing there" in caught.value.message or "Allow writing there" in caught.value.message
    assert sorted(path.name for path in guarded.iterdir()) == ["old.db"]


def test_a_full_disk_keeps_what_is_there_and_nothing_half(tmp_path: Path):
    told = fact()
    with open_notebook(tmp_path / "n.db") as notebook:
        notebook.add([told])
        notebook._engine.dispose()
        event.listen(notebook._engine, "connect", lambda connection, _: connection.execute("PRAGMA max_page_count = 40"))
        with pytest.raises(FolderError, match="the disk is full. Free some space, then do it again: nothing was half written"):
            notebook.add(batch("ann", 0, 2000))
        assert notebook.facts() == [told]
        notebook.add([late := fact(hours=1)])
    with open_notebook(tmp_path / "n.db") as notebook:
        notebook.add(batch("ann", 0, 2000))
        assert notebook.facts()[:2] == [told, late]
        assert len(notebook.facts(Kind.READING)) == 2000


TINY_DISK = """
import resource, sys
from pathlib import Path
from kerfwright.core.errors import KerfwrightError
from kerfwright.notebook.notebook import open_notebook
from notebook.writer import batch
path, folder = Path(sys.argv[1]), Path(sys.argv[1]).parent
with open_notebook(path) as notebook:
    notebook.add(batch("ann", 0, 300))
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
    for act in (lambda: notebook.add(batch("ann", 1, 2000)), lambda: notebook.backup(folder / "b.jsonl")):
        try:
            act()
        except KerfwrightError as bad:
            print(type(bad).__name__, bad.message)
    print(len(notebook.facts()))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on a file's size there")
def test_a_disk_that_takes_no_more_in_the_middle_of_a_write(tmp_path: Path):
    path = tmp_path / "n.db"
    with open_notebook(path):
        pass
    done = subprocess.run([sys.executable, "-W", "error", "-c", TINY_DISK, str(path)], capture_output=True, text=True, check=False,
                          env=child_environment())
    add, backup, count = done.stdout.splitlines()
    assert done.stderr == ""
    assert add.startswith(f"FolderError {path}: the disk did not take or give the data. See that the disk is connected and has room")
    assert backup.startswith(f"FolderError {tmp_path / 'b.jsonl'}: the file could not be written: File too large")
    assert count == "300"
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith((".", "b"))] == []
    with open_notebook(path) as notebook:
        assert {each.id for each in notebook.facts()} == {each.id for each in batch("ann", 0, 300)}


def _filled(path: Path) -> bytes:
    with open_notebook(path) as notebook:
        for number in range(4):
            notebook.add(batch("ann", number, 100))
    return path.read_bytes()


@pytest.mark.parametrize("damage", ["beginning", "text", "cut", "middle", "page"])
def test_a_damaged_file_is_told_and_left_as_it_is(tmp_path: Path, damage: str):
    path = tmp_path / "n.db"
    good = _filled(path)
    bad = {
        "beginning": b"\0" * 100 + good[100:],
        "text": b"Dear diary, today I cut a box.\n" * 30,
        "cut": good[: len(good) // 2],
        "middle": good[:20_000] + b"\xa5" * 30_000 + good[50_000:],
        "page": good[:4096] + b"\xff" * 4096 + good[8192:],
    }[damage]
    path.write_bytes(bad)
    with pytest.raises(KerfwrightError) as caught:
        open_notebook(path)
    assert isinstance(caught.value, FolderError)
    assert "damaged" in caught.value.message
    assert "import the last backup into a new one" in caught.value.message
    assert "half written" not in caught.value.message
    assert path.read_bytes() == bad
    assert [each.name for each in tmp_path.iterdir()] == ["n.db"]


def test_another_programs_database_is_left_alone(tmp_path: Path):
    path = tmp_path / "music.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE songs (name TEXT)")
        other.commit()
    before = path.read_bytes()
    with pytest.raises(InputError, match="this is a database of something else"):
        open_notebook(path)
    assert path.read_bytes() == before


def test_a_folder_that_is_not_there_and_a_folder_in_its_place(tmp_path: Path):
    with pytest.raises(FolderError, match="the notebook's folder is not there. Make the folder"):
        open_notebook(tmp_path / "no" / "n.db")
    with pytest.raises(FolderError, match="this is not a file"):
        open_notebook(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(FolderError, match="folder is not there"):
        open_notebook(tmp_path / "file" / "n.db")


def test_a_name_with_signs_is_a_plain_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    names = [":memory:", "file:n.db?mode=memory", "ann's 100% #1.db"]
    for name in names:
        with open_notebook(name) as notebook:
            notebook.add([fact()])
        with open_notebook(name) as notebook:
            assert len(notebook.facts()) == 1
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted(names)


def test_every_connection_is_set_to_lose_nothing(tmp_path: Path):
    with open_notebook(tmp_path / "n.db", wait_s=7) as notebook, notebook._reading() as connection:
        found = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
                 for name in ("foreign_keys", "journal_mode", "synchronous", "busy_timeout")}
    assert found == {"foreign_keys": 1, "journal_mode": "wal", "synchronous": 2, "busy_timeout": 7000}
