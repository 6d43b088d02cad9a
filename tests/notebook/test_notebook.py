"""What a notebook promises, on both engines."""

from __future__ import annotations

import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, inspect, text
from sqlalchemy.exc import DBAPIError, IntegrityError

from kerfwright.core.errors import FolderError, InputError
from kerfwright.notebook import migrate
from kerfwright.notebook.address import address_of, default_path
from kerfwright.notebook.engine import make_engine
from kerfwright.notebook.fact import Kind, new_fact
from kerfwright.notebook.migrate import MIGRATIONS
from kerfwright.notebook.notebook import Notebook, open_notebook
from kerfwright.notebook.tables import KNOWN, NEWEST, VERSION_TABLE, metadata
from notebook.facts import NOON, child_environment, corrected, fact, rest_of, writer
from notebook.writer import batch


def test_what_goes_in_comes_out_letter_by_letter(where: str):
    told = [fact(payload='{ "é": "naïve\\u0000", \r\n"n": 1e-7,"n": 2 }', hours=2, key="Ahorn · 6 mm"), fact(Kind.READING, hours=1)]
    with open_notebook(where) as notebook:
        notebook.add(told)
        notebook.add([])
    with open_notebook(where) as notebook:
        found = notebook.facts()
    assert found == [told[1], told[0]]
    assert found[1].recorded_at.isoformat() == "2026-03-01T14:00:00.123456+00:00"


def test_facts_are_found_by_kind_key_and_time(where: str):
    told = [fact(hours=0), fact(key="maple-b", hours=1), fact(Kind.READING, hours=2), fact(Kind.READING, "maple-b", hours=3)]
    with open_notebook(where) as notebook:
        notebook.add(told)
        assert notebook.facts(Kind.READING) == told[2:]
        assert notebook.facts(key="maple-b") == [told[1], told[3]]
        assert notebook.facts(Kind.BOARD, "maple-a") == [told[0]]
        assert notebook.facts(since=NOON + timedelta(hours=2)) == told[2:]
        with pytest.raises(InputError, match="since is .* without a time zone"):
            notebook.facts(since=NOON.replace(tzinfo=None))


def test_a_correction_takes_the_place_and_both_stay(where: str):
    first, other = fact(), fact(key="maple-b")
    second = corrected(first, '{"thickness_mm": 6.2}', hours=1)
    third = corrected(second, '{"thickness_mm": 6.3}', hours=2, key="maple-c")
    with open_notebook(where) as notebook:
        notebook.add([first, other])
        notebook.add([second])
        assert notebook.facts(Kind.BOARD, "maple-a") == [second]
        notebook.add([third])
        assert notebook.facts(Kind.BOARD) == [other, third]
        assert notebook.facts(key="maple-a") == []  # it had been written under the wrong name
        assert notebook.facts(Kind.BOARD, superseded=True) == [first, other, second, third]
        for each in (first, second, third):
            assert notebook.history(each.id) == [first, second, third]
        assert notebook.history(other.id) == [other]
        with pytest.raises(InputError, match="there is no fact"):
            notebook.history(fact().id)


@pytest.mark.parametrize("case", ["missing", "kind", "twice", "twice at once"])
def test_a_correction_that_cannot_be_is_refused_and_nothing_is_written(where: str, case: str):
    first, innocent = fact(), fact(key="maple-b")
    batches = {
        "missing": ([innocent, corrected(fact(), "{}", hours=1)], "is not in the notebook"),
        "kind": ([innocent, fact(Kind.READING, supersedes=first.id)], "a reading cannot correct a board"),
        "twice": ([innocent, corrected(first, '{"a": 2}', hours=2)], "was corrected already"),
        "twice at once": ([innocent, *(corrected(first, f'{{"a": {n}}}', hours=n) for n in (1, 2))], "was corrected already"),
    }
    facts, words = batches[case]
    with open_notebook(where) as notebook:
        notebook.add([first])
        if case == "twice":
            notebook.add([corrected(first, "{}", hours=1)])
        before = notebook.facts(superseded=True)
        with pytest.raises(InputError, match=words):
            notebook.add(facts)
        assert notebook.facts(superseded=True) == before


def test_a_retry_does_not_double_and_an_id_means_one_thing(where: str):
    told = batch("comb", 0, 1200)  # more ids than one question holds
    later = batch("comb", 0, 1200)
    assert told[0].id == later[0].id
    assert told[0].recorded_at < later[0].recorded_at
    with open_notebook(where) as notebook:
        notebook.add(told[:700])
        notebook.add(later + [fact()] * 2)
        found = notebook.facts(Kind.READING)
        assert sorted(each.id for each in found) == sorted(each.id for each in told)
        assert {each.recorded_at for each in found if each.id == told[0].id} == {told[0].recorded_at}
        assert len(notebook.facts(Kind.BOARD)) == 1
        with pytest.raises(InputError, match=f"has the id {told[3].id} for another fact, about reading comb-0"):
            notebook.add([fact(), fact(id=told[3].id)])
        assert len(notebook.facts()) == 1201


