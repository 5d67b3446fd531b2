"""The file of people, opened: one connection that many threads use in turn, and no file but ours."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import RLock
from typing import Any, Final, Self

from reelmark.errors import Broken, Clash, Problem
from reelmark.io.database import BUSY_SECONDS, set_safely
from reelmark.io.migrate import migrate
from reelmark.io.sqlite import pragma, sql, words, writing

__all__ = ["APPLICATION", "IDLE", "PeopleFile", "stamp"]

APPLICATION: Final = 1919711080  # "rlwh", set by people.sql
IDLE: Final = timedelta(hours=2)  # without a sign of life a session is over: a desk that was left
SCHEMA: Final = (Path(__file__).parent / "people.sql").read_text(encoding="utf-8")


def stamp(at: datetime) -> str:
    """A time as it is kept: UTC, all of one length, so that text order is time order."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")


class PeopleFile:
    """The open file.  Every question and every change waits for the one before it."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self._db, self.path, self._turn = db, path, RLock()

    @classmethod
    def open(cls, path: Path) -> Self:
        """The file, made if there is none; Problem if it is none of ours, Broken if its schema was altered."""
        asked = f"people file {path}"
        try:
            # Readable by its owner alone: it holds the hashes of passphrases.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            raise Problem(asked, f"{error.strerror}", "choose a folder that exists and may be written") from error
        with words(asked):
            return cls(_ready(path, asked), path)

    def close(self) -> None:
        """Let go of the file."""
        with self._turn:
            self._db.close()

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """What a question gives."""
        with self._turn, words(f"reading {self.path}"):
            return list(self._db.execute(query, values))

    def do(self, statement: str, *values: Any) -> sqlite3.Cursor:
        """One statement of a change; only inside ``changing``."""
        return self._db.execute(statement, values)

    @contextmanager
    def changing(self, asked: str) -> Iterator[None]:
        """One change: all of it, or nothing.  Clash where the rules of the file refuse it."""
        with self._turn, words(f"writing {self.path}"):
            try:
                with writing(self._db):
                    yield
            except sql.IntegrityError as error:
                raise Clash("change", asked, f"the file refuses it: {error}", "look at the page again") from error


def _ready(path: Path, asked: str) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode=rw"
    db: sqlite3.Connection = sql.connect(
        uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
    )
    try:
        _ours(db, asked)
        set_safely(db)
        migrate(db, [SCHEMA], SCHEMA)
    except Broken as broken:
        db.close()
        raise Broken(asked, broken.true, broken.cure) from broken
    except BaseException:
        db.close()
        raise
    return db


def _ours(db: sqlite3.Connection, asked: str) -> None:
    """An empty file becomes ours; any other must say that it is."""
    empty = db.execute("SELECT count(*) = 0 FROM sqlite_master").fetchone()[0]
    if pragma(db, "application_id") not in {str(APPLICATION), "0" if empty else str(APPLICATION)}:
        raise Problem(asked, "it is not a people file of reelmark", "give the file that reelmark made, or a new name")
