"""The store: what the schema refuses, whoever asks; all or nothing; what survives a kill; what a check finds."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelmark.errors import BadValue, Broken, Clash, NotAllowed, Problem
from reelmark.io import Row, Store, read_records, row
from reelmark.io.database import WAL_SINCE
from reelmark.io.migrate import golden, migrate, schema_text, scripts
from reelmark.io.sqlite import sql
from reelmark.journal import Tree, canonical, leaf

AT = "2027-03-01T06:30:00+00:00"
TABLES = ("fact", "alloc", "refusal", "seal")


def make(
    seq: int,
    kind: str = "count",
    by1: str = "A. Moss",
    by2: str | None = None,
    machine: str = "press",
    alloc: tuple[str, int, int] | None = None,
    **more: object,
) -> Row:
    body = canonical({"machine": machine, "seq": seq, "kind": kind, "at": AT, "by": by1, "by2": by2, **more})
    return Row(machine, seq, kind, AT, by1, by2, body, leaf(body), alloc)


def allocation(seq: int, lo: int, hi: int, series: str = "TM20") -> Row:
    return make(seq, "allocate", by2="B. Reed", machine="office", alloc=(series, lo, hi))


def full(path: Path) -> None:
    """A journal with a row in every table."""
    with Store.create(path) as store:
        store.append([make(1), allocation(1, 0, 100)])
        store.refuse("press", 1, AT, "other bytes under a used key", b"{}")
        store.add_seal(2, Tree(store.leaves()).root(2), "note")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "journal.db"


@pytest.fixture
def store(path):
    with Store.create(path) as one:
        yield one


@pytest.fixture
def raw(path):
    """A hand at a SQL prompt: no pragma of ours is set."""
    full(path)
    with closing(sql.connect(path, isolation_level=None)) as db:
        yield db


def test_what_is_appended_comes_back_in_order(store):
    rows = [make(1), make(2), make(1, machine="sheeter")]
    assert store.append(rows) == 0
    assert store.append([make(3)]) == 3
    assert store.size == 4
    assert store.entries()[:3] == [one.body for one in rows]
    assert store.leaves()[:3] == [one.leaf for one in rows]
    assert store.body_of("sheeter", 1) == rows[2].body
    assert store.body_of("sheeter", 2) is None
    assert store.append([]) == 4


def test_records_go_from_a_file_into_the_journal(store, tmp_path):
    record = {"machine": "press", "seq": 1, "at": AT, "by": "A. Moss", "kind": "cut", "unit": "P1"}
    (tmp_path / "shift.jsonl").write_text(json.dumps(record) + "\n")
    store.append([row(line.record, line.body) for line in read_records(tmp_path / "shift.jsonl") if line.record])
    assert store.entries() == [canonical(record)]
    assert store._db.execute("SELECT machine, machine_seq, kind, at, by1, by2 FROM fact").fetchone() == (
        ("press", 1, "cut", AT, "A. Moss", None)
    )
    store.check()


def test_a_journal_is_there_again_after_it_was_closed(path):
    full(path)
    with Store.open(path) as store:
        assert store.size == 2
        assert store.last_seal() == (2, Tree(store.leaves()).root(2), "note")
        assert [one.why for one in store.refusals()] == ["other bytes under a used key"]
        store.check()


def test_an_append_is_all_or_nothing(store):
    store.append([make(1)])
    with pytest.raises(Clash, match="entry 0 has this key"):
        store.append([make(2), make(3), make(1)])
    assert store.size == 1
    with pytest.raises(BadValue, match="not the hash of the body"):
        store.append([make(2), make(3)._replace(leaf=bytes(32))])
    assert store.entries() == [make(1).body]


def test_rows_judged_before_others_came_are_refused(store):
    store.append([make(1)], after=0)
    with pytest.raises(Clash, match="it has 1 entries by now"):
        store.append([make(2)], after=0)
    store.append([make(2)], after=1)


@pytest.mark.parametrize("kind", ["allocate", "destroy", "correct"])
@pytest.mark.parametrize("by2", [None, "A. Moss"])
def test_two_persons_stand_behind_what_matters(store, kind, by2):
    alloc = ("TM20", 0, 10) if kind == "allocate" else None
    with pytest.raises(NotAllowed, match=f"{kind} needs two persons"):
        store.append([make(1, kind, by2=by2, alloc=alloc)])
    assert store.size == 0


def test_a_second_person_is_another_however_the_name_is_written(store):
    with pytest.raises(NotAllowed, match="same person"):
        store.append([make(1, by2="a. moss ")])


def test_an_overlap_names_the_range_in_the_way(store):
    store.append([allocation(1, 0, 100), allocation(2, 100, 200), allocation(3, 0, 50, "other")])
    with pytest.raises(Clash, match=r"series TM20: \[100, 200\) is allocated by entry 1"):
        store.append([allocation(4, 150, 250)])


def test_a_range_goes_with_an_allocation_and_with_nothing_else(store):
    with pytest.raises(BadValue, match="kind is count"):
        store.append([make(1)._replace(alloc=("TM20", 0, 1))])
    with pytest.raises(BadValue, match="kind is allocate"):
        store.append([allocation(1, 0, 1)._replace(alloc=None)])
    with pytest.raises(BadValue, match="hi_above_lo"):
        store.append([allocation(1, 5, 5)])
    with pytest.raises(BadValue, match="refuses"):
        store.append([allocation(1, 0, 2**70)])


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(1, 10)), max_size=12))
@settings(max_examples=30, deadline=None)
def test_no_number_is_ever_allocated_twice(tmp_path_factory, ranges):
    taken: set[int] = set()
    with Store.create(tmp_path_factory.mktemp("s") / "j.db") as store:
        for seq, (lo, count) in enumerate(ranges, 1):
            wanted = set(range(lo, lo + count))
            try:
                store.append([allocation(seq, lo, lo + count)])
            except Clash:
                assert taken & wanted
            else:
                assert not taken & wanted
                taken |= wanted


def test_a_seal_goes_beyond_the_last_and_not_beyond_the_journal(store):
    assert store.last_seal() is None
    store.append([make(1), make(2)])
    root = Tree(store.leaves()).root
    store.add_seal(1, root(1), "one")
    store.add_seal(1, root(1), "one")
    for size in (1, 3):
        with pytest.raises(Clash, match="the journal has 2 entries, 1 of them under a seal"):
            store.add_seal(size, bytes(32), "other")
    store.add_seal(2, root(2), "two")
    store.check()


# What the schema itself refuses, to anyone with a SQL prompt and no settings of ours.

REPLACED = (
    "REPLACE INTO fact SELECT 0, machine, 9, kind, at, by1, by2, body, leaf FROM fact WHERE seq = 0",
    "REPLACE INTO fact SELECT 2, machine, machine_seq, kind, at, by1, by2, body, leaf FROM fact WHERE seq = 0",
    "REPLACE INTO alloc VALUES ('TM20', 0, 5, 1)",
    "REPLACE INTO refusal SELECT id, machine, machine_seq, at, 'no reason', body FROM refusal",
    "REPLACE INTO seal SELECT size, root, 'forged' FROM seal",
    "INSERT INTO seal SELECT size, root, 'x' FROM seal WHERE true ON CONFLICT DO UPDATE SET note = 'forged'",
)


def rows_of(db: sqlite3.Connection) -> list[list[object]]:
    return [db.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES]


@pytest.mark.parametrize("asked", REPLACED)
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_replacing_a_row_is_refused(raw, asked, recursive):
    raw.execute(f"PRAGMA recursive_triggers = {recursive}")
    before = rows_of(raw)
    with pytest.raises(sql.IntegrityError):
        raw.execute(asked)
    assert rows_of(raw) == before


@pytest.mark.parametrize("table", TABLES)
def test_update_and_delete_are_refused(raw, table):
    column = raw.execute(f"SELECT name FROM pragma_table_info('{table}') LIMIT 1").fetchone()[0]
    for asked in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
        with pytest.raises(sql.IntegrityError, match=f"{table}: append only"):
            raw.execute(asked)


FACT = "INSERT INTO fact VALUES ({}, 'm', {}, '{}', 'now', 'A', {}, x'7b7d', zeroblob({}))"
REFUSED = {
    FACT.format(3, 1, "count", "NULL", 32): "not the next seq",
    FACT.format(1, 1, "count", "NULL", 32): "not the next seq",
    FACT.format("NULL", 1, "count", "NULL", 32): "not the next seq",
    FACT.format(2, 1, "count", "'A'", 32): "different_persons",
    FACT.format(2, 1, "allocate", "NULL", 32): "two_persons",
    FACT.format(2, 1, "destroy", "NULL", 32): "two_persons",
    FACT.format(2, 1, "correct", "'A'", 32): "two_persons",
    FACT.format(2, 1, "count", "NULL", 31): "leaf_is_a_hash",
    FACT.format(2, "'one'", "count", "NULL", 32): "cannot store TEXT",
    "INSERT INTO alloc VALUES ('TM20', 100, 101, 0)": "not of an allocation by two",
    "INSERT INTO alloc VALUES ('TM20', 100, 101, 7)": "not of an allocation by two",
    "INSERT INTO alloc VALUES ('TM20', 100, 101, 1)": "fact has its range",
    "INSERT INTO seal VALUES (3, zeroblob(32), 'x')": "beyond the journal",
    "INSERT INTO seal VALUES (1, zeroblob(32), 'x')": "not beyond the last",
}


@pytest.mark.parametrize(("asked", "said"), REFUSED.items())
def test_the_schema_refuses_by_itself(raw, asked, said):
    with pytest.raises(sql.IntegrityError, match=said):
        raw.execute(asked)


def test_allocations_may_touch_and_never_overlap(raw):
    raw.execute(FACT.format(2, 1, "allocate", "'B'", 32))
    for lo, hi in ((99, 101), (0, 100), (10, 20), (0, 500)):
        with pytest.raises(sql.IntegrityError, match="overlap"):
            raw.execute("INSERT INTO alloc VALUES ('TM20', ?, ?, 2)", (lo, hi))
    raw.execute("INSERT INTO alloc VALUES ('TM20', 100, 101, 2)")


# Migrations.


def test_the_golden_schema_is_what_the_scripts_make(store):
    assert schema_text(store._db) == golden(), "write schema_text(db) of a new journal to schema.golden.sql"


def test_every_table_refuses_changes_after_each_migration():
    for last in range(1, len(scripts()) + 1):
        with closing(sql.connect(":memory:", isolation_level=None)) as model:
            for script in scripts()[:last]:
                model.executescript(script)
            text = schema_text(model)
        with closing(sql.connect(":memory:", isolation_level=None)) as db:
            migrate(db, scripts()[:last], text)
            assert db.execute("PRAGMA user_version").fetchone() == (last,)
            for table in TABLES:
                for what in ("UPDATE", "DELETE"):
                    assert f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table}" in schema_text(db)


# The trap: a table that is rebuilt loses its triggers, and nothing is said.
REBUILD = """CREATE TABLE fresh (id INTEGER PRIMARY KEY, machine TEXT, machine_seq INTEGER, at TEXT, why TEXT,
    body BLOB);