@pytest.mark.parametrize("statement", [
    "UPDATE notebook_facts SET payload = '{}' WHERE key = 'maple-a'",
    "DELETE FROM notebook_facts",
    "REPLACE INTO notebook_facts SELECT number, id, kind, 'other', recorded_at, schema, payload, sha256, supersedes FROM notebook_facts",
    "INSERT INTO notebook_facts SELECT * FROM notebook_facts WHERE true ON CONFLICT (number) DO UPDATE SET key = 'other'",
    "TRUNCATE notebook_facts",
])
def test_the_database_itself_refuses_to_change_a_fact(where: str, statement: str):
    told = fact()
    with open_notebook(where) as notebook:
        notebook.add([told])
        engine = create_engine(address_of(where).url)
        foreign = {"REPLACE": "postgresql", "TRUNCATE": "sqlite"}.get(statement.split()[0]) == engine.dialect.name
        words = "syntax error" if foreign else "a fact is never (changed|removed|replaced)"
        with pytest.raises(DBAPIError, match=words), engine.begin() as connection:
            connection.execute(text(statement))
        engine.dispose()
        assert notebook.facts() == [told]


def test_the_database_knows_the_kinds_and_what_is_corrected(where: str):
    with open_notebook(where):
        engine = make_engine(address_of(where), 1)
        for values in ("'plank', 'a', NULL", "'board', 'a', '6b657266-0000-4000-8000-000000000001'"):
            with pytest.raises(IntegrityError), engine.begin() as connection:
                connection.execute(text("INSERT INTO notebook_facts (kind, id, supersedes, key, recorded_at, schema, payload, sha256) "
                                        f"VALUES ({values}, 'k', '2026-03-01', 's', '{{}}', 'x')"))
        with engine.connect() as connection:
            kinds = {row.kind for row in connection.execute(text("SELECT kind FROM notebook_kinds"))}
        engine.dispose()
    assert kinds == {kind.value for kind in Kind}


def test_the_migrations_make_the_tables_that_the_code_knows(where: str):
    with open_notebook(where):
        engine = make_engine(address_of(where), 1)
        with engine.connect() as connection:
            options = {"version_table": VERSION_TABLE, "compare_type": True}
            assert compare_metadata(MigrationContext.configure(connection, opts=options), metadata) == []
        engine.dispose()
    steps = list(ScriptDirectory(str(MIGRATIONS)).walk_revisions())
    assert [step.revision for step in reversed(steps)] == list(KNOWN)
    assert KNOWN[-1] == NEWEST


def test_a_damaged_payload_is_noticed(where: str):
    told = fact()
    with open_notebook(where) as notebook:
        notebook.add([told])
        engine = create_engine(address_of(where).url)
        with engine.begin() as connection:
            postgres = engine.dialect.name == "postgresql"
            lift = "ALTER TABLE notebook_facts DISABLE TRIGGER ALL" if postgres else "DROP TRIGGER notebook_facts_no_update"
            connection.execute(text(lift))
            connection.execute(text("""UPDATE notebook_facts SET payload = '{"thickness_mm": 6.12}'"""))
        engine.dispose()
        with pytest.raises(FolderError, match=f"the notebook is damaged: fact {told.id} does not fit its checksum"):
            notebook.facts()


def test_a_notebook_of_a_newer_version_is_left_alone(where: str):
    told = fact()
    with open_notebook(where) as notebook:
        notebook.add([told])
    _set_version(where, "0042")
    with pytest.raises(InputError) as caught:
        open_notebook(where)
    assert "written by a newer version (its format is 0042). Accepted: up to 0001" in caught.value.message
    assert caught.value.exit_code == 2
    _set_version(where, NEWEST)
    with open_notebook(where) as notebook:
        assert notebook.facts() == [told]


def _set_version(where: str, version: str) -> None:
    engine = create_engine(address_of(where).url)
    with engine.begin() as connection:
        connection.execute(text(f"UPDATE {VERSION_TABLE} SET version_num = :version"), {"version": version})
    engine.dispose()


def test_a_first_opening_that_is_broken_off_leaves_nothing_half(where: str, monkeypatch: pytest.MonkeyPatch):
    with monkeypatch.context() as patch:
        def broken_off(connection: Connection) -> None:
            upgrade(connection)
            assert "notebook_facts" in inspect(connection).get_table_names()
            raise KeyboardInterrupt

        upgrade = migrate._upgrade
        patch.setattr(migrate, "_upgrade", broken_off)
        with pytest.raises(KeyboardInterrupt):
            open_notebook(where)
    engine = make_engine(address_of(where), 1)
    with engine.connect() as connection:
        assert inspect(connection).get_table_names() == []
    engine.dispose()
    with open_notebook(where) as notebook:
        notebook.add([told := fact()])
        assert notebook.facts() == [told]


