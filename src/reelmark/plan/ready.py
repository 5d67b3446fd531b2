"""When each delivery is ready in each run, and on which operation that hung.

Batches of a job count towards a due in the order in which they end.  A short one is made good by the next; when all
together are short, a make-up batch of what lacks passes every stage once more after the last has ended, on that
batch's machines and first in line: it waits for open time and least waits, not for other work, and moves none.
That is too kind where machines are full.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..jobs import Due, JobShop, Schedule
from .carried import Times
from .clock import Clock
from .draws import Drawn, Spread

__all__ = ["ready"]

Floats = NDArray[np.float64]
HAIR = 1e-9  # of a batch: sums of shares are not exact


def ready(
    shop: JobShop, schedule: Schedule, clocks: Sequence[Clock], times: Times, drawn: Drawn, spread: Spread
) -> tuple[Floats, NDArray[np.int64]]:
    """(when ready, units; the last operation of the batch that made it so), both (dues, runs)."""
    runs = drawn.work.shape[1]
    when, which = np.empty((len(shop.dues), runs)), np.empty((len(shop.dues), runs), np.int64)
    begin = np.concatenate(([0], np.cumsum([job.batches for job in shop.jobs])))
    for j in sorted({due.job for due in shop.dues}):
        job = shop.jobs[j]
        numbers = np.array([shop.number(j, b, len(job.stages) - 1) for b in range(job.batches)])
        ends = times.end[numbers]
        order = np.argsort(ends, axis=0, kind="stable")
        ends = np.take_along_axis(ends, order, 0)
        good = np.cumsum(np.take_along_axis(drawn.good[begin[j] : begin[j + 1]], order, 0), axis=0)
        for d, due in enumerate(shop.dues):
            if due.job == j:
                at, short = _reached(good, due)
                when[d] = np.take_along_axis(ends, at[None], 0)[0]
                which[d] = numbers[np.take_along_axis(order, at[None], 0)[0]]
                if short.size:
                    lacks = np.maximum(due.batches - good[-1, short], spread.makeup_least.value)
                    when[d, short] = _make_up(shop, schedule, clocks, j, ends[-1, short], lacks)
    return when, which


def _reached(good: Floats, due: Due) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(place of the batch with which the due is covered, or of the last; runs in which it never is)."""
    enough = good >= due.batches - HAIR
    at = np.where(enough[-1], enough.argmax(axis=0), len(good) - 1)
    return at, np.flatnonzero(~enough[-1])


def _make_up(
    shop: JobShop, schedule: Schedule, clocks: Sequence[Clock], job: int, time: Floats, share: Floats
) -> Floats:
    stages = shop.jobs[job].stages
    for s, stage in enumerate(stages):
        machine = schedule.machine[shop.number(job, shop.jobs[job].batches - 1, s)]
        _, time = clocks[machine].place(time, share * dict(stage.on)[machine])
        if s < len(stages) - 1:
            time = time + stage.least_wait
    return time
