"""The notebook: facts go in whole or not at all and stay; what counts now and what came before can both be read.

Import this module inside functions: it loads the database library.
"""

from __future__ import annotations

from collections.abc import Collection, Generator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import ColumnElement, Connection, Engine, Row, insert, select

from kerfwright.core.errors import InputError
from kerfwright.notebook.address import Address, address_of
from kerfwright.notebook.engine import make_engine, reading, writing
from kerfwright.notebook.fact import Correction, Fact, Kind, as_utc, chains, overruled
from kerfwright.notebook.migrate import bring_up_to_date
from kerfwright.notebook.portable import file_bytes, read_facts
from kerfwright.notebook.tables import FACTS
from kerfwright.notebook.trouble import damaged, told

WAIT_S = 10.0
SOME = 500  # ids in one question; both engines take many more
OLDEST_FIRST = (FACTS.c.recorded_at, FACTS.c.number)


def open_notebook(where: str | Path | None = None, wait_s: float = WAIT_S) -> Notebook:
    """Open a notebook, made or migrated when needed. ``where``: a file, a PostgreSQL URL, or None for the platform's data folder.

    wait_s: how long a writer waits for another. Raises FolderError when it cannot be read or written (missing or read-only folder,
    full disk, damaged, in use, server away), InputError when it is of a newer version, not a notebook, or the URL is wrong.
    """
    address = address_of(where)
    engine = make_engine(address, wait_s)
    try:
        with told(address):
            bring_up_to_date(engine, address, wait_s)
    except BaseException:
        engine.dispose()
        raise
    return Notebook(engine, address)


class Notebook:
    """An open notebook; use it in a ``with`` block. Threads may share one, processes open their own."""

    def __init__(self, engine: Engine, address: Address) -> None:
        self._engine = engine
        self._address = address

    @property
    def name(self) -> str:
        """Where the notebook lives, without password."""
        return self._address.name

    def __repr__(self) -> str:
        return f"Notebook({self.name!r})"

    def __enter__(self) -> Notebook:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def add(self, facts: Sequence[Fact]) -> None:
        """Write all the facts or none. A fact that is there already is left as it is, so a retry doubles nothing.

        Raises InputError when an id is in use for something else, or a correction corrects nothing or what was corrected already.
        """
        with told(self._address), writing(self._engine) as connection:
            _insert(connection, _fresh(connection, self._address, facts, rivals=False))

    def facts(self, kind: Kind | None = None, key: str | None = None, since: datetime | None = None, *,
              superseded: bool = False) -> list[Fact]:
        """The facts that count now, oldest first; ``superseded`` adds those that were corrected. since: recorded then or later."""
        wanted: list[ColumnElement[bool]] = []
        if kind is not None:
            wanted.append(FACTS.c.kind == kind.value)
        if key is not None:
            wanted.append(FACTS.c.key == key)
        if since is not None:
            wanted.append(FACTS.c.recorded_at >= as_utc(since, "since"))
        with self._reading() as connection:
            rows = connection.execute(select(FACTS).where(*wanted).order_by(*OLDEST_FIRST)).all()
            gone = set[str]() if superseded else overruled(_corrections(connection))
        return [_fact(row, self._address) for row in rows if row.id not in gone]

    def history(self, id: str) -> list[Fact]:
        """The whole chain that a fact belongs to, in the order of arrival: the first telling and every correction."""
        with self._reading() as connection:
            ids = {id, *(each for chain in _chains(connection) if id in chain for each in chain)}
            found = _known(connection, self._address, ids)
        if id not in found:
            raise InputError(f"there is no fact {id}", accepted="the id of a fact in this notebook", where=self.name)
        return list(found.values())

    def backup(self, path: Path) -> int:
        """Every fact into one new file; how many. See ``export_file``."""
        return self.export_file(path)

    def export_file(self, path: Path, keys: Collection[str] | None = None) -> int:
        """Facts (all, or those about ``keys``) with their whole chains into one new file, packed when it ends in ".gz"; how many.

        Raises FolderError; the file appears whole or not at all, and never over another.
        """
        from kerfwright.export.folder import refuse_existing, write_new_file

        refuse_existing(path)
        with self._reading() as connection:
            facts = [_fact(row, self._address) for row in connection.execute(select(FACTS).order_by(FACTS.c.number)).all()]
            linked = _chains(connection)
        if keys is not None:
            chosen = {fact.id for fact in facts if fact.key in keys}
            chosen |= {each for chain in linked if not chosen.isdisjoint(chain) for each in chain}
            facts = [fact for fact in facts if fact.id in chosen]
        write_new_file(path, file_bytes(facts, packed=path.suffix == ".gz"))
        return len(facts)

    def import_file(self, path: Path) -> int:
        """Take in the facts of a file that are not here yet, all or none; how many. A second time takes in nothing.

        Where this notebook and the file each hold a correction of one fact, both are kept and the one recorded last counts.
        Raises FolderError when the file cannot be read, InputError when it is damaged, newer or contradicts this notebook.
        """
        facts = read_facts(path)
        with told(self._address), writing(self._engine) as connection:
            fresh = _fresh(connection, self._address, facts, rivals=True)
            _insert(connection, fresh)
        return len(fresh)

    @contextmanager
    def _reading(self) -> Generator[Connection]:
        with told(self._address), reading(self._engine) as connection:
            yield connection


