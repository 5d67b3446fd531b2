"""The database file: opened with safe settings only, and no file but ours."""

import os
import sqlite3
from pathlib import Path
from typing import Final

from reelmark.errors import Problem
from reelmark.io.migrate import golden, migrate, scripts
from reelmark.io.sqlite import pragma, sql, words

__all__ = ["connect", "create", "settings"]

APPLICATION: Final = 1919247724  # "reel", set by the first script: the file says what it is
BUSY_SECONDS: Final = 10.0
STRICT_SINCE: Final = (3, 37, 0)
# Source: sqlite.org/changes.html, 3.51.3: two connections could lose commits in WAL mode, from 3.7.0 on.
WAL_SINCE: Final = (3, 51, 3)


def _wanted() -> dict[str, str]:
    """Settings of every connection.  fullfsync: on a Mac a plain sync stops short of the disk."""
    mode = "wal" if sql.sqlite_version_info >= WAL_SINCE else "truncate"
    rest = {"synchronous": "2", "foreign_keys": "1", "recursive_triggers": "1", "trusted_schema": "0", "fullfsync": "1"}
    return {"journal_mode": mode, **rest}


def create(path: Path) -> sqlite3.Connection:
    """A new file with the newest schema; Problem if something stands there already."""
    asked = f"new journal {path}"
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o660))
    except FileExistsError as error:
        raise Problem(asked, "there is a file of that name", "choose another name, or open the one there is") from error
    except OSError as error:
        raise Problem(asked, f"{error.strerror}", "choose a folder that exists and may be written") from error
    return _ready(path, new=True)


def connect(path: Path) -> sqlite3.Connection:
    """The file, brought up to date; Problem if it is none of ours, Broken if its schema was tampered with."""
    if not path.is_file():
        raise Problem(f"journal {path}", "there is no such file", "give the works' folder, or begin one: reelmark new")
    return _ready(path, new=False)


def _ready(path: Path, new: bool) -> sqlite3.Connection:
    if sql.sqlite_version_info < STRICT_SINCE:
        raise Problem(f"journal {path}", f"SQLite {sql.sqlite_version} is older than 3.37", "pip install pysqlite3")
    with words(f"journal {path}"):
        uri = f"{path.absolute().as_uri()}?mode=rw"
        db: sqlite3.Connection = sql.connect(uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            if not new and pragma(db, "application_id") != str(APPLICATION):
                raise Problem(f"journal {path}", "it is not a journal of reelmark", "give the file that reelmark made")
            set_safely(db)
            migrate(db, scripts(), golden())
        except BaseException:
            db.close()
            raise
    return db


def set_safely(db: sqlite3.Connection) -> None:
    """Make the settings, and see that they took."""
    for name, value in _wanted().items():
        db.execute(f"PRAGMA {name} = {value}")
        if (found := pragma(db, name)) != value:
            cure = "close every other program that has the file open, and keep it on a local disk"
            raise Problem(f"setting {name} = {value}", f"SQLite keeps {found}", cure)


def settings(db: sqlite3.Connection) -> dict[str, str]:
    """What this connection runs with, for a report."""
    driver = f"{sql.__name__.partition('.')[0]}, SQLite {sql.sqlite_version}"
    newest = ".".join(map(str, WAL_SINCE))
    why = "safe in WAL mode" if sql.sqlite_version_info >= WAL_SINCE else f"WAL mode is not safe before {newest}"
    found = {name: pragma(db, name) for name in (*_wanted(), "busy_timeout", "user_version")}
    return {"driver": driver, "why this journal_mode": why, **found}
