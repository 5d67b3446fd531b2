"""One task of the search, as a worker process does it: anneal from given or fresh lists.

    work(Task(...))  ->  Found(cost, lists, moves)

Everything a task needs travels with it, so that any Executor can do it, and the same task gives the same answer.
"""

from typing import NamedTuple

import numpy as np

from ..jobs import Job, JobShop, Machine, Stage
from .anneal import anneal
from .arrays import Arrays, arrays
from .decode import ROUNDS, Lists, Placed, Start, decode
from .dispatch import dispatched
from .lists import empty, first_lists, fresh, no_lists

__all__ = ["COLD", "Found", "Task", "compile_ahead", "cost_of_lists", "placed_of", "work"]

COLD = 1.0  # where annealing ends, in units of cost: an hour of the plan is 1
QUICK = 4  # rounds of the fixed point while annealing: what is left is priced, and settled at the end


class Task(NamedTuple):
    """Anneal `moves` moves from `hot` to `cold` (in units of cost); from `lists`, or from a first plan in `order`."""

    arrays: Arrays
    start: Start
    jobs: int
    seed: int
    moves: int
    hot: float
    cold: float
    lists: Lists | None = None
    order: tuple[int, ...] = ()


class Found(NamedTuple):
    """What a task found."""

    cost: float
    lists: Lists
    moves: int


def work(task: Task) -> Found:
    """Do the task."""
    a, placed = task.arrays, empty(task.arrays)
    lists = task.lists
    if lists is None:
        lists = first_lists(a, task.start, list(task.order))
    lists = _roomy(lists)
    if lists.count.sum():
        anneal(a, lists, task.start, placed, task.seed, task.moves, task.hot, task.cold, task.jobs, QUICK)
    return Found(cost_of_lists(a, task.start, lists), _slim(lists), max(task.moves, 1))


def placed_of(a: Arrays, start: Start, lists: Lists) -> Placed:
    """The lists as a schedule."""
    placed = empty(a)
    decode(a, lists, start, placed, np.inf, ROUNDS)
    return placed


def cost_of_lists(a: Arrays, start: Start, lists: Lists) -> float:
    """What the lists cost."""
    return float(decode(a, lists, start, empty(a), np.inf, ROUNDS))


def _roomy(lists: Lists) -> Lists:
    """With room for campaigns to be split."""
    width = int(lists.count.max(initial=1)) * 2 + 24
    out = no_lists(lists.count.size, width)
    n = min(width, lists.step.shape[1])
    out.step[:, :n], out.take[:, :n] = lists.step[:, :n], lists.take[:, :n]
    return out._replace(count=lists.count.copy())


def _slim(lists: Lists) -> Lists:
    width = int(lists.count.max(initial=1))
    return Lists(lists.step[:, :width].copy(), lists.take[:, :width].copy(), lists.count)


def compile_ahead() -> float:
    """Compile the decoder and the annealing, once for this machine, so that nobody's first plan waits ten seconds."""
    job = Job("a", (Stage("cut", ((0, 1),), 0),), batches=2)
    a = arrays(JobShop(60, (Machine("M"),), (job, job)))
    dispatched(a, fresh(a), [0, 1], 1.0)
    return work(Task(a, fresh(a), 2, 1, 10, 10.0, COLD, order=(0, 1))).cost
