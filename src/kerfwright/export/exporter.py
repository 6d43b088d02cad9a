"""What every file format promises, and the registry that finds each one by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Protocol

from kerfwright.core.registry import entries
from kerfwright.process.job import Job


@dataclass(frozen=True)
class JobFile:
    """One file of a job folder. path: posix, relative to the folder; title: what it is, in a few words."""

    path: str
    data: bytes
    title: str


class Exporter(Protocol):
    """A format: pure, deterministic (two runs byte-equal), independent readers recover the geometry within 1 um."""

    @property
    def name(self) -> str:
        """Short name of the format."""
        ...

    def files(self, job: Job) -> Iterator[JobFile]:
        """The format's files for a job."""
        ...


@cache
def all_exporters() -> tuple[Exporter, ...]:
    """Every format: each module in export/formats holds one ``EXPORTER``."""
    return tuple(entries("kerfwright.export.formats", "EXPORTER"))


def setup_stem(number: int, name: str) -> str:
    """The start of every file name of one setup, e.g. ``setups/02-front-cut``."""
    return f"setups/{number:02d}-{name}"
