"""Write a job folder: whole or not at all, and never over another."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from kerfwright.core.errors import FolderError
from kerfwright.export.exporter import JobFile, all_exporters
from kerfwright.export.job_record import job_record
from kerfwright.process.job import Job


def job_files(job: Job) -> list[JobFile]:
    """Every file of a job folder, job.json last. Programs are checked before they are handed out."""
    files = [file for exporter in all_exporters() for file in exporter.files(job)]
    files.sort(key=lambda file: file.path)
    return [*files, job_record(job, files)]


def refuse_existing(folder: Path) -> None:
    """Raises FolderError when the folder is there already."""
    if os.path.lexists(folder):
        raise FolderError(
            "there is something here already",
            accepted="a new folder",
            remedy="Give another --out, or move the old one away",
            where=str(folder),
        )


def write_folder(files: list[JobFile], folder: Path) -> None:
    """Write all files beside the target and rename in one step. Raises FolderError; leaves nothing half-made.

    An interrupt is passed on after the half-made folder is gone.
    """
    refuse_existing(folder)
    partial: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        for file in files:
            _write(partial / file.path, file.data)
        partial.chmod(0o755)
        refuse_existing(folder)
        os.rename(partial, folder)
    except OSError as bad:
        _remove(partial)
        if isinstance(bad, FolderError):
            raise
        raise FolderError(
            f"the job could not be written: {bad.strerror or bad}",
            accepted="a folder that can be written, on a disk with room",
            remedy="Free some space or give another --out; nothing was left behind",
            where=str(folder),
        ) from bad
    except BaseException:
        _remove(partial)
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
            refuse_existing(path)
            os.rename(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as bad:
        if isinstance(bad, FolderError):
            raise
        raise FolderError(
            f"the file could not be written: {bad.strerror or bad}", accepted="a folder that can be written", where=str(path)
        ) from bad


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _remove(folder: Path | None) -> None:
    if folder is not None:
        shutil.rmtree(folder, ignore_errors=True)
