"""Through one handling of piles, with whatever was pulled on the way, counted or not.

    input piles end to end  ->  feed f  ->  less known pulls: g  ->  less uncounted pulls: d  ->  output piles

All places are cuts between sheets, as Forms; O(g) is how many sheets were pulled uncounted before g.  Outside the
windows of uncounted pulls O is a sum of named unknowns; inside one it is a new unknown bounded by the slack.
"""

import itertools
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from ..facts import PileRun
from .form import Bounds, Doubt, Form
from .slack import Bounds as Taken
from .slack import Pin, Slack, Window, solve

__all__ = ["Feed", "Stretch", "delivered"]


class Stretch(NamedTuple):
    """Sheets low..high (cuts) of a unit; sure = none of them may be missing."""

    unit: str
    low: Form
    high: Form
    sure: bool = True


class Feed:
    """One PileRun with the lengths of its input piles and what is known of its unknowns."""

    def __init__(self, run: PileRun, lengths: Mapping[str, Form], doubt: Doubt, pins: tuple[Pin, ...] = ()) -> None:
        self.run, self.doubt, self.pins = run, doubt, pins
        self.pulls = sorted(run.pulls)
        self.offsets, self.fed_total = _stacked([lengths[unit] for unit in run.inputs])
        self._index_known_pulls()
        self.windows = sorted((self.less_known(u.start), self.less_known(u.stop), u.name, u.lot) for u in run.unknowns)
        self.out_lengths = delivered(run, self.fed_total, doubt)
        self.out_offsets, _ = _stacked(list(self.out_lengths.values()))
        self._slack: Taken | None = None

    def _index_known_pulls(self) -> None:
        self._starts, self._before, self._shrunk = [], [0], []
        for pull in self.pulls:
            self._starts.append(pull.start)
            self._shrunk.append(pull.start - self._before[-1])
            self._before.append(self._before[-1] + pull.sheets)

    # --- known pulls -------------------------------------------------------------------------------------------

    def known_before(self, f: int) -> int:
        """Sheets of known pulls among the first f fed."""
        i = bisect_right(self._starts, f)
        return self._before[i] - (max(0, self.pulls[i - 1].start + self.pulls[i - 1].sheets - f) if i else 0)

    def less_known(self, f: int) -> int:
        """Feed cut f with the known pulls closed up."""
        return f - self.known_before(f)

    def _reopened(self, g: int) -> int:
        """Feed place of the sheet that is g-th when known pulls are closed up."""
        return g + self._before[bisect_right(self._shrunk, g)]

    # --- uncounted pulls ---------------------------------------------------------------------------------------

    @property
    def slack(self) -> Taken:
        """Bounds on the uncounted sheets before each place; Contradiction when the pins exclude each other."""
        if self._slack is None:
            room = max([self.doubt.bounds(self.fed_total)[1], *(w[1] for w in self.windows)])
            windows = tuple(Window(name, a, b, *self.doubt[name]) for a, b, name, _ in self.windows)
            self._slack = solve(Slack(room, windows, self.pins))
        return self._slack

    def _taken_before(self, g: int) -> Bounds:
        """Least and most pulled uncounted before g; places off the feed count as its ends."""
        return self.slack.at(min(max(g, 0), self.slack.cuts[-1]))

    def _ended(self, g: int) -> Form:
        """Unknowns whose windows end at or before g."""
        return self.doubt.settled(Form(0, tuple(sorted((name, 1) for _, b, name, _ in self.windows if b <= g))))

    def _uncounted_before(self, g: Form, doubt: Doubt) -> Form:
        low, high = doubt.bounds(g)
        if any(a < high and low < b for a, b, _, _ in self.windows):
            return doubt.fresh(self._taken_before(low)[0], self._taken_before(high)[1])
        return self._ended(low)

    # --- forward and back --------------------------------------------------------------------------------------

    def delivered(self, f: Form, doubt: Doubt) -> Form:
        """Cut f of the feed as a cut of the delivery."""
        low, high = doubt.bounds(f)
        g = f - doubt.fresh(self.known_before(low), self.known_before(high))
        return g - self._uncounted_before(g, doubt) if self.windows else g

    def fed(self, d: Form, doubt: Doubt) -> Form:
        """Feed place of the d-th sheet delivered."""
        g = self._before_uncounted(d, doubt) if self.windows else d
        low, high = doubt.bounds(g)
        if self._reopened(low) - low == self._reopened(high) - high:
            return g + (self._reopened(low) - low)
        return doubt.fresh(self._reopened(low), self._reopened(high))

    def _before_uncounted(self, d: Form, doubt: Doubt) -> Form:
        for start, stop in self._quiet():
            gone = self._ended(start)
            if doubt.bounds(d + gone - start)[0] >= 0 and (stop is None or doubt.bounds(d + gone - stop)[1] < 0):
                return d + gone
        low, high = doubt.bounds(d)
        most = sum(self.doubt[name][1] for _, _, name, _ in self.windows)
        first = _first(low, low + most, lambda g: g - self._taken_before(g)[0] >= low)
        last = _first(high, high + most + 1, lambda g: g - self._taken_before(g)[1] > high) - 1
        return doubt.fresh(first, last)

    def _quiet(self) -> Iterator[tuple[int, int | None]]:
        """Stretches of closed-up feed outside every window."""
        at = 0
        for a, b, _, _ in self.windows:
            if a > at:
                yield at, a
            at = max(at, b)
        yield at, None

    def quiet_at(self, g: int) -> Form | None:
        """How many were pulled uncounted before g, by name; None inside a window."""
        if any(a <= g < b for a, b, _, _ in self.windows):
            return None
        return self._ended(g)

    def forward(self, unit: str, low: Form, high: Form, doubt: Doubt, sure: bool = True) -> Iterator[Stretch]:
        """Where sheets low..high of an input went: outputs and lots."""
        offset = self.offsets[self.run.inputs.index(unit)]
        f0, f1 = offset + low, offset + high
        d0, d1 = self.delivered(f0, doubt), self.delivered(f1, doubt)
        for (name, _), start in zip(self.run.outputs, self.out_offsets, strict=True):
            length = self.out_lengths[name]
            e0, e1 = (_clipped(d - start, length, doubt) for d in (d0, d1))
            yield Stretch(name, length - e1, length - e0, sure) if self.run.reverses else Stretch(name, e0, e1, sure)
        yield from self._into_lots(f0, f1, doubt, sure)

    def _into_lots(self, f0: Form, f1: Form, doubt: Doubt, sure: bool) -> Iterator[Stretch]:
        for pull in self.pulls:
            a, b = (_clipped(f - pull.start, Form(pull.sheets), doubt) for f in (f0, f1))
            yield Stretch(pull.lot, a, b, sure)
        low, high = doubt.bounds(f0)[0], doubt.bounds(f1)[1]
        surely = doubt.bounds(f0)[1], doubt.bounds(f1)[0]
        for u in self.run.unknowns:
            if low < u.stop and u.start < high:
                whole = sure and surely[0] <= u.start and u.stop <= surely[1]
                yield Stretch(u.lot, Form(0), self.doubt.settled(Form(0, ((u.name, 1),))), whole)

    def back(self, unit: str, low: Form, high: Form, doubt: Doubt, sure: bool = True) -> Iterator[Stretch]:
        """Where sheets low..high of an output came from, cut at known pulls and at windows."""
        at = [name for name, _ in self.run.outputs].index(unit)
        length = self.out_lengths[unit]
        e0, e1 = (length - high, length - low) if self.run.reverses else (low, high)
        f0 = self.fed(self.out_offsets[at] + e0, doubt)
        f1 = self.fed(self.out_offsets[at] + e1 - 1, doubt) + 1
        yield from self._from_inputs(f0, f1, doubt, sure)

    def back_from_lot(self, lot: str, low: Form, high: Form, doubt: Doubt, sure: bool = True) -> Iterator[Stretch]:
        """Where sheets of a lot were pulled from."""
        for pull in self.pulls:
            if pull.lot == lot:
                yield from self._to_inputs(low + pull.start, high + pull.start, doubt, sure)
        for u in self.run.unknowns:
            if u.lot == lot:
                every = doubt.bounds(high - low)[0] == u.stop - u.start  # the whole window went into the lot
                yield from self._to_inputs(Form(u.start), Form(u.stop), doubt, sure and every)

    def _from_inputs(self, f0: Form, f1: Form, doubt: Doubt, sure: bool) -> Iterator[Stretch]:
        """Feed f0..f1 less known pulls; where somebody may have pulled, no longer sure."""
        holes = [(p.start, p.start + p.sheets, True) for p in self.pulls]
        holes += [(u.start, u.stop, False) for u in self.run.unknowns if self.doubt[u.name][1]]
        low, high = doubt.bounds(f0)[0], doubt.bounds(f1)[1]
        edges = sorted({e for a, b, _ in holes for e in (a, b) if low < e < high})
        cuts = [f0, *map(Form, edges), f1]
        for a, b in itertools.pairwise(cuts):
            middle = doubt.bounds(a)[0], doubt.bounds(b)[1]
            inside = [known for p, q, known in holes if p < middle[1] and middle[0] < q]
            if not any(inside):
                held = _later(a, f0, doubt), _earlier(b, f1, doubt)
                yield from self._to_inputs(*held, doubt, sure and not inside)

    def _to_inputs(self, f0: Form, f1: Form, doubt: Doubt, sure: bool) -> Iterator[Stretch]:
        ends = [*self.offsets[1:], self.fed_total]
        for unit, start, end in zip(self.run.inputs, self.offsets, ends, strict=True):
            low, high = (_clipped(f - start, end - start, doubt) for f in (f0, f1))
            yield Stretch(unit, low, high, sure)


