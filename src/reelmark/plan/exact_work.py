"""Operations as variables of the solver: when, how long, on which machine.

On a machine with closed time or maintenance the end is a function of the start: start + units + the closed time passed.
That extra takes few values, so each is a class with its own literal and its own set of starts.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from ortools.sat.python import cp_model

from ..jobs import ANYWHERE, JobShop, Machine, Stage
from .tables import table

__all__ = ["Cp", "Expr", "Flag", "Starts", "Way", "Work", "work_of"]

Cp = cp_model.CpModel
Expr = cp_model.LinearExprT
Flag = cp_model.IntVar


class Way(NamedTuple):
    """One machine an operation may go to.  chosen : does it (None: it must);  units : of open time it takes there"""

    chosen: Flag | None
    interval: cp_model.IntervalVar
    units: int


@dataclass
class Work:
    """One operation.  end : a variable, or the start plus a constant"""

    start: cp_model.IntVar
    end: Expr
    ways: dict[int, Way] = field(default_factory=dict)


Class = tuple[int, cp_model.Domain]  # units from start to end, and the starts for which it is so


class Starts:
    """Where work may begin, by machine and units, to the horizon; each worked out once."""

    def __init__(self, shop: JobShop, horizon: int) -> None:
        self.shop, self.horizon = shop, horizon
        self.known: dict[tuple[int, int], tuple[Class, ...]] = {}

    def classes(self, m: int, units: int) -> tuple[Class, ...]:
        """The classes of so many units on the machine."""
        if (m, units) not in self.known:
            machine = Machine("") if m == ANYWHERE else self.shop.machines[m]
            self.known[m, units] = self._classes(machine, units)
        return self.known[m, units]

    def _classes(self, machine: Machine, units: int) -> tuple[Class, ...]:
        if not (machine.closed or machine.maintenance):
            return ((units, cp_model.Domain(0, self.horizon - units)),) if units <= self.horizon else ()
        start, end = table(machine, units, self.horizon + 1)
        at = np.arange(self.horizon + 1)
        good = at[(start == at) & (end <= self.horizon)]
        lasts = end[good] - good
        return tuple(
            (int(one), cp_model.Domain.from_values([int(t) for t in good[lasts == one]])) for one in np.unique(lasts)
        )


def work_of(cp: Cp, starts: Starts, stage: Stage, release: int, name: str) -> Work | None:
    """The operation's variables; None where it can begin nowhere."""
    within = cp_model.Domain(max(0, release), max(0, release, starts.horizon))
    ways = {}
    for m, units in stage.on:
        classes = [(lasts, one.intersection_with(within)) for lasts, one in starts.classes(m, units)]
        ways[m] = [(lasts, one) for lasts, one in classes if not one.is_empty()]
    ways = {m: classes for m, classes in ways.items() if classes}
    if not ways:
        return None
    domain = cp_model.Domain.from_values([])
    for classes in ways.values():
        for _, one in classes:
            domain = domain.union_with(one)
    start = cp.new_int_var_from_domain(domain, f"s {name}")
    sizes = sorted({lasts for classes in ways.values() for lasts, _ in classes})
    if len(sizes) == 1:
        work = Work(start, start + sizes[0])
    else:
        work = Work(start, cp.new_int_var(domain.min() + sizes[0], starts.horizon, f"e {name}"))
    size = cp.new_int_var_from_domain(cp_model.Domain.from_values(sizes), f"l {name}") if len(sizes) > 1 else sizes[0]
    chosen = {m: cp.new_bool_var(f"{m} {name}") if len(ways) > 1 else None for m in ways}
    if len(ways) > 1:
        cp.add_exactly_one(flag for flag in chosen.values() if flag is not None)
    for m, classes in ways.items():
        _classes(cp, work, chosen[m], size, classes, domain)
        work.ways[m] = Way(chosen[m], _interval(cp, work, chosen[m], size, classes), dict(stage.on)[m])
    return work


def _classes(
    cp: Cp, work: Work, chosen: Flag | None, size: Expr, classes: list[Class], domain: cp_model.Domain
) -> None:
    """Each class: the starts, and how long it lasts."""
    flags = [chosen] if len(classes) == 1 else [cp.new_bool_var("") for _ in classes]
    if len(classes) > 1:
        cp.add(sum(flag for flag in flags if flag is not None) == (1 if chosen is None else chosen))
    for flag, (lasts, one) in zip(flags, classes, strict=True):
        if flag is None:
            continue  # the domain of the start says it
        if one != domain:
            cp.add_linear_expression_in_domain(work.start, one).only_enforce_if(flag)
        if not isinstance(size, int):
            cp.add(size == lasts).only_enforce_if(flag)
            cp.add(work.end == work.start + lasts).only_enforce_if(flag)


def _interval(cp: Cp, work: Work, chosen: Flag | None, size: Expr, classes: list[Class]) -> cp_model.IntervalVar:
    if len(classes) == 1:
        lasts = classes[0][0]
        if chosen is None:
            return cp.new_fixed_size_interval_var(work.start, lasts, "")
        return cp.new_optional_fixed_size_interval_var(work.start, lasts, chosen, "")
    if chosen is None:
        return cp.new_interval_var(work.start, size, work.end, "")
    return cp.new_optional_interval_var(work.start, size, work.end, chosen, "")
