"""Batches of a job are alike: which of all the schedules that differ only in their names does a solver look at?

    sorted_stages(shop, job)    stages in which batch 1 may be asked to begin first, then batch 2, ...
    in_order(shop, schedule)    the schedule with its batches renamed so that they do

Why it loses nothing: whole entries (machine, start, end) are exchanged between batches of one stage, so machines,
set-ups and resources see no difference.  Of a stage where the one that begins first ends first, all ends and all starts
of the next can be paired in order: when any pairing keeps the waits between least and most, the one in order does; the
store sees only how many have come and gone.  The order passes on only through such stages: hence one run of them.
"""

from ..jobs import ANYWHERE, Job, JobShop, Schedule, Stage

__all__ = ["in_order", "is_chain", "same_order", "sorted_stages"]


def is_chain(job: Job) -> bool:
    """Does each stage come after the one before it, and after no other?"""
    return all(one.after in (None, (s - 1,) if s else ()) for s, one in enumerate(job.stages))


def same_order(shop: JobShop, stage: Stage) -> bool:
    """Do batches of the stage end in the order in which they begin?"""
    if len(stage.on) == 1:
        return True
    if any(m == ANYWHERE for m, _ in stage.on):
        return False
    calendars = {(shop.machines[m].closed, shop.machines[m].maintenance) for m, _ in stage.on}
    return len(calendars) == 1 and len({units for _, units in stage.on}) == 1


def sorted_stages(shop: JobShop, job: int) -> range:
    """The stages of a job whose batches may be asked to begin in the order of their numbers."""
    one = shop.jobs[job]
    if one.batches == 1:
        return range(0)
    keeps = [same_order(shop, stage) for stage in one.stages]
    if not is_chain(one):
        return range(len(keeps)) if all(keeps) and not any(stage.stored for stage in one.stages) else range(1)
    best, begins = range(1), 0
    for s, keep in enumerate(keeps):
        if s + 1 - begins > len(best):
            best = range(begins, s + 1)
        if not keep:
            begins = s + 1
    return best


def in_order(shop: JobShop, schedule: Schedule) -> Schedule:
    """The same schedule, its batches renamed."""
    take = list(range(len(shop.operations)))  # whose entry each operation gets
    for j, job in enumerate(shop.jobs):
        stages = sorted_stages(shop, j)
        for s in range(len(job.stages)) if stages else ():
            by = min(max(s, stages[0]), stages[-1])  # outside the run a batch keeps its own neighbours
            old = sorted(range(job.batches), key=lambda b, by=by, j=j: schedule.start[shop.number(j, b, by)])  # type: ignore[misc]
            for b, other in enumerate(old):
                take[shop.number(j, b, s)] = shop.number(j, other, s)
    return Schedule(
        tuple(schedule.machine[i] for i in take),
        tuple(schedule.start[i] for i in take),
        tuple(schedule.end[i] for i in take),
    )
