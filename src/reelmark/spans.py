"""Whole-number places: the one type for *where* and *how many*.

``Spans`` is a set of integers kept as sorted, disjoint, non-touching half-open ranges [start, stop), NumPy int64.
``Extent`` is {(unit, lane): Spans}: micrometres of a roll's lane, sheets of a pile, notes of a series.

    Spans.of((3, 5), (5, 9))  ->  [3, 9)          always in normal form, so equal sets are equal values
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import BadValue

__all__ = ["EMPTY", "Extent", "Place", "Spans"]

Int64 = NDArray[np.int64]
Place = tuple[str, int]


def _normal(starts: Int64, stops: Int64) -> tuple[Int64, Int64]:
    """Sorted, merged, empties dropped.  O(n log n)."""
    keep = starts < stops
    starts, stops = starts[keep], stops[keep]
    if len(starts) < 2 or (starts[1:] > stops[:-1]).all():  # in order already, as most are
        return starts, stops
    order = np.argsort(starts, kind="stable")
    starts, stops = starts[order], np.maximum.accumulate(stops[order])
    gap = starts[1:] > stops[:-1]
    return starts[np.append(True, gap)], stops[np.append(gap, True)]


class Spans:
    """A set of integers as disjoint half-open ranges; immutable, hashable, compared by value."""

    __slots__ = ("_hash", "starts", "stops")

    def __init__(self, starts: Any, stops: Any) -> None:
        self.starts, self.stops = _normal(np.asarray(starts, np.int64), np.asarray(stops, np.int64))
        self.starts.flags.writeable = self.stops.flags.writeable = False
        self._hash: int | None = None

    @classmethod
    def of(cls, *pairs: tuple[int, int]) -> "Spans":
        """From (start, stop) pairs in any order; a pair that runs backwards is refused."""
        for start, stop in pairs:
            if stop < start:
                raise BadValue("range", (start, stop), "it ends before it starts", "give start first, then stop")
        return cls([p[0] for p in pairs], [p[1] for p in pairs])

    @property
    def size(self) -> int:
        """How many integers."""
        return int((self.stops - self.starts).sum())

    def __len__(self) -> int:
        return len(self.starts)

    def __bool__(self) -> bool:
        return len(self.starts) > 0

    def __iter__(self) -> Iterator[tuple[int, int]]:
        return iter(zip(self.starts.tolist(), self.stops.tolist(), strict=True))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Spans):
            return NotImplemented
        return np.array_equal(self.starts, other.starts) and np.array_equal(self.stops, other.stops)

    def __hash__(self) -> int:
        if self._hash is None:
            self._hash = hash((self.starts.tobytes(), self.stops.tobytes()))
        return self._hash

    def __repr__(self) -> str:
        shown = [f"[{a}, {b})" for a, b in zip(self.starts[:6].tolist(), self.stops[:6].tolist(), strict=True)]
        return f"Spans({' '.join(shown)}{' …' if len(self) > 6 else ''})"

    def __contains__(self, x: int) -> bool:
        at = int(np.searchsorted(self.starts, x, "right")) - 1
        return at >= 0 and x < int(self.stops[at])

    def __or__(self, other: "Spans") -> "Spans":
        return Spans(np.r_[self.starts, other.starts], np.r_[self.stops, other.stops])

    def __and__(self, other: "Spans") -> "Spans":
        return self._where_depth(other, 1, 2)

    def __sub__(self, other: "Spans") -> "Spans":
        return self._where_depth(other, -1, 1)

    def _where_depth(self, other: "Spans", weight: int, wanted: int) -> "Spans":
        """Where 1*self + weight*other equals wanted: a sweep over the end points, as the books' sum is."""
        at = np.concatenate((self.starts, self.stops, other.starts, other.stops))
        one, two = np.ones(len(self), np.int64), np.full(len(other), weight, np.int64)
        order = np.argsort(at, kind="stable")
        at, depth = at[order], np.cumsum(np.concatenate((one, -one, two, -two))[order])
        hit = depth[:-1] == wanted
        return Spans(at[:-1][hit], at[1:][hit])

    def covers(self, other: "Spans") -> bool:
        """True where every integer of other is here too."""
        return not (other - self)

    def shifted(self, by: int) -> "Spans":
        """The same set, by further along."""
        return Spans(self.starts + by, self.stops + by)

    @property
    def first(self) -> int:
        """The lowest integer; IndexError when empty."""
        return int(self.starts[0])

    @property
    def stop(self) -> int:
        """One past the highest integer; IndexError when empty."""
        return int(self.stops[-1])


EMPTY: Final = Spans.of()


class Extent(Mapping[Place, Spans]):
    """{(unit, lane): Spans}, empty places dropped; immutable, compared by value."""

    __slots__ = ("_at",)

    def __init__(self, at: Mapping[Place, Spans] | Iterable[tuple[Place, Spans]] = ()) -> None:
        gathered: dict[Place, Spans] = {}
        for place, spans in at.items() if isinstance(at, Mapping) else at:
            gathered[place] = gathered[place] | spans if place in gathered else spans
        self._at = {place: spans for place, spans in gathered.items() if spans}

    @classmethod
    def one(cls, unit: str, lane: int, start: int, stop: int) -> "Extent":
        """A single stretch [start, stop) of a unit's lane."""
        return cls({(unit, lane): Spans.of((start, stop))})

    def __getitem__(self, place: Place) -> Spans:
        return self._at[place]

    def __iter__(self) -> Iterator[Place]:
        return iter(self._at)

    def __len__(self) -> int:
        return len(self._at)

    def __hash__(self) -> int:
        return hash(frozenset(self._at.items()))

    def __repr__(self) -> str:
        return f"Extent({self._at!r})"

    @property
    def size(self) -> int:
        """How many integers in all places together."""
        return sum(spans.size for spans in self.values())

    def __or__(self, other: "Extent") -> "Extent":
        return Extent([*self.items(), *other.items()])

    def __and__(self, other: "Extent") -> "Extent":
        return Extent({place: spans & other[place] for place, spans in self.items() if place in other})

    def __sub__(self, other: "Extent") -> "Extent":
        return Extent({place: spans - other.get(place, EMPTY) for place, spans in self.items()})

    def covers(self, other: "Extent") -> bool:
        """True where every integer of other is here too."""
        return not (other - self)