def delivered(run: PileRun, fed: Form, doubt: Doubt) -> dict[str, Form]:
    """Length of each pile given, when so many sheets were fed in all."""
    left = fed - sum([p.sheets for p in run.pulls]) - sum([many for _, many in run.outputs if many is not None])
    if run.unknowns:
        left = left - Form(0, tuple(sorted((u.name, 1) for u in run.unknowns)))
    if left.terms:
        left = doubt.settled(left)
    return {unit: Form(many) if many is not None else left for unit, many in run.outputs}


def _stacked(lengths: list[Form]) -> tuple[list[Form], Form]:
    """Offsets of things laid end to end, and their total."""
    offsets, at = [], Form(0)
    for length in lengths:
        offsets.append(at)
        at = at + length
    return offsets, at


def _clipped(place: Form, length: Form, doubt: Doubt) -> Form:
    """The place held within 0..length."""
    low, high = doubt.bounds(place)
    if high <= 0:
        return Form(0)
    if doubt.bounds(place - length)[0] >= 0:
        return length
    if low >= 0 and doubt.bounds(place - length)[1] <= 0:
        return place
    most = doubt.bounds(length)[1]
    return doubt.fresh(min(max(low, 0), most), min(max(high, 0), most))


def _later(edge: Form, place: Form, doubt: Doubt) -> Form:
    """The later of a fixed edge and a place that may lie on either side of it."""
    low, high = doubt.bounds(place)
    return edge if edge is place or high <= edge.constant else doubt.fresh(max(low, edge.constant), high)


def _earlier(edge: Form, place: Form, doubt: Doubt) -> Form:
    """The earlier of a fixed edge and a place that may lie on either side of it."""
    low, high = doubt.bounds(place)
    return edge if edge is place or low >= edge.constant else doubt.fresh(low, min(high, edge.constant))


def _first(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """The first whole number in low..high for which the monotone test holds (high when none below does)."""
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low
