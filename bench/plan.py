"""The planner: three invented works for a minute each, an open benchmark proven, a year of orders by windows.

python bench/plan.py      alone, about ten minutes; `plan(seed)` for the table of all results
"""

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from time import perf_counter

from measure import Result, below, seconds, show, stated

from reelmark.figures.gantt import gantt_picture, whole
from reelmark.io.shopfile import read_shop
from reelmark.jobs import Due, JobShop, Machine, Schedule, Spell
from reelmark.plan.check import Checked, check
from reelmark.plan.decode import Lists, Start
from reelmark.plan.drift import replan
from reelmark.plan.freeze import breakdown
from reelmark.plan.planned import Planned
from reelmark.plan.solve import Progress
from reelmark.planner import solve_shop

DATA = Path(__file__).parents[1] / "tests" / "data"
GOALS = {1: 2340.0, 2: 2960.0, 3: 2290.0}
PROTOTYPE = {1: 2343.5, 2: 2963.5, 3: 2294.5}  # of our own, two cores, a minute
BOUNDS = {1: 1628.0, 2: 1644.0, 3: 1608.0}  # of the same
WEEK, YEAR = 336, 366 * 48  # units of 30 min


def plan(seed: int) -> Iterator[Result]:
    """All of it."""
    for number in GOALS:
        yield from _works(number, seed)
    yield _drawn(seed)
    yield from _replanned(seed)
    yield _proven()
    yield from _year(seed)


def _works(number: int, seed: int) -> Iterator[Result]:
    shop = read_shop(DATA / "works" / f"shop-{number}.json")
    told: list[tuple[float, Progress]] = []
    progress, found = _solved(shop, 60, seed, told)
    clean = next((at for at, one in told if not check(shop, one.schedule).violations), 60.0)
    name = f"plan: works {number}"
    yield below(f"{name}, first without violation", clean, "s", 10.0, None, f"{len(shop.operations)} operations")
    late = f"late {found.late_h:g} h, span {found.span_h:g} h"
    what = f"{len(found.violations)} violations; {progress.moves:,} moves; {late}"
    yield below(f"{name}, cost at 60 s", found.cost, "", GOALS[number], PROTOTYPE[number], what)
    yield stated(f"{name}, lower bound", progress.bound, "", BOUNDS[number], "set-ups by assignment, length by pools")
    crewed = replace(shop, setups_open=True)
    _, found = _solved(crewed, 60, seed, [])
    what = f"{len(found.violations)} violations; set-ups only while the machine is open: stricter"
    yield stated(f"{name}, crewed set-ups, cost at 60 s", found.cost, "", None, what)


def _solved(shop: JobShop, seconds: float, seed: int, told: list[tuple[float, Progress]]) -> tuple[Progress, Checked]:
    progress = solve_shop(shop, seconds, seed=seed, tell=lambda one: told.append((one.seconds, one)))
    return progress, check(shop, progress.schedule)


def _drawn(seed: int) -> Result:
    """The whole plan of a works as a picture, best of three."""
    shop = read_shop(DATA / "works" / "shop-3.json")
    made = solve_shop(shop, 5, seed=seed)
    planned = Planned(shop, made.schedule, datetime(2026, 3, 2, 6, tzinfo=UTC), made.cost, made.bound)
    took = [seconds(lambda: gantt_picture(planned, whole(planned), alone=False)) for _ in range(3)]
    return below("plan: a works drawn", 1e3 * min(took), "ms", 200.0, None, f"{len(shop.operations)} operations")


def _replanned(seed: int) -> Iterator[Result]:
    """Day 14, two presses down for two days; what began stays, what begins within a day is frozen."""
    shop = read_shop(DATA / "works" / "shop-3.json")
    made = solve_shop(shop, 15, seed=seed)
    planned = Planned(shop, made.schedule, datetime(2026, 3, 2, 6, tzinfo=UTC), made.cost, made.bound)
    now, day = 14 * 48, 48
    down = breakdown(breakdown(shop, "INT1", now, now + 2 * day), "INT2", now, now + 2 * day)
    begun = perf_counter()
    pushed = replan(planned, now, shop=down, horizon=day)
    took = perf_counter() - begun
    what = f"{made.cost:,.1f} before; cost {pushed.cost.cost:,.1f}, {len(pushed.cost.breaches)} breaches"
    yield stated("plan: after a breakdown, pushed on", took, "s", None, what)

    def search(one: JobShop, start: Start, lists: Lists) -> Schedule:
        return solve_shop(one, 5, seed=seed, start=start, begin_with=lists).schedule

    begun = perf_counter()
    found = replan(planned, now, shop=down, horizon=day, search=search)
    before, after = planned.schedule, found.planned.schedule
    still = sum(before.start[i] != after.start[i] for i in found.planned.frozen if before.start[i] < now)
    what = f"cost {found.cost.cost:,.1f}, {len(found.cost.breaches)} breaches; {still} of what had begun moved"
    yield below("plan: after a breakdown, re-planned", perf_counter() - begun, "s", 10.0, None, what)


def _proven() -> Result:
    begun = perf_counter()
    progress = solve_shop(read_shop(DATA / "shop" / "ft10.txt"), 60)
    what = f"cost {progress.cost:g}, bound {progress.bound:g}, proven {progress.proven}; published optimum 930"
    took = perf_counter() - begun if progress.proven and progress.cost == 930 else 1e9
    return below("plan: ft10 proven", took, "s", 60.0, None, what)


def _year(seed: int) -> Iterator[Result]:
    shop = year_of(60, seed)
    begun = perf_counter()
    _, found = _solved(shop, 120, seed, [])
    what = f"{len(shop.operations):,} operations; {len(found.violations)} violations; late {found.late_h:g} weighted h"
    yield below("plan: a year of 60 orders, by windows", perf_counter() - begun, "s", 300.0, None, what)


def year_of(orders: int, seed: int) -> JobShop:
    """So many orders over a year, of the sizes of the first works, each due about five weeks after it may begin."""
    one, rng = read_shop(DATA / "works" / "shop-1.json"), Random(seed)
    machines = tuple(Machine(m.name, _again(m.closed, WEEK), _again(m.maintenance, 2 * WEEK)) for m in one.machines)
    jobs, dues = [], []
    for i in range(orders):
        at = round(0.97 * YEAR * i / orders)
        jobs.append(replace(one.jobs[i % len(one.jobs)], name=f"order {i}", release=max(0, at - 200)))
        dues += [Due(i, 4, at + 1300, rng.choice([1, 1, 2, 3])), Due(i, 12, at + 1700, 1)]
    return replace(one, machines=machines, jobs=tuple(jobs), dues=tuple(dues), horizon=YEAR + 2000)


def _again(spells: tuple[Spell, ...], every: int) -> tuple[Spell, ...]:
    """The spells of the first `every` units, over and over, for a year and more."""
    first = [spell for spell in spells if spell[1] <= every] or list(spells[:1])
    return tuple((a + at, b + at) for at in range(0, YEAR + 2000, every) for a, b in first)


if __name__ == "__main__":
    print(show(list(plan(int(sys.argv[1]) if len(sys.argv) > 1 else 1))))
