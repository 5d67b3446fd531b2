"""What goes into the store and comes out of it, and what its schema says when it refuses, in words."""

import sqlite3
from typing import NamedTuple

from reelmark.errors import BadValue, Clash, NotAllowed
from reelmark.journal import leaf
from reelmark.records import Record

__all__ = ["Refused", "Row", "Sealed", "reason", "row"]


class Row(NamedTuple):
    """One entry to append.  alloc : (series, lo, hi) that an allocation takes, half open; None for all other kinds."""

    machine: str
    machine_seq: int
    kind: str
    at: str
    by1: str
    by2: str | None
    body: bytes
    leaf: bytes
    alloc: tuple[str, int, int] | None = None


class Refused(NamedTuple):
    """A record that was not taken, and why."""

    machine: str
    machine_seq: int
    at: str
    why: str
    body: bytes


class Sealed(NamedTuple):
    """A seal: the root over the first size entries, and the signed note that says so."""

    size: int
    root: bytes
    note: str


def row(record: Record, body: bytes, alloc: tuple[str, int, int] | None = None) -> Row:
    """The entry of a record whose canonical bytes are body."""
    kind = str(getattr(record, "kind", ""))
    who = record.machine, record.seq, kind, record.at.isoformat(), record.by, record.by2
    return Row(*who, body, leaf(body), alloc)


def reason(db: sqlite3.Connection, one: Row, said: str) -> BadValue:
    """Why the schema refused a row.  said : SQLite's words, in which the rule that was broken is named."""
    who = f"{one.machine} {one.machine_seq}"
    if "two_persons" in said:
        return NotAllowed(f"by2 of {who}", one.by2, f"{one.kind} needs two persons", "let a second person sign it")
    if "different_persons" in said:
        return NotAllowed(f"by2 of {who}", one.by2, "the same person stands in by", "let a different person sign it")
    if "key used" in said:
        cure = "leave it out if it is the same record again; else correct the machine's running number"
        return Clash(f"seq of {one.machine}", one.machine_seq, f"entry {_entry(db, one)} has this key", cure)
    if "overlap" in said and one.alloc:
        return Clash(f"range of {who}", one.alloc, _in_the_way(db, *one.alloc), "allocate a range that is free")
    return BadValue(f"entry {who}", one.alloc or one.kind, f"the journal refuses it ({said})", "correct the record")


def _entry(db: sqlite3.Connection, one: Row) -> int:
    key = (one.machine, one.machine_seq)
    return int(db.execute("SELECT seq FROM fact WHERE (machine, machine_seq) = (?, ?)", key).fetchone()[0])


def _in_the_way(db: sqlite3.Connection, series: str, lo: int, hi: int) -> str:
    taken = "SELECT lo, hi, seq FROM alloc WHERE series = ? AND lo < ? AND ? < hi ORDER BY lo"
    there = db.execute(taken, (series, hi, lo)).fetchone()
    return "series {}: [{}, {}) is allocated by entry {}".format(series, *there)
