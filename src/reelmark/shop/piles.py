"""Records of piles: fed, pulled from, turned, split, joined, numbered."""

from collections.abc import Sequence
from functools import partial

from .. import records as rec
from ..errors import BadValue, Clash, NotThere
from ..facts import Imprint, PileRun, Pull, Run, Tie, Unknown
from ..handling import FLIPS
from ..spans import EMPTY, Spans
from ..trace.strikes import Strikes
from .numbers import NumberRecords

__all__ = ["PileRecords"]


class PileRecords(NumberRecords):
    """Piles."""

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
