"""The life of a roll, a pile or a lot: what made it, what took it, who has it, what was seen, counted and pulled.

    unit_life(reading, "F01")                    pack_life(reading, "TM20", "AA0001001")

Web is in metres as wound, 0 at the core; sheets are counted from the top, 0 the one the next machine takes first.
"""

from collections.abc import Iterator
from typing import Any

from .. import records as rec
from ..errors import NotThere
from ..facts import SERIES, PileRun, Run
from ..reading import Reading, effective
from ..spans import EMPTY, Extent, Spans
from ..trace import Answer
from ..units import metres
from .balance import difference_of_sheets
from .pack import pack_life, step
from .recall import forward_numbers

__all__ = ["kind_of", "pack_life", "unit_life"]

Rows = list[dict[str, Any]]


def unit_life(reading: Reading, name: str) -> dict[str, Any]:
    """What is known of one unit.  Each list but `lanes` is of entries or of stretches, in the order of the journal."""
    _known(reading, name)
    web, whole = name in reading.shop.rolls, _whole(reading, name)
    low, high = (reading.shop.web_length[name],) * 2 if web else reading.thread.lengths.sheets(name)
    return {
        "name": name,
        "kind": kind_of(reading, name),
        "measure": "m" if web else "sheets",
        "low": _shown(web, low),
        "high": _shown(web, high),
        "lanes": list(reading.shop.rolls.get(name, ())),
        "made": _made(reading, name),
        "taken": _taken(reading, name),
        "posted": _posted(reading, name),
        "accounts": _accounts(reading, name),
        "numbers": _numbers(reading, whole),
        "pulls": _pulls(reading, name),
        "marks": _marks(reading, name, whole),
        "splices": _splices(reading, name, whole),
        "counts": _counts(reading, name),
        "sightings": _sightings(reading, name),
        "reads": sum(read.unit == name for _, read in reading.shop.reads),
        "differences": _differences(reading, name),
    }


def kind_of(reading: Reading, unit: str) -> str:
    """roll, pile, or lot: what was taken out, as pulled sheets or waste of web."""
    pile = reading.thread.maker[unit].pile
    if unit.endswith("/waste") or (pile and unit in _lot_names(pile)):
        return "lot"
    return "roll" if unit in reading.shop.rolls else "pile"


def _lot_names(pile: PileRun) -> list[str]:
    return [*(p.lot for p in pile.pulls), *(u.lot for u in pile.unknowns)]


def _known(reading: Reading, name: str) -> None:
    if name.startswith(SERIES):
        raise NotThere("unit", name, "that is a series, no roll, pile or lot", "look for one of its numbers")
    if name not in reading.thread.maker:
        near = [unit for unit in reading.thread.maker if name and name.casefold() in unit.casefold()][:4]
        cure = f"did you mean {', '.join(near)}?" if near else "look for a part of its name"
        raise NotThere("unit", name, "no record made a unit of that name", cure)


def _whole(reading: Reading, name: str) -> Extent:
    """All of it that may be."""
    length = reading.shop.web_length.get(name)
    most = reading.thread.lengths.sheets(name)[1] if length is None else length
    return Extent({(name, lane): Spans.of((0, most)) for lane in reading.shop.rolls.get(name, (0,))})


def _shown(web: bool, x: int) -> float | int:
    return x / 1e6 if web else x


# --- made, taken, posted ---------------------------------------------------------------------------------------


def _inputs(run: Run) -> list[str]:
    return list(run.pile.inputs if run.pile else dict.fromkeys(p.unit for p in run.pieces))


def _outputs(run: Run) -> list[str]:
    """What a run gave, lots and waste last."""
    if run.pile:
        return [*(unit for unit, _ in run.pile.outputs), *_lot_names(run.pile)]
    given = list(dict.fromkeys(p.to_unit for p in run.pieces))
    return sorted(given, key=lambda unit: unit.endswith("/waste"))


def _made(reading: Reading, name: str) -> dict[str, Any]:
    run = reading.thread.maker[name]
    return step(reading, run.seq, run.what, units=_inputs(run))


