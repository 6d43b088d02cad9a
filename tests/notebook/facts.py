"""Facts to test with, and child processes that write them."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from kerfwright.notebook.fact import Fact, Kind

NOON = datetime(2026, 3, 1, 12, 0, 0, 123456, tzinfo=UTC)
WRITER = Path(__file__).with_name("writer.py")
SRC = Path(__file__).resolve().parents[2] / "src"


def fact(kind: Kind = Kind.BOARD, key: str = "maple-a", payload: str = '{"thickness_mm": 6.02}', *, hours: float = 0, **other: Any) -> Fact:
    """A fact recorded ``hours`` after noon."""
    told = {"id": str(uuid.uuid4()), "schema": "board-1", **other}
    return Fact(kind=kind, key=key, recorded_at=NOON + timedelta(hours=hours), payload=payload, **told)


def corrected(earlier: Fact, payload: str, *, hours: float, **other: Any) -> Fact:
    """A correction of ``earlier``."""
    return fact(earlier.kind, other.pop("key", earlier.key), payload, hours=hours, supersedes=earlier.id, **other)


def child_environment() -> dict[str, str]:
    """The environment in which a child finds the package and these helpers."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(SRC), str(SRC.parent / "tests")])}


def writer(*words: object, **options: Any) -> subprocess.Popen[str]:
    """A child process running writer.py; what it says goes into ``stdout`` and ``stderr``."""
    return subprocess.Popen([sys.executable, "-W", "error", str(WRITER), *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                            text=True, env=child_environment(), **options)


def rest_of(child: subprocess.Popen[str]) -> tuple[str, str]:
    """What a child still says until it ends; ``communicate`` would miss lines that came along with the ones read before."""
    assert child.stdout is not None
    assert child.stderr is not None
    with child:
        return child.stdout.read(), child.stderr.read()
