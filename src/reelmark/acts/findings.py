"""What the records tell is wrong, from the records alone: one function a sort of trouble, each with its place."""

from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from .. import records as rec
from ..facts import Run
from ..reading import Reading
from ..stations.numbering import Kind
from ..units import metres
from .settings import diagnosed

__all__ = ["Found", "findings"]


class Found(NamedTuple):
    """One trouble: what sort, what is known of it, and the entry it stands in."""

    name: str
    what: dict[str, Any]
    entry: int


def findings(reading: Reading) -> list[Found]:
    """Every trouble found, in the order of the list below, then of the journal."""
    return [found for look in _LOOKS for found in look(reading)]


def _made(reading: Reading, entry: int, **what: Any) -> dict[str, Any]:
    record = reading.records[entry]
    return {**what, "machine": record.machine, "seq": record.seq}


def _standing(reading: Reading, run: Run) -> bool:
    return reading.works.machine(run.machine).standing


def _extra_rewinds(reading: Reading) -> Iterator[Found]:
    """A pass at a machine off the standard way: every roll after it runs the other way round."""
    for run in reading.shop.runs:
        if run.what == "pass" and _standing(reading, run):
            kept = next(p for p in run.pieces if not p.to_unit.endswith("/waste"))
            yield Found("extra rewind", _made(reading, run.seq, unit=kept.unit, to=kept.to_unit), run.seq)


def _odd_turns(reading: Reading) -> Iterator[Found]:
    """Piles turned otherwise than most: position by position they lie differently under the boxes."""
    turns = [(seq, one) for seq, one in enumerate(reading.records) if isinstance(one, rec.Turn)]
    usual = Counter(one.how for _, one in turns).most_common(1)
    for seq, one in turns:
        if one.how != usual[0][0]:
            what = _made(reading, seq, unit=one.unit, to=one.to, how=one.how)
            yield Found("pile turned by hand", what, seq)


def _splices(reading: Reading) -> Iterator[Found]:
    """Where a roll was cut and joined: metres as wound, and what was cut out or which rolls were joined."""
    for seq, one in enumerate(reading.records):
        if isinstance(one, rec.Pass | rec.Slit):
            at = 0
            for left, right in zip(one.kept, one.kept[1:], strict=False):
                at += left.end - left.start
                how: dict[str, Any] = {"joined": [left.unit, right.unit]}
                if left.unit == right.unit:
                    how = {"out": metres(right.start - left.end)}
                to = one.to if isinstance(one.to, str) else one.to[0].unit
                yield Found("splice", _made(reading, seq, to=to, at=metres(at), **how), seq)


def _uncounted(reading: Reading) -> Iterator[Found]:
    """Pulls nobody counted, and what the counts after them leave of the doubt."""
    for run in reading.shop.runs:
        for u in run.pile.unknowns if run.pile else ():
            low, high = reading.thread.lengths.known[u.name]
            assert run.pile is not None
            what = {"unit": run.pile.inputs[0], "to": run.pile.outputs[0][0], "start": u.start, "end": u.stop,
                    "low": u.low, "high": u.high, "count": low if low == high else None,
                    "count_low": low, "count_high": high}  # fmt: skip
            yield Found("uncounted pull", _made(reading, run.seq, **what), run.seq)


def _double_feeds(reading: Reading) -> Iterator[Found]:
    """Sheets that went under the boxes without a strike: fewer strikes than sheets, placed by what was read."""
    for unit, imprint in reading.thread.imprints.items():
        feed = reading.thread.print_feed(unit)
        for u in feed.run.unknowns:
            low, high = _narrowed(feed, u.start, u.stop, u.high)
            sheets = reading.thread.length[unit].constant
            tick = imprint.first_tick + sheets - 2 - high  # the strike before the blank sheet
            what = {"unit": unit, "sheet": low if low == high else None, "sheet_from": low, "sheet_to": high,
                    "sheets": u.high, "tick": tick}  # fmt: skip
            yield Found(
                "double feed", _made(reading, reading.thread.maker[unit].seq, **what), reading.thread.maker[unit].seq
            )


def _narrowed(feed: Any, start: int, stop: int, most: int) -> tuple[int, int]:
    """First and last sheet that may be the unnumbered one."""
    before = feed.slack.at(start)[0]
    low = next((y for y in range(start, stop) if feed.slack.at(y + 1)[1] > before), start)
    high = next((y for y in range(stop - 1, start - 1, -1) if feed.slack.at(y)[0] < before + most), stop - 1)
    return low, high


