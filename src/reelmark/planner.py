"""The solver in processes of its own, which end when they are told to and can be killed when they do not listen.

solve_shop(shop, 60)                        the best plan of a minute
solve_shop(shop, 60, tell=show)             show(progress) after each better one; False from it stops and keeps
solve_shop(shop, 60, stop=enough)           enough() is asked all the while; True from it stops and keeps
"""

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event

from .jobs import JobShop
from .plan.decode import Lists, Start
from .plan.rolling import ACTIVE, rolling
from .plan.search import compile_ahead
from .plan.solve import WHOLE, Progress, solve
from .pool import processes

__all__ = ["solve_shop", "workers_of"]

SHORT = 15.0  # seconds below which threads search: a process takes some of them to start.  They end by themselves
LONG = 2000  # operations above which the orders are planned window by window
Tell = Callable[[Progress], bool | None]


def workers_of() -> int:
    """Processes worth starting: one a core."""
    return max(1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)


def _long(shop: JobShop) -> bool:
    """Is it a book of orders over time, too long to be looked at as a whole?"""
    spread = any(due.at for due in shop.dues) or len({job.release for job in shop.jobs}) > 1
    return spread and len(shop.operations) > LONG and len(shop.jobs) > ACTIVE


@contextmanager
def threads(count: int) -> Iterator[Executor]:
    """A pool in this process, for compiled work that is short and does not hold the interpreter."""
    pool = ThreadPoolExecutor(count)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def solve_shop(
    shop: JobShop,
    seconds: float,
    *,
    workers: int | None = None,
    seed: int = 0,
    start: Start | None = None,
    begin_with: Lists | None = None,
    tell: Tell | None = None,
    stop: Callable[[], bool] | None = None,
) -> Progress:
    """The best plan found in so many seconds; the same seed need not give the same plan, as time ends the search.

    stop : asked between tasks, twice a second or more; true ends the search, and the best so far is kept
    A long book of orders is planned by a rolling window: what is told on the way is then each window's cost.
    """
    count = workers or workers_of()
    compile_ahead()  # at once where it was compiled before; never out of the time asked for
    stopped = Event()

    def over() -> bool:
        return stopped.is_set() or (stop is not None and stop())

    quick = seconds < SHORT and (start is not None or len(shop.operations) > WHOLE)
    with threads(count) if quick else processes(count) as pool:
        if start is None and begin_with is None and _long(shop):
            found = rolling(shop, seconds, pool, time.monotonic, count, seed, over)
        else:
            found = solve(shop, seconds, pool, time.monotonic, count, seed, start, over, begin_with, not quick)
        for progress in found:
            if tell is not None and tell(progress) is False:
                stopped.set()
    return progress
