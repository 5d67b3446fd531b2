"""Records of web: rolls wound, passed, slit, cut to sheets."""

from collections.abc import Sequence
from functools import partial

from .. import records as rec
from ..errors import BadValue, Clash, NotThere
from ..facts import Run
from ..handling import cut_to_sheets, rewound
from ..spans import EMPTY, Spans
from ..trace.frames import BLOCK
from ..units import metres
from .ground import Ground

__all__ = ["WebRecords"]


class WebRecords(Ground):
    """Rolls."""

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
