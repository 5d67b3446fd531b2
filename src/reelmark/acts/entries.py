"""The journal in words: an entry as it was written, what became of it, and what it did to the books.

entry         one entry: its record, corrections of it, its postings, units, ties and marks
postings_of   every posting into or out of an account, with its entry
entries       the journal as a list, by kind and machine
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, get_args

from .. import records as rec
from ..errors import BadValue, NotThere
from ..facts import BLANK, SERIES, Account, Kind, Posting, Run, Tie
from ..ledger.books import name
from ..reading import Reading, effective
from ..spans import Extent, Spans
from ..units import metres
from .written import fields, flat, in_short, kind_of, lists

__all__ = ["checked_kind", "checked_machine", "entries", "entry", "matching", "postings_of", "ranges"]

MOST_RANGES: Final = 4  # of a posting, written out
# ---- an entry


def entry(reading: Reading, seq: int) -> dict[str, Any]:
    """One entry of the journal in words.  seq : its place, from 0."""
    record = _there(reading, seq)
    stands = effective(reading.records)[seq]
    counts = record if stands is None else stands
    return {
        **_head(reading, seq),
        "fields": fields(record), "lists": lists(record),
        "stands": stands is not None, "corrected_by": _corrected_by(reading, seq), "corrects": _corrects(reading, seq),
        "changed": _changed(reading, seq, stands),
        "postings": [row for one in _postings(reading, seq) for row in _posted(reading, one)],
        "units": [] if stands is None else list(_units(reading, seq, counts)),
        "ties": [_tie(one) for one in reading.thread.ties if one.seq == seq],
        "marks": [_mark(one) for one in reading.shop.marks if one.seq == seq],
    }  # fmt: skip


def _there(reading: Reading, seq: int) -> rec.Record:
    if 0 <= seq < reading.size:
        return reading.records[seq]
    true = f"the journal holds {reading.size:,} entries, 0 to {reading.size - 1:,}" if reading.size else "it is empty"
    raise NotThere("entry", seq, true, "ask for one of these" if reading.size else "take in the records of a shift")


def _head(reading: Reading, seq: int) -> dict[str, Any]:
    record = reading.records[seq]
    return {"entry": seq, "kind": kind_of(record), "machine": record.machine, "seq": record.seq,
            "at": record.at.isoformat(), "by": record.by, "by2": record.by2}  # fmt: skip


# ---- corrections


def _corrected_by(reading: Reading, seq: int) -> list[dict[str, Any]]:
    """Later entries that took this one's place, the last of which counts."""
    key = reading.records[seq].machine, reading.records[seq].seq
    later = ((at, one) for at, one in enumerate(reading.records) if isinstance(one, rec.Correct))
    return [{**_head(reading, at), "why": one.why} for at, one in later if (one.of_machine, one.of_seq) == key]


def _corrects(reading: Reading, seq: int) -> dict[str, Any] | None:
    """The entry whose place this correction takes."""
    record = reading.records[seq]
    if not isinstance(record, rec.Correct):
        return None
    key = record.of_machine, record.of_seq
    return next(_head(reading, at) for at, one in enumerate(reading.records) if (one.machine, one.seq) == key)


def _changed(reading: Reading, seq: int, stands: rec.Record | None) -> list[dict[str, str]]:
    """Field by field what was written and what counts instead; for a correction what it changed when it came."""
    old, new = reading.records[seq], stands
    if (corrected := _corrects(reading, seq)) is not None:
        at = corrected["entry"]
        before, new = effective(reading.records[:seq])[at], effective(reading.records[: seq + 1])[at]
        old = reading.records[at] if before is None else before
    was, now = flat(old), {} if new is None else flat(new)
    return [{"field": key, "was": was.get(key, "not there"), "is": now.get(key, "never happened" if not now else "out")}
            for key in {**was, **now} if was.get(key) != now.get(key)]  # fmt: skip


# ---- postings


def _postings(reading: Reading, seq: int) -> list[Posting]:
    return _together(one for one in reading.accounting.books.postings if one.seq == seq)


def _together(postings: Iterable[Posting]) -> list[Posting]:
    """Postings of one entry that differ in their extent alone are told as one: a web is posted lane by lane."""
    alike: dict[tuple[Any, ...], list[Posting]] = {}
    for one in postings:
        alike.setdefault((one.seq, one.source, one.target, one.why, one.by), []).append(one)
    return [replace(some[0], extent=Extent([at for one in some for at in one.extent.items()]))
            for some in alike.values()]  # fmt: skip


def _posted(reading: Reading, one: Posting) -> Iterator[dict[str, Any]]:
    """A posting, unit by unit: out of which account, into which, how much of what, where, why."""
    by_unit: dict[str, list[tuple[int, Spans]]] = {}
    for (unit, lane), spans in one.extent.items():
        by_unit.setdefault(unit, []).append((lane, spans))
    for unit, lanes in by_unit.items():
        yield {
            "entry": one.seq, "out_of": name(one.source) if one.source else None, "into": name(one.target),
            "unit": unit, "measure": reading.accounting.books.measures[unit],
            "many": sum(spans.size for _, spans in lanes), "where": _where(reading, unit, lanes),
            "why": one.why, "by": " and ".join(one.by) or reading.records[one.seq].by,
        }  # fmt: skip


def _where(reading: Reading, unit: str, lanes: Sequence[tuple[int, Spans]]) -> str:
    """Ranges in words; lanes that hold the same are named together."""
    by_spans: dict[Spans, list[int]] = {}
    for lane, spans in lanes:
        by_spans.setdefault(spans, []).append(lane)
    return "; ".join(
        f"{'lane ' + ', '.join(map(str, some)) + ': ' if some != [0] else ''}{ranges(reading, unit, spans)}"
        for spans, some in by_spans.items()
    )


