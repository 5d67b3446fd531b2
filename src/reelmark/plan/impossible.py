"""Dates that no plan can keep: by how many hours they are missed at best, and what would make them possible.

    for line in impossible(shop): print(line)        nothing where no date is proved impossible

Two proofs: a delivery alone in the works, and all deliveries that must have passed a pool of machines by a day against
the pool's open hours.  A date that passes both may still be out of reach: neither knows set-ups, store or people.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import ceil

import numpy as np

from ..jobs import Due, JobShop
from .deliveries import hours_text
from .quote import alone
from .tables import NEVER, longest, open_units

__all__ = ["Impossible", "impossible", "impossible_words"]


@dataclass(frozen=True, slots=True)
class Impossible:
    """A date that no plan keeps.

    due : the line;  short : units: late at best, or open time that the pool lacks;  machines : of the pool, none where
        the order alone is too long
    earliest : unit, `tables.NEVER` where it is beyond the calendars, None where the pool is the cause
    cures : each in words, any of which would pass this proof
    """

    due: Due
    short: int
    machines: tuple[str, ...]
    earliest: int | None
    cures: tuple[str, ...]


def impossible(shop: JobShop) -> tuple[Impossible, ...]:
    """Every due line that is proved impossible, alone first, then what a pool cannot do for all together."""
    single = tuple(_alone(shop))
    return (*single, *_pools(shop, {one.due for one in single}))


def impossible_words(shop: JobShop, begins: datetime | None = None) -> tuple[str, ...]:
    """The same in words.  begins : moment of unit 0; without it moments are given in hours from there."""
    return tuple(_words(shop, one, begins) for one in impossible(shop))


def _words(shop: JobShop, one: Impossible, begins: datetime | None) -> str:
    name = f"{shop.jobs[one.due.job].name}, {one.due.batches} batches due {_when(shop, one.due.at, begins)}"
    cure = "; or ".join(one.cures)
    if one.earliest is None:
        text = f"{name}: {', '.join(one.machines)} lack {hours_text(shop, one.short)} of open time for all due by then"
        return f"{text}; {cure}"
    if one.earliest >= NEVER:
        return f"{name}: not within the calendars, even with the works to itself; plan over more days, or {cure}"
    text = f"{name}: {hours_text(shop, one.short)} late at best, with the works to itself"
    return f"{text}; possible from {_when(shop, one.earliest, begins)}, or {cure}"


def _when(shop: JobShop, unit: int, begins: datetime | None) -> str:
    if begins is None:
        return hours_text(shop, unit)
    at = begins.astimezone(UTC) + timedelta(hours=unit * shop.hours)  # elapsed hours, also when the clocks change
    return f"{at.astimezone(begins.tzinfo):%Y-%m-%d %H:%M}"


def _alone(shop: JobShop) -> Iterator[Impossible]:
    for due in shop.dues:
        ready = alone(shop, due.job, due.batches)
        if ready > due.at:
            ready = min(ready, NEVER)
            yield Impossible(due, ready - due.at, (), ready, tuple(_cures(shop, due, ready)))


def _cures(shop: JobShop, due: Due, ready: int) -> Iterator[str]:
    """Fewer batches by then; a machine open round the clock, where that alone would do, or by how much it helps."""
    fits = next((n for n in range(due.batches - 1, 0, -1) if alone(shop, due.job, n) <= due.at), 0)
    yield f"deliver {fits} batches by then" if fits else "no batch at all can be ready by then: ask for a later day"
    gains = []
    for m in sorted({m for stage in shop.jobs[due.job].stages for m, _ in stage.on}):
        always = replace(shop.machines[m], closed=())
        other = replace(shop, machines=(*shop.machines[:m], always, *shop.machines[m + 1 :]), horizon=longest(shop))
        gains.append((alone(other, due.job, due.batches), shop.machines[m].name))
    for at, name in sorted(gains):
        if at <= due.at:
            yield f"run {name} through its closed hours too"
    if gains and min(gains)[0] > due.at and min(gains)[0] < ready:
        at, name = min(gains)
        yield f"run {name} through its closed hours, which saves {hours_text(shop, ready - at)} and is not enough"


def _pools(shop: JobShop, known: set[Due]) -> Iterator[Impossible]:
    """Of each set of machines that some stage has, the first day by which it cannot have done all that is due."""
    size = longest(shop)
    seen: set[str] = set()
    for pool in sorted({tuple(sorted(m for m, _ in stage.on)) for job in shop.jobs for stage in job.stages}):
        upto = np.concatenate(([0], np.cumsum(sum(open_units(shop.machines[m], size).astype(int) for m in pool))))
        for due, by in sorted(_deadlines(shop, pool), key=lambda one: one[1]):
            work = sum(_due_work(shop, pool, by).values())
            short = work - int(upto[max(0, min(by, size))])
            name = ", ".join(shop.machines[m].name for m in pool)
            if short > 0 and due not in known and name not in seen:
                seen.add(name)
                yield Impossible(due, short, tuple(shop.machines[m].name for m in pool), None, _more(shop, pool, short))


def _more(shop: JobShop, pool: tuple[int, ...], short: int) -> tuple[str, ...]:
    shifts = ceil(short * shop.hours / 8)
    names = " or ".join(shop.machines[m].name for m in pool)
    return (f"{shifts} more shift{'s' * (shifts > 1)} of 8 h on {names}", "one machine more of that kind",
            "later days for some")  # fmt: skip


def _deadlines(shop: JobShop, pool: tuple[int, ...]) -> Iterator[tuple[Due, int]]:
    """Each due, and by when its last batch must have left the pool for the last time."""
    for due in shop.dues:
        stages = shop.jobs[due.job].stages
        mine = [s for s, stage in enumerate(stages) if {m for m, _ in stage.on} <= set(pool)]
        for s in mine:
            yield due, due.at - _tail(shop, due.job, s)


def _tail(shop: JobShop, job: int, stage: int) -> int:
    """Least units from the end of a stage to the end of the last."""
    stages = shop.jobs[job].stages
    later = range(stage + 1, len(stages))
    return sum(stages[s - 1].least_wait + min(units for _, units in stages[s].on) for s in later)


def _due_work(shop: JobShop, pool: tuple[int, ...], by: int) -> dict[tuple[int, int], int]:
    """(job, stage) -> least units on the pool that must be done by then."""
    work: dict[tuple[int, int], int] = {}
    for due in shop.dues:
        for s, stage in enumerate(shop.jobs[due.job].stages):
            if {m for m, _ in stage.on} <= set(pool) and due.at - _tail(shop, due.job, s) <= by:
                many = due.batches * min(units for _, units in stage.on)
                work[due.job, s] = max(many, work.get((due.job, s), 0))
    return work