def test_two_open_a_new_notebook_at_once_and_write(where: str):
    names = ("ann", "ben")
    children = [writer(where, name, 12, 20) for name in names]
    for child in children:
        said, wrong = rest_of(child)
        assert (wrong, child.returncode) == ("", 0), said
        assert said.split() == [str(number) for number in range(12)]
    with open_notebook(where) as notebook:
        found = notebook.facts(Kind.READING)
    assert len(found) == 2 * 12 * 20
    assert {each.id for each in found} == {each.id for name in names for number in range(12) for each in batch(name, number, 20)}


def test_a_reader_sees_one_moment_while_another_writes(where: str):
    """A correction and what it corrects never count together, and one of them always does."""
    first = fact()
    with open_notebook(where) as notebook, open_notebook(where) as other:
        notebook.add([first])
        seen = first
        with notebook._reading() as connection:
            assert connection.execute(text("SELECT count(*) FROM notebook_facts")).scalar_one() == 1
            other.add([seen := corrected(first, '{"a": 1}', hours=1)])
            assert connection.execute(text("SELECT count(*) FROM notebook_facts")).scalar_one() == 1
        assert notebook.facts() == [seen]


@pytest.mark.skipif(sys.platform == "win32", reason="no kill -9 there")
def test_killed_just_before_keeping_leaves_the_batch_out_and_the_rest_in(where: str):
    child = writer(where, "ann", 5, 300, "stall")
    assert child.stdout is not None
    assert [child.stdout.readline().strip() for _ in range(3)] == ["0", "1", "inside"]
    child.kill()
    rest_of(child)
    assert _batches(where, "ann", 300) == {0, 1}
    with open_notebook(where) as notebook:  # the dead writer's lock is gone and the retry completes the work
        for number in range(5):
            notebook.add(batch("ann", number, 300))
    assert _batches(where, "ann", 300) == {0, 1, 2, 3, 4}


@pytest.mark.skipif(sys.platform == "win32", reason="no kill -9 there")
def test_killed_while_writing_every_batch_is_whole_or_absent(where: str):
    taken: dict[str, int] = {}
    children = {name: writer(where, name, 10_000, 150) for name in ("ann", "ben")}
    for n_first, (name, child) in zip((3, 20), children.items(), strict=True):  # one dies while the other writes, then that one too
        assert child.stdout is not None
        for _ in range(n_first):
            assert child.stdout.readline()
        child.kill()
        said, _ = rest_of(child)
        taken[name] = n_first + len(said.splitlines())
    for name, n_taken in taken.items():
        assert _batches(where, name, 150) in (set(range(n_taken)), set(range(n_taken + 1)))  # the last may be kept and not yet told
    if "://" not in where:
        assert _integrity(Path(where)) == "ok"


def _batches(where: str, name: str, n_facts: int) -> set[int]:
    """The numbers of the whole batches; a partial one fails."""
    counts: dict[str, int] = {}
    with open_notebook(where) as notebook:
        for each in notebook.facts(Kind.READING):
            counts[each.key] = counts.get(each.key, 0) + 1
    mine = {key: count for key, count in counts.items() if key.startswith(f"{name}-")}
    assert set(mine.values()) <= {n_facts}
    return {int(key.rpartition("-")[2]) for key in mine}


def _integrity(path: Path) -> str:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(path)) as connection:
        return str(connection.execute("PRAGMA integrity_check").fetchone()[0])


def test_the_default_place_is_the_platforms_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if sys.platform == "linux":
        assert default_path() == tmp_path / "data" / "kerfwright" / "notebook.db"
        with open_notebook() as notebook:
            notebook.add([fact()])
        assert default_path().is_file()
    assert default_path().parent.name == "kerfwright"


def test_the_notebook_says_where_it_is(tmp_path: Path):
    with open_notebook(tmp_path / "n.db") as notebook:
        assert isinstance(notebook, Notebook)
        assert repr(notebook) == f"Notebook({str(tmp_path / 'n.db')!r})"
        notebook.add([new_fact(Kind.MACHINE, "lantern-20", "machine-1", "{}")])
    assert [path.name for path in tmp_path.iterdir()] == ["n.db"]  # closed: one file, nothing beside it


def test_a_command_that_needs_no_notebook_loads_no_database_library():
    code = ("import kerfwright.app.cli, kerfwright.app.workflow, kerfwright.notebook.fact, sys; "
            "print([name for name in ('sqlalchemy', 'alembic') if name in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=child_environment())
    assert done.stdout.strip() == "[]"
