"""Backup, export and import as one file."""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from kerfwright.core.errors import FolderError, InputError
from kerfwright.notebook.fact import Fact, Kind
from kerfwright.notebook.notebook import open_notebook
from kerfwright.notebook.portable import file_bytes, read_facts
from notebook.facts import corrected, fact


def _shop() -> list[Fact]:
    first = fact(payload='{ "note": "å \\r\\n \u2028 \\u0000" }')
    return [first, fact(Kind.MACHINE, "lantern-20", hours=5), corrected(first, '{"n": 2}', hours=1), fact(Kind.READING, "maple-b", hours=2)]


@pytest.mark.parametrize("name", ["shop.jsonl", "shop.jsonl.gz"])
def test_a_backup_comes_back_whole_in_any_engine(where: str, tmp_path: Path, name: str):
    told, path = _shop(), tmp_path / name
    with open_notebook(where) as notebook:
        notebook.add(told)
        assert notebook.backup(path) == 4
        counts, everything = notebook.facts(), notebook.facts(superseded=True)
    data = path.read_bytes()
    assert data == file_bytes(told, packed=name.endswith(".gz"))
    assert (data[:2] == b"\x1f\x8b") == name.endswith(".gz")
    with open_notebook(tmp_path / "other.db") as other:
        assert other.import_file(path) == 4
        assert other.import_file(path) == 0
        assert (other.facts(), other.facts(superseded=True)) == (counts, everything)
        other.backup(tmp_path / ("again-" + name))
    assert (tmp_path / ("again-" + name)).read_bytes() == data
    with open_notebook(where) as notebook:
        assert notebook.import_file(path) == 0  # into the one it came from


def test_the_file_can_be_read_without_us(tmp_path: Path):
    told = _shop()
    with open_notebook(tmp_path / "n.db") as notebook:
        notebook.add(told)
        notebook.export_file(tmp_path / "shop.jsonl")
    first, _, body = (tmp_path / "shop.jsonl").read_bytes().partition(b"\n")
    assert json.loads(first) == {"format": "kerfwright-notebook-file-1", "n_facts": 4, "sha256": hashlib.sha256(body).hexdigest()}
    lines = [json.loads(line) for line in body.decode().split("\n")[:-1]]
    assert [line["payload"] for line in lines] == [each.payload for each in told]
    assert lines[2] == {"id": told[2].id, "kind": "board", "key": "maple-a", "recorded_at": "2026-03-01T13:00:00.123456+00:00",
                        "schema": "board-1", "payload": '{"n": 2}', "sha256": hashlib.sha256(b'{"n": 2}').hexdigest(),
                        "supersedes": told[0].id}


def test_some_keys_go_out_with_their_whole_chains(tmp_path: Path):
    first = fact(key="maple-x")
    told = [first, fact(key="ash-a"), corrected(first, '{"n": 2}', hours=1, key="maple-y"), fact(Kind.READING, "maple-y")]
    with open_notebook(tmp_path / "n.db") as notebook:
        notebook.add(told)
        assert notebook.export_file(tmp_path / "some.jsonl", keys=["maple-y"]) == 3
        assert notebook.export_file(tmp_path / "none.jsonl", keys=[]) == 0
    assert read_facts(tmp_path / "some.jsonl") == [told[0], told[2], told[3]]
    assert read_facts(tmp_path / "none.jsonl") == []


def test_a_file_is_never_written_over_another(tmp_path: Path):
    path = tmp_path / "shop.jsonl"
    path.write_text("mine")
    with open_notebook(tmp_path / "n.db") as notebook:
        with pytest.raises(FolderError, match="there is something here already"):
            notebook.backup(path)
        with pytest.raises(FolderError, match="could not be written: No such file or directory"):
            notebook.backup(tmp_path / "no" / "shop.jsonl")
    assert path.read_text() == "mine"


def test_two_copies_that_corrected_the_same_fact_come_together(where: str, tmp_path: Path):
    first = fact()
    mine, theirs = corrected(first, '{"t": 1}', hours=5), corrected(first, '{"t": 2}', hours=1)
    theirs_again = corrected(theirs, '{"t": 3}', hours=2)
    file = tmp_path / "theirs.jsonl"
    file.write_bytes(file_bytes([first, theirs, theirs_again], packed=False))
    with open_notebook(where) as notebook:
        notebook.add([first, mine])
        assert notebook.import_file(file) == 2
        assert notebook.facts() == [mine]
        assert notebook.history(first.id) == [first, mine, theirs, theirs_again]
        notebook.add([last := corrected(theirs_again, '{"t": 4}', hours=6)])
        assert notebook.facts() == [last]


