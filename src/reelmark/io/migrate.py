"""The schema, brought up to date and held to its golden copy.

Scripts in ``migrations/`` are applied in the order of their numbers; PRAGMA user_version says how many a file has had.
They are applied all or none, and only if the outcome is, word for word, ``schema.golden.sql``.  A rebuilt table loses
its triggers without a word, and with them the rule that nothing is altered: so the schema is compared at every
opening, and a trigger that is missing is reported, never put back in silence.
"""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

from reelmark.errors import Broken, Problem
from reelmark.io.sqlite import pragma, sql, writing

__all__ = ["golden", "migrate", "schema_text", "scripts"]

HERE: Final = Path(__file__).parent


def scripts() -> list[str]:
    """The migrations in order; the first makes the journal."""
    return [one.read_text(encoding="utf-8") for one in sorted((HERE / "migrations").glob("*.sql"))]


def golden() -> str:
    """The schema as it must be once every script has been applied."""
    return (HERE / "schema.golden.sql").read_text(encoding="utf-8")


def migrate(db: sqlite3.Connection, steps: Sequence[str], wanted: str) -> None:
    """Apply the scripts the file has not had, all or none, and hold it to the wanted schema; Broken if it differs."""
    if _version(db, len(steps)) < len(steps):
        with writing(db):
            for number in range(_version(db, len(steps)), len(steps)):
                _apply(db, steps[number], number + 1)
            _hold(db, wanted)
    _hold(db, wanted)


def _version(db: sqlite3.Connection, newest: int) -> int:
    version = int(pragma(db, "user_version"))
    if version > newest:
        true = f"the file has schema {version}, this program knows {newest}"
        raise Problem("opening the journal", true, "use the newer reelmark that wrote it")
    return version


def _apply(db: sqlite3.Connection, script: str, number: int) -> None:
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sql.complete_statement(statement):
            db.execute(statement)
            statement = ""
    db.execute(f"PRAGMA user_version = {number}")


def _schema(db: sqlite3.Connection) -> dict[str, str]:
    """{"trigger fact_no_update": its SQL, ...}, tables before triggers."""
    rows = db.execute("SELECT type || ' ' || name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type, name")
    return dict(rows.fetchall())


def schema_text(db: sqlite3.Connection) -> str:
    """The schema as ``schema.golden.sql`` holds it."""
    return "\n\n".join(f"{one};" for one in _schema(db).values()) + "\n"


def _hold(db: sqlite3.Connection, wanted: str) -> None:
    with closing(sql.connect(":memory:")) as model:
        model.executescript(wanted)
        must = _schema(model)
    found = _schema(db)
    faults = [f"{name} is missing" for name in must if name not in found]
    faults += [f"{name} is altered" for name, text in must.items() if found.get(name, text) != text]
    faults += [f"{name} does not belong there" for name in found if name not in must]
    if faults:
        cure = "do not write to it; bring it back from its last good copy, and find out who altered it"
        raise Broken("schema of the journal", ", ".join(faults), cure)
