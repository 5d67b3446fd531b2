"""First lists, and lists from a schedule and back."""

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop, Schedule
from .arrays import Arrays
from .decode import Lists, Placed, Start
from .tables import NEVER

Ints = NDArray[np.int32]
__all__ = ["empty", "first_lists", "fresh", "lists_of", "schedule_of"]


def empty(a: Arrays) -> Placed:
    """Room for one schedule."""
    n, t = int(a.batches.sum()), a.start.shape[1]
    machine, begin, end, earliest = (np.zeros(n, np.int32) for _ in range(4))
    return Placed(machine, begin, end, earliest, np.zeros(t, np.int32), np.zeros((a.uses.shape[1], t), np.int32))


def fresh(a: Arrays) -> Start:
    """Nothing done yet."""
    n, machines = int(a.batches.sum()), a.which.shape[1]
    machine, begin, end, earliest = (np.zeros(n, np.int32) for _ in range(4))
    done, free = np.zeros(a.batches.size, np.int32), np.zeros(machines, np.int32)
    return Start(done, free, a.family0.copy(), machine, begin, end, earliest)


def no_lists(machines: int, room: int) -> Lists:
    """Empty lists with room for so many campaigns on each machine."""
    step, take = (np.zeros((machines, room), np.int32) for _ in range(2))
    return Lists(step, take, np.zeros(machines, np.int32))


def _room(a: Arrays, start: Start) -> int:
    return int(np.minimum(a.batches - start.done, 12).sum()) + 16


def first_lists(a: Arrays, start: Start, order: list[int]) -> Lists:
    """One campaign a step, jobs in the order given, each step on the able machine with least work so far.

    All lists follow one order of jobs and their stages, so none waits for another in a circle.
    """
    machines, room = a.which.shape[1], _room(a, start)
    lists = no_lists(machines, room)
    load = start.free.astype(np.int64)
    for job in order:
        for k in np.flatnonzero(a.job == job):
            left = int(a.batches[k] - start.done[k])
            if not left:
                continue
            able = np.flatnonzero(a.which[k] >= 0)
            units = a.end[a.which[k, able]].min(axis=1) - a.start[a.which[k, able]].min(axis=1)
            m = int(able[np.argmin(load[able] + left * units)])
            load[m] += left * int(units[able == m][0])
            i = lists.count[m]
            lists.step[m, i], lists.take[m, i] = k, left
            lists.count[m] += 1
    return lists


def lists_of(a: Arrays, start: Start, machine: Ints, begin: Ints) -> Lists:
    """The lists that a placed schedule follows (rows as in Arrays.offset)."""
    machines, room = a.which.shape[1], int((a.batches - start.done).sum()) + 16
    lists = no_lists(machines, room)
    rows = [(int(begin[a.offset[k] + b]), k, b) for k in range(a.batches.size)
            for b in range(int(start.done[k]), int(a.batches[k]))]  # fmt: skip
    for _, k, b in sorted(rows):
        m = int(machine[a.offset[k] + b])
        i = lists.count[m]
        if i and lists.step[m, i - 1] == k:
            lists.take[m, i - 1] += 1
            continue
        lists.step[m, i], lists.take[m, i] = k, 1
        lists.count[m] += 1
    return lists


def schedule_of(shop: JobShop, a: Arrays, placed: Placed) -> Schedule:
    """The placed batches as a schedule by operation number."""
    where = {(int(j), int(s)): int(o) for j, s, o in zip(a.job, a.stage, a.offset, strict=True)}
    rows = [where[job, stage] + batch for job, batch, stage in shop.operations]
    return Schedule(*(tuple(int(one[row]) for row in rows) for one in (placed.machine, placed.begin, placed.end)))


def rows_of(shop: JobShop, a: Arrays, schedule: Schedule) -> tuple[Ints, Ints, Ints]:
    """A schedule by operation number as rows of Arrays.offset: machine, begin, end."""
    n = int(a.batches.sum())
    machine, begin, end = (np.full(n, NEVER, np.int32) for _ in range(3))
    for k in range(a.batches.size):
        numbers = [shop.number(int(a.job[k]), b, int(a.stage[k])) for b in range(int(a.batches[k]))]
        for b, number in enumerate(numbers):
            row = a.offset[k] + b
            machine[row], begin[row], end[row] = (
                schedule.machine[number], schedule.start[number], schedule.end[number]
            )  # fmt: skip
    return machine, begin, end
