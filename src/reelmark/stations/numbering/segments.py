"""From levels read to the stretches they bound: one box's reads, or the sheets', as runs of one level.

    level   0 0 0 0 . . . -1 -1 -1 -1 . . . 0 0        . = not read
                    ^^^^^                ^^^
            suspect ...  sure ...  last  ... end       doubt lies between a good read and a bad one

Plain whole numbers; a level is what is borne less what is planned, in ticks.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from reelmark.stations.numbering.tally import Stretch

__all__ = ["Run", "Segment", "segments", "sift"]


@dataclass(frozen=True, slots=True)
class Run:
    """The reads first..last (their places in the series) all show this level; `reads` of them, misreads left out."""

    level: int
    first: int
    last: int
    reads: int


@dataclass(frozen=True, slots=True)
class Segment:
    """Ticks suspect..end off by `level` since `was`: surely from sure to last, in doubt before and behind."""

    level: int
    was: int
    suspect: int
    sure: int
    last: int
    end: int

    def stretches(self) -> list[Stretch]:
        parts = (
            Stretch(self.suspect, self.sure, self.was, self.level),
            Stretch(self.sure, self.last + 1, self.level, self.level),
            Stretch(self.last + 1, self.end + 1, self.level, 0),
        )
        return [part for part in parts if part.start < part.stop]


def sift(runs: Sequence[Run], joined: Callable[[int, int], bool]) -> tuple[list[Run], list[Run]]:
    """Runs that stand, and single reads that do not: back at the next read, with nothing between to set it right.

    joined : could the box not have been set anew between these two reads?
    A single read strictly between the levels around it stands: two slips, one after the other.
    """
    kept: list[Run] = []
    blips: list[Run] = []
    firm = _next_firm(runs)
    for n, run in enumerate(runs):
        was = kept[-1].level if kept else 0
        then = _level_after(runs, n, was, firm[n], joined)
        if run.level != was and run.reads == 1 and then is not None and not min(was, then) < run.level < max(was, then):
            blips.append(run)
        elif kept and run.level == was:
            kept[-1] = replace(kept[-1], last=run.last, reads=kept[-1].reads + run.reads)
        else:
            kept.append(run)
    return kept, blips


def _next_firm(runs: Sequence[Run]) -> list[int | None]:
    """For each run, the place of the next one seen at least twice."""
    firm: list[int | None] = [None] * len(runs)
    for n in range(len(runs) - 2, -1, -1):
        firm[n] = n + 1 if runs[n + 1].reads > 1 else firm[n + 1]
    return firm


def _level_after(
    runs: Sequence[Run], n: int, was: int, firm: int | None, joined: Callable[[int, int], bool]
) -> int | None:
    """The level a run gives way to while the box is left alone, or None when the reads do not tell."""
    after = n + 1 if n + 1 < len(runs) and runs[n + 1].level == was else firm
    return runs[after].level if after is not None and joined(runs[n].first, runs[after].first) else None


def segments(
    level: int, groups: Sequence[tuple[int, int]], before: tuple[int, int], after: tuple[int, int], block: int | None
) -> list[Segment]:
    """One run of bad reads as segments, one for each block it was read in, or one in all where boxes are not set.

    groups : first and last tick read in each block, ticks counted from the plan's first
    before : last tick read before, and its level;  after : first tick that may be right or other, and its level
    block : ticks after which boxes are set anew, or None
    """
    found = []
    for n, (sure, last) in enumerate(groups):
        start = sure // block * block if block else 0
        fresh = n > 0 or start > before[0]
        suspect = start if fresh else before[0] + 1
        stop = groups[n + 1][0] if n + 1 < len(groups) else after[0]
        if block and n + 1 < len(groups):
            stop = stop // block * block
        elif block and after[0] >= (last // block + 1) * block:
            stop = (last // block + 1) * block
        elif after[1] != 0:
            stop = last + 1
        found.append(Segment(level, 0 if fresh else before[1], suspect, sure, last, stop - 1))
    return found
