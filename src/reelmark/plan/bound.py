"""A cost that no plan can be below, in milliseconds.

    lower_bound(shop)  ->  cost

Set-ups: each family follows another on some machine of its pool, or begins one: an assignment problem.
Length: of any set of machines, work no machine outside can do fits only into open time between the
earliest start and the shortest tail.  Lateness: a due line alone in the works.  Valid: with calendars, waits, releases;
resources and the store are left out, so the truth may lie higher.
"""

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop
from .arrays import Arrays, arrays
from .tables import NEVER

__all__ = ["lower_bound"]

Ints = NDArray[np.int64]
FEW = 16


def lower_bound(shop: JobShop, a: Arrays | None = None) -> float:
    """The bound, in the cost's own unit."""
    a = arrays(shop) if a is None else a
    heads, tails, opened = _heads(a), _tails(a), _Open(a)
    length = max(_longest_job(a, opened), *(_pool(a, heads, tails, pool, opened) for pool in _pools(a)))
    late = sum(
        w * max(0, _alone(a, int(k), int(b), opened) - int(at))
        for k, b, at, w in zip(a.due_step, a.due_batch, a.due_at, a.due_weight, strict=True)
    )
    price = a.prices
    return float(price[2] * length + price[1] * sum(_setups(a, pool) for pool in _pools(a)) + price[0] * late)


def _pools(a: Arrays) -> list[tuple[int, ...]]:
    """Machines that share work, as sets of steps' machines; joined where they overlap."""
    pools: list[set[int]] = []
    for row in a.which:
        able = set(map(int, np.flatnonzero(row >= 0)))
        for other in [one for one in pools if one & able]:
            pools.remove(other)
            able |= other
        pools.append(able)
    return [tuple(sorted(one)) for one in pools]


def _ends(a: Arrays, k: int, t: int) -> int:
    """Earliest end of a batch of step k ready at t, on any machine."""
    if t >= a.start.shape[1]:
        return NEVER
    return min(int(a.end[a.which[k, m], t]) for m in np.flatnonzero(a.which[k] >= 0))


def _heads(a: Arrays) -> Ints:
    """Earliest start of each step's first batch."""
    heads = np.zeros(a.batches.size, np.int64)
    for k in range(a.batches.size):
        heads[k] = a.release[k] if a.first[k] else _ends(a, k - 1, int(heads[k - 1])) + a.least[k]
        able = np.flatnonzero(a.which[k] >= 0)
        if heads[k] < a.start.shape[1]:
            heads[k] = min(int(a.start[a.which[k, m], heads[k]]) for m in able)
    return heads


def _units(a: Arrays, k: int) -> int:
    """Open units that a batch of step k needs at least."""
    able = np.flatnonzero(a.which[k] >= 0)
    rows = a.which[k, able]
    return min(int(a.open[m, a.start[r, 0] : a.end[r, 0]].sum()) for m, r in zip(able, rows, strict=True))


def _tails(a: Arrays) -> Ints:
    """Least time from the end of a step to the end of its job, waits and work in open time only."""
    tails = np.zeros(a.batches.size, np.int64)
    for k in range(a.batches.size - 2, -1, -1):
        if not a.last[k]:
            tails[k] = a.least[k + 1] + _units(a, k + 1) + tails[k + 1]
    return tails


def _longest_job(a: Arrays, opened: "_Open") -> int:
    return max((_alone(a, k, int(a.batches[k]) - 1, opened) for k in range(a.batches.size) if a.last[k]), default=0)


def _alone(a: Arrays, last: int, batch: int, opened: "_Open") -> int:
    """End of the job's batch with the works to itself: one stage at its pool's rate, the rest of the way alone."""
    job = np.flatnonzero(a.job == a.job[last])
    ready = int(a.release[job[0]])
    best = 0
    for k in job:
        if not a.first[k]:
            ready = _ends(a, int(k) - 1, ready) + int(a.least[k])
        best = max(best, _through(a, int(k), ready, batch, list(job), opened))
    return best


def _through(a: Arrays, k: int, ready: int, batch: int, job: list[int], opened: "_Open") -> int:
    """Batches 0..batch pass step k on its pool from `ready` on; then the last one passes the other steps alone."""
    able = np.flatnonzero(a.which[k] >= 0)
    work = (batch + 1) * _units(a, k)
    end = opened.filled(tuple(map(int, able)), work, ready)
    for later in job[job.index(k) + 1 :]:
        end = _ends(a, later, end + int(a.least[later]))
    return end


class _Open:
    """Open time of pools of machines, added up once."""

    def __init__(self, a: Arrays) -> None:
        self.open, self.upto = a.open, dict[tuple[int, ...], Ints]()

    def filled(self, pool: tuple[int, ...], work: int, ready: int) -> int:
        """When the open time of the pool since `ready` has reached `work`."""
        if ready >= self.open.shape[1]:
            return NEVER
        if pool not in self.upto:
            self.upto[pool] = np.concatenate(([0], np.cumsum(self.open[list(pool)].sum(axis=0))))
        upto = self.upto[pool]
        i = int(np.searchsorted(upto, upto[ready] + work))
        return NEVER if i >= upto.size else max(i, ready)


def _only(a: Arrays, pool: tuple[int, ...]) -> Ints:
    """Steps that no machine outside the pool can do."""
    inside = np.zeros(a.which.shape[1], bool)
    inside[list(pool)] = True
    return np.flatnonzero(((a.which >= 0) & ~inside).sum(axis=1) == 0)


def _pool(a: Arrays, heads: Ints, tails: Ints, pool: tuple[int, ...], opened: "_Open") -> int:
    """Head + work + tail, for the steps that begin late or have long tails: the best of all their subsets by order."""
    steps = _only(a, pool)
    head, tail = heads[steps], tails[steps]
    work = np.array([int(a.batches[k]) * _units(a, int(k)) for k in steps])
    best = 0
    for early in _few(head):
        for short in _few(tail):
            some = (head >= early) & (tail >= short)
            if some.any():
                best = max(best, opened.filled(pool, int(work[some].sum()), early) + short)
    return best


def _few(values: Ints) -> list[int]:
    """The distinct values, some of them where they are many: any choice gives a true bound."""
    distinct = np.unique(values)
    return [int(one) for one in distinct[np.unique(np.linspace(0, distinct.size - 1, FEW).astype(int))]]


def _setups(a: Arrays, pool: tuple[int, ...]) -> int:
    """Units of set-up that the pool cannot do without: each family has one before it, or begins one of the machines.

    The assignment problem is a relaxation of the sequences: it may close circles, which only makes it cheaper.
    """
    from scipy.optimize import linear_sum_assignment

    families = sorted({int(a.family[k]) for k in _only(a, pool)})
    if len(families) <= 1:
        return 0
    cost = np.full((len(families) + len(pool), len(families)), 0.0)
    cost[: len(families)] = a.setup[np.ix_(families, families)]
    np.fill_diagonal(cost[: len(families)], 1e9)
    for i, m in enumerate(pool):
        if a.family0[m] >= 0:
            cost[len(families) + i] = [a.setup[a.family0[m], f] if a.family0[m] != f else 0 for f in families]
    return int(cost[linear_sum_assignment(cost)].sum())
