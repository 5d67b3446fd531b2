"""Records of what was counted, seen, cut, packed, moved, destroyed, corrected."""

from functools import partial

from .. import records as rec
from ..errors import BadValue, NotAllowed, NotThere
from ..facts import Mark, Run, Tie
from ..spans import Extent, Spans
from ..units import metres
from .numbers import NumberRecords

__all__ = ["SeenRecords"]


class SeenRecords(NumberRecords):
    """Counts, marks, and what the books are due."""

    def _count(self, seq: int, r: rec.Count, run: partial[Run]) -> None:
        if r.unit is not None:
            self._there("unit", r.unit, web=False)
            self._tie(Tie(seq, r.unit, counted=r.counted, by=r.by, at=r.at.isoformat(), blind=r.blind))
        else:
            self.numbers(r)
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
        if (r.source, r.target) == ("held", "good") and r.by2 in (None, r.by):
            true = "what was held becomes good again by two different persons"
            raise NotAllowed("by2", r.by2, true, "have another person sign")
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
