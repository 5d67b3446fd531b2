"""Why nothing can be placed: what does not fit into its calendars, in words.

raise unplaced(shop, arrays)
"""

from ..errors import Problem
from ..jobs import JobShop
from .arrays import Arrays
from .tables import NEVER

__all__ = ["never_fits", "unplaced"]


def never_fits(shop: JobShop, a: Arrays) -> Problem | None:
    """A Problem where a job, with the works to itself, does not fit into the calendars."""
    t, top = 0, a.start.shape[1]
    for k in range(a.job.size):
        job = shop.jobs[int(a.job[k])]
        stage = job.stages[int(a.stage[k])]
        t = int(a.release[k]) if a.first[k] else t + int(a.least[k])
        rows = [int(a.which[k, m]) for m in a.able[k] if m >= 0]
        end = NEVER if t >= top else min(int(a.end[row, t]) for row in rows)
        if end >= NEVER:
            return _misfit(shop, job.name, stage.name, min(units for _, units in stage.on), t, top)
        t = end
    return None


def _misfit(shop: JobShop, job: str, stage: str, units: int, ready: int, top: int) -> Problem:
    h = shop.hours
    true = (
        f"{stage} of {job} can begin at {ready * h:g} h at the earliest and needs {units * h:g} h of a machine that is "
        f"open and not maintained; the calendars end at {top * h:g} h"
    )
    return Problem("a plan", true, "lengthen the calendars, open the machine longer, or make the batch smaller")


def unplaced(shop: JobShop, a: Arrays) -> Problem:
    """The Problem to raise when no plan at all was found."""
    alone = never_fits(shop, a)
    if alone is not None:
        return alone
    true = f"each order alone fits, all of them together do not within {a.start.shape[1] * shop.hours:g} h"
    return Problem("a plan", true, "lengthen the calendars, open machines longer, or take an order out")
