"""From facts to postings: what each run, cut, pack and move does to the accounts.

A run carries its input out of the input's frame and enters outputs and lots in their own.  Where an uncounted pull is
not pinned down, what may be in the pile or in the lot is entered as `difference` in a frame of its own, so that nothing
is booked that is not sure, and the sum still holds.
"""

from collections.abc import Callable
from dataclasses import dataclass

from . import records as rec
from .errors import BadValue, NotThere
from .facts import SERIES, Account, Kind, Run
from .ledger import Books, Fault, faults
from .shop import Shop
from .spans import EMPTY, Extent, Spans
from .trace.thread import Thread

__all__ = ["Accounting", "NoteDifference", "PostingRefused"]


class PostingRefused(Exception):
    """A posting that the books refuse.  seq : the entry it comes from."""

    def __init__(self, seq: int, problem: BadValue) -> None:
        super().__init__(str(problem))
        self.seq, self.problem = seq, problem


@dataclass(frozen=True, slots=True)
class NoteDifference:
    """A count of notes that disagrees with the books.

    since : entry of the last count that agreed, or of the cut; events : entries posted of these notes in between
    """

    seq: int
    series: str
    numbers: Spans
    counted: int
    booked: int
    since: int
    events: tuple[int, ...]
    by: str


class Accounting:
    """The books of a shop, and the counts of notes that disagree with them.

    tell : told (done, of) before every posting; what it raises ends the work
    """

    def __init__(self, shop: Shop, thread: Thread, tell: Callable[[int, int], None] | None = None) -> None:
        self.shop, self.thread, self.books = shop, thread, Books()
        self.note_differences: dict[tuple[str, int, int], NoteDifference] = {}
        self.healed: list[tuple[NoteDifference, int]] = []
        self._history: list[tuple[int, str, str, Spans]] = []
        self._put_in: dict[str, Spans] = {}
        for done, (seq, due) in enumerate(shop.due):
            if tell:
                tell(done, len(shop.due))
            try:
                self._post(seq, due)
            except BadValue as problem:
                raise PostingRefused(seq, problem) from problem

    def _post(self, seq: int, due: rec.Record | Run) -> None:
        if isinstance(due, Run):
            self._run(due)
        else:
            getattr(self, f"_{due.kind}")(seq, due)  # type: ignore[attr-defined]

    def proved(self) -> list[Fault]:
        """Where the books do not hold, from their postings alone; empty when they do."""
        weigh = self._weights()
        born = {run.seq for run in self.shop.runs if run.born}
        return faults(self.books.postings, {unit: weigh[m] for unit, m in self.books.measures.items()}, born)

    def _weights(self) -> dict[str, int]:
        """What one of each measure weighs, so that whole numbers do: a sheet is its cut-off of web, and its notes."""
        layout = self.shop.order.layout
        return {"um": layout.ups, "sheets": layout.ups * layout.cut_off, "notes": layout.cut_off}

    # --- runs --------------------------------------------------------------------------------------------------

    def _run(self, run: Run) -> None:
        for unit, lanes, length in run.born:
            extent = Extent({(unit, lane): Spans.of((0, length)) for lane in range(1, lanes + 1)})
            self._enter(run.seq, unit, "um", extent, Account(run.station, "good"), "wound")
        if run.pieces:
            self._web(run)
        if run.pile:
            self._piles(run)

    def _enter(self, seq: int, unit: str, measure: str, extent: Extent, account: Account, why: str) -> None:
        self.books.enter(seq, unit, measure, extent, account, why)

    def _carry(self, seq: int, extent: Extent, station: str, why: str) -> Extent:
        """Out of good and held; what was held is returned."""
        held: Extent = Extent()
        for place, spans in extent.items():
            left = spans
            for kind in ("good", "held"):
                for account, some in self.books.of_kind(place, kind).items():
                    part = Extent({place: some & left})
                    self.books.move(seq, part, account, Account(station, "carried"), why)
                    left -= some
                    held = held | part if kind == "held" else held
            if left:
                raise NotThere(
                    place[0],
                    f"{left.first}..{left.stop}",
                    f"{left.size} of it are not good any more",
                    "pull them first",
                )
        return held

    def _web(self, run: Run) -> None:
        taken = Extent([((p.unit, p.lane), Spans.of((p.start, p.start + p.many * p.period))) for p in run.pieces])
        held = self._carry(run.seq, taken, run.station, run.what)
        given: dict[str, list[tuple[tuple[str, int], Spans]]] = {}
        for p in run.pieces:
            low = p.at if p.sign > 0 else p.at - p.many + 1
            given.setdefault(p.to_unit, []).append(((p.to_unit, p.to_lane), Spans.of((low, low + p.many))))
        for unit, parts in given.items():
            kind: Kind = "spoiled" if unit.endswith("/waste") else "good"
            measure = "sheets" if run.pieces[0].width > 1 else "um"
            self._enter(run.seq, unit, measure, Extent(parts), Account(run.station, kind), run.what)
        self._keep_held(run, held, set(given))

    def _piles(self, run: Run) -> None:
        assert run.pile is not None
        taken = Extent({(u, 0): Spans.of((0, self._surely(u))) for u in run.pile.inputs})
        held = self._carry(run.seq, taken, run.station, run.what)
        left = taken.size
        for unit, kind in self._given(run):
            many = self._surely(unit)
            left -= many
            whole = Extent.one(unit, 0, 0, many)
            self._enter(run.seq, unit, "sheets", whole, Account(run.station, kind), run.what)
        if left > 0:
            unit = _uncounted(run)
            why = "in the pile or pulled: nobody counted"
            self._enter(run.seq, unit, "sheets", Extent.one(unit, 0, 0, left), Account(run.station, "difference"), why)
        self._found_again(run, -left)
        self._keep_held(run, held, {u for u, _ in run.pile.outputs})

    def _surely(self, unit: str) -> int:
        """Sheets that a unit holds at least."""
        return max(0, self.thread.lengths.sheets(unit)[0])

    def _found_again(self, run: Run, many: int) -> None:
        """More went on than was sure to be there: so much of what nobody counted lay in these piles, nearest first."""
        todo = [run]
        while todo and many > 0:
            at = todo.pop(0)
            place = _uncounted(at), 0
            for account, some in self.books.of_kind(place, "difference").items() if at is not run else ():
                part = some & Spans.of((some.first, some.first + many))
                target, why = Account(run.station, "carried"), "in the pile after all"
                self.books.move(run.seq, Extent({place: part}), account, target, why)
                many -= part.size
            todo += [self.thread.maker[unit] for unit in at.pile.inputs] if at.pile else []

    @staticmethod
    def _given(run: Run) -> list[tuple[str, Kind]]:
        assert run.pile is not None
        outputs: list[tuple[str, Kind]] = [(unit, "good") for unit, _ in run.pile.outputs]
        return outputs + [(p.lot, p.kind) for p in run.pile.pulls] + [(u.lot, u.kind) for u in run.pile.unknowns]

    def _keep_held(self, run: Run, held: Extent, outputs: set[str]) -> None:
        """What was held stays held in what was made of it: all that it may be."""
        if held:
            went = self.thread.forward(held).of(lambda unit: unit in outputs).may
            for place, spans in went.items():
                account = Account(run.station, "good")
                there = spans & self.books.accounts(place).get(account, EMPTY)
                self.books.move(run.seq, Extent({place: there}), account, Account(run.station, "held"), "still held")

    # --- notes -------------------------------------------------------------------------------------------------

    def _cut(self, seq: int, r: rec.Cut) -> None:
        """Sheets out, notes in: a sheet weighs its notes, and notes that may bear no number are a difference."""
        sheets = Extent.one(r.unit, 0, 0, self._surely(r.unit))
        held = self._carry(seq, sheets, "finish", "cut")
        notes = self.thread.numbers(sheets)
        due = sheets.size * self.shop.order.layout.ups
        if not notes.may:
            raise NotThere("unit", r.unit, "its sheets bear no numbers", "number the pile before it is cut")
        for (unit, lane), spans in notes.must.items():
            self._enter(seq, unit, "notes", Extent({(unit, lane): spans}), Account("finish", "good"), "cut")
            self._happened(seq, "cut", unit.removeprefix(SERIES), spans)
        if short := due - notes.must.size:
            unit = f"{r.unit} unnumbered"
            self._enter(seq, unit, "notes", Extent.one(unit, 0, 0, short), Account("finish", "difference"), "no number")
        for place, spans in self.thread.numbers(held).may.items() if held else ():
            there = Extent({place: spans & self.books.accounts(place).get(Account("finish", "good"), EMPTY)})
            self.books.move(seq, there, Account("finish", "good"), Account("finish", "held"), "still held")

    def _pack(self, seq: int, r: rec.Pack) -> None:
        numbers = self.shop.numbers(r)
        place = SERIES + r.series, 0
        out = [self.shop.formats[r.series].index(one.number) for one in r.replaced]
        own = numbers - Spans(out, [x + 1 for x in out])
        self._packed(seq, place, own, r, "packed")
        by_series: dict[str, list[int]] = {}
        for one in r.replaced:
            series, index = self._replacement(one.by)
            by_series.setdefault(series, []).append(index)
        for series, found in by_series.items():
            if len(set(found)) < len(found):
                raise BadValue("replaced.by", series, "a replacement note is named twice", "name each note once")
            self._packed(
                seq, (SERIES + series, 0), Spans(found, [x + 1 for x in found]), r, "in place of a spoiled note"
            )
        self._put_in[r.series] = self._put_in.get(r.series, EMPTY) | Spans(out, [x + 1 for x in out])
        self._happened(seq, "pack", r.series, numbers)

    def _packed(self, seq: int, place: tuple[str, int], notes: Spans, r: rec.Pack, why: str) -> None:
        missing = notes - self.books.accounts(place).get(Account("finish", "good"), EMPTY)
        if missing:
            text = self.shop.formats[place[0].removeprefix(SERIES)].text(missing.first)
            account = self.books.account_of(*place, missing.first)
            where = f"{account.place}:{account.kind} has it" if account else "it was never cut"
            raise NotThere(
                "replaced", f"{r.first} to {r.last}",
                f"{text} and {missing.size - 1} more are not good at finish; {where}",
                "name the replacement notes that lie there, or correct the range",
            )  # fmt: skip
        by = (r.by,) if r.by2 is None else (r.by, r.by2)
        self.books.move(seq, Extent({place: notes}), Account("finish", "good"), Account("packed", "good"), why, by)

    def _replacement(self, text: str) -> tuple[str, int]:
        for series in self.shop.by_purpose.get("replacement", {}):
            index = self.shop.formats[series].read(text)
            if index is not None:
                return series, index
        raise NotThere("replaced.by", text, "not a number of a replacement series allocated", "correct the number")

    def _move(self, seq: int, r: rec.Move) -> None:
        by = (r.by,) if r.by2 is None else (r.by, r.by2)
        meant = self._meant(r)
        self.books.gather(seq, meant, r.source, r.target, r.why, by)
        for (unit, _), spans in meant.items():
            self._happened(seq, "move", unit.removeprefix(SERIES), spans)

    def _meant(self, r: rec.Move | rec.Destroy) -> Extent:
        if r.unit is None:
            return Extent({(SERIES + str(r.series), 0): self.shop.numbers(r)})
        most = self._surely(r.unit)
        start = getattr(r, "start", None) or 0
        many = getattr(r, "sheets", None)
        end = most if many is None else start + many
        if end > most:
            raise NotThere("sheets", f"{start}..{end}", f"{r.unit} has {most} sheets", "correct start or sheets")
        return Extent.one(r.unit, 0, start, end)

    def _destroy(self, seq: int, r: rec.Destroy) -> None:
        assert r.by2 is not None
        if r.unit is not None and r.unit in self.shop.rolls:
            every = {(r.unit, lane): Spans.of((0, self.shop.web_length[r.unit])) for lane in self.shop.rolls[r.unit]}
            self.books.gather(seq, Extent(every), "spoiled", "destroyed", r.why, (r.by, r.by2))
            return
        self.books.gather(seq, self._meant(r), "spoiled", "destroyed", r.why, (r.by, r.by2))

    # --- counts of notes ---------------------------------------------------------------------------------------

    def _happened(self, seq: int, what: str, series: str, notes: Spans) -> None:
        self._history.append((seq, what, series, notes))

    def _count(self, seq: int, r: rec.Count) -> None:
        if r.unit is not None or r.series is None:
            return
        numbers = self.shop.numbers(r)
        key = r.series, numbers.first, numbers.stop
        booked = self._booked(r.series, numbers)
        if booked != r.counted:
            since, events = self._between(r.series, numbers)
            self.note_differences[key] = NoteDifference(seq, r.series, numbers, r.counted, booked, since, events, r.by)
        elif r.blind:
            self._happened(seq, "count", r.series, numbers)
            old = self.note_differences.get(key)
            if old is not None and old.by != r.by:
                self.healed.append((self.note_differences.pop(key), seq))

    def _between(self, series: str, numbers: Spans) -> tuple[int, tuple[int, ...]]:
        """The last count that agreed, or else the cut, of any of these notes; and what was posted of them since."""
        touching = [(seq, what) for seq, what, name, notes in self._history if name == series and notes & numbers]
        since = max((seq for seq, what in touching if what == "count"), default=None)
        if since is None:
            since = min((seq for seq, what in touching if what == "cut"), default=0)
        return since, tuple(sorted({seq for seq, _ in touching if seq > since}))

    def _booked(self, series: str, numbers: Spans) -> int:
        """Notes that lie where these numbers belong: their own that are good or held, and replacements put in."""
        accounts = self.books.accounts((SERIES + series, 0))
        own = sum((held & numbers).size for account, held in accounts.items() if account.kind in {"good", "held"})
        return own + (self._put_in.get(series, EMPTY) & numbers).size


def _uncounted(run: Run) -> str:
    """The frame of what a run on piles left in doubt."""
    return f"{run.pile.outputs[-1][0]} uncounted" if run.pile else ""
