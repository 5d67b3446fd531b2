"""Turns for every operation, from which lists follow: those of the old plan, and some for jobs that are new in it.

A turn is a rank along one global order in which each operation comes after all it waits for, so that no lists made of
it can wait for one another in a circle.
"""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop
from .arrays import Arrays
from .decode import Start
from .deliveries import parent
from .matched import Row

__all__ = ["slots"]

Ints = NDArray[np.int32]
FINE = 64  # turns between two units: room for the stages of a new job
TRIES = 24


def slots(
    shop: JobShop, a: Arrays, start: Start, rows: Mapping[int, list[Row]], new_from: int
) -> Iterator[tuple[Ints, Ints]]:
    """(machine, turn) by row of `Arrays.offset`; one where nothing is new, else one a place tried for the new jobs."""
    machine, turn = (np.zeros(int(a.batches.sum()), np.int32) for _ in range(2))
    fresh: dict[int, list[int]] = {}
    for k in range(a.batches.size):
        known = rows.get(k, [])
        if len(known) < a.batches[k]:
            fresh.setdefault(int(a.job[k]), []).append(k)
        for b, (m, begin, _) in enumerate(known[: int(a.batches[k])]):
            at = int(a.offset[k]) + b
            machine[at] = m if a.which[k, m] >= 0 else int(a.able[k, 0])
            turn[at] = begin * FINE
    if not fresh:
        yield machine, turn
        return
    for base in _bases(a, start, turn, new_from):
        yield _placed(shop, a, fresh, rows, machine, turn, base)


def _bases(a: Arrays, start: Start, turn: Ints, new_from: int) -> list[int | None]:
    """Where the new jobs' first turn may be: beside their order's last batch (None), now, then, and at the end."""
    last = int(turn.max(initial=0)) // FINE + 1
    return [None, *(int(t) for t in np.unique(np.linspace(min(new_from, last), last, TRIES).astype(int)))]


def _placed(
    shop: JobShop, a: Arrays, fresh: Mapping[int, list[int]], rows: Mapping[int, list[Row]],
    machine: Ints, turn: Ints, base: int | None,
) -> tuple[Ints, Ints]:  # fmt: skip
    machine, turn = machine.copy(), turn.copy()
    steps = {(shop.jobs[int(a.job[k])].name, shop.jobs[int(a.job[k])].stages[int(a.stage[k])].name): k
             for k in range(a.batches.size)}  # fmt: skip
    for job, some in fresh.items():
        at = 0 if base is None else base * FINE - FINE // 2  # before what begins then
        for k in some:
            stage = shop.jobs[job].stages[int(a.stage[k])].name
            beside = rows.get(steps.get((parent(shop.jobs[job].name), stage), -1), [])
            m = beside[-1][0] if beside and a.which[k, beside[-1][0]] >= 0 else _quickest(a, k)
            if base is None and beside:
                at = max(at, beside[-1][1] * FINE + 1)
            for b in range(len(rows.get(k, [])), int(a.batches[k])):
                machine[int(a.offset[k]) + b], turn[int(a.offset[k]) + b] = m, at
                at += 1
            at = at if base is None else _after(a, k, m, at)
    return machine, turn


def _quickest(a: Arrays, k: int) -> int:
    able = [int(m) for m in a.able[k] if m >= 0]
    least = [int(a.end[a.which[k, m]].min()) - int(a.start[a.which[k, m]].min()) for m in able]
    return able[least.index(min(least))]


def _after(a: Arrays, k: int, m: int, at: int) -> int:
    """The turn at which a batch that has this one could be done with the stage, were nothing in its way."""
    t = max(0, min(at // FINE, a.start.shape[1] - 1))
    end = int(a.end[a.which[k, m], t])
    least = 0 if a.last[k] else int(a.least[k + 1])
    last = int(a.start.shape[1])
    return max(at + 1, (min(end, last) + least) * FINE + at % FINE)
