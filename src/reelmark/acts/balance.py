"""The balance: every account, and if the books do not balance, between which two counts the difference arose."""

from typing import Any

from ..facts import SERIES
from ..posting import NoteDifference
from ..reading import Reading
from ..trace import Difference

__all__ = ["balance", "difference_of_notes", "difference_of_sheets"]


def balance(reading: Reading) -> dict[str, Any]:
    """Balanced, or the differences; those a later count settled; and what every account holds."""
    accounting = reading.accounting
    faults = [fault.text for fault in accounting.proved()]
    differences = [difference_of_sheets(reading, d) for d in reading.thread.lengths.differences]
    differences += [difference_of_notes(reading, d) for d in accounting.note_differences.values()]
    settled = [
        difference_of_sheets(reading, one) | {"settled_by": _event(reading, tie.seq)["text"]}
        for one, tie in reading.thread.lengths.healed
    ]
    settled += [
        difference_of_notes(reading, old) | {"settled_by": _event(reading, seq)["text"]}
        for old, seq in accounting.healed
    ]
    unsettled = [
        {"unit": unit, "measure": accounting.books.measures[unit], "most": held.size}
        for unit, lane in accounting.books.places()
        for held in accounting.books.of_kind((unit, lane), "difference").values()
    ]
    lines = [
        {"account": f"{one.account.place}:{one.account.kind}", "measure": one.measure, "holds": one.many}
        for one in accounting.books.balance()
    ]
    balanced = not (faults or differences or unsettled)
    return {
        "balanced": balanced, "differences": differences, "settled": settled, "unsettled": unsettled,
        "faults": faults, "accounts": lines,
    }  # fmt: skip


def difference_of_sheets(reading: Reading, one: Difference) -> dict[str, Any]:
    """A count of sheets that cannot be true beside those before it."""
    low, high = one.booked
    return {
        "unit": one.unit, "counted": one.counted, "booked_low": low, "booked_high": high,
        "between": [one.since, f"count of {one.unit}: {one.counted:,} (entry {one.seq})"],
        "events": [_event(reading, seq) for seq in one.events], "entry": one.seq, "measure": "sheets",
    }  # fmt: skip


def difference_of_notes(reading: Reading, one: NoteDifference) -> dict[str, Any]:
    """A count of notes that disagrees with what the books hold there."""
    form = reading.shop.formats[one.series]
    what = f"{form.text(one.numbers.first)} to {form.text(one.numbers.stop - 1)}"
    return {
        "unit": what, "counted": one.counted, "booked_low": one.booked, "booked_high": one.booked,
        "between": [_event(reading, one.since)["text"], f"count of {what}: {one.counted:,} (entry {one.seq})"],
        "events": [_event(reading, seq) for seq in one.events], "entry": one.seq, "measure": "notes",
        "series": SERIES + one.series,
    }  # fmt: skip


def _event(reading: Reading, seq: int) -> dict[str, Any]:
    """An entry of the journal in words."""
    record = reading.records[seq]
    kind = str(getattr(record, "kind", ""))
    return {"entry": seq, "kind": kind, "machine": record.machine, "seq": record.seq, "at": record.at.isoformat(),
            "text": f"{kind} at {record.machine} (entry {seq})"}  # fmt: skip
