"""How large a shop may be that is to be scheduled: operations, and units of time that calendars are written out for."""

from typing import Final

from reelmark.errors import BadValue
from reelmark.jobs import JobShop
from reelmark.plant import MOST_OPERATIONS

__all__ = ["MOST_UNITS", "few", "sized"]

MOST_UNITS: Final = 2_000_000  # of a calendar: every unit is kept for every machine; five years are 87,600 half hours


def few(where: str, value: object, operations: int) -> None:
    """BadValue where a shop has more operations than can be scheduled."""
    if operations > MOST_OPERATIONS:
        true = f"that makes {operations:,} operations; a schedule has {MOST_OPERATIONS:,} at most"
        raise BadValue(where, value, true, "plan fewer orders or larger batches at a time")


def sized(shop: JobShop, name: str) -> JobShop:
    """The shop, if it can be scheduled; BadValue where it has too many operations or reaches too far."""
    few(name, f"{len(shop.jobs)} jobs", sum(job.batches * len(job.stages) for job in shop.jobs))
    units = _reach(shop)
    if units > MOST_UNITS:
        true = f"its work and calendars reach over {units:,} units; {MOST_UNITS:,} are the most"
        cure = "correct the duration, wait or spell that is too long, or take a longer unit"
        raise BadValue(name, f"{units:,} units", true, cure)
    return shop


def _reach(shop: JobShop) -> int:
    """Units after which all is over at the latest: the horizon; without one, all work end to end."""
    shut = max((b for one in shop.machines for _, b in (*one.closed, *one.maintenance)), default=0)
    if shop.horizon:
        return max(shop.horizon, shut)
    work = sum(job.batches * sum(max(u for _, u in one.on) for one in job.stages) for job in shop.jobs)
    waits = max(job.release + sum(one.least_wait for one in job.stages) for job in shop.jobs)
    setups = max(shop.setups.values(), default=0) * sum(len(job.stages) for job in shop.jobs)
    return shut + work + waits + setups