INSERT INTO fresh SELECT * FROM refusal;
DROP TABLE refusal;
ALTER TABLE fresh RENAME TO refusal;
"""


def test_a_migration_that_drops_a_trigger_is_undone_and_named(path):
    full(path)
    with closing(sql.connect(path, isolation_level=None)) as db:
        with pytest.raises(Broken, match="trigger refusal_no_delete is missing"):
            migrate(db, [*scripts(), REBUILD], golden())
        assert schema_text(db) == golden()
        assert db.execute("PRAGMA user_version").fetchone() == (len(scripts()),)


def test_a_migration_that_is_good_is_kept(path):
    full(path)
    step = "CREATE TABLE extra (id INTEGER PRIMARY KEY) STRICT;\n"
    with closing(sql.connect(path, isolation_level=None)) as db:
        migrate(db, [*scripts(), step], golden() + step)
        assert db.execute("PRAGMA user_version").fetchone() == (len(scripts()) + 1,)
    with pytest.raises(Problem, match="newer reelmark"):
        Store.open(path)


@pytest.mark.parametrize(
    ("done", "said"),
    [
        ("DROP TRIGGER fact_no_update", "trigger fact_no_update is missing"),
        ("DROP TRIGGER alloc_no_overlap", "trigger alloc_no_overlap is missing"),
        ("CREATE TABLE notes (a)", "table notes does not belong there"),
        ("ALTER TABLE refusal ADD COLUMN a TEXT", "table refusal is altered"),
    ],
)
def test_a_schema_that_was_altered_is_not_opened_and_not_mended(path, raw, done, said):
    raw.execute(done)
    before = schema_text(raw)
    with pytest.raises(Broken, match=said):
        Store.open(path)
    assert schema_text(raw) == before


# Tampering below the triggers.


def tampered(raw: sqlite3.Connection, *statements: Any, trigger: str = "fact_no_update") -> None:
    """Do what only someone with the file can do: lift a trigger, change, put it back word for word."""
    text = raw.execute("SELECT sql FROM sqlite_master WHERE name = ?", (trigger,)).fetchone()[0]
    raw.execute(f"DROP TRIGGER {trigger}")
    for one in statements:
        raw.execute(*one)
    raw.execute(text)


def checked(path: Path) -> None:
    with Store.open(path) as store:
        store.check()


def test_one_changed_byte_is_found_at_its_place(path, raw):
    body = bytearray(raw.execute("SELECT body FROM fact WHERE seq = 1").fetchone()[0])
    body[20] ^= 1
    tampered(raw, ("UPDATE fact SET body = ? WHERE seq = 1", (bytes(body),)))
    with pytest.raises(Broken, match=r"entry 1 \(office 1\): its bytes were changed"):
        checked(path)


def test_a_column_beside_an_entry_is_held_against_it(path, raw):
    tampered(raw, ("UPDATE fact SET by1 = 'C. Sedge' WHERE seq = 0", ()))
    with pytest.raises(Broken, match=r"entry 0 \(press 1\): by beside the entry"):
        checked(path)


def test_an_entry_changed_together_with_its_leaf_breaks_the_seal(path, raw):
    forged = make(1, counted=9).body
    tampered(raw, ("UPDATE fact SET body = ?, leaf = ? WHERE seq = 0", (forged, leaf(forged))))
    with pytest.raises(Broken, match="seal of size 2"):
        checked(path)


def test_an_entry_cut_off_the_end_breaks_the_seal(path, raw):
    raw.execute("PRAGMA foreign_keys = OFF")
    tampered(raw, ("DELETE FROM alloc", ()), trigger="alloc_no_delete")
    tampered(raw, ("DELETE FROM fact WHERE seq = 1", ()), trigger="fact_no_delete")
    with pytest.raises(Broken, match="the 1 entries there are"):
        checked(path)


def test_an_entry_taken_out_of_the_middle_is_missed(path, raw):
    raw.execute("PRAGMA foreign_keys = OFF")
    tampered(raw, ("DELETE FROM fact WHERE seq = 0", ()), trigger="fact_no_delete")
    with pytest.raises(Broken, match="entry 0 is missing before it"):
        checked(path)


def test_an_allocation_without_its_entry_is_found(path, raw):
    raw.execute("PRAGMA foreign_keys = OFF")
    tampered(raw, ("DELETE FROM fact WHERE seq = 1", ()), trigger="fact_no_delete")
    with pytest.raises(Broken, match="the allocations: 1 belong to no entry"):
        checked(path)


def test_a_row_against_the_rules_is_found(path, raw):
    raw.execute("PRAGMA ignore_check_constraints = ON")
    tampered(raw, ("UPDATE fact SET by2 = NULL WHERE seq = 1", ()))
    with pytest.raises(Broken, match="CHECK constraint failed in fact"):
        checked(path)


def test_a_damaged_file_is_broken(path):
    full(path)
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(Broken):
        checked(path)


def test_files_that_are_no_journal(tmp_path):
    with pytest.raises(Problem, match="no such file"):
        Store.open(tmp_path / "none.db")
    with pytest.raises(Problem, match="no such file"):
        Store.open(tmp_path)
    (tmp_path / "text.db").write_text("not a database " * 400)
    with pytest.raises(Broken, match="not a database"):
        Store.open(tmp_path / "text.db")
    with closing(sqlite3.connect(tmp_path / "other.db")) as db:
        db.execute("CREATE TABLE a (b)")
    with pytest.raises(Problem, match="not a journal of reelmark"):
        Store.open(tmp_path / "other.db")
    with pytest.raises(Problem, match="there is a file of that name"):
        Store.create(tmp_path / "other.db")
    with pytest.raises(Problem, match="choose a folder"):
        Store.create(tmp_path / "none" / "journal.db")


def test_a_writer_waits_its_turn_and_then_says_so(store, path):
    with closing(sql.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        store._db.execute("PRAGMA busy_timeout = 50")
        with pytest.raises(Problem, match="another program is writing"):
            store.append([make(1)])
        other.execute("ROLLBACK")
    store.append([make(1)])


def test_settings_are_the_safe_ones(store):
    found = store.settings()
    assert found["journal_mode"] == ("wal" if sql.sqlite_version_info >= WAL_SINCE else "truncate")
    assert found["synchronous"] == "2"
    assert (found["foreign_keys"], found["recursive_triggers"]) == ("1", "1")


# Other processes: the older SQLite that Python brings, and the end that comes without warning.

START = """
import sys
if sys.argv[2] == "old":
    sys.modules["pysqlite3"] = None
