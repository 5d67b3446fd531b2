"""The anchor: what most would build, a row for every note in SQLite, with indices for both ways.

    note(num, sheet, pos)  joined to  sheet(id, roll, lane, um)      um : where its first stretch of film begins

It is spared what we answer as well: a sheet across a splice has one row, of its first film; nothing is in doubt; and
the database is told to keep all of itself in memory.
"""

from collections.abc import Iterator
from itertools import repeat
from pathlib import Path

import numpy as np
from order50 import BLOCK, CUT_OFF, UPS

from reelmark.io.sqlite import sql

MAKE = """
PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -3000000; PRAGMA temp_store = MEMORY;
CREATE TABLE sheet(id INTEGER PRIMARY KEY, roll TEXT, lane INTEGER, um INTEGER);
CREATE TABLE note(num INTEGER PRIMARY KEY, sheet INTEGER, pos INTEGER);
"""
INDEX = "CREATE INDEX sheet_film ON sheet(roll, lane, um); CREATE INDEX note_sheet ON note(sheet); ANALYZE;"
TRACE = "SELECT s.roll, s.lane, s.um FROM note n JOIN sheet s ON s.id = n.sheet WHERE n.num = ?"
RECALL = (
    "SELECT n.num FROM sheet s JOIN note n ON n.sheet = s.id"
    " WHERE s.roll = ? AND s.lane = ? AND s.um > ? AND s.um < ? ORDER BY n.num"
)
MANY = 1000  # rows, from which NumPy makes ranges quicker than a loop

Place = tuple[str, int]


class Anchor:
    """A database of rows, open for questions."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db = sql.connect(str(path), isolation_level=None)
        self.rows = 0

    def load(self, film: list[tuple[Place, np.ndarray]], sheet_of_tick: np.ndarray, most: int) -> None:
        """All sheets born, and the notes of the first ticks until there are `most` rows."""
        self.db.executescript(MAKE)
        self.db.execute("BEGIN")
        at = 0
        for (roll, lane), um in film:
            ids = range(at, at + len(um))
            rows = zip(ids, repeat(roll), repeat(lane), um.tolist(), strict=False)
            self.db.executemany("INSERT INTO sheet VALUES (?, ?, ?, ?)", rows)
            at += len(um)
        for rows_ in _notes(sheet_of_tick[: -(-most // UPS)]):
            self.rows += self.db.executemany("INSERT INTO note VALUES (?, ?, ?)", rows_).rowcount
        self.db.execute("COMMIT")
        self.db.executescript(INDEX)
        self.db.execute("PRAGMA mmap_size = 8000000000")

    @property
    def bytes(self) -> int:
        """Size of the file."""
        return self.path.stat().st_size

    def trace(self, number: int) -> tuple[str, int, int]:
        """(roll, lane, um) of a number."""
        found: tuple[str, int, int] = self.db.execute(TRACE, (number,)).fetchone()
        return found

    def recall(self, place: Place, start: int, stop: int) -> list[tuple[int, int]]:
        """Numbers on a stretch of film: rows fetched, and made into ranges."""
        rows = self.db.execute(RECALL, (*place, start - CUT_OFF, stop)).fetchall()
        return _few_islands(rows) if len(rows) < MANY else _islands(np.array(rows, np.int64)[:, 0])


def _few_islands(rows: list[tuple[int]]) -> list[tuple[int, int]]:
    """Numbers in order as (start, stop), the quicker way for few."""
    found, first, stop = [], -1, -1
    for (number,) in rows:
        if number != stop:
            found.append((first, stop))
            first = number
        stop = number + 1
    return [*found[1:], (first, stop)] if found else []


def _islands(numbers: np.ndarray) -> list[tuple[int, int]]:
    gap = np.flatnonzero(np.diff(numbers) != 1)
    first, last = np.append(-1, gap) + 1, np.append(gap, len(numbers) - 1)
    return list(zip(numbers[first].tolist(), (numbers[last] + 1).tolist(), strict=True))


def _notes(sheet_of_tick: np.ndarray) -> Iterator[Iterator[tuple[int, int, int]]]:
    """Rows in order of number, a stack of one block and position at a time; boxes count down."""
    for start in range(0, len(sheet_of_tick), BLOCK):
        ticks = np.arange(start, min(start + BLOCK, len(sheet_of_tick)))[::-1]
        sheets, step = sheet_of_tick[ticks].tolist(), BLOCK - 1 - ticks % BLOCK
        for position in range(UPS):
            first = (start // BLOCK * UPS + position) * BLOCK
            yield zip((first + step).tolist(), sheets, repeat(position), strict=False)