def _taken(reading: Reading, name: str) -> Rows:
    """Runs that took it, or cut sheets from it; and the guillotine."""
    rows = [step(reading, run.seq, run.what, units=_outputs(run)) for run in reading.thread.takers.get(name, ())]
    for seq, due in reading.shop.due:
        if isinstance(due, rec.Cut) and due.unit == name:
            bears = reading.thread.numbers(_whole(reading, name)).may
            rows.append(step(reading, seq, "cut", units=sorted(unit for unit, _ in bears)))
    return sorted(rows, key=lambda row: row["entry"])


def _posted(reading: Reading, name: str) -> Rows:
    """What was written of it in the books alone: moved, destroyed."""
    rows = []
    for seq, due in reading.shop.due:
        if isinstance(due, rec.Destroy) and due.unit == name:
            rows.append(step(reading, seq, "destroyed", why=due.why))
        if isinstance(due, rec.Move) and due.unit == name:
            start = due.start or 0
            sheets = f"sheets {start:,} to {start + due.sheets - 1:,}" if due.sheets else f"sheets from {start:,} on"
            rows.append(step(reading, seq, f"{sheets}: {due.source} to {due.target}", why=due.why))
    return rows


# --- where it is, what it bears --------------------------------------------------------------------------------


def _accounts(reading: Reading, name: str) -> Rows:
    """Stretch by stretch, in which account it is; what is in doubt is kept in frames beside it.  many : a lane."""
    books, rows = reading.accounting.books, []
    for frame in (name, f"{name} uncounted", f"{name} unnumbered"):
        measure = books.measures.get(frame, "")
        for lane in reading.shop.rolls.get(name, (0,)):
            for account, held in books.accounts((frame, lane)).items():
                for a, b in held:
                    web = measure == "um"
                    there = _at(web, lane, a, b) if frame == name else _NOWHERE
                    rows.append({"account": f"{account.place}:{account.kind}", **there, "many": _shown(web, b - a),
                                 "measure": "m" if web else measure, "what": frame})  # fmt: skip
    return _lanes_together(rows)


_NOWHERE = {"lane": None, "from": None, "to": None}


def _at(web: bool, lane: int, a: int, b: int) -> dict[str, Any]:
    return {"lane": lane or None, "from": _shown(web, a), "to": _shown(web, b)}


def _lanes_together(rows: Rows) -> Rows:
    """Rows that differ only in their lane as one, `lanes` in place of `lane`."""
    same: dict[tuple[Any, ...], list[int]] = {}
    for row in rows:
        key = tuple((name, value) for name, value in row.items() if name != "lane")
        same.setdefault(key, []).extend([row["lane"]] if row["lane"] else [])
    return [{**dict(key), "lanes": lanes} for key, lanes in same.items()]


def _numbers(reading: Reading, whole: Extent) -> Rows:
    """Numbers on the sheets that hold any of it, by series."""
    may, must = forward_numbers(reading, whole)
    return [
        {"series": series, "first": reading.shop.formats[series].text(spans.first),
         "last": reading.shop.formats[series].text(spans.stop - 1), "ranges": len(spans), "may": spans.size,
         "must": must.get(series, EMPTY).size}
        for series, spans in sorted(may.items())
    ]  # fmt: skip


def _pulls(reading: Reading, name: str) -> Rows:
    """Lots pulled as it was made and as it was taken on; of a lot its own pull."""
    maker, rows = reading.thread.maker[name], []
    runs = [maker, *(run for run in reading.thread.takers.get(name, ()) if run.pile)]
    for run in runs:
        for lot in _lots(reading, run):
            if kind_of(reading, name) != "lot" or (run is maker) == (lot["lot"] == name):
                rows.append({**lot, "entry": run.seq, "when": "as it was made" if run is maker else "as it was taken"})
    return rows


def _lots(reading: Reading, run: Run) -> Iterator[dict[str, Any]]:
    if run.pile is None:
        return
    of = " and ".join(run.pile.inputs)
    for p in run.pile.pulls:
        yield {"lot": p.lot, "of": of, "from": p.start, "to": p.start + p.sheets, "low": p.sheets, "high": p.sheets,
               "kind": p.kind, "why": p.why}  # fmt: skip
    for u in run.pile.unknowns:
        low, high = reading.thread.lengths.known[u.name]
        yield {"lot": u.lot, "of": of, "from": u.start, "to": u.stop, "low": low, "high": high, "kind": u.kind,
               "why": u.why}  # fmt: skip


# --- what was seen, joined, counted ----------------------------------------------------------------------------


