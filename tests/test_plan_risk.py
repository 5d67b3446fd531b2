"""The risk in a plan: against the same shop as SimPy processes, and against closed forms of special cases."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from model_shop import Processes, _walk, greedy, shop
from reelmark.errors import BadValue, Clash
from reelmark.jobs import ANYWHERE, Due, Job, JobShop, Level, Machine, Resource, Schedule, Stage, Store
from reelmark.measure.known import Known
from reelmark.plan.carried import carry_out
from reelmark.plan.clock import clocks
from reelmark.plan.draws import STILL, USUAL, Drawn
from reelmark.plan.levers import levers
from reelmark.plan.network import AT_THE_START, Progress, network
from reelmark.plan.ready import ready
from reelmark.plan.risk import blocks, simulate, wilson

CHANCE = 4.0  # standard errors: one in 16,000 of right programs would fail, and the seeds are fixed


def one_shop(*jobs: Job, machines: int | tuple[Machine, ...] = 1, **more) -> JobShop:
    """Units of an hour; machines that never close, if only their number is given."""
    floor = tuple(Machine(f"M{m}") for m in range(machines)) if isinstance(machines, int) else machines
    return JobShop(60, floor, jobs, **more)


def chain(name: str, *units: int, batches: int = 1, release: int = 0, first: int = 0) -> Job:
    """Stages on machines of their own, from `first` on."""
    stages = tuple(Stage(f"S{k}", ((first + k, u),), 0) for k, u in enumerate(units))
    return Job(name, stages, batches, release)


def carried(one: JobShop, plan: Schedule, spread=USUAL, runs: int = 100, progress: Progress = AT_THE_START):
    """(network, draws, times) of one block of runs."""
    its = clocks(one)
    net = network(one, plan, its, progress)
    _, drawn = next(blocks(one, net, spread, runs, 1))
    return net, drawn, carry_out(net, its, drawn.work, trace=True)


# The same system by another program


@pytest.mark.parametrize("crew", [False, True], ids=["set-ups run through", "set-ups need it open"])
@pytest.mark.parametrize("size", ["small", "reference"])
def test_simpy_agrees_run_by_run(size: str, crew: bool):
    """SimPy 4.1: processes that wait for one another; 100 runs, the same draws.  Reference size: 720 operations."""
    small = {"orders": 3, "batches": 3, "stages": 5, "weeks": 4} if size == "small" else {}
    one = shop(5 if crew else 6, setups_open=crew, **small)
    plan = greedy(one)
    _, drawn, times = carried(one, plan)
    assert times.end.max() < one.horizon  # the oracle knows no calendar after it
    oracle = Processes(one, plan, [0.0] * len(plan.start))
    for run in range(100):
        start, end = oracle.run(drawn.work[:, run].tolist())
        assert np.abs(times.start[:, run] - start).max() < 1e-9
        assert np.abs(times.end[:, run] - end).max() < 1e-9


@pytest.mark.parametrize("crew", [False, True])
def test_simpy_agrees_where_the_plan_holds_work_back(crew: bool):
    """As above, with the last operation of each machine begun a week later than it could."""
    one = shop(7, orders=3, batches=3, stages=5, weeks=4, setups_open=crew)
    plan = greedy(one)
    machine, start, end = list(plan.machine), list(plan.start), list(plan.end)
    held = {max((i for i in range(45) if machine[i] == m), key=lambda i: start[i]) for m in set(machine)}
    held = {i for i in held if one.operations[i].stage == 4}  # nothing comes after them
    assert len(held) >= 2
    for i in held:
        begin, ended = _walk(one.machines[machine[i]], start[i] + 336.0, dict(one.stage(i).on)[machine[i]])
        start[i], end[i] = int(begin), int(ended)
    late = Schedule(tuple(machine), tuple(start), tuple(end))
    _, drawn, times = carried(one, late)
    oracle = Processes(one, late, [float(start[i]) if i in held else 0.0 for i in range(45)])
    for run in range(100):
        assert np.abs(times.end[:, run] - oracle.run(drawn.work[:, run].tolist())[1]).max() < 1e-9
    for i in held:
        assert (times.start[i] >= start[i]).all()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("crew", [False, True])
def test_nothing_varies_and_the_plan_comes_true(seed: int, crew: bool):
    """The greedy plan starts everything as early as it can, so that carrying it out gives it back."""
    one = shop(seed, orders=3, batches=4, stages=6, weeks=6, setups_open=crew)
    plan = greedy(one)
    _, _, times = carried(one, plan, STILL, 2)
    assert (times.start[:, 0] == plan.start).all()
    assert (times.end[:, 1] == plan.end).all()


spells = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 9)), max_size=6)


@given(spells, spells, st.lists(st.tuples(st.floats(0, 90), st.floats(0, 25)), min_size=1, max_size=8))
def test_clock_places_as_a_walk_through_the_spells_does(closed, kept, asked):
    """The walk (in the tests' model) shares no code with the tables."""
    apart: list[tuple[int, int]] = []
    for a, long in sorted(closed):
        if not apart or a > apart[-1][1]:
            apart.append((a, a + long))
    machine = Machine("M", tuple(apart), tuple((a, a + long) for a, long in kept))
    one = one_shop(chain("J", 1), machines=(machine,), horizon=400)
    time, work = (np.array(column, np.float64) for column in zip(*asked, strict=True))
    start, end = clocks(one)[0].place(time, work)
    for k, (t, w) in enumerate(asked):
        begin, ended = _walk(machine, t, w)
        assert (start[k], end[k]) == pytest.approx((begin, ended if w else begin), abs=1e-9)


def test_after_the_calendar_its_last_week_recurs():
    """Closed each Sunday for two weeks: work begun in the third rests on the third's Sunday."""
    sundays = tuple((w * 168 + 144, (w + 1) * 168) for w in range(2))
    one = one_shop(chain("J", 1), machines=(Machine("M", sundays),), horizon=336)
    _, end = clocks(one)[0].place(np.array([2 * 168 + 140.0]), np.array([10.0]))
    assert end[0] == 3 * 168 + 6


# Closed forms


def test_a_chain_adds_means_and_variances():
    """PERT: the length of a chain of independent stages has the sum of the means and of the variances (exact)."""
    plan = [10, 20, 30, 40, 50]
    one = one_shop(chain("J", *plan), machines=5, dues=(Due(0, 1, 150),))
    ends = tuple(np.cumsum(plan).tolist())
    schedule = Schedule(tuple(range(5)), (0, *ends[:-1]), ends)
    spread = replace(STILL, slowness_cv=Known(0.2, "-", "this test"))
    _, _, times = carried(one, schedule, spread, 5000)
    length = times.end[4]
    variance = sum((0.2 * u) ** 2 for u in plan)
    assert abs(length.mean() - 150) < CHANCE * math.sqrt(variance / 5000)
    spread_of_it = math.sqrt((stats.moment(length, 4) - variance**2) / 5000)
    assert abs(length.var() - variance) < CHANCE * spread_of_it


def test_one_lognormal_stage_is_on_time_as_its_distribution_says():
    """P(X <= x) of a lognormal, scipy.stats.lognorm; within the Wilson interval's width at 4 standard errors."""
    one = one_shop(chain("J", 100), dues=(Due(0, 1, 105),))
    spread = replace(STILL, slowness_cv=Known(0.06, "-", "this test"))
    got = simulate(one, Schedule((0,), (0,), (100,)), spread).deliveries[0]
    sigma = math.sqrt(math.log(1 + 0.06**2))
    exact = stats.lognorm(sigma, scale=100 * math.exp(-(sigma**2) / 2))
    p = exact.cdf(105)
    assert abs(got.p_on_time - p) < CHANCE * math.sqrt(p * (1 - p) / 10_000)
    for q, when in zip((0.1, 0.5, 0.9), got.ready, strict=True):
        error = math.sqrt(q * (1 - q) / 10_000) / exact.pdf(exact.ppf(q))
        assert abs(when - exact.ppf(q)) < CHANCE * error
    late = exact.expect(lambda x: x - 105, lb=105)
    assert got.late_h == pytest.approx(late, rel=0.08)


def test_the_longer_of_two_exponential_ways():
    """E max of two exponentials of mean 1 is 1 + 1/2, its variance 1 + 1/4 (order statistics; closed form)."""
    stages = (Stage("A", ((0, 1),), 0, after=()), Stage("B", ((1, 1),), 0, after=()))
    end = Stage("both", ((ANYWHERE, 0),), 0, after=(0, 1))
    one = one_shop(Job("J", (*stages, end)), machines=2)
    its = clocks(one)
    net = network(one, Schedule((0, 1, ANYWHERE), (0, 0, 1), (1, 1, 1)), its, AT_THE_START)
    work = np.random.default_rng(3).exponential(size=(3, 40_000))
    work[2] = 0.0
    longest = carry_out(net, its, work).end[2]
    assert abs(longest.mean() - 1.5) < CHANCE * math.sqrt(1.25 / 40_000)


@pytest.mark.parametrize(("service", "wait"), [("M", 1.0), ("D", 0.5)])
def test_waiting_before_one_machine_is_that_of_the_queue(service: str, wait: float):
    """Pollaczek-Khinchine: Wq = rho/(mu(1 - rho)) (1 + c^2)/2; mu = 1, rho = 0.5; M/M/1 has c = 1, M/D/1 c = 0.

    A machine that makes batches at exponential intervals gives Poisson arrivals.  The first 200 batches are left out:
    the relaxation time of M/M/1, 1/(mu (1 - sqrt rho)^2), is 12 services.
    """
    batches, runs = 400, 3000
    one = one_shop(chain("J", 1, 1, batches=batches), machines=2)
    plan = Schedule((0, 1) * batches, *_row(batches))
    its = clocks(one)
    net = network(one, plan, its, AT_THE_START)
    rng = np.random.default_rng(4)
    work = np.empty((2 * batches, runs))
    work[0::2] = rng.exponential(2.0, (batches, runs))
    work[1::2] = rng.exponential(1.0, (batches, runs)) if service == "M" else 1.0
    times = carry_out(net, its, work)
    waits = (times.start[1::2] - times.end[0::2])[200:].mean(axis=0)
    assert abs(waits.mean() - wait) < 3 * waits.std(ddof=1) / math.sqrt(runs)


def _row(batches: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    begins = [t for b in range(batches) for t in (b, b + 1)]
    return tuple(begins), tuple(t + 1 for t in begins)


def test_a_machine_that_breaks_is_available_mtbf_over_mtbf_and_mttr():
    """Machine and repairman: availability MTBF/(MTBF + MTTR) (renewal theory); MTTR of a lognormal = median e^(s^2/2).

    Repair time is compound Poisson, its variance rate x time x E[R^2] (closed form), which gives the standard error.
    """
    one = one_shop(chain("J", 900), dues=(Due(0, 1, 900),))
    spread = replace(STILL, mtbf_h=Known(90.0, "h", "this test"))
    _, _, times = carried(one, Schedule((0,), (0,), (900,)), spread, 5000)
    sigma = spread.repair_sigma.value
    mttr, square = 3 * math.exp(sigma**2 / 2), 9 * math.exp(2 * sigma**2)
    took = times.end[0].mean()
    error = math.sqrt(900 / 90 * square / 5000)
    assert abs(took - 900 * (90 + mttr) / 90) < CHANCE * error
    assert abs(900 / took - 90 / (90 + mttr)) < CHANCE * error / 900


def test_breakdowns_come_as_poisson_counts():
    """P(no breakdown in 90 h worked) = 1/e, and in half-hour units as well (Poisson)."""
    spread = replace(STILL, mtbf_h=Known(90.0, "h", "this test"))
    one = replace(one_shop(chain("J", 180)), unit_min=30)
    _, drawn, _ = carried(one, Schedule((0,), (0,), (180,)), spread, 5000)
    none = (drawn.work[0] == 180).mean()
    assert abs(none - math.exp(-1)) < CHANCE * math.sqrt(0.24 / 5000)
    sigma = spread.repair_sigma.value  # one breakdown on average: mean repair and its error as above, two units an hour
    error = 2 * math.sqrt(9 * math.exp(2 * sigma**2) / 5000)
    assert abs(drawn.work[0].mean() - 180 - 2 * 3 * math.exp(sigma**2 / 2)) < CHANCE * error


@pytest.mark.parametrize("overs", [0.0, 0.02, 0.05])
def test_a_short_batch_is_made_up_as_often_as_the_beta_says(overs: float):
    """One batch, due at its planned end: on time when its yield reaches what was ordered; scipy.stats.beta."""
    one = one_shop(chain("J", 10, 10), machines=2, dues=(Due(0, 1, 20),))
    spread = STILL.over("this test", yield_mean=0.88, yield_sd=0.0214, overs=overs)
    got = simulate(one, Schedule((0, 1), (0, 10), (10, 20)), spread).deliveries[0].p_on_time
    p = stats.beta(*spread.beta).sf(0.88 / (1 + overs))
    assert abs(got - p) < CHANCE * math.sqrt(p * (1 - p) / 10_000)


def test_beta_has_the_mean_and_spread_asked_for():
    """scipy.stats.beta; Beta(201.44, 27.22) has mean 0.88098 and sd 0.0214 (our own earlier computation)."""
    found = stats.beta(*USUAL.beta)
    assert (found.mean(), found.std()) == pytest.approx((0.881, 0.021))
    ours = stats.beta(201.44, 27.22)
    assert (ours.mean(), ours.std()) == pytest.approx((0.881, 0.0214), abs=2e-4)


def test_the_next_batch_fills_a_short_one_and_a_make_up_batch_the_rest():
    """By hand: batches of 10 h end at 10, 20, 30 and give 0.8.  One needs 2 of them, two 3, and three lack 0.6: 6 h."""
    one = one_shop(chain("J", 10, batches=3), dues=(Due(0, 1, 99), Due(0, 2, 99), Due(0, 3, 99)))
    plan = Schedule((0,) * 3, (0, 10, 20), (10, 20, 30))
    its = clocks(one)
    drawn = Drawn(np.full((3, 1), 10.0), np.full((3, 1), 0.8))
    times = carry_out(network(one, plan, its, AT_THE_START), its, drawn.work)
    when, which = ready(one, plan, its, times, drawn, STILL)
    assert when[:, 0] == pytest.approx([20, 30, 36])
    assert which[:, 0].tolist() == [1, 2, 2]


def test_a_make_up_batch_is_no_smaller_than_the_least_and_rests_between_stages():
    """By hand: 0.02 lack, so 0.1 of a batch: 1 h on the first machine from 17, 5 h of rest, 0.2 h on the second."""
    job = Job("J", (Stage("A", ((0, 10),), 0, least_wait=5), Stage("B", ((1, 2),), 0, least_wait=50)))
    one = one_shop(job, machines=2, dues=(Due(0, 1, 99),))
    plan = Schedule((0, 1), (0, 15), (10, 17))
    its = clocks(one)
    drawn = Drawn(np.array([[10.0], [2.0]]), np.array([[0.98]]))
    times = carry_out(network(one, plan, its, AT_THE_START), its, drawn.work)
    assert ready(one, plan, its, times, drawn, STILL)[0][0, 0] == pytest.approx(17 + 1 + 5 + 0.2)


@pytest.mark.parametrize(("hits", "of"), [(0, 10), (3, 10), (9_970, 10_000), (5, 5)])
def test_wilson_is_scipys(hits: int, of: int):
    """scipy.stats.binomtest(...).proportion_ci(method="wilson")."""
    exact = stats.binomtest(hits, of).proportion_ci(0.95, method="wilson")
    assert wilson(hits, of) == pytest.approx((exact.low, exact.high), abs=1e-12)


# What is counted


def test_waits_and_places_that_runs_break_are_counted():
    """By hand: 3 batches of 2 h go into the store at 2, 4, 6; each lies until the second machine's 10 h before it end.

    They lie 0, 8, 16 h; at most 5 h is allowed: 3 + 11 = 14 h beyond, the worst 11.  One place: two lie there from 6
    to 12, so that 6 batch-hours and 1 batch are beyond it.
    """
    stages = (Stage("A", ((0, 2),), 0, most_wait=5, stored=True), Stage("B", ((1, 10),), 0))
    one = one_shop(Job("J", stages, 3), machines=2, dues=(Due(0, 3, 99),), store=Store(1))
    plan = Schedule((0, 1) * 3, (0, 2, 2, 12, 4, 22), (2, 12, 4, 22, 6, 32))
    got = {b.what: (b.share, b.hours, b.most) for b in simulate(one, plan, STILL, 10).breaches}
    assert got == {"longest wait after A, J": (1.0, 14.0, 11.0), "places in the store": (1.0, 6.0, 1.0)}


def test_the_store_is_counted_from_now_on():
    """As above, the first stages done, at 8: two batches lie there until 12, so that 4 batch-hours are beyond."""
    stages = (Stage("A", ((0, 2),), 0, stored=True), Stage("B", ((1, 10),), 0))
    one = one_shop(Job("J", stages, 3), machines=2, dues=(Due(0, 3, 99),), store=Store(1))
    plan = Schedule((0, 1) * 3, (0, 2, 2, 12, 4, 22), (2, 12, 4, 22, 6, 32))
    state = Progress(8, done=frozenset({0, 2, 4}), begun=frozenset({1}))
    assert [b.hours for b in simulate(one, plan, STILL, 10, progress=state).breaches] == [4.0]


def test_a_wait_that_the_plan_keeps_by_beginning_late_is_kept():
    """The first stage of batch 2 is held to 9, so that it rests 1 h and not 8; the hold is kept when carried out."""
    stages = (Stage("A", ((0, 2),), 0, most_wait=5), Stage("B", ((1, 10),), 0))
    one = one_shop(Job("J", stages, 2), machines=2, dues=(Due(0, 2, 22),))
    plan = Schedule((0, 1) * 2, (0, 2, 9, 12), (2, 12, 11, 22))
    assert simulate(one, plan, STILL, 10).breaches == ()


def test_what_late_deliveries_hang_on():
    """Two ways of 10 and 100 h meet: every late delivery hangs on the long one, and on its machine's batch before."""
    long = Stage("long", ((0, 100),), 0, after=())
    short = Stage("short", ((1, 10),), 0, after=())
    join = Stage("join", ((2, 5),), 0, after=(0, 1))
    one = one_shop(Job("J", (long, short, join), 2), machines=3, dues=(Due(0, 2, 205),))
    plan = Schedule((0, 1, 2, 0, 1, 2), (0, 0, 100, 100, 10, 200), (100, 10, 105, 200, 20, 205))
    got = simulate(one, plan, USUAL.over("this test", yield_sd=0.0), 2000)
    assert 0.1 < got.deliveries[0].p_on_time < 0.9
    assert {c.operation: c.share for c in got.critical} == {0: 1.0, 3: 1.0, 5: 1.0}
    assert [c.operation for c in got.start_now] == [0]
    later = simulate(one, plan, USUAL, 2000, progress=Progress(100, frozenset({0, 1, 4}), frozenset()))
    assert [c.operation for c in later.start_now] == [3]


def test_of_two_even_ways_each_is_critical_in_the_runs_where_it_is_the_longer():
    """Counted from the draws themselves, among the runs in which the delivery is late."""
    ways = (Stage("A", ((0, 100),), 0, after=()), Stage("B", ((1, 100),), 0, after=()))
    one = one_shop(Job("J", (*ways, Stage("join", ((2, 5),), 0, after=(0, 1)))), machines=3, dues=(Due(0, 1, 108),))
    plan = Schedule((0, 1, 2), (0, 0, 100), (100, 100, 105))
    spread = replace(STILL, slowness_cv=Known(0.06, "-", "this test"))
    _, drawn, times = carried(one, plan, spread, 2000)
    late = times.end[2] > 108
    first = (drawn.work[0] > drawn.work[1])[late].mean()
    assert 0.3 < first < 0.7
    shares = {c.operation: c.share for c in simulate(one, plan, spread, 2000).critical}
    assert shares == pytest.approx({0: first, 1: 1 - first, 2: 1.0})


def test_what_is_done_stays_and_what_has_begun_ends_after_now():
    one = one_shop(chain("J", 10, 10, batches=2), machines=2, dues=(Due(0, 2, 30),))
    plan = Schedule((0, 1, 0, 1), (0, 10, 10, 20), (10, 20, 10 + 10, 30))
    state = Progress(40, frozenset({0}), frozenset({2}))
    _, _, times = carried(one, plan, STILL, 1, state)
    assert times.start[:, 0].tolist() == [0, 40, 10, 50]
    assert times.end[:, 0].tolist() == [10, 50, 40, 60]


def test_one_seed_gives_one_answer_and_another_another():
    one = shop(1, orders=2, batches=3, stages=4, weeks=4)
    plan = greedy(one)
    assert simulate(one, plan, runs=200) == simulate(one, plan, runs=200)
    assert simulate(one, plan, runs=200) != simulate(one, plan, runs=200, seed=2)


def test_inputs_without_a_source_are_named():
    one = one_shop(chain("J", 10), dues=(Due(0, 1, 10),))
    measured = USUAL.over("our ledger, 2 years", mtbf_h=70.0)
    named = simulate(one, Schedule((0,), (0,), (10,)), measured, 10).unknown
    assert "mtbf_h" not in named
    assert "repair_h" in named


def test_resources_that_runs_do_not_keep_to_are_named():
    people = (Resource("people", (Level(0, 2),)),)
    one = one_shop(chain("J", 10), dues=(Due(0, 1, 10),), resources=people)
    assert simulate(one, Schedule((0,), (0,), (10,)), STILL, 10).left_out == ("people",)


# Levers


def sunday_shop() -> tuple[JobShop, Schedule]:
    """10 h of work from Saturday 18:00 (138 h after Monday 00:00), closed on Sunday, due on Monday 02:00."""
    sundays = tuple((w * 168 + 144, (w + 1) * 168) for w in range(4))
    machines = (Machine("M", sundays), Machine("N"))
    job = Job("J", (Stage("A", ((1, 138),), 0), Stage("B", ((0, 10),), 0)))
    one = JobShop(60, machines, (job,), (Due(0, 1, 170),), horizon=672)
    return one, Schedule((1, 0), (0, 138), (138, 172))


def test_a_shift_on_sunday_or_a_roll_in_stock_makes_it():
    """By hand: 6 h on Saturday, 4 h of the 8 h shift on Sunday; with the first stage in stock it ends at 10."""
    one, plan = sunday_shop()
    assert simulate(one, plan, STILL, 10).mean_on_time == 0
    shift, stock = sorted(levers(one, plan, STILL, 10), key=lambda lever: lever.stock)
    assert shift.text == "M: 8 h more in week 1 of the plan"
    assert (shift.gain, shift.hours, shift.opened) == (1, 8, (0, (144, 152)))
    assert shift.per_hour == 1 / 8
    assert "rest" in shift.caution
    assert (stock.text, stock.gain, stock.stock) == ("J: a batch through A in stock", 1, (0,))


def test_the_interval_of_a_gain_is_that_of_its_paired_differences():
    """Each run gains 0 or 1, so that their variance is n/(n-1) p(1 - p) (closed form)."""
    one, plan = sunday_shop()
    spread = replace(STILL, slowness_cv=Known(0.03, "-", "this test"))
    shift = next(lever for lever in levers(one, plan, spread, 1000) if lever.opened)
    assert 0.1 < shift.gain < 0.9
    half = 1.959964 * math.sqrt(shift.gain * (1 - shift.gain) / 999)
    assert shift.interval == pytest.approx((shift.gain - half, shift.gain + half), rel=1e-5)


def test_no_shift_is_offered_in_maintenance_or_in_the_week_that_recurs():
    one, plan = sunday_shop()
    kept = replace(one.machines[0], maintenance=((146, 150),))
    assert not any(lever.opened for lever in levers(replace(one, machines=(kept, one.machines[1])), plan, STILL, 10))
    short = replace(one.machines[0], closed=one.machines[0].closed[:1])
    one = replace(one, machines=(short, one.machines[1]), horizon=168)
    assert not any(lever.opened for lever in levers(one, plan, STILL, 10))


def with_open(one: JobShop, m: int, begin: int, end: int) -> JobShop:
    """The shop with one machine open from begin to end."""
    hours = [h for a, b in one.machines[m].closed for h in range(a, b) if not begin <= h < end]
    closed = tuple((h, h + 1) for h in hours)
    return replace(one, machines=tuple(replace(x, closed=closed) if k == m else x for k, x in enumerate(one.machines)))


def test_gain_is_the_difference_of_two_simulations_with_one_seed():
    """Common random numbers: the shop with the time opened by hand, its plan moved up, carried out by itself."""
    one = shop(1, orders=3, batches=4, stages=5, weeks=4)
    plan = greedy(one)
    ends = [max(plan.end[one.number(j, b, 4)] for b in range(4)) for j in range(3)]
    one = replace(one, dues=tuple(Due(j, 4, round(1.02 * end)) for j, end in enumerate(ends)))
    found = [lever for lever in levers(one, plan, runs=500) if lever.opened]
    assert any(lever.gain > 0 for lever in found)
    base = simulate(one, plan, runs=500).mean_on_time
    for lever in found:
        assert lever.opened
        other = with_open(one, lever.opened[0], *lever.opened[1])
        net = network(one, plan, clocks(one), AT_THE_START)
        times = carry_out(net, clocks(other), net.plan[:, None])
        up = Schedule(plan.machine, *(tuple(map(int, rows[:, 0])) for rows in (times.start, times.end)))
        assert lever.gain == pytest.approx(simulate(other, up, runs=500).mean_on_time - base, abs=1e-12)
        assert lever.interval[0] <= lever.gain <= lever.interval[1]


# Bad input


def test_bad_input_is_named_with_its_cure():
    job = chain("J", 10)
    plan = Schedule((0,), (0,), (10,))
    due = (Due(0, 1, 10),)
    with pytest.raises(BadValue, match="no delivery to be on time"):
        simulate(one_shop(job), plan)
    with pytest.raises(BadValue, match="runs = 0"):
        simulate(one_shop(job, dues=due), plan, runs=0)
    with pytest.raises(BadValue, match="the shop has 1 operations"):
        simulate(one_shop(job, dues=due), Schedule((0, 0), (0, 1), (1, 2)))
    with pytest.raises(BadValue, match=r"machine of operation 0 = 1: it can go on \[0\]"):
        simulate(one_shop(job, dues=due, machines=(Machine("A"), Machine("B"))), Schedule((1,), (0,), (10,)))
    with pytest.raises(BadValue, match="closed in all 50 units"):
        simulate(one_shop(job, dues=due, machines=(Machine("A", ((0, 50),)),)), plan)


def test_machines_that_wait_for_each_other_are_named():
    """J: A then B; K: B then A; each machine takes the later stage first."""
    jobs = tuple(Job(n, tuple(Stage(f"S{m}", ((m, 5),), 0) for m in way)) for n, way in (("J", (0, 1)), ("K", (1, 0))))
    plan = Schedule((0, 1, 1, 0), (10, 0, 10, 0), (15, 5, 15, 5))
    with pytest.raises(Clash, match="J, batch 1, S0"):
        simulate(one_shop(*jobs, machines=2, dues=(Due(0, 1, 9),)), plan)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("slowness_cv", -1.0),
        ("mtbf_h", 0.0),
        ("yield_mean", 1.2),
        ("yield_mean", 0.0),
        ("yield_sd", 0.4),
        ("overs", -1.0),
    ],
)
def test_a_spread_that_cannot_be_is_refused(name: str, value: float):
    with pytest.raises(BadValue, match=name):
        USUAL.over("this test", **{name: value})
