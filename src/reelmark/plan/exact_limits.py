"""What ties operations of different machines: waits, the store, resources."""

from collections.abc import Iterator

import numpy as np
from ortools.sat.python import cp_model

from ..jobs import ANYWHERE, JobShop, Machine, Resource
from .exact_work import Cp, Expr, Way, Work
from .tables import open_units

__all__ = ["add_resources", "add_store", "add_waits", "followers"]


def followers(shop: JobShop) -> list[list[int]]:
    """The operations that come right after each."""
    out: list[list[int]] = [[] for _ in shop.operations]
    for i, (job, batch, stage) in enumerate(shop.operations):
        after = shop.jobs[job].stages[stage].after
        for s in range(max(0, stage - 1), stage) if after is None else after:
            out[shop.number(job, batch, s)].append(i)
    return out


def add_waits(cp: Cp, shop: JobShop, works: list[Work], after: list[list[int]]) -> None:
    """At least, and at most, so long between a stage and those after it."""
    for i, nexts in enumerate(after):
        stage = shop.stage(i)
        for n in nexts:
            cp.add(works[n].start >= works[i].end + stage.least_wait)
            if stage.most_wait is not None:
                cp.add(works[n].start <= works[i].end + stage.most_wait)


def add_store(cp: Cp, shop: JobShop, works: list[Work], after: list[list[int]], horizon: int) -> None:
    """Never more batches in the store than it has places."""
    if shop.store is None:
        return
    held = []
    for i, nexts in enumerate(after):
        if shop.stage(i).stored and nexts:
            leaves: Expr = works[nexts[0]].start
            if len(nexts) > 1:
                leaves = cp.new_int_var(0, horizon, "")
                cp.add_min_equality(leaves, [works[n].start for n in nexts])
            lies = cp.new_int_var(0, horizon, "")
            held.append(cp.new_interval_var(works[i].end, lies, leaves, ""))
    if len(held) > shop.store.places:
        cp.add_cumulative(held, [1] * len(held), shop.store.places)


def add_resources(cp: Cp, shop: JobShop, works: list[Work], horizon: int) -> None:
    """Never more of a resource held than its level."""
    for r, resource in enumerate(shop.resources):
        held: list[cp_model.IntervalVar] = []
        amounts: list[int] = []
        for i, work in enumerate(works):
            amount = sum(amount for which, amount in shop.stage(i).uses if which == r)
            for m, way in work.ways.items() if amount else ():
                parts = list(_held(cp, Machine("") if m == ANYWHERE else shop.machines[m], work, way, horizon))
                held += parts
                amounts += [amount] * len(parts)
        most = max((one.amount for one in resource.levels), default=0)
        for a, b, less in _less(resource, most, horizon):
            held.append(cp.new_fixed_size_interval_var(a, b - a, ""))
            amounts.append(less)
        if held:
            cp.add_cumulative(held, amounts, most)


def _held(cp: Cp, machine: Machine, work: Work, way: Way, horizon: int) -> Iterator[cp_model.IntervalVar]:
    """When the operation holds what it uses on this machine: while it is open."""
    if way.units == 0:
        return
    if not machine.closed:
        yield way.interval
        return
    for a, b in _opens(machine, horizon):
        begins, ends = _within(cp, work.start, a, b), _within(cp, work.end, a, b)
        size = cp.new_int_var(0, b - a, "")
        here = True if way.chosen is None else way.chosen
        yield cp.new_optional_interval_var(begins, size, ends, here, "")


def _opens(machine: Machine, horizon: int) -> Iterator[tuple[int, int]]:
    """The stretches in which the machine is open."""
    steps = np.flatnonzero(np.diff(np.concatenate(([False], open_units(machine, horizon), [False]))))
    yield from zip(map(int, steps[::2]), map(int, steps[1::2]), strict=True)


def _within(cp: Cp, moment: Expr, a: int, b: int) -> cp_model.IntVar:
    """The moment, no earlier than a and no later than b."""
    low, both = cp.new_int_var(0, b, ""), cp.new_int_var(a, b, "")
    cp.add_min_equality(low, [moment, b])
    cp.add_max_equality(both, [low, a])
    return both


def _less(resource: Resource, most: int, horizon: int) -> Iterator[tuple[int, int, int]]:
    """(from, to, how much less than the most) of a resource's levels."""
    levels = [(max(0, one.begins), one.amount) for one in resource.levels]
    if not levels or levels[0][0] > 0:
        levels.insert(0, (0, 0))
    for (a, amount), (b, _) in zip(levels, [*levels[1:], (horizon, 0)], strict=True):
        if min(b, horizon) > a and amount < most:
            yield a, min(b, horizon), most - amount