def test_a_file_that_contradicts_the_notebook_takes_in_nothing(where: str, tmp_path: Path):
    told = fact()
    loose = corrected(fact(), "{}", hours=1)
    with open_notebook(where) as notebook:
        notebook.add([told])
        for n, (stranger, words) in enumerate([(fact(id=told.id, payload='{"t": 9}'), "for another fact"), (loose, "not in the notebook")]):
            path = tmp_path / f"{n}.jsonl"
            path.write_bytes(file_bytes([fact(), stranger], packed=False))
            with pytest.raises(InputError, match=words):
                notebook.import_file(path)
            assert notebook.facts(superseded=True) == [told]


@pytest.mark.parametrize("packed", [False, True])
def test_any_flipped_byte_and_any_cut_is_noticed(tmp_path: Path, packed: bool):
    told = _shop()
    good, path = file_bytes(told, packed), tmp_path / "shop"
    n_unnoticed = 0
    for at in range(0, len(good), 2):
        flipped = bytearray(good)
        flipped[at] ^= 0x04
        path.write_bytes(flipped)
        with contextlib.suppress(InputError):
            assert read_facts(path) == told  # gzip has a few bits, such as its date, that say nothing about the content
            n_unnoticed += 1
    assert n_unnoticed <= (12 if packed else 0)
    for length in range(0, len(good), 7):
        path.write_bytes(good[:length])
        with pytest.raises(InputError, match="damaged"):
            read_facts(path)
    path.write_bytes(good)
    assert read_facts(path) == told


def _forged(lines: list[dict[str, Any]], **head: Any) -> bytes:
    body = "".join(json.dumps(line) + "\n" for line in lines).encode()
    told = {"format": "kerfwright-notebook-file-1", "n_facts": len(lines), "sha256": hashlib.sha256(body).hexdigest(), **head}
    return json.dumps(told).encode() + b"\n" + body


def _line(**other: Any) -> dict[str, Any]:
    return {**json.loads(file_bytes([fact()], packed=False).splitlines()[1]), **other}


@pytest.mark.parametrize(("data", "words"), [
    (_forged([], format="kerfwright-notebook-file-2"),
     "written by a newer version (kerfwright-notebook-file-2). Accepted: kerfwright-notebook-file-1"),
    (_forged([], format="kerfwright-job-1"), "this is not a notebook file"),
    (b"", "this is not a notebook file"),
    (b"[]\n", "this is not a notebook file"),
    (b"\x89PNG\r\n\x1a\n", "this is not a notebook file"),
    (_forged([], n_facts=3), "the file holds 0 facts and says 3"),
    (_forged([_line(), _line(kind="glue")]), "line 3: the file tells of a glue, which this version does not know"),
    (_forged([_line(sha256="0" * 64)]), "line 2: the payload does not fit its checksum"),
    (_forged([_line(extra=1)]), "line 2: the fact has the fields extra, id,"),
    (_forged([_line(recorded_at="2026-03-01T12:00:00")]), "line 2: recorded_at is 2026-03-01T12:00:00 without a time zone"),
    (_forged([_line(recorded_at="noon")]), "line 2: this is not a fact"),
    (_forged([_line(id=5)]), "line 2: this is not a fact"),
    (_forged([_line(payload="{}x")]), "line 2: the payload is not JSON"),
    (_forged(["fact"]), "line 2: the fact has the fields"),  # pyright: ignore[reportArgumentType]
    (_forged([7]), "line 2: this is not a fact"),  # pyright: ignore[reportArgumentType]
])
def test_a_file_that_is_not_ours_or_lies_is_refused(tmp_path: Path, data: bytes, words: str):
    path = tmp_path / "shop.jsonl"
    for each in (data, gzip.compress(data)):
        path.write_bytes(each)
        with open_notebook(tmp_path / "n.db") as notebook:
            with pytest.raises(InputError) as caught:
                notebook.import_file(path)
            assert notebook.facts() == []
        assert words in caught.value.message


def test_a_file_that_cannot_be_read(tmp_path: Path):
    for path in (tmp_path / "none", tmp_path):
        with pytest.raises(FolderError, match="the file cannot be read"):
            read_facts(path)


def test_a_file_that_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("kerfwright.notebook.portable.MAX_FILE_BYTES", 1000)
    path = tmp_path / "shop.gz"
    path.write_bytes(gzip.compress(b"{" * 2000))
    with pytest.raises(InputError, match="the file is too large. Accepted: at most 1000 bytes unpacked"):
        read_facts(path)