_BOX_FAULTS = (Kind.MISSET, Kind.SKIPPED, Kind.DOUBLE, Kind.WHEEL)


def _box_faults(reading: Reading) -> Iterator[Found]:
    """Faults of single boxes, sort by sort; the reads are diagnosed once for all of them."""
    told = [(unit, one) for unit, one in diagnosed(reading) if one.kind in _BOX_FAULTS]
    for unit, one in sorted(told, key=lambda box: _BOX_FAULTS.index(box[1].kind)):
        seq = reading.thread.maker[unit].seq
        what = {"unit": unit, "position": one.position, "offset": one.offset, "last_tick": one.last_tick,
                "first_tick_from": one.first_tick_suspect, "first_tick_to": one.first_tick_sure,
                "withdraw": _texts(reading, unit, one.withdraw), "text": one.text}  # fmt: skip
        yield Found(one.kind.value, _made(reading, seq, **what), seq)


def _texts(reading: Reading, unit: str, numbers: Any) -> list[list[str]]:
    form = reading.shop.formats[reading.thread.imprints[unit].series]
    return [[form.text(one.first), form.text(one.last)] for one in numbers]


def _short_packs(reading: Reading) -> Iterator[Found]:
    """Counts of notes that disagreed with the books, and how it ended."""
    accounting = reading.accounting
    ended = [(old, seq) for old, seq in accounting.healed]
    for one, until in [*ended, *((d, None) for d in accounting.note_differences.values())]:
        form = reading.shop.formats[one.series]
        what = {"series": one.series, "first": form.text(one.numbers.first), "last": form.text(one.numbers.stop - 1),
                "counted": one.counted, "booked": one.booked, **_made_good(reading, one, until)}  # fmt: skip
        yield Found("short pack", _made(reading, one.seq, **what), one.seq)


def _made_good(reading: Reading, one: Any, until: int | None) -> dict[str, Any]:
    """The note that was moved out of the range between the two counts, and what was put in its place."""
    if until is None:
        return {"number": None, "replaced_by": None}
    moved = [r for r in reading.records[one.seq : until] if isinstance(r, rec.Move) and r.series == one.series
             and r.first is not None and r.first == r.last
             and reading.shop.formats[one.series].index(r.first) in one.numbers]  # fmt: skip
    number = moved[0].first if moved else None
    put_in = [x.by for r in reading.records if isinstance(r, rec.Pack) for x in r.replaced if x.number == number]
    return {"number": number, "replaced_by": put_in[0] if put_in else None}


def _corrections(reading: Reading) -> Iterator[Found]:
    """Records put right later, and what differs in their pulls."""
    place = {(one.machine, one.seq): seq for seq, one in enumerate(reading.records)}
    for seq, one in enumerate(reading.records):
        if isinstance(one, rec.Correct):
            old = reading.records[place[one.of_machine, one.of_seq]]
            what = {"of_machine": one.of_machine, "of_seq": one.of_seq, **_pulls_changed(old, one)}
            yield Found("late correction", _made(reading, seq, **what), seq)


def _pulls_changed(old: rec.Record, correction: rec.Correct) -> dict[str, Any]:
    new = correction.record or {}
    what = {"unit": getattr(old, "unit", None), "to": getattr(old, "to", None)}
    for was, now in zip(getattr(old, "pulls", ()), new.get("pulls", ()), strict=False):
        if (was.start, was.sheets) != (now["start"], now["sheets"]):
            return {**what, "start": now["start"], "written": was.sheets, "right": now["sheets"]}
    return what


def _wrong_counts(reading: Reading) -> Iterator[Found]:
    """Counts of sheets that cannot be true; right = a later count of the same unit that is."""
    lengths = reading.thread.lengths
    for one, tie in [*lengths.healed, *((d, None) for d in lengths.differences)]:
        what = {"unit": one.unit, "counted": one.counted, "right": tie.counted if tie else None,
                "booked_low": one.booked[0], "booked_high": one.booked[1], "since": one.since}  # fmt: skip
        yield Found("wrong count", _made(reading, one.seq, **what), one.seq)


_LOOKS: tuple[Callable[[Reading], Iterator[Found]], ...] = (
    _extra_rewinds, _odd_turns, _splices, _uncounted, _double_feeds, _box_faults, _short_packs,
    _corrections, _wrong_counts,
)  # fmt: skip
