"""Numbers read on numbered sheets -> which box failed, since when, and which numbers that concerns.

Every read is set against the plan: what is borne less what is planned, in ticks (a descending box that does not
step bears too high a number, and is one tick behind all the same).  First what all positions of a sheet share is
taken off: the sheet and the press no longer count alike.  What is left belongs to single boxes.
Between the last good read and the first bad one lies doubt; it is reported, not guessed away.

All is stated as of the last tick: a number that no sheet up to there bears counts as missing.
The fault table is in finding.py; doubled and missing numbers are weighed in concerned.py.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.stations.numbering import concerned
from reelmark.stations.numbering.finding import Finding, Kind, kind_at_box, kind_at_sheet
from reelmark.stations.numbering.plan import Numbering
from reelmark.stations.numbering.segments import Run, Segment, segments, sift

__all__ = ["Residual", "diagnose", "residuals"]

Ints = NDArray[np.int64]
_WINDOW = 5  # reads that vote together on what all positions share, where few positions of a sheet are read
_UNREAD = 3  # nothing readable so often in a row is worth a finding


@dataclass(frozen=True, slots=True)
class _Reads:
    """Reads by position, then tick; index -1 where nothing was readable."""

    tick: Ints
    position: Ints
    index: Ints

    def pick(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> "_Reads":
        return _Reads(self.tick[which], self.position[which], self.index[which])


@dataclass(frozen=True, slots=True)
class _Shift:
    """All positions go from `was` to `now` after tick `lower`, at the latest at `upper`; `last` seen so."""

    was: int
    now: int
    lower: int
    upper: int
    last: int
    sheets: int


class Residual(NamedTuple):
    """One read against the plan, in ticks.  shared : what all positions are off by; own : its box alone.

    Both are None where nothing was readable.
    """

    tick: int
    position: int
    shared: int | None
    own: int | None


def residuals(plan: Numbering, reads: Iterable[tuple[int, int, int | None]]) -> list[Residual]:
    """Every read as `diagnose` sees it, by position, then tick.

    >>> plan = Numbering(base=0, block=1000, ups=2)
    >>> [(one.tick, one.own) for one in residuals(plan, [(0, 1, 1000), (50, 1, 1049), (60, 1, None)])]
    [(0, 0), (50, -1), (60, None)]
    """
    every = _table(plan, reads)
    readable = every.index >= 0
    seen = every.pick(readable)
    shifts, _ = _shifts(plan, seen)
    drift = _drift(seen.tick, shifts)
    told = zip(drift.tolist(), _levels(plan, seen, drift).tolist(), strict=True)
    places = zip(every.tick.tolist(), every.position.tolist(), readable.tolist(), strict=True)
    return [Residual(tick, position, *(next(told) if read else (None, None))) for tick, position, read in places]


def diagnose(
    plan: Numbering, reads: Iterable[tuple[int, int, int | None]], *, ticks: int | None = None, set_anew: bool = True
) -> list[Finding]:
    """What the reads say against the plan, oldest first; [] when all is well.

    reads : (tick of the sheet, position, index read or None); in any order, as sparse as they are
    ticks : sheets numbered so far; without it, up to the last read
    set_anew : boxes are set at the start of every block, so a fault ends there at the latest unless the next block
        shows it too.  False for heads that go on from where they stand.

    >>> plan = Numbering(base=0, block=1000, ups=2)
    >>> reads = [(0, 0, 0), (0, 1, 1000), (50, 0, 50), (50, 1, 1049), (100, 0, 100), (100, 1, 1099)]
    >>> [slip] = diagnose(plan, reads)
    >>> slip.kind.value, slip.position, slip.first_tick_suspect, slip.first_tick_sure, slip.step
    ('skipped tick', 1, 1, 50, -1)
    """
    every = _table(plan, reads)
    seen = every.pick(every.index >= 0)
    end = plan.first_tick + ticks - 1 if ticks is not None else int(every.tick.max(initial=plan.first_tick - 1))
    shifts, strays = _shifts(plan, seen)
    placed = seen.pick(~np.isin(seen.tick, [stray.first_tick_sure for stray in strays]))
    press_end = end + (shifts[-1].now if shifts else 0)
    boxes = _box_findings(plan, placed, _drift(placed.tick, shifts), press_end, plan.block if set_anew else None)
    found = [*_unread(every), *strays, *_shift_findings(plan, shifts, end), *boxes]
    return sorted(found, key=lambda f: (f.first_tick_sure, -1 if f.position is None else f.position))


def _table(plan: Numbering, reads: Iterable[tuple[int, int, int | None]]) -> _Reads:
    rows = list(reads)
    whole = np.array([(t, p, -1 if x is None else x) for t, p, x in rows], dtype=np.int64)
    tick, position, index = whole.reshape(-1, 3).T
    for name, bad in (
        ("tick", tick < plan.first_tick),
        ("position", (position < 0) | (position >= plan.ups)),
        ("index", np.array([x is not None and x < 0 for _, _, x in rows], dtype=np.bool_)),
    ):
        if bad.any():
            read = rows[int(bad.argmax())]
            true = f"the plan begins at tick {plan.first_tick} and has positions 0 to {plan.ups - 1}"
            raise BadValue(f"read, {name}", read, f"{true}; an index is 0 or more, or None", "correct the read")
    return _Reads(tick, position, index).pick(np.lexsort((tick, position)))


# ---- what all positions share


def _shifts(plan: Numbering, seen: _Reads) -> tuple[list[_Shift], list[Finding]]:
    """Where sheet and press stop counting alike, and sheets that lie out of place."""
    seen = seen.pick(np.argsort(seen.tick, kind="stable"))
    off, usable = _ticks_off(plan, seen)
    first, last, level = _votes(seen, off, usable)
    runs, blips = sift(list(_runs(level)), lambda a, b: True)
    shifts: list[_Shift] = []
    told = seen.tick[usable], off[usable]
    for n, run in enumerate(runs):
        was, since = (runs[n - 1].level, int(first[runs[n - 1].last])) if n else (0, plan.first_tick)
        if run.level != was:
            floor = shifts[-1].upper if shifts else plan.first_tick - 1
            lower, upper = _edge(*told, (was, run.level), (since, int(last[run.first])), floor)
            shifts.append(_Shift(was, run.level, lower, upper, int(last[run.last]), run.reads))
    lone = [b for b in blips if first[b.first] == last[b.first]]
    return shifts, [_stray(b, runs, first, last) for b in lone]


def _ticks_off(plan: Numbering, seen: _Reads) -> tuple[Ints, NDArray[np.bool_]]:
    """Tick the number read belongs to, less the sheet's; and whether it is a number of this position at all."""
    block, rest = np.divmod(seen.index - plan.base, plan.ups * plan.block)
    position, inside = np.divmod(rest, plan.block)
    step = plan.block - 1 - inside if plan.descending else inside
    usable = (position == seen.position) & (seen.index >= plan.base)
    return plan.first_tick + block * plan.block + step - seen.tick, usable