def _line(reading: Reading, whole: Extent) -> set[str]:
    """Its unit, those it came from, those it went to."""
    answers = (whole, reading.thread.back(whole).may, reading.thread.forward(whole).may)
    return {unit for one in answers for unit, _ in one}


def _on(reading: Reading, name: str, extent: Extent) -> Iterator[tuple[int, int, int, bool]]:
    """Where an extent of some unit of its line lies on it: lane, start, stop, surely or not."""
    ways = [Answer(extent, extent), reading.thread.back(extent), reading.thread.forward(extent)]
    here = [one.of(lambda unit: unit == name) for one in ways]
    must = Extent([item for one in here for item in one.must.items()])
    for place, spans in sorted(Extent([item for one in here for item in one.may.items()]).items(), key=lambda p: p[0]):
        for a, b in spans:
            yield place[1], a, b, must.get(place, EMPTY).covers(Spans.of((a, b)))


def _marks(reading: Reading, name: str, whole: Extent) -> Rows:
    """Marks seen on it, or up or down the way on what it is of; and where they lie on it."""
    line, rows, web = _line(reading, whole), [], name in reading.shop.rolls
    for mark in reading.shop.marks:
        seen_on = next(iter(mark.extent))[0]
        if seen_on in line:
            told = {"entry": mark.seq, "fault": mark.fault, "grade": mark.grade, "seen_by": mark.seen_by}
            rows += [
                {**told, "seen_on": seen_on, **_at(web, lane, a, b), "sure": sure}
                for lane, a, b, sure in _on(reading, name, mark.extent)
            ]
    return _lanes_together(rows)


def _splices(reading: Reading, name: str, whole: Extent) -> Rows:
    """Where the web of it was cut and joined, by the pass that did it.  On a roll a place, on a pile its sheet."""
    line, rows, web = _line(reading, whole), [], name in reading.shop.rolls
    for seq, unit, at, how in _joins(reading):
        if unit in line:
            both = Extent({(unit, lane): Spans.of((at - 1, at + 1)) for lane in reading.shop.rolls[unit]})
            for lane, a, b, sure in _on(reading, name, both):
                if not web or b - a == 2:  # both its ends are on the roll
                    there = _at(web, lane, a + web, b - web)
                    rows.append({"entry": seq, "made_on": unit, "how": how, **there, "sure": sure})
    return _lanes_together(rows)


def _joins(reading: Reading) -> Iterator[tuple[int, str, int, str]]:
    """(entry, roll wound, um as wound, how) of every splice."""
    for seq, one in enumerate(effective(reading.records)):
        if isinstance(one, rec.Pass | rec.Slit):
            at = 0
            for left, right in zip(one.kept, one.kept[1:], strict=False):
                at += left.end - left.start
                same = left.unit == right.unit
                how = f"{metres(right.start - left.end)} cut out" if same else f"{left.unit} and {right.unit} joined"
                for unit in [one.to] if isinstance(one.to, str) else [part.unit for part in one.to]:
                    yield seq, unit, at, how


def _counts(reading: Reading, name: str) -> Rows:
    lengths = reading.thread.lengths
    wrong = {one.seq for one in (*lengths.differences, *(old for old, _ in lengths.healed)) if one.unit == name}
    return [
        {**step(reading, tie.seq, "count"), "counted": tie.counted, "blind": tie.blind, "agrees": tie.seq not in wrong}
        for tie in reading.shop.ties if tie.unit == name and tie.counted is not None
    ]  # fmt: skip


def _sightings(reading: Reading, name: str) -> Rows:
    return [
        step(reading, tie.seq, f"sheet {tie.sheet:,} of {tie.unit} is sheet {tie.as_sheet:,} of {tie.as_unit}")
        for tie in reading.shop.ties if tie.as_unit and name in (tie.unit, tie.as_unit)
    ]  # fmt: skip


def _differences(reading: Reading, name: str) -> Rows:
    """Counts of it that could not be true: those that stand, and those that a later count ended."""
    lengths = reading.thread.lengths
    every = [(one, None) for one in lengths.differences] + [(one, tie.seq) for one, tie in lengths.healed]
    return [
        difference_of_sheets(reading, one) | {"settled_by": ended} for one, ended in every if one.unit == name
    ]  # fmt: skip
