"""Bytes a note: of the run tables, which follow handlings and not notes, and of the journal they are read from."""

from pathlib import Path

from measure import Result, stated, times
from order50 import UPS, Shop50

from reelmark.io import Store, row
from reelmark.journal import canonical
from reelmark.records import adapter
from reelmark.trace.thread import Thread


def journal_bytes(shop: Shop50, path: Path) -> tuple[int, int]:
    """(size of the file, of the bodies alone) with every record in the store, as the intake would keep it."""
    bodies = [canonical(record) for record in shop.records]
    with Store.create(path) as store:
        store.append([row(adapter().validate_json(body), body) for body in bodies])
    return path.stat().st_size, sum(len(body) for body in bodies)


def table_bytes(thread: Thread) -> int:
    """Of the run tables: web to web and sheet to sheet, the cutter, sheet to strike.  The rest follows from these."""
    cutter = thread.cutter
    columns = (cutter.s, cutter.n, cutter.w, cutter.width, cutter.sign)
    return thread.step.nbytes + thread.prints.nbytes + sum(int(column.nbytes) for column in columns)


def cache_bytes(thread: Thread) -> int:
    """Of the maps composed from the tables, made in a few ms and never stored."""
    maps = (thread.back_step, thread.back_prints, thread.born, thread.wound)
    return sum(one.nbytes for one in maps) + thread.straight.nbytes


def storage(shop: Shop50, thread: Thread, folder: Path, rows: int, notes: int) -> list[Result]:
    """rows : bytes of the anchor, for this many notes of its own; notes : of the order."""
    tables, caches = table_bytes(thread), cache_bytes(thread)
    journal, bodies = journal_bytes(shop, folder / "journal.db")
    events = f"{len(shop.runs):,} records, {len(thread.step) + len(thread.prints) + len(thread.cutter.s):,} runs"
    size = "storage as runs", tables / notes, "byte/note"
    return [
        Result(*size, rows / notes, rows / tables, "<= 0.05 byte/note", tables / notes <= 0.05, f"{events}, int64"),
        Result("storage as journal", journal / notes, "byte/note", rows / notes, rows / journal, "<= 0.05 byte/note",
               journal / notes <= 0.05, f"the store's whole file; the records' JSON alone is {bodies:,} bytes"),
        times("bytes, run tables", tables, "byte", rows, 1000, f"{notes:,} notes; anchor: its file, rows and indices"),
        stated("bytes, journal in SQLite", journal, "byte", rows, "what is truth; the tables are read from it"),
        stated("bytes, composed maps", caches, "byte", rows, "in memory only, made anew when the journal grows"),
    ]  # fmt: skip


def notes_of(shop: Shop50) -> int:
    """Numbers printed."""
    return shop.ticks * UPS
