"""The life of a pack: its numbers, who banded it, what lies in it in place of spoiled notes, where it is from."""

from collections.abc import Iterator
from functools import reduce
from operator import or_
from typing import Any

from .. import records as rec
from ..errors import BadValue, NotThere
from ..facts import SERIES, Run
from ..posting import NoteDifference
from ..reading import Reading
from ..spans import EMPTY, Extent, Spans
from ..stations.numbering.plan import BUNDLE, PACK
from ..way import WAY
from .balance import difference_of_notes
from .life import account_of
from .settings import diagnosed, serious

__all__ = ["pack_life", "pack_numbers", "replacement", "step"]

Rows = list[dict[str, Any]]


def step(reading: Reading, seq: int, what: str, **more: Any) -> dict[str, Any]:
    """An entry of the journal as a step of a life."""
    one = reading.records[seq]
    return {"entry": seq, "station": reading.works.machine(one.machine).station, "machine": one.machine, "what": what,
            "at": one.at.isoformat(), "by": one.by, "by2": one.by2, **more}  # fmt: skip


def pack_numbers(reading: Reading, series: str, first: str, notes: int = PACK) -> Spans:
    """The numbers of the pack, or with 1,000 notes the bundle, that begins with a number given to the order."""
    if series not in reading.shop.formats:
        known = ", ".join(reading.shop.formats)
        raise NotThere("series", series, f"the order has {known}", "name one of them")
    if notes not in (PACK, BUNDLE):
        raise BadValue("notes", notes, f"a pack has {PACK} notes, a bundle {BUNDLE:,}", f"give {PACK} or {BUNDLE}")
    form, given = reading.shop.formats[series], reading.shop.allocated.get(series, EMPTY)
    index = form.index(first.strip().upper())
    if index % notes:
        what = "pack" if notes == PACK else "bundle"
        start = form.text(index - index % notes)
        raise BadValue("pack", first, f"it lies in the {what} that begins with {start}", f"ask for {start}")
    numbers = Spans.of((index, min(index + notes, form.size)))
    if not numbers & given:
        there = ", ".join(f"{form.text(a)} to {form.text(b - 1)}" for a, b in given) or "none"
        raise NotThere("pack", first, f"of series {series} the order was given {there}", "ask for a pack of these")
    return numbers


def pack_life(reading: Reading, series: str, first: str, notes: int = PACK) -> dict[str, Any]:
    """What is known of a pack, or a bundle.

    from : where what lies in it came from, the notes put in among it and those taken out not
    """
    numbers, form = pack_numbers(reading, series, first, notes), reading.shop.formats[series]
    replaced = _replaced(reading, series, numbers)
    inside = _inside(series, numbers, replaced)
    back = reading.thread.back(inside | Extent({(SERIES + series, 0): numbers}))
    return {
        "series": series,
        "first": form.text(numbers.first),
        "last": form.text(numbers.stop - 1),
        "notes": numbers.size,
        "banded": _entries(reading, series, numbers, "pack"),
        "accounts": (accounts := _accounts(reading, series, numbers, replaced)),
        "numbers": _numbers(reading, series, accounts, replaced),
        "replaced": replaced,
        "from": _from(reading, inside),
        "marks": _marks(reading, inside),
        "faults": _faults(reading, series, numbers, [unit for unit, _ in back.may if unit in reading.thread.imprints]),
        "moved": _entries(reading, series, numbers, "move") + _entries(reading, series, numbers, "destroy"),
        "counts": _entries(reading, series, numbers, "count"),
        "differences": _differences(reading, series, numbers),
    }


def _entries(reading: Reading, series: str, numbers: Spans, kind: str) -> Rows:
    """Records of one kind that name any of the numbers, as they stand corrected."""
    rows = []
    for seq, due in reading.shop.due:
        if isinstance(due, Run) or due.kind != kind or getattr(due, "series", None) != series:  # type: ignore[attr-defined]
            continue
        some = reading.shop.numbers(due)  # type: ignore[arg-type]
        if many := (some & numbers).size:
            told = {name: getattr(due, name) for name in ("first", "last", "counted", "source", "target", "why")
                    if hasattr(due, name)}  # fmt: skip
            rows.append(step(reading, seq, kind, of_these=many, **told))
    return rows


def _accounts(reading: Reading, series: str, numbers: Spans, replaced: Rows) -> Rows:
    """Stretch by stretch, in which account the numbers are; those that no cut has made notes last of all asked."""
    form, books = reading.shop.formats[series], reading.accounting.books.accounts((SERIES + series, 0))
    parts = [(held & numbers, f"{account.place}:{account.kind}") for account, held in books.items()]
    parts += [(Spans.of((row["index"], row["index"] + 1)), row["account"]) for row in replaced]
    parts += [(numbers & _struck(reading, series), "on sheets")]
    parts += [(numbers & reading.shop.allocated.get(series, EMPTY), "series:allocated"), (numbers, "series:free")]
    rows, left = [], numbers
    for some, account in parts:
        rows += [(a, b, account) for a, b in some & left]
        left -= some
    return [
        {"account": account, "first": form.text(a), "last": form.text(b - 1), "notes": b - a}
        for a, b, account in sorted(rows)
    ]


