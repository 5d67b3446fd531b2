"""SQLite itself: which one, one transaction of a writer, and its errors in words."""

import importlib
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from reelmark.errors import Broken, Problem

__all__ = ["pragma", "sql", "words", "writing"]


def _driver() -> Any:
    """SQLite as pysqlite3 brings it where that is installed, for it is newer; else as Python does."""
    try:
        return importlib.import_module("pysqlite3.dbapi2")
    except ImportError:
        return sqlite3


sql: Final = _driver()


def pragma(db: sqlite3.Connection, name: str) -> str:
    """The value of a setting, as text."""
    return str(db.execute(f"PRAGMA {name}").fetchone()[0])


@contextmanager
def writing(db: sqlite3.Connection) -> Iterator[None]:
    """One transaction of a writer: all of it, or nothing."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


# What SQLite says, as it begins to matter to a person: (its words, what is true, the cure).
_WORDS: Final = (
    ("locked", "another program is writing to it", "try again when that has finished"),
    ("full", "the disk is full; nothing was written", "make room and try again"),
    ("readonly", "it may not be written", "give yourself the right to write the file and its folder"),
    ("unable to open", "it cannot be opened", "give yourself the right to write the file and its folder"),
)


@contextmanager
def words(asked: str) -> Iterator[None]:
    """Turn SQLite's errors into the house form; Broken for all that means the file itself is damaged."""
    try:
        yield
    except sql.DatabaseError as error:
        if not isinstance(error, sql.OperationalError) and type(error) is not sql.DatabaseError:
            raise  # a row that is refused, or a mistake of ours: no matter of the file
        for said, true, cure in _WORDS:
            if said in str(error):
                raise Problem(asked, true, cure) from error
        raise Broken(asked, f"SQLite says: {error}", "bring the file back from its last good copy") from error
