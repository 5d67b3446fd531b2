"""Maps of whole numbers made of runs, and their algebra.

A run: x in [s, s+n) -> d + q*(x-s), q = +1 or -1.  A map is runs with disjoint domains and disjoint images, so it has
an inverse.  However many notes there are, a composed map has at most one run more than there were physical events.

    then      domains cut at the other's breakpoints     O(R log R)
    inverse   swap and sort                              O(R log R)
    at        one point                                  O(log R), bisect on lists
    image     of Spans                                   O(log R + runs touched)
"""

from bisect import bisect_right
from collections.abc import Iterable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..spans import EMPTY, Spans

__all__ = ["RunMap", "overlaps"]

Int64 = NDArray[np.int64]


def overlaps(start: Int64, stop: Int64, s: Int64, e: Int64) -> tuple[Int64, Int64]:
    """All overlaps of the stretches [start, stop) with the sorted disjoint [s, e): (index here, index there)."""
    low = np.searchsorted(e, start, "right")
    high = np.maximum(np.searchsorted(s, stop, "left"), low)
    many = np.where(start < stop, high - low, 0)  # an empty stretch must meet nothing
    mine = np.repeat(np.arange(len(start)), many)
    theirs = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many) + np.repeat(low, many)
    return mine, theirs


class RunMap:
    """An injective map of integers made of runs; immutable.  s, n, d, q as in the module's text, sorted by s."""

    def __init__(self, s: Int64, n: Int64, d: Int64, q: Int64) -> None:
        order = np.argsort(s, kind="stable")
        self.s, self.n, self.d, self.q = s[order], n[order], d[order], q[order]

    @classmethod
    def of(cls, runs: Iterable[tuple[int, int, int, int]] = ()) -> "RunMap":
        """From (s, n, d, q) rows in any order."""
        table = np.array(list(runs), np.int64).reshape(-1, 4)
        return cls(table[:, 0], table[:, 1], table[:, 2], table[:, 3])

    @classmethod
    def identity(cls, on: Spans) -> "RunMap":
        """x -> x on the spans."""
        return cls(on.starts, on.stops - on.starts, on.starts, np.ones(len(on), np.int64))

    def __len__(self) -> int:
        return len(self.s)

    @property
    def nbytes(self) -> int:
        """Bytes of the four columns."""
        return int(self.s.nbytes + self.n.nbytes + self.d.nbytes + self.q.nbytes)

    @property
    def reach(self) -> int:
        """How many integers it maps."""
        return int(self.n.sum())

    @cached_property
    def e(self) -> Int64:
        """Ends of the domains."""
        return self.s + self.n

    @cached_property
    def domain(self) -> Spans:
        """Where the map is defined."""
        return Spans(self.s, self.e)

    @cached_property
    def _image_low(self) -> Int64:
        return np.where(self.q > 0, self.d, self.d - self.n + 1)

    @cached_property
    def codomain(self) -> Spans:
        """Where the map arrives."""
        return Spans(self._image_low, self._image_low + self.n)

    @cached_property
    def inverse(self) -> "RunMap":
        """The map that goes back."""
        back = np.where(self.q > 0, self.s, self.e - 1)
        return RunMap(self._image_low, self.n, back, self.q)

    @cached_property
    def _lists(self) -> tuple[list[int], list[int], list[int], list[int]]:
        return self.s.tolist(), self.e.tolist(), self.d.tolist(), self.q.tolist()

    def at(self, x: int) -> int | None:
        """Where x goes, or None."""
        s, e, d, q = self._lists
        i = bisect_right(s, x) - 1
        if i < 0 or x >= e[i]:
            return None
        return d[i] + q[i] * (x - s[i])

    def __call__(self, xs: Int64) -> Int64:
        """Where many x go; -1 where nowhere.  Sorted queries are many times faster."""
        if not len(self):
            return np.full(len(xs), -1, np.int64)
        i = np.searchsorted(self.s, xs, "right") - 1
        out = self.d[i] + self.q[i] * (xs - self.s[i])
        return np.where((i >= 0) & (xs < self.e[i]), out, -1)

    def _image_of(self, start: Int64, stop: Int64) -> tuple[Int64, Int64, Int64, Int64, Int64]:
        """Pieces of the stretches that are mapped: (stretch, from, length, arrives at, direction)."""
        mine, i = overlaps(start, stop, self.s, self.e)
        a: Int64 = np.maximum(start[mine], self.s[i])
        b: Int64 = np.minimum(stop[mine], self.e[i])
        return mine, a, b - a, self.d[i] + self.q[i] * (a - self.s[i]), self.q[i]

    def image(self, spans: Spans) -> Spans:
        """Where the spans go; what is not in the domain goes nowhere."""
        _, _, n, d, q = self._image_of(spans.starts, spans.stops)
        low = np.where(q > 0, d, d - n + 1)
        return Spans(low, low + n) if len(n) else EMPTY

    def then(self, other: "RunMap") -> "RunMap":
        """First this map, then the other; where the other does not go, nothing."""
        mine, a, n, d, q = other._image_of(self._image_low, self._image_low + self.n)
        forward = self.q[mine] > 0
        offset = np.where(forward, a - self.d[mine], self.d[mine] - (a + n - 1))
        arrives = np.where(forward, d, d + q * (n - 1))
        return RunMap(self.s[mine] + offset, n, arrives, np.where(forward, q, -q)).merged()

    def but(self, lost: Spans) -> "RunMap":
        """This map without those x whose image is in lost."""
        kept = self.codomain - lost
        return self.then(RunMap.identity(kept))

    def on(self, spans: Spans) -> "RunMap":
        """This map on the spans only."""
        return RunMap.identity(spans).then(self)

    def __or__(self, other: "RunMap") -> "RunMap":
        """Both, where their domains are disjoint."""
        joined = (np.r_[a, b] for a, b in zip(self._columns, other._columns, strict=True))
        return RunMap(*joined).merged()

    @property
    def _columns(self) -> tuple[Int64, Int64, Int64, Int64]:
        return self.s, self.n, self.d, self.q

    def merged(self) -> "RunMap":
        """Canonical form: neighbours that continue one another are one run.

        A run of length 1 has no direction of its own: it takes that of the neighbour it continues.
        """
        if len(self) < 2:
            return self
        q = _settled_directions(self)
        follows = (self.e[:-1] == self.s[1:]) & (self.d[1:] == self.d[:-1] + q[:-1] * self.n[:-1])
        follows &= (q[1:] == q[:-1]) | (self.n[1:] == 1)
        first = np.r_[True, ~follows]
        group = np.flatnonzero(first)
        return RunMap(self.s[group], np.add.reduceat(self.n, group), self.d[group], q[group])

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, RunMap):
            return NotImplemented
        a, b = self.merged(), other.merged()
        same_ends = np.array_equal(a.s, b.s) and np.array_equal(a.n, b.n) and np.array_equal(a.d, b.d)
        return same_ends and bool(np.all((a.q == b.q) | (a.n == 1)))

    __hash__ = None  # type: ignore[assignment]


def _settled_directions(m: RunMap) -> Int64:
    """Directions with runs of length 1 turned so that they continue into the next run where they can."""
    q = m.q.copy()
    step = m.d[1:] - m.d[:-1]
    single = (m.n[:-1] == 1) & (m.e[:-1] == m.s[1:]) & (np.abs(step) == 1)
    q[:-1][single] = step[single]
    return q
