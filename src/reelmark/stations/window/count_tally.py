"""Every window of a part accounted for once: seen, missing, or not seen and booked with the reason.

A window is numbered by its repeat along the part, its lane and its place in the note.  Which windows there should be
follows from the count alone; which were looked at follows from the frames; the two must close.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["Gap", "Tally", "Windows", "tally"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Windows:
    """Windows that frames looked at, one element each, a window as often as frames show it.

    repeat : along the part;  column : lane * windows a note + window;  frame : that showed it
    inside_mm : from the nearer end of the picture;  there : False where it is missing
    """

    repeat: Ints
    column: Ints
    frame: Ints
    inside_mm: Floats
    there: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Gap:
    """Windows not seen.  repeats start..stop-1, so many windows;  why : each reason with how often"""

    start: int
    stop: int
    windows: int
    why: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Tally:
    """expected = seen + missing + not_seen, each counted by itself;  best : of each window the view to be believed

    unlike : windows that one frame showed and another did not: counted as missing
    """

    expected: int
    seen: int
    missing: int
    not_seen: int
    gaps: tuple[Gap, ...]
    best: Ints
    unlike: int = 0

    @property
    def closes(self) -> bool:
        return self.expected == self.seen + self.missing + self.not_seen


def tally(windows: Windows, columns: int, first: Ints | None = None, last: Ints | None = None) -> Tally:
    """The account of a part.

    first, last : (n, columns) repeats that frames which were not read would have shown, last < first: none; those
        before the first and after the last that was seen widen the part
    """
    best, there, unlike = _best(windows, columns)
    none = np.empty((0, columns), np.int64)
    low, high = _range(windows, columns, none if first is None else first, none if last is None else last)
    runs = [_runs(windows.repeat[best][windows.column[best] == c], low[c], high[c]) for c in range(columns)]
    gaps = _joined([run for some in runs for run in some])
    expected = int(np.maximum(high - low + 1, 0).sum())
    return Tally(expected, int(there.sum()), int((~there).sum()), sum(one.windows for one in gaps), gaps, best, unlike)


def _best(windows: Windows, columns: int) -> tuple[Ints, NDArray[np.bool_], int]:
    """Of each window the view furthest from the ends, whether it is there, and how many views disagree about.

    Missing in one view is missing: a note without its window costs more than a note recalled for nothing.
    """
    if not len(windows.repeat):
        return np.empty(0, np.int64), np.empty(0, bool), 0
    key = windows.repeat * columns + windows.column
    order = np.lexsort((-windows.inside_mm, key))
    new = np.r_[True, np.diff(key[order]) > 0]
    group = np.cumsum(new) - 1
    there = windows.there[order]
    some, all_ = np.zeros(group[-1] + 1, bool), np.ones(group[-1] + 1, bool)
    np.logical_or.at(some, group, there)
    np.logical_and.at(all_, group, there)
    return order[new], all_, int((some & ~all_).sum())


def _range(windows: Windows, columns: int, first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """First and last repeat that there should be, of each column; last < first where it has none."""
    far = np.iinfo(np.int64).max // 4
    low, high = np.full(columns, far), np.full(columns, -far)
    np.minimum.at(low, windows.column, windows.repeat)
    np.maximum.at(high, windows.column, windows.repeat)
    some = last >= first
    low = np.minimum(low, np.where(some, first, far).min(axis=0, initial=far))
    high = np.maximum(high, np.where(some, last, -far).max(axis=0, initial=-far))
    none = high < low
    low[none], high[none] = 0, -1
    return low, high


def _runs(repeats: Ints, low: int, high: int) -> list[tuple[int, int]]:
    """Stretches [start, stop) of low..high that hold none of the repeats (each there once)."""
    at = np.r_[low - 1, np.sort(repeats), high + 1]
    return [(int(a) + 1, int(b)) for a, b in pairwise(at) if b - a > 1]


def _joined(runs: list[tuple[int, int]]) -> tuple[Gap, ...]:
    """Stretches of all columns as gaps of the whole web."""
    gaps: list[Gap] = []
    for start, stop in sorted(runs):
        if gaps and start <= gaps[-1].stop:
            last = gaps.pop()
            gaps.append(Gap(last.start, max(last.stop, stop), last.windows + stop - start))
        else:
            gaps.append(Gap(start, stop, stop - start))
    return tuple(gaps)