def _votes(seen: _Reads, off: Ints, usable: NDArray[np.bool_]) -> tuple[Ints, Ints, Ints]:
    """First tick, last tick and level of each sheet, or few sheets, at which most positions are off alike.

    A majority of the positions read, and two at least: one position alone cannot tell its box from the sheet.
    """
    if not usable.any():
        return (np.empty(0, np.int64),) * 3
    _, begin, sheet = np.unique(seen.tick, return_index=True, return_inverse=True)
    _, window = np.unique((begin // _WINDOW)[sheet], return_inverse=True)
    ups, low = int(seen.position.max()) + 1, off[usable].min()
    wide = int(off[usable].max() - low) + 1
    voters = np.bincount(np.unique(window * ups + seen.position) // ups)
    ballots = (window[usable] * wide + off[usable] - low) * ups + seen.position[usable]
    choice, count = np.unique(np.unique(ballots) // ups, return_counts=True)
    best = np.lexsort((count, choice // wide))
    best = best[np.flatnonzero(np.diff(choice[best] // wide, append=-1))]
    of, level, count = choice[best] // wide, choice[best] % wide + low, count[best]
    won = (2 * count > voters[of]) & (voters[of] > 1)
    start = np.searchsorted(window, of[won], side="left")
    stop = np.searchsorted(window, of[won], side="right") - 1
    return seen.tick[start], seen.tick[stop], level[won]


def _edge(tick: Ints, off: Ints, levels: tuple[int, int], ends: tuple[int, int], floor: int) -> tuple[int, int]:
    """Last tick that still speaks for the old level and first that speaks for the new, cut where fewest disagree."""
    here = slice(*np.searchsorted(tick, (max(ends[0], floor), ends[1] + 1)))
    tick, old, new = tick[here], off[here] == levels[0], off[here] == levels[1]
    cuts = np.flatnonzero(np.diff(tick, prepend=tick[0] - 1))
    behind = np.concatenate(([0], np.cumsum(old)))[cuts]
    ahead = np.cumsum(new[::-1])[::-1][cuts]
    cut = cuts[int(np.argmax(behind + ahead))]
    olds, news = tick[:cut][old[:cut]], tick[cut:][new[cut:]]
    return int(olds.max(initial=floor)), int(news.min())


def _stray(blip: Run, runs: list[Run], first: Ints, last: Ints) -> Finding:
    n, at = blip.first, int(first[blip.first])
    before = int(last[n - 1]) + 1 if n else at
    was = next((r.level for r in reversed(runs) if r.first < n), 0)
    step = blip.level - was
    return Finding(Kind.STRAY, None, before, at, int(first[n + 1]) - 1, step, blip.level, 1)


def _drift(tick: Ints, shifts: list[_Shift]) -> Ints:
    """What all positions of each read's sheet are off by."""
    levels = np.array([0, *(s.now for s in shifts)], dtype=np.int64)
    return levels[np.searchsorted(np.array([s.lower for s in shifts], dtype=np.int64), tick, side="left")]


def _shift_findings(plan: Numbering, shifts: list[_Shift], end: int) -> list[Finding]:
    faults = []
    for shift, later in zip_longest(shifts, shifts[1:]):
        last, stop = (later.lower, later.lower if later.now else later.upper - 1) if later else (shift.last, end)
        if shift.now:
            step, offset = shift.now - shift.was, shift.now * plan.direction
            segment = Segment(shift.now, shift.was, shift.lower + 1, shift.upper, last, stop)
            bounds = segment.suspect, segment.sure, segment.end
            faults.append((Finding(kind_at_sheet(step), None, *bounds, step, offset, shift.sheets), segment))
    return concerned.at_sheets(plan, faults, end)


# ---- what is left to single boxes


def _levels(plan: Numbering, seen: _Reads, drift: Ints) -> Ints:
    """What each read bears less what its box was to print at the press's tick, in ticks."""
    return (seen.index - plan.at(seen.tick + drift, seen.position)) * plan.direction


def _box_findings(plan: Numbering, seen: _Reads, drift: Ints, end: int, block: int | None) -> list[Finding]:
    """block : ticks after which boxes are set anew, or None;  end : last tick of the press."""
    press, level = seen.tick + drift, _levels(plan, seen, drift)
    ticks = end - plan.first_tick + 1
    misreads: list[Finding] = []
    faults: list[tuple[Finding, list[Segment]]] = []
    for position, part in _by_position(seen.position, level):
        box = _Box(position, seen.tick[part], press[part] - plan.first_tick, level[part])
        kept, blips = sift(list(_runs(box.level)), box.joined(block))
        misreads += [_misread(plan, box, blip) for blip in blips]
        for n, run in enumerate(kept):
            if run.level:
                before, after = kept[n - 1] if n else None, kept[n + 1] if n + 1 < len(kept) else None
                faults.append(_fault(plan, box, (before, run, after), ticks, block))
    return misreads + concerned.at_boxes(plan, faults, ticks)


@dataclass(frozen=True, slots=True)
class _Box:
    """One position's reads in order: tick of the sheet, ticks of the press since the first, level."""

    position: int
    tick: Ints
    since: Ints
    level: Ints

    def joined(self, block: int | None) -> Callable[[int, int], bool]:
        """Could the box not have been set anew between two reads?"""
        return lambda a, b: block is None or bool(self.since[a] // block == self.since[b] // block)

    def groups(self, run: Run, block: int | None) -> list[tuple[int, int]]:
        """First and last tick at which the run was read, in each block."""
        since = self.since[run.first : run.last + 1][self.level[run.first : run.last + 1] == run.level]
        begin = np.flatnonzero(np.diff(since // block, prepend=-1)) if block else np.zeros(1, np.int64)
        return [(int(since[a]), int(since[b - 1])) for a, b in zip(begin, [*begin[1:], len(since)], strict=True)]

    def slack(self, a: int, b: int) -> int:
        """How far sheets and press drifted apart between two reads."""
        return abs(int(self.since[b] - self.since[a]) - int(self.tick[b] - self.tick[a]))


def _by_position(position: Ints, level: Ints) -> Iterator[tuple[int, slice]]:
    """Each position with any read off the plan, and where its reads lie."""
    begin = np.flatnonzero(np.diff(position, prepend=-1))
    for a, b in zip(begin, [*begin[1:], len(position)], strict=False):
        if level[a:b].any():
            yield int(position[a]), slice(int(a), int(b))


def _misread(plan: Numbering, box: _Box, blip: Run) -> Finding:
    at = int(box.tick[blip.first])
    return Finding(Kind.MISREAD, box.position, at, at, at, blip.level, blip.level * plan.direction, 1)


def _fault(
    plan: Numbering, box: _Box, runs: tuple[Run | None, Run, Run | None], ticks: int, block: int | None
) -> tuple[Finding, list[Segment]]:
    """One level of one box, with the reads before and after it, as a finding without its numbers yet."""
    before, run, after = runs
    behind = (int(box.since[before.last]), before.level) if before else (-1, 0)
    ahead = (int(box.since[after.first]), after.level) if after else (ticks, 0)
    parts = segments(run.level, box.groups(run, block), behind, ahead, block)
    first, last, step = parts[0], parts[-1], run.level - parts[0].was
    sure, ended = int(box.tick[run.first]), int(box.tick[run.last]) + last.end - last.last
    suspect = sure - (first.sure - first.suspect)
    if before:
        suspect = max(int(box.tick[before.last]) + 1, suspect - box.slack(before.last, run.first))
    if after:
        ended = min(int(box.tick[after.first]) - 1, ended + box.slack(run.last, after.first))
    kind = kind_at_box(step, first.suspect, first.sure, first.sure // block * block if block else 0)
    return Finding(kind, box.position, suspect, sure, ended, step, run.level * plan.direction, run.reads), parts


# ---- runs of reads


def _runs(level: Ints) -> Iterator[Run]:
    begin = np.flatnonzero(np.diff(level)) + 1 if len(level) else np.zeros(0, np.int64)
    for a, b in zip([0, *begin.tolist()], [*begin.tolist(), len(level)], strict=True):
        if a < b:
            yield Run(int(level[a]), a, b - 1, b - a)


def _unread(every: _Reads) -> list[Finding]:
    """Sheets on which nothing was readable, and boxes of which nothing was readable time after time."""
    sheets, of, reads = np.unique(every.tick, return_inverse=True, return_counts=True)
    blank = (np.bincount(of[every.index >= 0], minlength=len(sheets)) == 0) & (reads > 1)
    found = [_silent(None, int(t), int(t), int(n)) for t, n in zip(sheets[blank], reads[blank], strict=True)]
    rest = every.pick(~blank[of])
    for run in _runs(np.where(rest.index < 0, rest.position, -1)):
        if run.level >= 0 and run.reads >= _UNREAD:
            found.append(_silent(run.level, int(rest.tick[run.first]), int(rest.tick[run.last]), run.reads))
    return found


def _silent(position: int | None, first: int, last: int, reads: int) -> Finding:
    return Finding(Kind.UNREAD, position, first, first, last, 0, 0, reads)