def _struck(reading: Reading, series: str) -> Spans:
    """Numbers of a series that the boxes have printed."""
    struck = [one.numbers(ticks) for one, ticks in reading.shop.struck.items() if one.series == series]
    return reduce(or_, struck, EMPTY)


def _numbers(reading: Reading, series: str, accounts: Rows, replaced: Rows) -> Rows:
    """Number by number: its account, and what lies in the pack in its place."""
    form, instead = reading.shop.formats[series], {row["number"]: row["by"] for row in replaced}
    return [
        {"number": (text := form.text(index)), "account": row["account"], "replaced_by": instead.get(text)}
        for row in accounts
        for index in range(form.index(row["first"]), form.index(row["last"]) + 1)
    ]


def _packs(reading: Reading) -> Iterator[tuple[int, rec.Pack]]:
    for seq, due in reading.shop.due:
        if isinstance(due, rec.Pack):
            yield seq, due


def _replaced(reading: Reading, series: str, numbers: Spans) -> Rows:
    """Numbers that are not in it, what lies there instead, and where both are."""
    form, rows = reading.shop.formats[series], []
    for seq, pack in _packs(reading):
        for one in pack.replaced if pack.series == series else ():
            if (index := form.index(one.number)) in numbers:
                by_series, by = _put_in(reading, one.by)
                rows.append({"number": one.number, "by": one.by, "by_series": by_series, "by_index": by, "entry": seq,
                             "index": index, "account": account_of(reading, series, index),
                             "by_account": account_of(reading, by_series, by)})  # fmt: skip
    return sorted(rows, key=lambda row: row["index"])


def _put_in(reading: Reading, text: str) -> tuple[str, int]:
    """(series, index) of a replacement note that the books took."""
    series = next(s for s in reading.shop.by_purpose["replacement"] if reading.shop.formats[s].read(text) is not None)
    return series, reading.shop.formats[series].index(text)


def replacement(reading: Reading, series: str, index: int) -> dict[str, Any] | None:
    """Where a number was replaced in its pack, or put in for another: both numbers, the entry, the pack's number."""
    text = reading.shop.formats[series].text(index)
    for seq, pack in _packs(reading):
        for one in pack.replaced:
            if text in (one.number, one.by):
                return {"number": one.number, "by": one.by, "entry": seq, "series": pack.series}
    return None


def _inside(series: str, numbers: Spans, replaced: Rows) -> Extent:
    """The notes that lie in it."""
    out = Spans([row["index"] for row in replaced], [row["index"] + 1 for row in replaced])
    put_in = [((SERIES + row["by_series"], 0), Spans.of((row["by_index"], row["by_index"] + 1))) for row in replaced]
    return Extent([((SERIES + series, 0), numbers - out), *put_in])


def _from(reading: Reading, notes: Extent) -> Rows:
    """Unit by unit back to the film, the pile that was numbered first: all it may come from, and surely does."""
    back, order, way = reading.thread.back(notes), reading.thread.order, [one.name for one in WAY]
    maker = reading.thread.maker
    in_turn = sorted(back.may.items(), key=lambda p: (-way.index(maker[p[0][0]].station), -order[p[0][0]], p[0][1]))
    return [
        {"unit": unit, "lane": lane or None, "station": maker[unit].station, "measure": measure,
         "from": x(spans.first), "to": x(spans.stop), "stretches": len(spans), "may": x(spans.size),
         "must": x(back.must.get((unit, lane), EMPTY).size)}
        for (unit, lane), spans in in_turn
        for measure, x in [("m", _metres) if unit in reading.shop.rolls else ("sheets", int)]
    ]  # fmt: skip


def _metres(um: int) -> float:
    return um / 1e6


def _marks(reading: Reading, notes: Extent) -> Rows:
    """Marks on the web that it may come from."""
    back = reading.thread.back(notes)
    return [
        {"entry": mark.seq, "fault": mark.fault, "grade": mark.grade, "seen_by": mark.seen_by,
         "seen_on": next(iter(mark.extent))[0], "sure": bool(mark.extent & back.must)}
        for mark in reading.shop.marks if mark.extent & back.may
    ]  # fmt: skip


def _faults(reading: Reading, series: str, numbers: Spans, piles: list[str]) -> list[str]:
    """What the reads say of the boxes that printed it."""
    return [
        f"{unit}: {one.text}"
        for pile in piles for unit, one in diagnosed(reading, pile)
        if serious(one) and reading.thread.imprints[unit].series == series
        and any(n.first < numbers.stop and numbers.first <= n.last for n in one.withdraw)
    ]  # fmt: skip


def _differences(reading: Reading, series: str, numbers: Spans) -> Rows:
    """Counts of any of these numbers that disagreed with the books; settled_by : the entry that ended it."""
    books = reading.accounting
    every: list[tuple[NoteDifference, int | None]] = [(one, None) for one in books.note_differences.values()]
    every += books.healed
    return [
        difference_of_notes(reading, one) | {"settled_by": ended}
        for one, ended in every if one.series == series and one.numbers & numbers
    ]  # fmt: skip
