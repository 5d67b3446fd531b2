"""The store: the journal at rest, in one SQLite file, which only grows.

    with Store.open(path) as store:
        first = store.append([row(record, body), ...])      all of them, or none

What is promised, by the schema and not by this code: entries are numbered without a gap; nothing is altered or taken
away; a machine's running number is used once; allocations never overlap and always have two persons behind them.  An
append that has returned survives the end of the program and of the power, on disks that honour a sync.
"""

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from reelmark.errors import BadValue, Clash
from reelmark.io import database
from reelmark.io.audit import audit
from reelmark.io.rows import Refused, Row, Sealed, reason
from reelmark.io.sqlite import sql, words, writing
from reelmark.journal import leaf

__all__ = ["Store"]

_FACT = (
    "INSERT INTO fact (seq, machine, machine_seq, kind, at, by1, by2, body, leaf) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_ALLOC = "INSERT INTO alloc (series, lo, hi, seq) VALUES (?, ?, ?, ?)"


class Store:
    """The journal at rest.  Made by ``create`` or ``open``; of one thread; closed by ``with`` or ``close``."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self._db, self.path = db, path

    @classmethod
    def create(cls, path: Path) -> Self:
        """An empty journal in a new file; Problem if there is a file of that name."""
        return cls(database.create(Path(path)), Path(path))

    @classmethod
    def open(cls, path: Path) -> Self:
        """The journal in a file, its schema brought up to date; Problem if it is none, Broken if it was altered."""
        return cls(database.connect(Path(path)), Path(path))

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    @property
    def size(self) -> int:
        """How many entries."""
        with words(f"size of {self.path}"):
            return int(self._db.execute("SELECT coalesce(max(seq), -1) + 1 FROM fact").fetchone()[0])

    def append(self, rows: Sequence[Row], after: int | None = None) -> int:
        """Write the rows at the end, all or none, and say the number of the first.

        after : how many entries there were when the rows were judged; Clash if others have come since
        Raises Clash for a key that is used and for ranges that overlap, NotAllowed for want of a second person.
        """
        with words(f"append to {self.path}"), writing(self._db):
            first = self.size
            if after is not None and after != first:
                raise Clash("journal size", after, f"it has {first} entries by now", "read it again, then judge again")
            for seq, one in enumerate(rows, first):
                self._insert(seq, one)
        return first

    def _insert(self, seq: int, one: Row) -> None:
        if one.leaf != leaf(one.body):
            raise BadValue("leaf", one.leaf.hex(), "it is not the hash of the body", "give journal.leaf(body)")
        if (one.alloc is not None) != (one.kind == "allocate"):
            raise BadValue(
                "alloc", one.alloc, f"the kind is {one.kind}", "give a range with allocations, and only those"
            )
        try:
            self._db.execute(_FACT, (seq, *one[:-1]))
            if one.alloc:
                self._db.execute(_ALLOC, (*one.alloc, seq))
        except (sql.IntegrityError, OverflowError) as error:
            raise reason(self._db, one, str(error)) from error

    def entries(self) -> list[bytes]:
        """Bodies in order, as they were written."""
        return self._column("SELECT body FROM fact ORDER BY seq")

    def leaves(self) -> list[bytes]:
        """Leaf hashes in order."""
        return self._column("SELECT leaf FROM fact ORDER BY seq")

    def _column(self, query: str, values: tuple[object, ...] = ()) -> list[bytes]:
        with words(f"reading {self.path}"):
            return [one for (one,) in self._db.execute(query, values)]

    def body_of(self, machine: str, machine_seq: int) -> bytes | None:
        """What a machine wrote under that running number; None if nothing yet."""
        found = self._column("SELECT body FROM fact WHERE machine = ? AND machine_seq = ?", (machine, machine_seq))
        return found[0] if found else None

    def refuse(self, machine: str, machine_seq: int, at: str, why: str, body: bytes) -> None:
        """Keep a record that came under a used key with other bytes, and why it was not taken."""
        into = "INSERT INTO refusal (machine, machine_seq, at, why, body) VALUES (?, ?, ?, ?, ?)"
        with words(f"refusal in {self.path}"), writing(self._db):
            self._db.execute(into, (machine, machine_seq, at, why, body))

    def refusals(self, most: int = -1) -> list[Refused]:
        """What was refused, in order.  most : the last so many; below 0 all."""
        query = "SELECT machine, machine_seq, at, why, body FROM refusal ORDER BY id DESC LIMIT ?"
        with words(f"reading {self.path}"):
            return [Refused(*one) for one in self._db.execute(query, (most,))][::-1]

    def last_seal(self) -> Sealed | None:
        """The newest seal, or None before the first."""
        with words(f"reading {self.path}"):
            found = self._db.execute("SELECT size, root, note FROM seal ORDER BY size DESC LIMIT 1").fetchone()
        return Sealed(*found) if found else None

    def add_seal(self, size: int, root: bytes, note: str) -> None:
        """Keep a seal, beyond the last and not beyond the journal; the very same seal again changes nothing."""
        with words(f"seal in {self.path}"), writing(self._db):
            if self.last_seal() == (size, root, note):
                return
            try:
                self._db.execute("INSERT INTO seal (size, root, note) VALUES (?, ?, ?)", (size, root, note))
            except sql.IntegrityError as error:
                last = self.last_seal()
                true = f"the journal has {self.size} entries, {last.size if last else 0} of them under a seal"
                raise Clash("seal size", size, true, "seal the journal as it stands now") from error

    def check(self) -> None:
        """Return if the file, every entry and every sealed root are whole; Broken names the first that is not."""
        with words(f"check of {self.path}"):
            audit(self._db)

    def settings(self) -> dict[str, str]:
        """What the database runs with, for a report."""
        return database.settings(self._db)
