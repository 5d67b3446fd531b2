"""A schedule taken as decisions: which machine, in which order; and what each operation then has to wait for.

An operation begins at the latest of: its job's release, the ends of its batch's earlier stages plus their least wait,
the machine free and set up, the plan's own wish (a *hold*), and now.  Resources (people) are not looked at here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue, Clash
from ..jobs import JobShop, Schedule
from .clock import Clock

__all__ = ["AT_THE_START", "Network", "Progress", "Step", "network", "sequence"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the shop stands.  Operations by number.

    now : units; nothing else begins before
    done : ended as the schedule says;  begun : begun as it says and still going on, so that they end after now
    stock : not to be done at all, for what they make lies ready, rested
    """

    now: int = 0
    done: frozenset[int] = frozenset()
    begun: frozenset[int] = frozenset()
    stock: frozenset[int] = frozenset()


AT_THE_START = Progress()


@dataclass(frozen=True, slots=True)
class Step:
    """One operation to carry out.

    clock : which clock;  floor : not before, units;  before : (operation, least wait after it)
    last : operation before it on the machine, -1 none;  setup : units;  begun : when it began, None: not yet
    """

    number: int
    clock: int
    floor: float
    before: tuple[tuple[int, float], ...]
    last: int
    setup: float
    begun: float | None


@dataclass(frozen=True)
class Network:
    """steps : in an order in which each comes after all it waits for;  fixed : start and end of what is done
    plan : (operations,) units of open time, 0 where nothing is left to do"""

    steps: tuple[Step, ...]
    fixed: Mapping[int, tuple[float, float]]
    plan: Floats
    setups_open: bool
    progress: Progress = field(default_factory=Progress)


def network(
    shop: JobShop, schedule: Schedule, clocks: Sequence[Clock], progress: Progress, holds: Floats | None = None
) -> Network:
    """What waits for what.  Raises BadValue for a schedule that is not the shop's, Clash for one in a circle.

    holds : (operations,) times before which the plan does not want each to begin; None: read from the schedule, where
    an operation begins later than it could.  That is how a plan keeps a longest wait or a place in the store.
    """
    plan = _plan(shop, schedule)
    lasts = _lasts(shop, schedule, progress)
    before = _before(shop)
    if holds is None:
        holds = _holds(shop, schedule, clocks, plan, before, lasts)
    fixed = {i: (float(schedule.start[i]), float(schedule.end[i])) for i in progress.done}
    for i in progress.stock:
        fixed[i] = (float(progress.now - shop.stage(i).least_wait),) * 2
    steps = tuple(
        Step(
            i,
            schedule.machine[i],
            max(float(holds[i]), float(shop.jobs[shop.operations[i].job].release), float(progress.now)),
            before[i],
            *lasts[i],
            float(schedule.start[i]) if i in progress.begun else None,
        )
        for i in _order(shop, before, lasts)
        if i not in fixed
    )
    plan[list(fixed)] = 0.0
    return Network(steps, fixed, plan, shop.setups_open, progress)


def sequence(schedule: Schedule, progress: Progress) -> dict[int, list[int]]:
    """Operations of each machine in their order: done, begun, then as planned; without what lies in stock."""
    out: dict[int, list[int]] = {}
    rank = [0 if i in progress.done else 1 if i in progress.begun else 2 for i in range(len(schedule.start))]
    for i in sorted(range(len(rank)), key=lambda i: (rank[i], schedule.start[i], schedule.end[i], i)):
        if i not in progress.stock:
            out.setdefault(schedule.machine[i], []).append(i)
    return out


def _plan(shop: JobShop, schedule: Schedule) -> Floats:
    count = len(shop.operations)
    if not len(schedule.machine) == len(schedule.start) == len(schedule.end) == count:
        true = f"the shop has {count} operations"
        raise BadValue("schedule", f"{len(schedule.start)} operations", true, "plan this shop and ask again")
    plan = np.zeros(count)
    for i, machine in enumerate(schedule.machine):
        units = dict(shop.stage(i).on)
        if machine not in units:
            true = f"it can go on {sorted(units)}"
            raise BadValue(f"machine of operation {i}", machine, true, "plan this shop and ask again")
        plan[i] = units[machine]
    return plan


def _before(shop: JobShop) -> list[tuple[tuple[int, float], ...]]:
    """(operation, least wait) that each comes after by its route."""
    out = []
    for j, b, s in shop.operations:
        stages = shop.jobs[j].stages
        after = stages[s].after
        earlier = ((s - 1,) if s else ()) if after is None else after
        out.append(tuple((shop.number(j, b, e), float(stages[e].least_wait)) for e in earlier))
    return out


def _lasts(shop: JobShop, schedule: Schedule, progress: Progress) -> list[tuple[int, float]]:
    """(operation before on the machine, units of set-up between) of each."""
    out = [(-1, 0.0)] * len(schedule.start)
    for machine, numbers in sequence(schedule, progress).items():
        if machine < 0:
            continue
        last, family = -1, shop.machines[machine].family
        for i in numbers:
            mine = shop.stage(i).family
            out[i] = (last, 0.0 if family is None or family == mine else float(shop.setups.get((family, mine), 0)))
            last, family = i, mine
    return out


def _order(
    shop: JobShop, before: Sequence[tuple[tuple[int, float], ...]], lasts: Sequence[tuple[int, float]]
) -> list[int]:
    graph = {i: [p for p, _ in before[i]] + ([last] if last >= 0 else []) for i, (last, _) in enumerate(lasts)}
    try:
        return list(TopologicalSorter(graph).static_order())
    except CycleError as circle:
        names = " <- ".join(_name(shop, i) for i in circle.args[1])
        cure = "let the machines take them in one order, or correct the route (`after`)"
        raise Clash("order of operations", names, "each waits for the next", cure) from None


def _name(shop: JobShop, number: int) -> str:
    job, batch, _ = shop.operations[number]
    return f"{shop.jobs[job].name}, batch {batch + 1}, {shop.stage(number).name}"


def _holds(
    shop: JobShop,
    schedule: Schedule,
    clocks: Sequence[Clock],
    plan: Floats,
    before: Sequence[tuple[tuple[int, float], ...]],
    lasts: Sequence[tuple[int, float]],
) -> Floats:
    """Planned start where it is later than the planned ends of all it waits for would let it be, else 0."""
    start, end = np.array(schedule.start, np.float64), np.array(schedule.end, np.float64)
    could = np.array([float(shop.jobs[j].release) for j, _, _ in shop.operations])
    for i, earlier in enumerate(before):
        for p, wait in earlier:
            could[i] = max(could[i], end[p] + wait)
    free = np.array([end[last] if last >= 0 else 0.0 for last, _ in lasts])
    setup = np.array([units for _, units in lasts])
    machine = np.array(schedule.machine, np.int64)
    for m in np.unique(machine):
        mine = np.flatnonzero(machine == m)
        ready = free[mine] + setup[mine]
        if shop.setups_open:
            ready = np.where(setup[mine] > 0, clocks[m].place(free[mine], setup[mine])[1], ready)
        could[mine] = clocks[m].place(np.maximum(could[mine], ready), plan[mine])[0]
    return np.where(start > could, start, 0.0)
