"""A notebook as one file: JSON lines, packed by gzip when the name ends in ".gz".

The first line tells the format, how many facts follow and the SHA-256 of everything after that line; then one fact a line in
the order of arrival, each with the checksum of its own payload. The same facts give the same bytes.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import re
import zlib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from kerfwright.core.errors import FolderError, InputError
from kerfwright.notebook.fact import Fact, Kind

FORMAT = "kerfwright-notebook-file-1"
FORMAT_NAME = re.compile(r"kerfwright-notebook-file-([1-9][0-9]*)")
FIELDS = ("id", "kind", "key", "recorded_at", "schema", "payload", "sha256", "supersedes")
MAX_FILE_BYTES = 1_000_000_000  # unpacked; a shop's life fits into a hundredth
GZIP_SIGN = b"\x1f\x8b"
DAMAGED = "Take another copy of the file; nothing was imported"


def file_bytes(facts: Sequence[Fact], packed: bool) -> bytes:
    """The whole file."""
    body = "".join(_line(_plain(fact)) for fact in facts).encode()
    head = {"format": FORMAT, "n_facts": len(facts), "sha256": hashlib.sha256(body).hexdigest()}
    whole = _line(head).encode() + body
    return gzip.compress(whole, mtime=0) if packed else whole


def read_facts(path: Path) -> list[Fact]:
    """The facts of a file. Raises FolderError when it cannot be read, InputError when it is damaged or newer."""
    try:
        with path.open("rb") as stream:
            first = stream.peek(2)[:2]
            source = gzip.GzipFile(fileobj=stream) if first == GZIP_SIGN else stream
            data = source.read(MAX_FILE_BYTES + 1)
    except (EOFError, gzip.BadGzipFile, zlib.error) as bad:
        raise InputError(f"the file is damaged: it cannot be unpacked ({bad})", remedy=DAMAGED, where=str(path)) from bad
    except OSError as bad:
        raise FolderError(f"the file cannot be read: {bad.strerror or bad}", remedy="Check the name", where=str(path)) from bad
    if len(data) > MAX_FILE_BYTES:
        raise InputError("the file is too large", accepted=f"at most {MAX_FILE_BYTES} bytes unpacked", where=str(path))
    return _facts(data, str(path))


def _facts(data: bytes, where: str) -> list[Fact]:
    first, _, body = data.partition(b"\n")
    head = _head(first, where)
    if hashlib.sha256(body).hexdigest() != head.get("sha256"):
        raise InputError("the file is damaged or cut short: its checksum does not fit", remedy=DAMAGED, where=where)
    lines = body.splitlines()  # of bytes: at line feeds only, since JSON writes every other line end as an escape
    if len(lines) != head.get("n_facts"):
        raise InputError(f"the file holds {len(lines)} facts and says {head.get('n_facts')}", remedy=DAMAGED, where=where)
    return [_fact(line, f"{where}, line {number}") for number, line in enumerate(lines, 2)]


def _head(line: bytes, where: str) -> dict[str, Any]:
    try:
        head: Any = json.loads(line)
        version = FORMAT_NAME.fullmatch(head["format"])
    except (ValueError, KeyError, TypeError):
        version = head = None
    if version is None:
        raise InputError("this is not a notebook file, or its beginning is damaged",
                         accepted="a file written by a notebook's backup or export", where=where)
    if head["format"] != FORMAT:
        raise InputError(f"this file was written by a newer version ({head['format']})", accepted=FORMAT,
                         remedy="Install that version of kerfwright; nothing was imported", where=where)
    return head


def _fact(line: bytes, where: str) -> Fact:
    try:
        told: dict[str, Any] = json.loads(line)
        if set(told) != set(FIELDS):
            raise InputError(f"the fact has the fields {', '.join(sorted(told))}", accepted=", ".join(FIELDS))
        if told["kind"] not in list(Kind):
            raise InputError(f"the file tells of a {told['kind']}, which this version does not know", accepted=", ".join(Kind))
        fact = Fact(told["id"], told["kind"], told["key"], datetime.fromisoformat(told["recorded_at"]), told["schema"], told["payload"],
                    told["supersedes"])
        if fact.sha256 != told["sha256"]:
            raise InputError("the payload does not fit its checksum", remedy=DAMAGED)
        return fact
    except InputError as bad:
        raise bad.located(where) from bad
    except (ValueError, TypeError, AttributeError) as bad:
        raise InputError(f"this is not a fact ({bad})", remedy=DAMAGED, where=where) from bad


def _plain(fact: Fact) -> dict[str, Any]:
    return {**{name: getattr(fact, name) for name in FIELDS}, "recorded_at": fact.recorded_at.isoformat()}


def _line(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n"