def ranges(reading: Reading, unit: str, spans: Spans) -> str:
    """Stretches of a unit in its own words, both ends meant: numbers, sheets from the top, metres."""
    shown = [_range(reading, unit, a, b) for a, b in list(spans)[:MOST_RANGES]]
    more = f" and {len(spans) - MOST_RANGES:,} ranges more" if len(spans) > MOST_RANGES else ""
    return ", ".join(shown) + more


def _range(reading: Reading, unit: str, start: int, stop: int) -> str:
    form = reading.shop.formats.get(unit.removeprefix(SERIES)) if unit.startswith(SERIES) else None
    if form is None and reading.accounting.books.measures.get(unit) == "um":
        return f"{metres(start)} to {metres(stop)}"
    first, last = (form.text(x) if form else f"{x:,}" for x in (start, stop - 1))
    words = first if first == last else f"{first} to {last}"
    return words if form else f"{'sheet' if first == last else 'sheets'} {words}"


def postings_of(reading: Reading, place: str, kind: str) -> list[dict[str, Any]]:
    """What an account was made from: every posting into it (many above 0) and out of it (below 0), unit by unit."""
    books = reading.accounting.books
    if kind not in get_args(Kind):
        raise BadValue("kind", kind, "no account is of that kind", f"the kinds are {', '.join(get_args(Kind))}")
    wanted = Account(place, kind)  # type: ignore[arg-type]
    rows = [
        {**_head(reading, one.seq), **row, "other": row["out_of"] if one.target == wanted else row["into"],
         "many": row["many"] if one.target == wanted else -row["many"]}
        for one in _together(one for one in books.postings if wanted in (one.source, one.target))
        for row in _posted(reading, one)
    ]  # fmt: skip
    if not rows:
        known = ", ".join(sorted({name(one.target) for one in books.postings})) or "none yet"
        raise NotThere("account", name(wanted), "nothing was ever posted to it", f"the accounts are {known}")
    return rows


# ---- what else it gave


def _units(reading: Reading, seq: int, record: rec.Record) -> Iterator[dict[str, Any]]:
    """Units it took and made, with what each holds at least and at most."""
    run = next((run for run in reading.shop.runs if run.seq == seq), None)
    took, made = _by_run(run) if run else ([record.unit] if isinstance(record, rec.Cut) else [], [])
    for what, units in (("took", took), ("made", made)):
        for unit in dict.fromkeys(units):
            web = reading.shop.web_length.get(unit)
            low, high = (web, web) if web is not None else reading.thread.lengths.sheets(unit)
            yield {"what": what, "unit": unit, "least": low, "most": high, "measure": "sheets" if web is None else "um"}


def _by_run(run: Run) -> tuple[list[str], list[str]]:
    took, made = [p.unit for p in run.pieces], [unit for unit, _, _ in run.born] + [p.to_unit for p in run.pieces]
    if run.pile:
        took += run.pile.inputs
        made += [unit for unit, _ in run.pile.outputs] + [p.lot for p in run.pile.pulls]
        made += [u.lot for u in run.pile.unknowns]
    return took, made


def _tie(one: Tie) -> dict[str, Any]:
    if one.counted is not None:
        seen = "blind" if one.blind else "the book was seen"
        return {"what": "count", "unit": one.unit, "words": f"{one.unit}: {one.counted:,} sheets counted, {seen}"}
    if one.as_unit == BLANK:
        return {"what": "blank", "unit": one.unit, "words": f"sheet {one.sheet:,} of {one.unit} bears no number"}
    words = f"sheet {one.sheet:,} of {one.unit} is {one.as_sheet:,} of {one.as_unit}"
    return {"what": "sighting", "unit": one.unit, "words": words}


def _mark(one: Any) -> dict[str, Any]:
    places = [{"unit": unit, "lane": lane, "from_m": a / 1e6, "to_m": b / 1e6}
              for (unit, lane), spans in sorted(one.extent.items()) for a, b in spans]  # fmt: skip
    return {"fault": one.fault, "grade": one.grade, "seen_by": one.seen_by, "where": places}


# ---- the journal as a list


def checked_kind(kind: str | None) -> str | None:
    """A kind of record, or BadValue with those there are."""
    if kind is not None and kind not in rec.KINDS:
        raise BadValue("kind", kind, f"the kinds are {', '.join(sorted(rec.KINDS))}", "name one of these")
    return kind


def checked_machine(reading: Reading, machine: str | None) -> str | None:
    """A machine of the works, or BadValue with those there are."""
    return machine if machine is None else reading.works.machine(machine).name


def matching(reading: Reading, kind: str | None = None, machine: str | None = None) -> list[int]:
    """Entries of a kind and of a machine, in order; None = of all."""
    checked_kind(kind), checked_machine(reading, machine)
    return [seq for seq, one in enumerate(reading.records)
            if (kind is None or kind_of(one) == kind) and (machine is None or one.machine == machine)]  # fmt: skip


def entries(
    reading: Reading, start: int, many: int, kind: str | None = None, machine: str | None = None
) -> list[dict[str, Any]]:
    """The journal from entry `start` on, so many rows: who, when, what, and whether it stands as written."""
    if start < 0 or many < 1:
        raise BadValue("start, many", (start, many), "entries count from 0", "give 0 or more, and 1 or more")
    chosen = [seq for seq in matching(reading, kind, machine) if seq >= start][:many]
    corrected = {(one.of_machine, one.of_seq) for one in reading.records if isinstance(one, rec.Correct)}
    return [{**_head(reading, seq), "words": in_short(reading.records[seq]),
             "corrected": (reading.records[seq].machine, reading.records[seq].seq) in corrected}
            for seq in chosen]  # fmt: skip
