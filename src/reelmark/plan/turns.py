"""Whose turn it is: new beginnings first, then the best again, cooler, and repairs of it while they pay."""

from collections.abc import Callable
from itertools import groupby
from typing import Any

import numpy as np

from ..jobs import JobShop
from .arrays import Arrays
from .decode import Lists, Start
from .dispatch import dispatched
from .lists import first_lists
from .repair import Neighbourhood, repair
from .search import COLD, Found, Task, cost_of_lists, work

__all__ = ["Turns", "by_due"]

HOTS = (1000.0, 300.0, 100.0)  # to begin with; units of cost, as a plan costs thousands
WARMS = (60.0, 30.0, 12.0)  # to go on from what is good
TURN = 4.0  # seconds a task is meant to take
FIRST = 4000  # moves of the first tasks, from which the speed is known
KEPT = 4
RULES = ((0.0, 0.0), (1.0, 0.0), (4.0, 0.0), (0.0, 1e-3), (0.0, 0.1), (1.0, 0.3))  # patience and rest, see `dispatched`
REPAIRS = 0.25  # share of the turns that are repairs at first; less when they find nothing


class Turns:
    """The best few lists so far, how fast moves go, and the next task."""

    def __init__(
        self, shop: JobShop, a: Arrays, start: Start, seed: int, begin_with: Lists | None, mend: bool = True
    ) -> None:
        self.shop, self.a, self.start = shop, a, start
        self.random = np.random.default_rng(seed)
        self.moves, self.speed = 0, 0.0  # in all; a second of one worker
        firsts = _firsts(shop, a, start) if begin_with is None else [begin_with]
        found = [Found(cost_of_lists(a, start, lists), lists, 0) for lists in firsts]
        self.pool = sorted(found, key=lambda one: one.cost)
        self.campaigns = found[0].cost < 3 * self.best.cost  # are whole campaigns any good to begin with?
        self.given = begin_with is not None
        self.repairs = REPAIRS if mend else 0.0

    @property
    def best(self) -> Found:
        return self.pool[0]

    def take(self, found: Found, seconds: float) -> bool:
        """Keep it; is it the best?"""
        self.moves += found.moves
        if found.moves and seconds > 0:
            self.speed = max(self.speed * 0.7, found.moves / seconds)
        better = found.cost < self.best.cost - 1e-9
        if not found.moves:
            self.repairs = REPAIRS if better else max(0.05, self.repairs * 0.8)
        costs = {round(one.cost, 6) for one in self.pool}
        if round(found.cost, 6) not in costs:
            self.pool = sorted([*self.pool, found], key=lambda one: one.cost)[:KEPT]
        return better

    def next(self, share: float, left: float) -> tuple[Callable[[Any], Found], Any]:
        """A task that ends before the time does, and who does it."""
        seed = int(self.random.integers(2**31))
        if share > 0.4 and left > 2.0 and self.random.random() < self.repairs:
            return repair, Neighbourhood(self.a, self.start, self.best.lists, self._freed(), min(TURN, left - 1), seed)
        moves = int(self.speed * min(TURN, max(left - 0.3, 0.2))) if self.speed else FIRST
        task = Task(self.a, self.start, len(self.shop.jobs), seed, max(moves, 200), 0.0, COLD)
        if share < 0.45 and not self.given:
            hot = float(self.random.choice(HOTS))
            if self.campaigns and self.random.random() < 0.8:
                return work, task._replace(hot=hot, order=self._order())
            return work, task._replace(hot=hot, lists=self.best.lists)
        old = self.pool[min(int(self.random.geometric(0.6)) - 1, len(self.pool) - 1)]
        return work, task._replace(hot=float(self.random.choice(WARMS)), lists=old.lists)

    def _order(self) -> tuple[int, ...]:
        """Jobs by their first due, now and then two of them exchanged."""
        order = by_due(self.shop)
        for _ in range(int(self.random.integers(0, 3))):
            i, j = self.random.integers(len(order), size=2)
            order[i], order[j] = order[j], order[i]
        return tuple(order)

    def _freed(self) -> tuple[int, ...]:
        """Steps to free: all of a pool of machines, or a stretch of the way of two or three jobs."""
        a, some = self.a, self.random
        jobs = len(self.shop.jobs)
        kind = int(some.integers(3))
        if kind == 0 or jobs < 2:
            pools = [list(one) for _, one in groupby(sorted(range(a.job.size), key=self._pool), key=self._pool)]
            steps = pools[int(some.integers(len(pools)))]
            return tuple(some.permutation(steps)[:12].tolist())
        chosen = some.choice(jobs, min(jobs, 1 + kind), replace=False)
        width = 6 if kind == 1 else 4
        low = int(some.integers(0, max(1, int(a.stage.max()) + 2 - width)))
        return tuple(int(k) for k in range(a.job.size) if a.job[k] in chosen and low <= a.stage[k] < low + width)

    def _pool(self, k: int) -> tuple[int, ...]:
        return tuple(int(m) for m in self.a.able[k])


def _firsts(shop: JobShop, a: Arrays, start: Start) -> list[Lists]:
    """Plans to begin with: whole campaigns in the order of due dates, and dispatched ones."""
    order = by_due(shop)
    tried = [first_lists(a, start, order), *(dispatched(a, start, order, *rule) for rule in RULES)]
    return [one for one in tried if one is not None]


def by_due(shop: JobShop) -> list[int]:
    """Jobs in the order of their first due."""
    first: dict[int, int] = {}
    for due in shop.dues:
        first[due.job] = min(first.get(due.job, due.at), due.at)
    return sorted(range(len(shop.jobs)), key=lambda job: (first.get(job, shop.horizon), shop.jobs[job].release))
