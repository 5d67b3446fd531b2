"""A job shop as plain arrays: what the compiled decoder and the annealing read.

A *step* is one stage of one job; its batches are alike.  Steps of a job follow one another, so that step k-1 comes
before step k unless `first[k]`.
"""

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue
from ..jobs import JobShop
from .tables import NEVER, longest, open_units, table

__all__ = ["Arrays", "arrays", "is_chain"]

Ints = NDArray[np.int32]


class Arrays(NamedTuple):
    """K steps, M machines, F families, T units, U tables, D dues, R resources.

    job, stage, batches, family, least, most, stored : (K,);  first, last : is it the first, last stage of its job
    offset : (K,) where the ends of a step's batches lie in one long row;  release : (K,) of its job
    able : (K, W) the machines that can do the step, -1 behind the last
    which : (K, M) number of the table of the step on the machine, -1 where it cannot go
    start, end : (U, T) tables;  setup : (F, F) units;  fitted : (F, F, M) table of a set-up, -1: it runs through
    family0 : (M,) what a machine is set for, -1 free;  due_step, due_batch, due_at, due_weight : (D,)
    uses : (K, R);  level : (R, T);  open : (M, T);  prices : late, setup, span, store, wait, each for a unit of time
    """

    job: Ints
    stage: Ints
    batches: Ints
    family: Ints
    least: Ints
    most: Ints
    stored: Ints
    first: Ints
    last: Ints
    offset: Ints
    release: Ints
    able: Ints
    which: Ints
    start: Ints
    end: Ints
    setup: Ints
    fitted: Ints
    family0: Ints
    due_step: Ints
    due_batch: Ints
    due_at: Ints
    due_weight: NDArray[np.float64]
    places: int
    uses: Ints
    level: Ints
    open: NDArray[np.bool_]
    prices: NDArray[np.float64]


class _Tables:
    """Tables by calendar and units, each made once."""

    def __init__(self, shop: JobShop, size: int) -> None:
        self.shop, self.size = shop, size
        self.numbers: dict[tuple[object, int], int] = {}
        self.rows: list[tuple[Ints, Ints]] = []

    def number(self, machine: int, units: int) -> int:
        one = self.shop.machines[machine]
        key = ((one.closed, one.maintenance), units)
        if key not in self.numbers:
            self.numbers[key] = len(self.rows)
            self.rows.append(table(one, units, self.size))
        return self.numbers[key]

    @cached_property
    def stacked(self) -> tuple[Ints, Ints]:
        return np.stack([one for one, _ in self.rows]), np.stack([one for _, one in self.rows])


def arrays(shop: JobShop, size: int = 0) -> Arrays:
    """The arrays, calendars of `size` units (0: see `longest`).

    BadValue where a job's stages are no chain, or a stage has no machine (see `exact` for those).
    """
    if not is_chain(shop):
        raise BadValue("stages", len(shop.operations), "they are no chains on machines", "solve them whole")
    size = size or longest(shop)
    tables = _Tables(shop, size)
    steps = [(j, s) for j, job in enumerate(shop.jobs) for s in range(len(job.stages))]
    stages = [shop.jobs[j].stages[s] for j, s in steps]
    which = np.full((len(steps), len(shop.machines)), -1, np.int32)
    for k, stage in enumerate(stages):
        for machine, units in stage.on:
            which[k, machine] = tables.number(machine, units)
    setup, fitted = _setups(shop, tables)
    first = np.array([s == 0 for _, s in steps])
    batches = _ints([shop.jobs[j].batches for j, _ in steps])
    start, end = tables.stacked
    dues = shop.dues
    lasts = {j: k for k, (j, _) in enumerate(steps)}
    prices = shop.prices
    return Arrays(
        job=_ints([j for j, _ in steps]),
        stage=_ints([s for _, s in steps]),
        batches=batches,
        family=_ints([stage.family for stage in stages]),
        least=_ints([0 if one else stages[k - 1].least_wait for k, one in enumerate(first)]),
        most=_ints([NEVER if one else _most(stages[k - 1].most_wait) for k, one in enumerate(first)]),
        stored=_ints([stage.stored for stage in stages]),
        first=_ints(first),
        last=_ints([s == len(shop.jobs[j].stages) - 1 for j, s in steps]),
        offset=_ints(np.concatenate(([0], np.cumsum(batches)[:-1]))),
        release=_ints([shop.jobs[j].release for j, _ in steps]),
        able=_able(which),
        which=which,
        start=start,
        end=end,
        setup=setup,
        fitted=fitted,
        family0=_ints([-1 if one.family is None else one.family for one in shop.machines]),
        due_step=_ints([lasts[one.job] for one in dues]),
        due_batch=_ints([one.batches - 1 for one in dues]),
        due_at=_ints([one.at for one in dues]),
        due_weight=np.array([one.weight for one in dues], np.float64),
        places=NEVER if shop.store is None else shop.store.places,
        uses=_uses(shop, stages),
        level=_levels(shop, size),
        open=np.stack([open_units(one, size) for one in shop.machines]),
        prices=np.array([prices.late, prices.setup, prices.span, prices.store, prices.wait]) * shop.hours,
    )


def is_chain(shop: JobShop) -> bool:
    """Does every job pass its stages one after another, each on a machine?"""
    return not any(
        stage.after not in (None, (), (s - 1,)) or (s > 0 and stage.after == ()) or any(m < 0 for m, _ in stage.on)
        for job in shop.jobs for s, stage in enumerate(job.stages)
    )  # fmt: skip


def _ints(values: object) -> Ints:
    return np.asarray(values, np.int32)


def _able(which: Ints) -> Ints:
    able = np.full((which.shape[0], max(1, int((which >= 0).sum(axis=1).max()))), -1, np.int32)
    for k, row in enumerate(which):
        machines = np.flatnonzero(row >= 0)
        able[k, : machines.size] = machines
    return able


def _most(wait: int | None) -> int:
    return NEVER if wait is None else wait


def _setups(shop: JobShop, tables: _Tables) -> tuple[Ints, Ints]:
    count = 1 + max((stage.family for job in shop.jobs for stage in job.stages), default=0)
    count = max([count, *(1 + max(pair) for pair in shop.setups), *(1 + (m.family or 0) for m in shop.machines)])
    setup = np.zeros((count, count), np.int32)
    fitted = np.full((count, count, len(shop.machines)), -1, np.int32)
    able: dict[int, set[int]] = {}
    for job in shop.jobs:
        for stage in job.stages:
            able.setdefault(stage.family, set()).update(m for m, _ in stage.on)
    for (a, b), units in shop.setups.items():
        setup[a, b] = units
        for m in able.get(b, ()) if shop.setups_open else ():
            fitted[a, b, m] = tables.number(m, units)
    return setup, fitted


def _uses(shop: JobShop, stages: list) -> Ints:  # type: ignore[type-arg]
    uses = np.zeros((len(stages), len(shop.resources)), np.int32)
    for k, stage in enumerate(stages):
        for resource, amount in stage.uses:
            uses[k, resource] += amount
    return uses


def _levels(shop: JobShop, size: int) -> Ints:
    level = np.zeros((len(shop.resources), size), np.int32)
    for r, resource in enumerate(shop.resources):
        for one in resource.levels:
            level[r, max(0, one.begins) :] = one.amount
    return level
