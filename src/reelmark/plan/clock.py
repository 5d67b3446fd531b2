"""Open time of a machine, so that thousands of starts find their ends at once.

W(t) is the open time up to t, and its inverse gives the moment at which so much open time has passed:

    end = inverse W( W(start) + work )        start: the next open moment, so that no maintenance is reached over

Both are kept as offsets by whole units, so that a look is a gather and a sum.  Times here are float units, not whole.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue
from ..jobs import JobShop, Machine

__all__ = ["WEEK_H", "Clock", "calendar_size", "clocks"]

Floats = NDArray[np.float64]
Pair = tuple[Floats, Floats]
WEEK_H = 168
CALENDARS = 3  # so many times the horizon: late runs still meet nights and Sundays


@dataclass(frozen=True)
class Clock:
    """Tables over whole units k (floor of a time): what placing work needs.

    opens : first open moment at or after k;  gained : W(opens[k]) - opens[k]
    lost : by whole open time w rounded up, the closed time before it is over
    ahead : begin of the first maintenance not before opens[k], inf if none;  past : its end
    bounded : there is maintenance;  always : open for ever, so that no table is looked at
    Past the last unit the machine is taken as open.  A maintenance that recurs must be given each time.
    """

    opens: Floats
    gained: Floats
    lost: Floats
    ahead: Floats
    past: Floats
    bounded: bool
    always: bool

    def place(self, time: Floats, work: Floats) -> Pair:
        """(start, end) of work begun at or after each time >= 0; work rests while closed and passes no maintenance.

        An end that falls on a closing time stays there.  Work that would reach into maintenance waits until after it.
        """
        if self.always:
            return time, time + work
        at = time.astype(np.intp)
        start = np.maximum(time, self.opens.take(at, mode="clip"))
        end = self.gained.take(at, mode="clip")
        end += start
        end += work
        end += self.lost.take(np.ceil(end).astype(np.intp), mode="clip")
        np.maximum(end, start, out=end)  # no work at all, at the moment of opening
        if self.bounded:
            self._around(at, start, end, work)
        return start, end

    def _around(self, at: NDArray[np.intp], start: Floats, end: Floats, work: Floats) -> None:
        over = np.flatnonzero(end > self.ahead.take(at, mode="clip"))
        if over.size:
            after = self.past.take(at[over], mode="clip")
            start[over], end[over] = self.place(after, work[over])

    def open_between(self, begin: int, end: int) -> int:
        """Open units from begin to end; both inside the tables."""
        opens = self.opens[begin:end]
        return int((opens == np.arange(begin, begin + opens.size)).sum())


def clocks(shop: JobShop) -> tuple[Clock, ...]:
    """A clock for each machine, and a last one for work that needs none."""
    size = calendar_size(shop)
    return (*(_clock(one, shop, size) for one in shop.machines), _ALWAYS)


def calendar_size(shop: JobShop) -> int:
    """Units that calendars tell of; then their last week recurs, up to CALENDARS times as far, then all is open."""
    ends = [b for one in shop.machines for _, b in (*one.closed, *one.maintenance)]
    return max([shop.horizon, *ends])


def _clock(machine: Machine, shop: JobShop, size: int) -> Clock:
    """BadValue where the machine never opens."""
    if not machine.closed and not machine.maintenance:
        return _ALWAYS
    opened = np.ones(size, np.bool_)
    for a, b in machine.closed:
        opened[max(0, a) : max(0, b)] = False
    if not opened.any():
        true = f"it is closed in all {size} units of the calendar"
        raise BadValue(f"machine {machine.name}", "closed", true, "give it open time, or leave it out")
    week = min(size, round(WEEK_H / shop.hours))
    opened = np.concatenate([opened, np.resize(opened[-week:], (CALENDARS - 1) * size), [True]])
    kept = sorted((max(0, a), b) for a, b in machine.maintenance if b > max(0, a))
    for a, b in kept:
        opened[a:b] = False
    return _tables(opened, kept)


def _tables(opened: NDArray[np.bool_], kept: list[tuple[int, int]]) -> Clock:
    size = opened.size
    units = np.flatnonzero(opened)
    before = np.concatenate(([0], np.cumsum(opened)))[:-1]  # W at each whole unit
    opens = units[before]  # the first open unit not before k is the one with that number
    lost = np.concatenate(([0], units - np.arange(units.size)))
    begins, ends = (np.array([*(pair[i] for pair in kept), np.inf], np.float64) for i in (0, 1))
    next_kept = np.searchsorted(begins, opens)
    return Clock(
        opens.astype(np.float64),
        (before - opens).astype(np.float64),
        lost.astype(np.float64),
        begins[next_kept],
        ends[next_kept],
        bool(kept),
        bool(size == units.size and not kept),
    )


_NONE: Floats = np.zeros(1)
_ALWAYS = Clock(_NONE, _NONE, _NONE, _NONE, _NONE, False, True)