def _fresh(connection: Connection, address: Address, facts: Sequence[Fact], rivals: bool) -> list[Fact]:
    """Those facts that the notebook does not hold yet, each checked against it and against the ones before."""
    earlier = {fact.supersedes for fact in facts if fact.supersedes}
    known = _known(connection, address, {fact.id for fact in facts} | earlier)
    corrected = {each.supersedes for each in _corrections(connection)} if earlier and not rivals else set[str]()
    fresh: list[Fact] = []
    for fact in facts:
        twin = known.get(fact.id)
        if twin is not None:
            if not twin.same_as(fact):
                raise InputError(f"the notebook has the id {fact.id} for another fact, about {twin.kind} {twin.key}",
                                 remedy="Give a correction an id of its own; nothing was written", where=address.name)
            continue
        if fact.supersedes:
            _check_correction(fact, known.get(fact.supersedes), fact.supersedes in corrected, address)
            if not rivals:
                corrected.add(fact.supersedes)
        known[fact.id] = fact
        fresh.append(fact)
    return fresh


def _check_correction(fact: Fact, earlier: Fact | None, corrected: bool, address: Address) -> None:
    if earlier is None:
        raise InputError(f"the fact to be corrected, {fact.supersedes}, is not in the notebook",
                         remedy="Import or add it first; nothing was written", where=address.name)
    if earlier.kind != fact.kind:
        raise InputError(f"a {fact.kind} cannot correct a {earlier.kind} ({earlier.key})", accepted="a fact of the same kind",
                         remedy="Nothing was written", where=address.name)
    if corrected:
        raise InputError(f"the {earlier.kind} {earlier.key} was corrected already", accepted="a correction of the newest telling",
                         remedy="Read it again and correct that one; nothing was written", where=address.name)


def _insert(connection: Connection, facts: Sequence[Fact]) -> None:
    if facts:
        connection.execute(insert(FACTS), [
            {"id": fact.id, "kind": fact.kind.value, "key": fact.key, "recorded_at": fact.recorded_at, "schema": fact.schema,
             "payload": fact.payload, "sha256": fact.sha256, "supersedes": fact.supersedes} for fact in facts])


def _known(connection: Connection, address: Address, ids: Collection[str]) -> dict[str, Fact]:
    """The facts with these ids, by id, in the order of arrival."""
    asked = sorted(ids)
    rows = [row for start in range(0, len(asked), SOME)
            for row in connection.execute(select(FACTS).where(FACTS.c.id.in_(asked[start : start + SOME]))).all()]
    return {row.id: _fact(row, address) for row in sorted(rows, key=lambda row: row.number)}


def _corrections(connection: Connection) -> list[Correction]:
    columns = select(FACTS.c.id, FACTS.c.supersedes, FACTS.c.recorded_at)
    rows = connection.execute(columns.where(FACTS.c.supersedes.is_not(None)).order_by(FACTS.c.number)).all()
    return [Correction(row.id, row.supersedes, row.recorded_at) for row in rows]


def _chains(connection: Connection) -> list[set[str]]:
    """The ids of each chain that has a correction."""
    return [{root, *(each.id for each in members)} for root, members in chains(_corrections(connection)).items()]


def _fact(row: Row[Any], address: Address) -> Fact:
    try:
        fact = Fact(row.id, row.kind, row.key, row.recorded_at, row.schema, row.payload, row.supersedes)
    except InputError as bad:
        raise damaged(f"fact {row.id}: {bad.arrived}", address) from bad
    if fact.sha256 != row.sha256:
        raise damaged(f"fact {fact.id} does not fit its checksum", address)
    return fact
