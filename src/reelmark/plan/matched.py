"""A plan's operations seen in another shop: which are the same, by order, stage and turn."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop, Schedule
from .arrays import Arrays
from .planned import Planned

__all__ = ["Row", "counterparts", "moved", "rows_by_step"]

Row = tuple[int, int, int]  # machine, begin, end
Ints = NDArray[np.int64]


def counterparts(old: JobShop, new: JobShop) -> dict[int, int]:
    """Operation of the new shop -> the same of the old, by job name, batch and stage name; new ones are left out."""
    names = {job.name: j for j, job in enumerate(old.jobs)}
    found: dict[int, int] = {}
    for number, (j, b, s) in enumerate(new.operations):
        was = names.get(new.jobs[j].name)
        if was is None or b >= old.jobs[was].batches:
            continue
        stages = [one.name for one in old.jobs[was].stages]
        if new.jobs[j].stages[s].name in stages:
            found[number] = old.number(was, b, stages.index(new.jobs[j].stages[s].name))
    return found


def rows_by_step(planned: Planned, shop: JobShop, a: Arrays) -> dict[int, list[Row]]:
    """Steps of the shop -> rows of the plan's batches, first in first out: alike batches may be taken in that order."""
    step = {(int(j), int(s)): k for k, (j, s) in enumerate(zip(a.job, a.stage, strict=True))}
    found: dict[int, list[Row]] = {}
    at = planned.schedule
    for new, old in counterparts(planned.shop, shop).items():
        j, _, s = shop.operations[new]
        found.setdefault(step[j, s], []).append((at.machine[old], at.start[old], at.end[old]))
    return {k: sorted(rows, key=lambda row: (row[1], row[2], row[0])) for k, rows in found.items()}


def _by_step(shop: JobShop, schedule: Schedule) -> Mapping[tuple[str, str], list[tuple[int, int, int]]]:
    """(job, stage) -> (start, machine, operation) of its batches in the order of time."""
    found: dict[tuple[str, str], list[tuple[int, int, int]]] = {}
    for number, (j, _, s) in enumerate(shop.operations):
        key = shop.jobs[j].name, shop.jobs[j].stages[s].name
        found.setdefault(key, []).append((schedule.start[number], schedule.machine[number], number))
    return {key: sorted(rows) for key, rows in found.items()}


def moved(old: Planned, shop: JobShop, schedule: Schedule, tolerance: int = 0) -> tuple[int, ...]:
    """Operations of the schedule that the old plan has on another machine, or at a start further off than `tolerance`.

    Batches of a step are alike: they are compared in the order of time, so that two that changed places count as none.
    Operations that the old plan does not know are none of these.
    """
    before, names = _by_step(old.shop, old.schedule), [one.name for one in old.shop.machines]
    found = []
    for key, rows in _by_step(shop, schedule).items():
        for (start, machine, number), (was, on, _) in zip(rows, before.get(key, ()), strict=False):
            if abs(start - was) > tolerance or shop.machines[machine].name != names[on]:
                found.append(number)
    return tuple(sorted(found))
