"""Where a new plan begins: what is done, what goes on, and what is too near to be moved.

    start = start_of(planned, now, horizon, actual)        a Start for the decoder: batches that may not move
    frozen = frozen_of(shop, start)                        their operations, by number
    shop = breakdown(shop, "relief press", 96, 192)        a machine down: work rests on it and goes on afterwards

Batches of a step are alike and go first in, first out: frozen ones are always the first of their step, and the first of
every step before.  Times are units of the plan.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..errors import BadValue, NotThere
from ..jobs import JobShop, Machine
from .arrays import Arrays, arrays
from .decode import Start
from .kept import Facts, Kept, closed_upward
from .lists import fresh
from .matched import Row, rows_by_step
from .planned import Planned
from .tables import NEVER

__all__ = ["Facts", "breakdown", "frozen_of", "machine_number", "start_of"]


def machine_number(shop: JobShop, name: str) -> int:
    """Number of the machine of that name; NotThere with those there are."""
    names = [one.name for one in shop.machines]
    if name not in names:
        raise NotThere("machine", name, f"the plan has {', '.join(names)}", "name one of these")
    return names.index(name)


def breakdown(shop: JobShop, machine: str, begins: int, ends: int) -> JobShop:
    """The shop with the machine down from `begins` up to `ends` (units): what runs rests and goes on afterwards.

    Before anybody reaches into a machine that stands, it is switched off, locked and tagged by those who do.
    """
    number = machine_number(shop, machine)
    if not begins < ends:
        raise BadValue("ends", ends, f"it is not after {begins}, where the breakdown begins", "give the later unit")
    one = shop.machines[number]
    down = Machine(one.name, tuple(sorted((*one.closed, (begins, ends)))), one.maintenance, one.family)
    return replace(shop, machines=(*shop.machines[:number], down, *shop.machines[number + 1 :]))


def start_of(
    planned: Planned,
    now: int,
    horizon: int = 0,
    actual: Facts | None = None,
    shop: JobShop | None = None,
    a: Arrays | None = None,
) -> Start:
    """What the new plan may not move.

    now : unit;  nothing else begins before
    horizon : units from now in which what was to begin keeps machine and time, pushed on where it must be; what is
        pushed beyond the horizon is free again
    actual : operation of `planned` -> (machine, start, end) as they were or, where still going on, as it is expected;
        None: everything went as planned.  What they leave out has not begun, whatever the plan said
    shop : the question as it stands now (more jobs, a machine down); None: the plan's own
    """
    shop = planned.shop if shop is None else shop
    a = arrays(shop) if a is None else a
    if not 0 <= now < a.start.shape[1]:
        true = f"the plan reaches from 0 to {a.start.shape[1]} units of {shop.unit_min} min"
        raise BadValue("now", now, true, "give a moment within the plan, or plan anew from there")
    old = rows_by_step(planned, shop, a)
    facts = _as_planned(a, old, now) if actual is None else _facts(planned, shop, a, actual)
    kept = Kept(a, now)
    for k, rows in closed_upward(a, facts, old).items():
        for row in rows:
            kept.put(k, row)
    _horizon(kept, old, now, horizon)
    _set_ups(kept, old)
    return _start(planned, shop, a, kept, now)


def _as_planned(a: Arrays, old: Mapping[int, list[Row]], now: int) -> dict[int, list[Row]]:
    """What the plan began before now; what then still runs ends by the calendar as it is now."""
    found: dict[int, list[Row]] = {}
    for k, rows in old.items():
        for m, begin, end in rows:
            if begin < now:
                table = int(a.which[k, m])
                late = int(a.end[table, begin]) if end > now and table >= 0 else end
                found.setdefault(k, []).append((m, begin, max(end, late) if late < NEVER else end))
    return found


def _facts(planned: Planned, shop: JobShop, a: Arrays, actual: Facts) -> dict[int, list[Row]]:
    names = {job.name: j for j, job in enumerate(shop.jobs)}
    steps = {(int(j), int(s)): k for k, (j, s) in enumerate(zip(a.job, a.stage, strict=True))}
    found: dict[int, list[Row]] = {}
    for number, (machine, begin, end) in actual.items():
        if not 0 <= number < len(planned.shop.operations):
            true = f"the plan has {len(planned.shop.operations)} operations"
            raise NotThere("operation", number, true, "name one of the plan")
        if not 0 <= machine < len(shop.machines) or end < begin:
            true = f"there are {len(shop.machines)} machines, and work ends after it begins"
            raise BadValue("actual", (machine, begin, end), true, "correct the fact")
        job, _, stage = planned.shop.operations[number]
        j = names.get(planned.shop.jobs[job].name)
        if j is not None:  # a job that is given up leaves its facts behind
            found.setdefault(steps[j, stage], []).append((machine, begin, end))
    return {k: sorted(rows, key=lambda row: row[1:]) for k, rows in found.items()}


def _horizon(kept: Kept, old: Mapping[int, list[Row]], now: int, horizon: int) -> None:
    """What was to begin within the horizon, in the order of its begin, as long as it does."""
    due = [
        (begin, k, b, m)
        for k, rows in old.items()
        for b, (m, begin, _) in enumerate(rows)
        if b >= kept.done[k] and begin < now + horizon
    ]
    for begin, k, b, m in sorted(due):
        row = kept.placed(k, b, m, begin)
        if row is not None and row[1] < now + horizon:
            kept.put(k, row)


def _set_ups(kept: Kept, old: Mapping[int, list[Row]]) -> None:
    """Each machine is set up for what was to be next on it, if that has begun."""
    following: dict[int, tuple[int, int]] = {}
    for k, rows in old.items():
        for m, begin, _ in rows[kept.done[k] :]:
            following[m] = min(following.get(m, (NEVER, -1)), (begin, k))
    for m, (begin, k) in following.items():
        kept.set_up(k, m, begin)


def _start(planned: Planned, shop: JobShop, a: Arrays, kept: Kept, now: int) -> Start:
    start = fresh(a)
    start.free[:] = np.maximum(kept.free, now)
    start.family[:] = kept.family
    for k, rows in kept.rows.items():
        start.done[k] = len(rows)
        for b, (m, begin, end) in enumerate(rows):
            at = int(a.offset[k]) + b
            start.machine[at], start.begin[at], start.end[at] = m, begin, end
    _pin(planned, shop, a, start)
    return start


def _pin(planned: Planned, shop: JobShop, a: Arrays, start: Start) -> None:
    """Begins that a person set stay the earliest."""
    names = {job.name: j for j, job in enumerate(shop.jobs)}
    for number, _, begin in planned.pinned:
        job, batch, stage = planned.shop.operations[number]
        j = names.get(planned.shop.jobs[job].name)
        if j is not None:
            k = next(k for k in range(a.job.size) if a.job[k] == j and a.stage[k] == stage)
            start.earliest[int(a.offset[k]) + batch] = begin


def frozen_of(shop: JobShop, a: Arrays, start: Start) -> frozenset[int]:
    """Operations that a Start freezes."""
    return frozenset(
        shop.number(int(a.job[k]), b, int(a.stage[k])) for k in range(a.job.size) for b in range(int(start.done[k]))
    )