from pathlib import Path
from reelmark.io import Row, Store
from reelmark.journal import leaf
def row(seq):
    body = b'{"seq":%d}' % seq
    return Row("press", seq, "count", "now", "A. Moss", None, body, leaf(body))
"""
WRITER = (
    START
    + """
store = Store.create(Path(sys.argv[1]))
print(store.settings()["driver"], store.settings()["journal_mode"], sep="|", flush=True)
seq = 0
while True:
    rows = [row(seq + k) for k in range(1, 1 + seq % 3 + 1)]
    store.append(rows)
    seq += len(rows)
    print(seq, flush=True)
"""
)


@pytest.mark.parametrize("driver", ["new", "old"])
@pytest.mark.parametrize("acknowledged", [1, 7, 40])
def test_what_was_acknowledged_survives_a_kill(path, driver, acknowledged):
    command = [sys.executable, "-c", WRITER, str(path), driver]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout
        first = writer.stdout.readline()
        for _ in range(acknowledged):
            promised = int(writer.stdout.readline())
        os.kill(writer.pid, signal.SIGKILL)
        promised = max(promised, *(int(line) for line in writer.stdout.read().split()), 0)
    if driver == "old" and sqlite3.sqlite_version_info < WAL_SINCE:
        assert first == f"sqlite3, SQLite {sqlite3.sqlite_version}|truncate\n"
    with Store.open(path) as store:
        store.check()
        assert store.size >= promised
        assert store.entries() == [b'{"seq":%d}' % seq for seq in range(1, store.size + 1)]
        # whole appends only: 1, 2, 3, 1, 2, 3 ... rows at a time, as seq % 3 + 1 gives them
        whole = 0
        while whole < store.size:
            whole += whole % 3 + 1
        assert whole == store.size
