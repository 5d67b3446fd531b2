"""What every record is held against: the facts so far, and the rules that all kinds share."""

from datetime import datetime

from .. import records as rec
from ..errors import Clash, NotThere
from ..facts import Mark, Run, Tie
from ..order import Order
from ..spans import Spans
from ..stations.numbering import Format
from ..trace.lengths import Lengths
from ..trace.strikes import Strikes
from ..works import Works

__all__ = ["Ground"]


class Ground:
    """Facts so far: runs, ties, marks, reads, allocations, and what is due in the books."""

    def __init__(self, order: Order, works: Works) -> None:
        self.order, self.works = order, works
        self.formats = {s.name: Format.of(s.letters, s.digits, s.alphabet, s.skip_zero, s.prefix) for s in order.series}
        self.runs: list[Run] = []
        self.ties: list[Tie] = []
        self.marks: list[Mark] = []
        self.reads: list[tuple[int, rec.Reading]] = []
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

    def _add_run(self, run: Run) -> None:
        self.runs.append(run)
        self.lengths.run(run)
        if run.pile or run.pieces or run.born:
            self.due.append((run.seq, run))

    def _tie(self, tie: Tie) -> None:
        self.ties.append(tie)
        self.lengths.tie(tie)
