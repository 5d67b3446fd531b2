"""The whole model of a job shop for the constraint solver, and its answer read back."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from ortools.sat.python import cp_model

from ..jobs import ANYWHERE, JobShop, Schedule
from .exact_alike import sorted_stages
from .exact_limits import add_resources, add_store, add_waits, followers
from .exact_machines import add_machine
from .exact_price import Term, late_terms, span_term
from .exact_work import Cp, Starts, Work, work_of

__all__ = ["Model", "build", "horizon_of"]

FINEST = 10**6  # prices are counted to this part of a cost unit


@dataclass
class Model:
    """The model.  scale : the solver's objective over the cost"""

    cp: Cp
    shop: JobShop
    works: list[Work]
    scale: int

    def schedule(self, solver: cp_model.CpSolver) -> Schedule:
        """The answer of a solver that has one."""
        return Schedule(
            tuple(_taken(one, solver) for one in self.works),
            tuple(solver.value(one.start) for one in self.works),
            tuple(solver.value(one.end) for one in self.works),
        )

    def hints(self, hint: Schedule) -> Iterator[tuple[cp_model.IntVar, int]]:
        """What a schedule says of the variables: starts, and machines where there is a choice."""
        for i, work in enumerate(self.works):
            yield work.start, hint.start[i]
            for m, way in work.ways.items():
                if way.chosen is not None:
                    yield way.chosen, int(m == hint.machine[i])


def _taken(work: Work, solver: cp_model.CpSolver) -> int:
    """The machine that the solver took."""
    return next(m for m, way in work.ways.items() if way.chosen is None or solver.boolean_value(way.chosen))


def build(shop: JobShop) -> Model:
    """The model of the shop."""
    cp = cp_model.CpModel()
    horizon = horizon_of(shop)
    starts = Starts(shop, horizon)
    works = []
    for i, (job, _, _) in enumerate(shop.operations):
        work = work_of(cp, starts, shop.stage(i), shop.jobs[job].release, str(i))
        if work is None:  # it fits nowhere: no schedule
            cp.add_bool_or([])
            return Model(cp, shop, [], 1)
        works.append(work)
    after = followers(shop)
    _alike(cp, shop, works)
    add_waits(cp, shop, works, after)
    setups = [one for m in range(len(shop.machines)) for one in add_machine(cp, shop, m, works, starts)]
    add_store(cp, shop, works, after, horizon)
    add_resources(cp, shop, works, horizon)
    late = late_terms(cp, shop, works, horizon)
    terms = [*_priced(shop.prices.setup * shop.hours, setups), *late, *span_term(cp, shop, works, after, horizon)]
    return Model(cp, shop, works, _objective(cp, terms))


def _priced(price: float, terms: list[Term]) -> list[Term]:
    return [(price * units, var) for units, var in terms] if price else []


def _objective(cp: Cp, terms: list[Term]) -> int:
    """Minimise the sum of the terms in whole numbers; what they were multiplied by."""
    exact = [(Fraction(price).limit_denominator(FINEST), var) for price, var in terms]
    scale = min(lcm(*(one.denominator for one, _ in exact)), FINEST) if exact else 1
    if exact:
        cp.minimize(sum(round(price * scale) * var for price, var in exact))
    return scale


def _alike(cp: Cp, shop: JobShop, works: list[Work]) -> None:
    """Batches of a job begin in the order of their numbers, where that loses nothing."""
    for j, job in enumerate(shop.jobs):
        for s in sorted_stages(shop, j):
            for b in range(job.batches - 1):
                cp.add(works[shop.number(j, b, s)].start <= works[shop.number(j, b + 1, s)].start)


def horizon_of(shop: JobShop) -> int:
    """The shop's horizon; where it has none, a time by which the best schedule has ended.

    When no calendar changes any more, everything one after another, with the longest work, set-up and wait of each,
    ends in time; a best schedule has no gap that none of these asks for.
    """
    if shop.horizon:
        return shop.horizon
    changes = [b for m in shop.machines for _, b in (*m.closed, *m.maintenance)]
    changes += [job.release for job in shop.jobs] + [one.begins for r in shop.resources for one in r.levels]
    longest: dict[int, int] = {}
    for (_, family), units in shop.setups.items():
        longest[family] = max(longest.get(family, 0), units)
    total = 0
    for job in shop.jobs:
        for one in job.stages:
            setup = longest.get(one.family, 0) if any(m != ANYWHERE for m, _ in one.on) else 0
            total += job.batches * (max(units for _, units in one.on) + one.least_wait + setup)
    return max([0, *changes]) + total
