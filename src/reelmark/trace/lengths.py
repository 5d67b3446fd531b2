"""How long every unit is, in order of the journal, and what the counts say against it.

A unit's length is a Form on the named unknowns of the pulls nobody counted.  Each count either narrows them or cannot
be true; then it is kept out and reported as a Difference: the last agreeing count up the way, this one, and the events
between them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from ..errors import Clash
from ..facts import Run, Tie
from .counts import narrowed
from .feed import delivered
from .form import Bounds, Doubt, Form

__all__ = ["Difference", "Lengths"]

_sheets = lru_cache(maxsize=1024)(Form)  # pulls are many and small: the same few lengths over and over


@dataclass(frozen=True, slots=True)
class Difference:
    """A count that cannot be true beside those before it.

    seq : its entry; since : the last that agreed, in words; events : entries between; booked : what it should lie in
    """

    seq: int
    unit: str
    counted: int
    booked: Bounds
    since: str
    events: tuple[int, ...]
    by: str = ""

    @property
    def text(self) -> str:
        """In words."""
        low, high = self.booked
        book = f"{low:,}" if low == high else f"{low:,} to {high:,}"
        between = ", ".join(map(str, self.events)) or "none"
        return f"{self.unit}: {self.counted:,} counted, {book} booked; since {self.since}; entries between: {between}"


class Lengths:
    """Lengths of all units, bounds of all unknowns, and the differences found on the way."""

    def __init__(self) -> None:
        self.of: dict[str, Form] = {}
        self.known: dict[str, Bounds] = {}
        self.agreed: dict[str, Tie] = {}
        self.differences: list[Difference] = []
        self.healed: list[tuple[Difference, Tie]] = []
        self.maker: dict[str, Run] = {}
        self._equal: list[tuple[Form, int]] = []

    @classmethod
    def read(cls, runs: Iterable[Run], ties: Iterable[Tie]) -> "Lengths":
        """Runs and ties taken in the order of the journal."""
        lengths = cls()
        facts: list[Run | Tie] = [*runs, *ties]
        for one in sorted(facts, key=lambda fact: fact.seq):
            lengths.run(one) if isinstance(one, Run) else lengths.tie(one)
        return lengths

    def run(self, run: Run) -> None:
        """Lengths of what a run gave."""
        if run.born:
            self._add({unit: Form(length) for unit, _, length in run.born}, run)
        if run.pieces:
            self._from_pieces(run)
        if run.pile:
            self.known.update({u.name: (u.low, u.high) for u in run.pile.unknowns})
            fed = sum((self.of[unit] for unit in run.pile.inputs), Form(0))
            self._add(delivered(run.pile, fed, Doubt(self.known)), run)
            lots = {pull.lot: _sheets(pull.sheets) for pull in run.pile.pulls}
            self._add(lots | {u.lot: Form(0, ((u.name, 1),)) for u in run.pile.unknowns}, run)

    def _from_pieces(self, run: Run) -> None:
        reach: dict[str, int] = {}
        for piece in run.pieces:
            end = (piece.at if piece.sign > 0 else piece.at - piece.many + 1) + piece.many
            reach[piece.to_unit] = max(reach.get(piece.to_unit, 0), end)
        new = Form(-1)
        self._add({unit: Form(end) for unit, end in reach.items() if self.of.get(unit, new).constant < end}, run)

    def _add(self, lengths: Mapping[str, Form], run: Run) -> None:
        self.of.update(lengths)
        if self.maker.keys().isdisjoint(lengths):
            self.maker.update(dict.fromkeys(lengths, run))
        else:
            self.maker.update({unit: run for unit in lengths if unit not in self.maker})

    def tie(self, tie: Tie) -> None:
        """A count taken in, or reported as a difference."""
        if tie.counted is None:
            return
        form = self.of[tie.unit]
        narrower = self._narrowed(form, tie.counted)
        if narrower is None:
            self._differ(tie, form)
        elif tie.blind:
            self._agree(tie)
            if form.terms:
                self.known = narrower
                self._equal.append((form, tie.counted))

    def _narrowed(self, form: Form, counted: int) -> dict[str, Bounds] | None:
        if form.terms:
            return narrowed(self.known, [*self._equal, (form, counted)])
        return self.known if form.constant == counted else None

    def _agree(self, tie: Tie) -> None:
        """A blind count that can be true ends the differences of its unit that another person found."""
        ended = [d for d in self.differences if d.unit == tie.unit and d.by != tie.by]
        self.healed += [(d, tie) for d in ended]
        self.differences = [d for d in self.differences if d not in ended]
        self.agreed[tie.unit] = tie

    def _differ(self, tie: Tie, form: Form) -> None:
        since, events = self._between(tie.unit)
        booked = self.bounds(form)
        self.differences.append(Difference(tie.seq, tie.unit, tie.counted or 0, booked, since, events, tie.by))

    def _between(self, unit: str) -> tuple[str, tuple[int, ...]]:
        """The last agreeing counts up the way, and the events since."""
        counts, events, todo = [], set(), [unit]
        while todo:
            at = todo.pop()
            if at in self.agreed:
                counts.append(self.agreed[at].name)
                continue
            run = self.maker[at]
            if run.seq not in events:
                events.add(run.seq)
                inputs = run.pile.inputs if run.pile else ()
                todo += inputs
                if not inputs:
                    counts.append(f"{run.what} (entry {run.seq})")
        return " and ".join(sorted(counts)), tuple(sorted(events))

    def settled(self) -> Mapping[str, Form]:
        """Lengths with every pinned unknown put in."""
        if not self.known:
            return dict(self.of)
        doubt = Doubt(self.known)
        return {unit: doubt.settled(form) if form.terms else form for unit, form in self.of.items()}

    def sheets(self, unit: str) -> Bounds:
        """How long a unit is, at least and at most; Clash is for the caller who wants one number."""
        return self.bounds(self.of[unit])

    def bounds(self, form: Form) -> Bounds:
        """Least and most of a length.

        Unknowns each within their own bounds say too little of their sum: where a count holds a part of it, or all,
        the count is put in.  Forms of units are nested or apart, so the largest count first is the best.
        """
        doubt = Doubt(self.known)
        low, high = doubt.bounds(form)
        if not form.terms:
            return low, high
        for counted, value in sorted(self._equal, key=lambda equal: -len(equal[0].terms)):
            if counted.unknowns <= form.unknowns:
                ratio = dict(form.terms)[counted.terms[0][0]] // counted.terms[0][1]
                form = form + (value - counted if ratio > 0 else counted - value)
        least, most = doubt.bounds(form)
        return max(0, low, least), min(high, most)

    def exactly(self, unit: str) -> int:
        """How long a unit is; Clash when nobody counted it."""
        low, high = self.sheets(unit)
        if low != high:
            raise Clash(unit, f"{low}..{high}", "sheets were pulled from it uncounted", "count it")
        return low
