"""Write a job folder: whole or not at all, and never over another."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from kerfwright.core.errors import FolderError
from kerfwright.export.exporter import JobFile, all_exporters
from kerfwright.export.job_record import job_record
from kerfwright.process.job import Job


def job_files(job: Job, more: Sequence[JobFile] = ()) -> list[JobFile]:
    """Every file of a job folder with ``more`` beside them, job.json last. Programs are checked before they are handed out."""
    files = [*more, *(file for exporter in all_exporters() for file in exporter.files(job))]
    files.sort(key=lambda file: file.path)
    return [*files, job_record(job, files)]


def refuse_existing(path: Path, what: str = "folder", instead: str = "Give another --out") -> None:
    """Raises FolderError when the path is there already. instead: the remedy that fits the verb."""
    if os.path.lexists(path):
        raise _taken(path, what, instead)


def _taken(path: Path, what: str, instead: str) -> FolderError:
    return FolderError(
        "there is something here already", accepted=f"a new {what}", remedy=f"{instead}, or move the old one away", where=str(path)
    )


def write_folder(files: list[JobFile], folder: Path, instead: str = "Give another --out") -> None:
    """Write all files beside the target and rename in one step. Raises FolderError; leaves nothing half-made.

    An interrupt is passed on after the half-made folder is gone.
    """
    refuse_existing(folder, instead=instead)
    partial: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        for file in files:
            _write(partial / file.path, file.data)
        partial.chmod(0o755)
        _rename_folder(partial, folder, instead)
    except OSError as bad:
        _remove(partial)
        if isinstance(bad, FolderError):
            raise
        raise FolderError(
            f"the folder could not be written: {bad.strerror or bad}",
            accepted="a folder that can be written, on a disk with room",
            remedy=f"{instead} or free some space; nothing was left behind",
            where=str(folder),
        ) from bad
    except BaseException:
        _remove(partial)
        raise


def _rename_folder(partial: Path, folder: Path, instead: str) -> None:
    """A rename never replaces a folder that holds anything; only an empty one made in this very moment could be lost."""
    refuse_existing(folder, instead=instead)
    try:
        os.rename(partial, folder)
    except OSError as bad:
        if os.path.lexists(folder):
            raise _taken(folder, "folder", instead) from bad
        raise


def write_new_file(path: Path, data: bytes) -> None:
    """One new file, whole or not at all, never over another."""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            _link_file(Path(name), path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as bad:
        if isinstance(bad, FolderError):
            raise
        raise FolderError(
            f"the file could not be written: {bad.strerror or bad}", accepted="a folder that can be written", where=str(path)
        ) from bad


def _link_file(partial: Path, path: Path) -> None:
    """Give a whole file its name in one step that fails when the name is taken; without hard links, look and rename."""
    refuse_existing(path, "file")
    try:
        os.link(partial, path)
    except FileExistsError as bad:
        raise _taken(path, "file", "Give another --out") from bad
    except (OSError, NotImplementedError):  # a disk without hard links, such as FAT; a rename there says so itself if it can
        refuse_existing(path, "file")
        os.rename(partial, path)


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _remove(folder: Path | None) -> None:
    if folder is not None:
        shutil.rmtree(folder, ignore_errors=True)
