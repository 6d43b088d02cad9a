"""Nothing is ever written over: not by a file or folder that appears between the look and the last step."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from kerfwright.core.errors import FolderError
from kerfwright.export import folder as folder_module
from kerfwright.export.exporter import JobFile
from kerfwright.export.folder import refuse_existing, write_folder, write_new_file

FILES = [JobFile("a.txt", b"a", ""), JobFile("deep/b.txt", b"b", "")]


def no_look(path: Path, what: str = "folder", instead: str = "") -> None:
    """As if the other one came in the moment after the look."""


def test_a_new_file_is_whole_and_alone(tmp_path: Path) -> None:
    write_new_file(tmp_path / "x.ngc", b"G21")
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("x.ngc", b"G21")]


@pytest.mark.parametrize("late", [False, True])
def test_a_file_is_never_written_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, late: bool) -> None:
    mine = tmp_path / "x.ngc"
    mine.write_bytes(b"keep me")
    if late:
        monkeypatch.setattr(folder_module, "refuse_existing", no_look)
    with pytest.raises(FolderError, match=r"already\. Accepted: a new file\. Give another --out"):
        write_new_file(mine, b"G21")
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("x.ngc", b"keep me")]


def test_a_disk_without_hard_links_still_gets_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(source: object, target: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", refuses)
    write_new_file(tmp_path / "x.ngc", b"G21")
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("x.ngc", b"G21")]
    with pytest.raises(FolderError, match="already"):
        write_new_file(tmp_path / "x.ngc", b"other")
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("x.ngc", b"G21")]


@pytest.mark.parametrize("what", ["folder", "file"])
def test_a_folder_that_comes_late_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    target = tmp_path / "job"
    if what == "folder":
        target.mkdir()
        (target / "mine").write_text("keep me")
    else:
        target.write_text("keep me")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    monkeypatch.setattr(folder_module, "refuse_existing", no_look)
    with pytest.raises(FolderError, match=r"already\. Accepted: a new folder\. Give another one"):
        write_folder(FILES, target, instead="Give another one")
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_a_folder_is_written_whole(tmp_path: Path) -> None:
    write_folder(FILES, tmp_path / "new" / "job")
    found = {path.relative_to(tmp_path).as_posix(): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert found == {"new/job/a.txt": b"a", "new/job/deep/b.txt": b"b"}


def test_a_link_that_leads_nowhere_is_something_too(tmp_path: Path) -> None:
    (tmp_path / "job").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FolderError, match="or move the old one away"):
        refuse_existing(tmp_path / "job")
