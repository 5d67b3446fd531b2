"""Which numbers are borne twice and which by nobody, when it is not known exactly where a fault began.

A *stretch* is a run of consecutive ticks whose notes bear their planned number plus `was`, and from some unknown
tick on plus `now`.  Where was = now there is no doubt.  In doubt the notes of the stretch

    now < was   overlap: numbers near the change may be borne twice, none is lost
    now > was   gape:    numbers near the change may be borne by nobody, none is doubled

So two sets are kept: what *may* be borne (each line counted), and what is *surely* borne whatever the tick.
A number is wrong where the sure and possible bearers may be two, or where the plan does not hold it; it is
missing where no note surely bears it.  Both sets are wide, never narrow.

Plain half-open ranges (start, stop) of whole numbers; one sweep does union, overlap and difference.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Range", "Stretch", "Touched", "common", "settle", "union", "where"]

Range = tuple[int, int]
_NEVER = -(10**9)  # outweighs any number of bearers


@dataclass(frozen=True, slots=True)
class Stretch:
    """Ticks start..stop-1; the notes bear plan + was, then plan + now, both in ticks."""

    start: int
    stop: int
    was: int
    now: int

    @property
    def in_doubt(self) -> bool:
        return self.was != self.now

    def may_bear(self) -> list[Range]:
        """What the notes may bear; a number that two of them may bear stands in two ranges."""
        lines = [(self.start + by, self.stop + by) for by in {self.was, self.now}]
        return lines if self.now < self.was else union(lines)

    def surely_bears(self) -> list[Range]:
        """What they bear wherever the change lies."""
        sure = (self.start + self.was, self.stop + self.now)
        return [sure] if self.now <= self.was and sure[0] < sure[1] else []


@dataclass(frozen=True, slots=True)
class Touched:
    """One finding's notes: their planned numbers, what they may bear, what they surely bear."""

    planned: list[Range]
    may_bear: list[Range]
    surely_bears: list[Range]


def where(weighted: Iterable[tuple[int, int, int]], least: int) -> list[Range]:
    """The ranges over which the weights (start, stop, weight) sum to at least `least`; least > 0."""
    change: defaultdict[int, int] = defaultdict(int)
    for start, stop, weight in weighted:
        if start < stop:
            change[start] += weight
            change[stop] -= weight
    found, score, since = [], 0, 0
    for at in sorted(change):
        before, score = score, score + change[at]
        if before < least <= score:
            since = at
        elif score < least <= before:
            found.append((since, at))
    return found


def union(ranges: Iterable[Range]) -> list[Range]:
    """Sorted, disjoint, touching ones joined."""
    return where(((a, b, 1) for a, b in ranges), 1)


def common(of: list[Range], within: list[Range]) -> list[Range]:
    """What two sorted disjoint lists share; looks only near `within`."""
    shared = []
    for a, b in within:
        n = max(bisect_right(of, (a, a)) - 1, 0)
        while n < len(of) and of[n][0] < b:
            if of[n][1] > a:
                shared.append((max(a, of[n][0]), min(b, of[n][1])))
            n += 1
    return shared


def settle(planned: list[Range], touched: list[Touched]) -> list[tuple[list[Range], list[Range]]]:
    """For each finding: numbers that may stand wrongly on its notes, and its planned numbers that may be missing.

    planned : every number of the plan so far; those no finding touches are borne once, by their own note
    All findings are weighed together: a number lost at one box may be found on the note of another.
    """
    own = [(a, b, -1) for one in touched for a, b in one.planned]
    lines = [(a, b, 1) for one in touched for a, b in one.may_bear]
    twice = where([*((a, b, 1) for a, b in planned), *own, *lines], 2)
    outside = where([*((a, b, _NEVER) for a, b in planned), *lines], 1)
    wrong = union([*twice, *outside])
    borne = [(a, b, _NEVER) for one in touched for a, b in one.surely_bears]
    gone = where([*((a, b, 1) for a, b, _ in own), *borne], 1)
    return [(common(wrong, union(one.may_bear)), common(gone, union(one.planned))) for one in touched]
