"""What the shop records say, as facts: one record after another, each checked against all before it.

    shop = Shop(order, works)
    shop.take(seq, record)     a BadValue, and nothing changed, if the record cannot be true beside the earlier ones

Records that are only posted (moves, packs, cuts) are kept as `postings_due`; the books check those when they are made.
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

from . import records as rec
from .errors import BadValue, Clash, NotAllowed, NotThere
from .facts import Imprint, Mark, PileRun, Pull, Run, Tie, Unknown
from .handling import FLIPS, cut_to_sheets, rewound
from .order import Order
from .spans import EMPTY, Extent, Spans
from .stations.numbering import Format
from .trace.frames import BLOCK
from .trace.lengths import Lengths
from .trace.strikes import Strikes
from .units import metres
from .works import Works

__all__ = ["Shop"]


class Shop:
    """Facts so far: runs, ties, marks, reads, allocations, and what is due in the books."""

    def __init__(self, order: Order, works: Works) -> None:
        self.order, self.works = order, works
        self.formats = {s.name: Format.of(s.letters, s.digits, s.alphabet, s.skip_zero, s.prefix) for s in order.series}
        self.runs: list[Run] = []
        self.ties: list[Tie] = []
        self.marks: list[Mark] = []
        self.reads: list[tuple[int, rec.Reading]] = []
        self.counts: list[tuple[int, rec.Count]] = []
        self.due: list[tuple[int, rec.Record | Run]] = []
        self.allocated: dict[str, Spans] = {}
        self.by_purpose: dict[str, dict[str, Spans]] = {}
        self.struck: dict[Strikes, Spans] = {}
        self.lengths = Lengths()
        self.rolls: dict[str, tuple[int, ...]] = {}
        self.web_length: dict[str, int] = {}
        self.taken: dict[str, int] = {}
        self.cut_from: dict[str, Spans] = {}
        self._last: dict[str, tuple[int, datetime]] = {}
        self._unnumbered: set[str] = set()

    def take(self, seq: int, record: rec.Record) -> None:
        """One record in; raises BadValue and changes nothing if it cannot be."""
        machine = self.works.machine(record.machine)
        self._in_time(record)
        handler: Callable[..., None] = getattr(self, f"_{record.kind}")  # type: ignore[attr-defined]
        handler(seq, record, partial(Run, seq, machine.station, machine.name, record.at.isoformat(), record.by))
        self._last[record.machine] = record.seq, record.at

    def _in_time(self, record: rec.Record) -> None:
        seq, at = self._last.get(record.machine, (0, None))
        if record.seq <= seq:
            cure = "send records in their order; correct an earlier one with a `correct` record"
            raise Clash("seq", record.seq, f"{record.machine} is at {seq} already", cure)
        if at is not None and record.at < at:
            cure = "set the machine's clock, then send the record with its right time"
            raise Clash(
                "at", record.at.isoformat(), f"time runs backwards: entry {seq} of {record.machine} is of {at}", cure
            )

    # --- what must hold ----------------------------------------------------------------------------------------

    def _new(self, field: str, unit: str) -> None:
        if unit in self.lengths.of or unit in self.rolls:
            maker = self.lengths.maker.get(unit)
            true = f"entry {maker.seq} made a unit of that name" if maker else "there is a unit of that name"
            raise Clash(field, unit, true, "give the new unit a name of its own; a pass cannot give back what it takes")

    def _there(self, field: str, unit: str, web: bool) -> None:
        if unit not in self.lengths.of:
            raise NotThere(field, unit, "no record made it", "send the record that made it first, or correct the name")
        if web != (unit in self.rolls):
            true = "it is a roll" if unit in self.rolls else "it is a pile of sheets"
            raise NotThere(field, unit, true, f"name a {'roll' if web else 'pile'}")

    def _free(self, field: str, unit: str, web: bool) -> None:
        self._there(field, unit, web)
        if unit in self.taken:
            true = f"entry {self.taken[unit]} took it already"
            raise NotThere(field, unit, true, "name the unit that entry gave")
        if web and unit in self.cut_from:
            raise NotThere(field, unit, "sheets were cut from it", "correct the name of the roll")

    # --- web ---------------------------------------------------------------------------------------------------

    def _roll(self, seq: int, r: rec.Roll, run: partial[Run]) -> None:
        self._new("unit", r.unit)
        if r.length < 1:
            raise BadValue("length", metres(r.length), "a roll has length", "give the metres wound")
        self._on_a_roll("length", r.length)
        self._add_run(run("roll", born=((r.unit, r.lanes, r.length),)))
        self._web(r.unit, tuple(range(1, r.lanes + 1)), r.length)

    @staticmethod
    def _on_a_roll(field: str, length: int) -> None:
        if length > BLOCK:
            true = f"a roll holds {metres(BLOCK)} at most"
            raise BadValue(field, metres(length), true, "correct the metres, or give each roll a record of its own")

    def _web(self, unit: str, lanes: tuple[int, ...], length: int) -> None:
        self.rolls[unit], self.web_length[unit] = lanes, length

    def _pass(self, seq: int, r: rec.Pass, run: partial[Run]) -> None:
        self._wound(seq, r.kept, dict.fromkeys(self._lanes(r.kept), r.to), r.machine, run("pass"))

    def _slit(self, seq: int, r: rec.Slit, run: partial[Run]) -> None:
        lanes = self._lanes(r.kept)
        to = {part.lane: part.unit for part in r.to}
        if sorted(to) != sorted(lanes) or len(set(to.values())) != len(r.to):
            given = [part.lane for part in r.to]
            raise BadValue("to", given, f"the roll has lanes {list(lanes)}", "name one roll of its own for each lane")
        self._wound(seq, r.kept, to, r.machine, run("slit"))

    def _lanes(self, kept: Sequence[rec.Stretch]) -> tuple[int, ...]:
        for stretch in kept:
            self._free("kept.unit", stretch.unit, web=True)
        lanes = {self.rolls[stretch.unit] for stretch in kept}
        if len(lanes) > 1:
            raise BadValue(
                "kept", [s.unit for s in kept], "the rolls joined differ in lanes", "join rolls of equal lanes"
            )
        return lanes.pop()

    def _wound(self, seq: int, kept: Sequence[rec.Stretch], to: dict[int, str], machine: str, run: Run) -> None:
        for unit in dict.fromkeys(to.values()):
            self._new("to", unit)
        lengths = {s.unit: self.web_length[s.unit] for s in kept}
        waste = f"{next(iter(to.values()))}/waste"
        pieces, length = rewound(lengths, [(s.unit, s.start, s.end) for s in kept], to, waste)
        self._on_a_roll("kept", length)
        if lost := sum(lengths.values()) - length:
            self._new("to", waste)
        self._add_run(Run(run.seq, run.station, machine, run.at, run.by, run.what, pieces))
        for unit in lengths:
            self.taken[unit] = seq
        for unit in dict.fromkeys(to.values()):
            self._web(unit, tuple(lane for lane, u in to.items() if u == unit), length)
        if lost:
            self._web(waste, tuple(to), lost)

    def _sheet(self, seq: int, r: rec.Sheet, run: partial[Run]) -> None:
        self._there("unit", r.unit, web=True)
        self._new("to", r.to)
        if r.unit in self.taken:
            raise NotThere(
                "unit", r.unit, f"entry {self.taken[r.unit]} took it already", "name the roll that entry gave"
            )
        lanes = self.rolls[r.unit]
        if len(lanes) > 1:
            raise BadValue("unit", r.unit, f"it has lanes {list(lanes)}", "slit it first, then name a lane's roll")
        piece = cut_to_sheets(
            r.unit, lanes[0], self.web_length[r.unit], r.first_cut, r.sheets, self.order.layout.cut_off, r.to
        )
        web = Spans.of((piece.start, piece.start + piece.many * piece.period))
        if twice := web & self.cut_from.get(r.unit, EMPTY):
            true = f"{metres(twice.size)} of it lie in sheets that were cut before"
            raise Clash("first_cut", metres(r.first_cut), true, "correct the first cut or the number of sheets")
        self._add_run(run("sheet", pieces=(piece,)))
        self.cut_from[r.unit] = self.cut_from.get(r.unit, EMPTY) | web

    # --- piles -------------------------------------------------------------------------------------------------

    def _pile_run(
        self, seq: int, run: Run, pile: PileRun, count_in: int | None = None, count_out: int | None = None
    ) -> None:
        for unit in pile.inputs:
            self._free("unit", unit, web=False)
        for unit, _ in pile.outputs:
            self._new("to", unit)
        for lot in [*(p.lot for p in pile.pulls), *(u.lot for u in pile.unknowns)]:
            self._new("to", lot)
        for field, names in (("units", list(pile.inputs)), ("to", [unit for unit, _ in pile.outputs])):
            if len(set(names)) < len(names):
                raise BadValue(field, names, "a pile is named twice", "name each pile once")
        self._room(pile, count_in)
        ties = [Tie(seq, unit, counted=many, by=run.by, at=run.at) for unit, many in
                ((pile.inputs[0], count_in), (pile.outputs[0][0], count_out)) if many is not None]  # fmt: skip
        if count_in is not None:
            self._tie(ties.pop(0))
        self._add_run(run)
        for unit in pile.inputs:
            self.taken[unit] = seq
        if count_out is not None:
            self._tie(ties.pop())

    def _room(self, pile: PileRun, count_in: int | None) -> None:
        """Pulls that fit the pile, as it is booked or counted, and one another."""
        least, room = (sum(ends) for ends in zip(*(self.lengths.sheets(unit) for unit in pile.inputs), strict=True))
        if count_in is not None and least <= count_in <= room:
            room = count_in
        at = 0
        for pull in sorted(pile.pulls):
            if pull.start < at:
                raise Clash(
                    "pulls.start", pull.start, f"sheets up to {at} are pulled already", "correct start or sheets"
                )
            at = pull.start + pull.sheets
        if at > room:
            names = ", ".join(pile.inputs)
            raise NotThere("pulls", at, f"{names} holds {room} sheets, less than that", "correct start or sheets")
        for u in pile.unknowns:
            known = sum(max(0, min(p.start + p.sheets, u.stop) - max(p.start, u.start)) for p in pile.pulls)
            if not (u.start < u.stop <= room and u.low <= u.high <= u.stop - u.start - known):
                less = f", where {known} are pulled already" if known else ""
                true = f"of {room} sheets, {u.low} to {u.high} are to come from {u.start}..{u.stop}{less}"
                raise BadValue("uncounted", f"{u.start}..{u.stop}", true, "correct the window or the numbers")
        given = sum(many for _, many in pile.outputs if many is not None)
        if given > room:
            raise NotThere("to.sheets", given, f"there are {room} sheets", "correct the sheets of the parts")
        if all(many is not None for _, many in pile.outputs) and given < room:
            raise BadValue(
                "to.sheets", given, f"there are {room} sheets", "leave the last part's sheets out: all that is left"
            )

    def _pulled(
        self, to: str, known: Sequence[rec.Taken], uncounted: Sequence[rec.Uncounted]
    ) -> tuple[tuple[Pull, ...], tuple[Unknown, ...]]:
        """Pulls into lots named to/0, to/1 …, the counted first."""
        pulls = tuple(Pull(p.start, p.sheets, f"{to}/{i}", p.kind, p.why) for i, p in enumerate(known))
        lots = (f"{to}/{i}" for i in range(len(known), len(known) + len(uncounted)))
        return pulls, tuple(
            Unknown(f"pull {lot}", u.start, u.end, u.low, u.high, lot, u.kind, u.why)
            for lot, u in zip(lots, uncounted, strict=True)
        )

    def _print(self, seq: int, r: rec.Print, run: partial[Run]) -> None:
        pile = PileRun((r.unit,), ((r.to, None),), True, *self._pulled(r.to, r.pulls, r.uncounted))
        self._pile_run(seq, run(r.work, pile=pile), pile, r.counted_in, r.counted_out)

    def _pull(self, seq: int, r: rec.PullOut, run: partial[Run]) -> None:
        pile = PileRun((r.unit,), ((r.to, None),), False, *self._pulled(r.to, r.pulls, r.uncounted))
        self._pile_run(seq, run("pull", pile=pile), pile, None, r.counted_out)

    def _turn(self, seq: int, r: rec.Turn, run: partial[Run]) -> None:
        flip = FLIPS[r.how]
        pile = PileRun((r.unit,), ((r.to, None),), flip[0] != flip[1], flip=flip)  # over: the bottom comes on top
        self._pile_run(seq, run(f"{r.how} pile" if r.how != "same" else "pile set over", pile=pile), pile)

    def _split(self, seq: int, r: rec.Split, run: partial[Run]) -> None:
        if any(part.sheets is None for part in r.to[:-1]):
            raise BadValue("to.sheets", None, "only the last part may go without", "give the sheets of the others")
        pile = PileRun((r.unit,), tuple((part.unit, part.sheets) for part in r.to), False)
        self._pile_run(seq, run("split", pile=pile), pile)

    def _join(self, seq: int, r: rec.Join, run: partial[Run]) -> None:
        pile = PileRun(tuple(r.units), ((r.to, None),), False)
        self._pile_run(seq, run("join", pile=pile), pile)

    def _number(self, seq: int, r: rec.NumberPass, run: partial[Run]) -> None:
        base = self._index("first", r.series, r.first)
        imprint = Imprint(r.to, r.series, base, r.block, self.order.layout.ups, r.descending, r.first_tick, r.ticks)
        ticks = self._allotted(r, imprint)
        pile = PileRun((r.unit,), ((r.to, None),), True, *self._pulled(r.to, r.pulls, r.uncounted))
        self._free("unit", r.unit, web=False)
        left = self.lengths.sheets(r.unit)[1] - sum(p.sheets for p in r.pulls) - sum(u.low for u in r.uncounted)
        if r.ticks > left:
            cure = "correct the press's counter, or the count of the pile"
            raise NotThere("ticks", r.ticks, f"at most {left} sheets of {r.unit} came under the boxes", cure)
        self._pile_run(seq, run("number", pile=pile, imprint=imprint), pile, None, r.counted_out)
        strikes = Strikes.of(imprint)
        self.struck[strikes] = self.struck.get(strikes, EMPTY) | ticks

    def _allotted(self, r: rec.NumberPass, imprint: Imprint) -> Spans:
        """Ticks of an imprint, if their numbers are allocated and none was struck before."""
        ticks, strikes = Spans.of((r.first_tick, r.first_tick + r.ticks)), Strikes.of(imprint)
        numbers = strikes.numbers(ticks)
        if beyond := numbers - self.allocated.get(r.series, EMPTY):
            text = self._text(r.series, beyond.first)
            raise NotThere(
                "ticks", r.ticks, f"number {text} and {beyond.size - 1} more are not allocated", "allocate them first"
            )
        for other, struck in self.struck.items():
            if other.series == r.series and (twice := numbers & other.numbers(struck)):
                text = self._text(r.series, twice.first)
                raise Clash("first_tick", r.first_tick, f"number {text} was struck before", "correct the counter")
        return ticks

    # --- numbers -----------------------------------------------------------------------------------------------

    def _index(self, field: str, series: str, text: str) -> int:
        self.order.series_named(series)
        try:
            return self.formats[series].index(text)
        except BadValue as error:
            raise NotThere(field, text, f"not a number of series {series}: {error.true}", error.cure) from error

    def _text(self, series: str, index: int) -> str:
        form = self.formats[series]
        return form.text(index) if 0 <= index < form.size else f"beyond {form.text(form.size - 1)}"

    def numbers(self, r: "rec.Pack | rec.Count | rec.Move | rec.Destroy | rec.Allocate") -> Spans:
        """Numbers first..last of a record, in order and of the series."""
        if r.series is None or r.first is None or r.last is None:
            raise BadValue("series, first, last", None, "one of them is missing", "give all three, or a unit")
        low, high = self._index("first", r.series, r.first), self._index("last", r.series, r.last)
        if high < low:
            raise BadValue("last", r.last, f"it comes before {r.first}", "give the lower number first")
        return Spans.of((low, high + 1))

    def _allocate(self, seq: int, r: rec.Allocate, run: partial[Run]) -> None:
        if r.by2 is None or r.by2 == r.by:
            raise NotAllowed("by2", r.by2, "allocation needs two different persons", "have another person sign")
        wanted = self.numbers(r)
        if twice := wanted & self.allocated.get(r.series, EMPTY):
            raise Clash(
                "first", r.first, f"{twice.size} of these numbers are allocated already", "allocate a free range"
            )
        self.allocated[r.series] = self.allocated.get(r.series, EMPTY) | wanted
        purposes = self.by_purpose.setdefault(r.purpose, {})
        purposes[r.series] = purposes.get(r.series, EMPTY) | wanted

    def _read(self, seq: int, r: rec.Reading, run: partial[Run]) -> None:
        self._there("unit", r.unit, web=False)
        most = self.lengths.sheets(r.unit)[1]
        if r.sheet >= most:
            raise NotThere("sheet", r.sheet, f"{r.unit} has {most} sheets, 0 to {most - 1}", "correct the sheet")
        for one in r.reads:
            if one.position >= self.order.layout.ups:
                true = f"a sheet has positions 0 to {self.order.layout.ups - 1}"
                raise NotThere("reads.position", one.position, true, "correct the position")
        self.reads.append((seq, r))

    # --- ties, marks, books ------------------------------------------------------------------------------------

    def _count(self, seq: int, r: rec.Count, run: partial[Run]) -> None:
        if r.unit is not None:
            self._there("unit", r.unit, web=False)
            self._tie(Tie(seq, r.unit, counted=r.counted, by=r.by, at=r.at.isoformat(), blind=r.blind))
        else:
            self.numbers(r)
        self.counts.append((seq, r))
        self.due.append((seq, r))

    def _sight(self, seq: int, r: rec.Sighting, run: partial[Run]) -> None:
        for prefix, unit, sheet in (("", r.unit, r.sheet), ("as_", r.as_unit, r.as_sheet)):
            self._there(f"{prefix}unit", unit, web=False)
            most = self.lengths.sheets(unit)[1]
            if sheet >= most:
                true = f"{unit} has {most} sheets, 0 to {most - 1}"
                raise NotThere(f"{prefix}sheet", sheet, true, "correct the sheet")
        self.ties.append(Tie(seq, r.unit, sheet=r.sheet, as_unit=r.as_unit, as_sheet=r.as_sheet, by=r.by))

    def _mark(self, seq: int, r: rec.MarkSeen, run: partial[Run]) -> None:
        self._there("unit", r.unit, web=True)
        if not 0 <= r.start < r.end <= self.web_length[r.unit]:
            true = f"{r.unit} runs from 0 to {metres(self.web_length[r.unit])}"
            raise NotThere(
                "start", f"{metres(r.start)} to {metres(r.end)}", true, "give start before end, both on the roll"
            )
        wrong = [lane for lane in r.lanes if lane not in self.rolls[r.unit]]
        if wrong:
            raise NotThere("lanes", wrong, f"{r.unit} has lanes {list(self.rolls[r.unit])}", "correct the lanes")
        extent = Extent({(r.unit, lane): Spans.of((r.start, r.end)) for lane in r.lanes})
        self.marks.append(Mark(seq, r.fault, extent, r.grade, r.seen_by))

    def _cut(self, seq: int, r: rec.Cut, run: partial[Run]) -> None:
        self._free("unit", r.unit, web=False)
        if r.counted_in is not None:
            self._tie(Tie(seq, r.unit, counted=r.counted_in, by=r.by, at=r.at.isoformat()))
        self.taken[r.unit] = seq
        self.due.append((seq, r))

    def _pack(self, seq: int, r: rec.Pack, run: partial[Run]) -> None:
        numbers = self.numbers(r)
        if (numbers.size, numbers.first) != (numbers.size // 100 * 100, numbers.first // 100 * 100):
            true = f"{numbers.size} notes from index {numbers.first}: packs are whole hundreds"
            raise BadValue("last", r.last, true, "give whole packs of 100, from a pack's first number")
        for one in r.replaced:
            if self._index("replaced.number", r.series, one.number) not in numbers:
                raise NotThere("replaced.number", one.number, f"not in {r.first} to {r.last}", "correct the number")
        self.due.append((seq, r))

    def _move(self, seq: int, r: rec.Move, run: partial[Run]) -> None:
        if r.unit is None:
            self.numbers(r)
        else:
            self._there("unit", r.unit, web=False)
        self.due.append((seq, r))

    def _destroy(self, seq: int, r: rec.Destroy, run: partial[Run]) -> None:
        if r.by2 is None or r.by2 == r.by:
            raise NotAllowed(
                "by2", r.by2, "spoil is destroyed before two different persons", "have another person sign"
            )
        if r.unit is None:
            self.numbers(r)
        elif r.unit not in self.lengths.of:
            raise NotThere("unit", r.unit, "no record made it", "name a lot that was pulled, as pile/0")
        self.due.append((seq, r))

    def _correct(self, seq: int, r: rec.Correct, run: partial[Run]) -> None:
        """Taken in by whoever reads the journal: the corrected record stands where the wrong one stood."""
        if r.by2 is None or r.by2 == r.by:
            raise NotAllowed("by2", r.by2, "a correction needs two different persons", "have another person sign")

    # --- adding ------------------------------------------------------------------------------------------------

    def _add_run(self, run: Run) -> None:
        self.runs.append(run)
        self.lengths.run(run)
        if run.pile or run.pieces or run.born:
            self.due.append((run.seq, run))

    def _tie(self, tie: Tie) -> None:
        self.ties.append(tie)
        self.lengths.tie(tie)
