"""A long book of orders, planned by a window of orders that rolls on.

    for progress in rolling(shop, seconds=240, executor=..., clock=...):     after each window; the last is the plan

The next ACTIVE orders by due date are planned together; what begins before the first STEP of them are delivered is
kept, those orders leave, the next ones join.  No order beyond the window is looked at, so a plan of a year is no more
than a good one: its bound is that of the whole.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from ..jobs import JobShop, Schedule
from .arrays import arrays
from .bound import lower_bound
from .decode import Start, cost_of
from .lists import empty, fresh, rows_of
from .solve import Progress, solve
from .tables import longest
from .turns import by_due

__all__ = ["ACTIVE", "STEP", "rolling"]

ACTIVE = 8  # orders looked at together
STEP = 3  # orders that leave the window each time


class _Kept:
    """What is decided: begin, end and machine by operation, and how the machines stand."""

    def __init__(self, shop: JobShop) -> None:
        count = len(shop.operations)
        self.shop = shop
        self.machine, self.begin, self.end = np.full(count, -1), np.zeros(count, int), np.zeros(count, int)
        self.free = np.zeros(len(shop.machines), np.int32)
        self.family = np.array([-1 if one.family is None else one.family for one in shop.machines], np.int32)
        self.latest = np.full(len(shop.machines), -1)  # begin of the last kept on each machine

    def keep(self, window: list[int], sub: JobShop, schedule: Schedule, cut: int) -> None:
        """Keep what begins before `cut`."""
        for number, (j, batch, stage) in enumerate(sub.operations):
            m, s, e = schedule.machine[number], schedule.start[number], schedule.end[number]
            if s >= cut:
                continue
            at = self.shop.number(window[j], batch, stage)
            self.machine[at], self.begin[at], self.end[at] = m, s, e
            self.free[m] = max(self.free[m], e)
            if s > self.latest[m]:
                self.latest[m], self.family[m] = s, sub.jobs[j].stages[stage].family

    def start(self, window: list[int], sub: JobShop) -> Start:
        """The window begins with what is kept of its orders."""
        a = arrays(sub)
        start = fresh(a)
        for k, (j, stage) in enumerate(zip(a.job, a.stage, strict=True)):
            for batch in range(int(a.batches[k])):
                at = self.shop.number(window[int(j)], batch, int(stage))
                if self.machine[at] >= 0:
                    row = int(a.offset[k]) + batch
                    start.machine[row], start.begin[row], start.end[row] = (
                        self.machine[at], self.begin[at], self.end[at]
                    )  # fmt: skip
                    start.done[k] = batch + 1
        start.free[:], start.family[:] = self.free, self.family
        return start

    def schedule(self) -> Schedule:
        return Schedule(*(tuple(map(int, one)) for one in (self.machine, self.begin, self.end)))


def rolling(
    shop: JobShop,
    seconds: float,
    executor: Executor,
    clock: Callable[[], float],
    workers: int = 2,
    seed: int = 0,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Progress]:
    """Each window's plan as it is made (its cost is the window's), then the whole with its cost and bound."""
    shop = replace(shop, horizon=longest(shop))  # of the whole: a window lies anywhere in it
    begun, left, kept, moves = clock(), by_due(shop), _Kept(shop), 0
    turns = max(1, -(-(len(left) - ACTIVE) // STEP) + 1)
    while left:
        window = left[:ACTIVE]
        sub, start = _window(shop, window), None
        if (kept.machine >= 0).any():
            start = kept.start(window, sub)
        share = max(0.5, (seconds - (clock() - begun)) / turns)
        *_, progress = solve(sub, share, executor, clock, workers, seed, start, stop)
        turns, moves = max(1, turns - 1), moves + progress.moves
        last = len(left) <= ACTIVE
        leaving = range(len(window)) if last else range(STEP)
        cut = 1 + max(progress.schedule.end[n] for n, one in enumerate(sub.operations) if one.job in leaving)
        kept.keep(window, sub, progress.schedule, cut)
        left = [] if last else left[STEP:]
        yield replace(progress, seconds=clock() - begun, moves=moves, proven=False)
    yield _whole(shop, kept.schedule(), clock() - begun, moves)


def _window(shop: JobShop, window: list[int]) -> JobShop:
    """The shop with these orders alone."""
    place = {job: i for i, job in enumerate(window)}
    dues = tuple(replace(due, job=place[due.job]) for due in shop.dues if due.job in place)
    return replace(shop, jobs=tuple(shop.jobs[job] for job in window), dues=dues)


def _whole(shop: JobShop, schedule: Schedule, seconds: float, moves: int) -> Progress:
    a = arrays(shop)
    placed = empty(a)
    placed.machine[:], placed.begin[:], placed.end[:] = rows_of(shop, a, schedule)
    over = 0
    for k in range(1, a.batches.size):
        if not a.first[k]:
            n, at, before = int(a.batches[k]), int(a.offset[k]), int(a.offset[k - 1])
            waits = placed.begin[at : at + n] - placed.end[before : before + n] - a.most[k]
            over += int(np.maximum(waits, 0).sum())
    cost = float(cost_of(a, placed, _setups(shop, schedule), over))
    return Progress(schedule, cost, min(lower_bound(shop, a), cost), seconds, moves)


def _setups(shop: JobShop, schedule: Schedule) -> int:
    """Units of set-up in all."""
    total, standing = 0, [one.family for one in shop.machines]
    for number in sorted(range(len(schedule.start)), key=lambda n: (schedule.start[n], schedule.end[n])):
        m, family = schedule.machine[number], shop.stage(number).family
        before, standing[m] = standing[m], family
        if before is not None and before != family:
            total += shop.setups.get((before, family), 0)
    return total
