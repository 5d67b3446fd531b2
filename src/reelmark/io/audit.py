"""The books of the database itself: is every entry what was written, and what was sealed.

Three questions, each sharper than the one before: does SQLite find its file whole; does every entry's body still
give its leaf, and do the columns beside it say what the body says; do the leaves still give every sealed root.
"""

import json
import sqlite3
from collections.abc import Iterator

from reelmark.errors import Broken
from reelmark.journal import Tree, leaf

__all__ = ["audit"]

CURE = "do not write to it; keep this file, bring back the last good copy, and compare the two"
COLUMNS = "seq, machine, machine_seq, kind, by1, by2, body, leaf"


def audit(db: sqlite3.Connection) -> None:
    """Return if all is whole; Broken names the first thing that is not."""
    _whole(db)
    tree = Tree(_leaves(db))
    for size, root in db.execute("SELECT size, root FROM seal ORDER BY size"):
        if size > len(tree) or tree.root(size) != root:
            true = f"the {len(tree)} entries there are do not give the root sealed over the first {size}"
            raise Broken(f"seal of size {size}", true, CURE)


def _whole(db: sqlite3.Connection) -> None:
    said = [row[0] for row in db.execute("PRAGMA integrity_check")]
    lost = db.execute("PRAGMA foreign_key_check").fetchall()
    if said != ["ok"]:
        raise Broken("the file", f"SQLite finds: {said[0]}", CURE)
    if lost:
        raise Broken("the allocations", f"{len(lost)} belong to no entry", CURE)


def _leaves(db: sqlite3.Connection) -> Iterator[bytes]:
    """Leaf of each entry in order, each entry held against its leaf and its columns first."""
    rows = db.execute(f"SELECT {COLUMNS} FROM fact ORDER BY seq")  # noqa: S608  (our own constant)
    for index, (seq, machine, machine_seq, kind, by1, by2, body, kept) in enumerate(rows):
        asked = f"entry {seq} ({machine} {machine_seq})"
        if seq != index:
            raise Broken(asked, f"entry {index} is missing before it", CURE)
        if leaf(body) != kept:
            raise Broken(asked, f"its bytes were changed: they hash to {leaf(body).hex()}, kept is {kept.hex()}", CURE)
        beside = {"machine": machine, "seq": machine_seq, "kind": kind, "by": by1, "by2": by2}
        if wrong := _disagrees(body, beside):
            raise Broken(asked, f"{wrong} beside the entry is not what the entry says", CURE)
        yield kept


def _disagrees(body: bytes, beside: dict[str, object]) -> str:
    """The first column that says other than the record; '' if none does, or if the body is no record."""
    try:
        record = json.loads(body)
    except ValueError:
        return ""
    if not isinstance(record, dict):
        return ""
    return next((name for name, value in beside.items() if record.get(name, value) != value), "")
