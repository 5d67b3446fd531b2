"""An operation pinned by a person: it goes on that machine at that time or as soon after as it can, the rest gives way.

Machines keep the order of the plan, and what the plan held back stays held back; whatever then breaks (a longest wait,
the store, people) stays and is named, for the person decided.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..errors import BadValue, Clash
from ..jobs import JobShop, Schedule
from ..plan.carried import carry_out
from ..plan.check import Violation, check
from ..plan.clock import clocks
from ..plan.network import AT_THE_START, network
from ..plan.planned import Planned
from .plan_time import name
from .plan_view import machine_name

__all__ = ["Pin", "carried_over", "costs", "kept", "pinned", "unpinned"]

Pin = tuple[int, int, int]  # operation, machine, start unit
PRICED = {"store": "store", "wait long": "wait"}


def pinned(planned: Planned, operation: int, machine: int, start: int) -> Planned:
    """The plan with one more operation pinned.

    BadValue for an operation, machine or time that cannot be; Clash where it is frozen, or would wait for itself.
    """
    shop = planned.shop
    if not 0 <= operation < len(shop.operations):
        true = f"the plan has {len(shop.operations):,} operations"
        raise BadValue("operation", operation, true, "take one of its tasks")
    if machine not in dict(shop.stage(operation).on):
        able = ", ".join(machine_name(shop, m) for m, _ in shop.stage(operation).on)
        true = f"{name(shop, operation)} can go on {able}"
        raise BadValue("machine", machine_name(shop, machine) if 0 <= machine < len(shop.machines) else machine, true,
                       "choose one of those")  # fmt: skip
    if not 0 <= start < (shop.horizon or start + 1):
        true = f"the plan reaches {shop.horizon * shop.hours:,.0f} h from its begin"
        raise BadValue("start", f"{start * shop.hours:g} h", true, "give a time within it")
    if operation in planned.frozen:
        raise Clash("operation", name(shop, operation), "it is frozen: begun, or about to", "pin a later one")
    pins = (*(one for one in planned.pinned if one[0] != operation), (operation, machine, start))
    return _shifted(replace(planned, pinned=pins))


def unpinned(planned: Planned, operation: int) -> Planned:
    """Free again; it moves when the works is planned the next time.  BadValue where it is not pinned."""
    pins = tuple(one for one in planned.pinned if one[0] != operation)
    if len(pins) == len(planned.pinned):
        raise BadValue("operation", operation, "it is not pinned", "choose one of those that are")
    return replace(planned, pinned=pins)


def kept(schedule: Schedule, pins: Sequence[Pin]) -> bool:
    """Are all pinned operations on their machines, and not before their times?"""
    return all(schedule.machine[i] == m and schedule.start[i] >= start for i, m, start in pins)


def carried_over(planned: Planned) -> Planned:
    """The plan with its pins laid on it where they do not hold yet."""
    return planned if kept(planned.schedule, planned.pinned) else _shifted(planned)


def costs(shop: JobShop, schedule: Schedule) -> tuple[float, tuple[Violation, ...]]:
    """Cost with what breaches cost, and everything that cannot be."""
    checked, prices = check(shop, schedule), shop.prices
    breached = sum(one.size * getattr(prices, PRICED[one.kind]) for one in checked.violations if one.kind in PRICED)
    return checked.cost + breached, checked.violations


def _shifted(planned: Planned) -> Planned:
    """Everything as soon as the order on the machines and the pins let it begin."""
    shop, its = planned.shop, clocks(planned.shop)
    floors = np.zeros(len(shop.operations))
    for step in network(shop, planned.schedule, its, AT_THE_START).steps:
        floors[step.number] = step.floor
    machine, key = list(planned.schedule.machine), list(planned.schedule.start)
    for operation, m, start in planned.pinned:
        machine[operation], floors[operation] = m, start
        key[operation] = max(start, _ready(shop, planned.schedule, operation))
        _later(shop, key, operation, m)
    # a pinned one goes before whatever would begin at that very time
    ends = [key[i] if any(i == p for p, _, _ in planned.pinned) else end for i, end in enumerate(planned.schedule.end)]
    order = Schedule(tuple(machine), tuple(key), tuple(ends))
    net = network(shop, order, its, AT_THE_START, floors)
    times = carry_out(net, its, net.plan[:, None])
    found = Schedule(order.machine, *(tuple(round(t) for t in one[:, 0]) for one in (times.start, times.end)))
    return replace(planned, schedule=found, cost=costs(shop, found)[0])


def _ready(shop: JobShop, schedule: Schedule, operation: int) -> int:
    """When its own batch is ready for it."""
    job, batch, stage = shop.operations[operation]
    ready = shop.jobs[job].release
    for s in _earlier(shop, job, stage):
        ready = max(ready, schedule.end[shop.number(job, batch, s)] + shop.jobs[job].stages[s].least_wait)
    return ready


def _earlier(shop: JobShop, job: int, stage: int) -> tuple[int, ...]:
    after = shop.jobs[job].stages[stage].after
    return ((stage - 1,) if stage else ()) if after is None else after


def _later(shop: JobShop, key: list[int], operation: int, machine: int) -> None:
    """The stages that follow in the same batch come after it on every machine."""
    job, batch, stage = shop.operations[operation]
    units = {shop.number(job, batch, stage): dict(shop.stage(operation).on)[machine]}
    for s in range(stage + 1, len(shop.jobs[job].stages)):
        i = shop.number(job, batch, s)
        for e in _earlier(shop, job, s):
            p = shop.number(job, batch, e)
            shortest = units.get(p, min(long for _, long in shop.stage(p).on))
            if key[i] < key[p] + shortest:
                key[i] = key[p] + shortest + shop.stage(p).least_wait
