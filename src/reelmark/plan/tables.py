"""Calendars as tables: where an operation that may begin at t does begin, and when it has ended.

    table(machine, units, size)  ->  start, end   both int32, shape (size,)

`start[t]` is the first open moment at or after t from which the work fits without reaching over maintenance; work rests
while the machine is closed.  NEVER where the calendar ends too soon.  Placing an operation is then one look.
"""

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop, Machine, Spell

__all__ = ["NEVER", "longest", "open_units", "table"]

Ints = NDArray[np.int32]
NEVER = 1 << 29  # units: later than any horizon, and two of them still fit in 32 bits


def open_units(machine: Machine, size: int) -> NDArray[np.bool_]:
    """Is the machine open in each unit of 0..size-1?"""
    out = np.ones(size, np.bool_)
    _close(out, machine.closed)
    return out


def _close(out: NDArray[np.bool_], spells: tuple[Spell, ...]) -> None:
    for a, b in spells:
        out[max(0, a) : max(0, b)] = False


def table(machine: Machine, units: int, size: int) -> tuple[Ints, Ints]:
    """Start and end of `units` of open time begun at or after each t; units 0 begins and ends at once, open or not."""
    if units == 0:
        now = np.arange(size, dtype=np.int32)
        return now, now.copy()
    is_open = open_units(machine, size)
    opens = np.flatnonzero(is_open)
    end = np.full(size, NEVER, np.int64)
    last = opens.size - units
    if last >= 0:
        end[opens[: last + 1]] = opens[units - 1 :] + 1  # ends with the units-th open unit
    kept = np.zeros(size + 1, np.bool_)  # in maintenance
    for a, b in machine.maintenance:
        kept[max(0, a) : max(0, b)] = True
    upto = np.concatenate(([0], np.cumsum(kept)))
    at = np.flatnonzero(end < NEVER)
    over = upto[np.minimum(end[at], size + 1)] > upto[at]
    end[at[over]] = NEVER
    good = np.where(end < NEVER, np.arange(size), NEVER)
    start = np.minimum.accumulate(good[::-1])[::-1]
    ends = np.where(start < NEVER, end[np.minimum(start, size - 1)], NEVER)
    return start.astype(np.int32), ends.astype(np.int32)


def longest(shop: JobShop) -> int:
    """Units after which the tables end: the horizon; without one, twice what the fullest machine and the longest job
    need, closed time beside it.  A plan that ends later is not looked at, and no good one does."""
    if shop.horizon:
        return shop.horizon
    load = np.zeros(max(1, len(shop.machines)))
    way, waits = 0, 0
    for job in shop.jobs:
        for stage in job.stages:
            units = max(units for _, units in stage.on)
            for machine, _ in stage.on:
                load[machine] += job.batches * units / len(stage.on)
            waits = max(waits, stage.least_wait * len(job.stages))
        way = max(way, job.release + sum(max(u for _, u in stage.on) + stage.least_wait for stage in job.stages))
    setups = max(shop.setups.values(), default=0) * sum(len(job.stages) for job in shop.jobs)
    shut = max((b for one in shop.machines for _, b in (*one.closed, *one.maintenance)), default=0)
    return int(2 * (load.max() + way + waits) + setups + shut + 1)
