"""The plan moved by what happened.

Check values: closed forms of shops small enough to be counted by hand, said beside each; conservation of notes; the
independent checker over random shops.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import small_demo
from reelmark.acts.plan_drift import drifted, facts_of
from reelmark.acts.plan_facts import passed, shares_left
from reelmark.acts.state import state
from reelmark.demo.plant import template_works
from reelmark.errors import BadValue, NotThere, Problem
from reelmark.jobs import Due, Job, JobShop, Level, Machine, Prices, Resource, Schedule, Stage, Store
from reelmark.plan.arrays import arrays
from reelmark.plan.backward import backward
from reelmark.plan.decode import decode
from reelmark.plan.deliveries import MAKE_UP, deliveries, priced
from reelmark.plan.drift import replan
from reelmark.plan.freeze import breakdown, frozen_of, start_of
from reelmark.plan.lists import empty, first_lists, fresh, schedule_of
from reelmark.plan.loading import job_shop
from reelmark.plan.makeup import make_up_job, shortfall, with_make_up, without_job
from reelmark.plan.matched import moved
from reelmark.plan.planned import Planned
from reelmark.reading import Reading
from reelmark.records import adapter

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)

# One order, three batches, 4 units on P and then 4 on Q, no calendar.  Batch b (from 0) is ready at 4 (b + 2).
LINE = JobShop(
    unit_min=60,
    machines=(Machine("P"), Machine("Q")),
    jobs=(Job("A", (Stage("print", ((0, 4),), 0), Stage("cut", ((1, 4),), 1)), 3),),
    dues=(Due(0, 1, 8), Due(0, 3, 16)),
    horizon=80,
)


def plan_of(shop: JobShop, **more: object) -> Planned:
    """The first plan of the decoder, orders as they stand."""
    a = arrays(shop)
    placed = empty(a)
    cost = decode(a, first_lists(a, fresh(a), list(range(len(shop.jobs)))), fresh(a), placed, np.inf)
    assert cost < 1e12
    return Planned(shop, schedule_of(shop, a, placed), MONDAY, float(cost), 0.0, **more)  # type: ignore[arg-type]


def readies(planned: Planned) -> list[int]:
    return [one.ready for one in deliveries(planned.shop, planned.schedule)]


# --- what is frozen --------------------------------------------------------------------------------------------------


def test_a_late_operation_pushes_all_after_it_by_its_delay() -> None:
    old = plan_of(LINE)
    assert readies(old) == [8, 16]  # closed form: 4 (b + 2)
    after = replan(old, 6, actual={0: (0, 0, 6)})  # P had the first batch for 6 units in place of 4
    assert readies(after.planned) == [10, 18]
    assert after.planned.says == (
        "delivery 1 of A moves from 2 Mar 14:00 to 2 Mar 16:00, 2 h late: "
        "print of batch 1, A ends 2 Mar 12:00, 2 h after its plan",
        "delivery 2 of A moves from 2 Mar 22:00 to 3 Mar 00:00, 2 h late: "
        "print of batch 1, A ends 2 Mar 12:00, 2 h after its plan",
    )


def test_a_plan_that_was_kept_does_not_change() -> None:
    old = plan_of(LINE)
    for now in range(17):
        after = replan(old, now)
        assert after.planned.schedule == old.schedule
        assert (after.moved, after.planned.says) == ((), ())


def test_what_has_not_begun_begins_now_at_the_earliest() -> None:
    after = replan(plan_of(LINE), 5, actual={}).planned  # nothing was done in five units
    assert readies(after) == [13, 21]
    assert after.frozen == frozenset()


def test_a_breakdown_lasts_as_long_as_it_lasts() -> None:
    old = plan_of(LINE)
    after = replan(old, 5, shop=breakdown(LINE, "P", 6, 12))
    # P is 6 units down in batch 2 (4-8): its work ends at 14, the third batch at 18, cut at 22
    assert readies(after.planned) == [8, 22]
    assert "P is down from 2 Mar 12:00 to 2 Mar 18:00" in after.planned.says[0]
    assert priced(after.planned.shop, after.planned.schedule).faults == ()  # the independent checker


def test_facts_close_upward_and_stay_first_in_first_out() -> None:
    old = plan_of(LINE)
    a = arrays(LINE)
    start = start_of(old, 9, 0, {LINE.number(0, 1, 1): (1, 7, 9)})  # the second batch was cut: both steps before were
    assert list(start.done) == [1, 1]
    assert frozen_of(LINE, a, start) == {LINE.number(0, 0, 0), LINE.number(0, 0, 1)}
    assert start.end[0] <= 7  # printed before it was cut
    assert list(start.free) == [9, 9]


def test_the_frozen_horizon_keeps_machine_and_time_and_lets_go_what_is_pushed_out_of_it() -> None:
    old = plan_of(LINE)
    start = start_of(old, 3, horizon=6)  # begins at 3 + 6 = 9 or later are free
    assert list(start.done) == [3, 2]  # print at 0, 4, 8; cut at 4, 8 and 12
    pushed = start_of(old, 3, 6, shop=breakdown(LINE, "P", 5, 9))
    assert list(pushed.done) == [2, 1]  # the second print rests until 9 and ends at 12: print 3, cut 2 are beyond


def test_pins_hold_and_are_not_given_up_for_a_cheaper_plan() -> None:
    second = LINE.number(0, 1, 0)
    old = replace(plan_of(LINE), pinned=((second, 0, 6),))
    a = arrays(LINE)
    start = start_of(old, 0)
    assert start.earliest[1] == 6
    held = replan(old, 0)
    assert held.planned.schedule.start[second] == 6
    assert held.planned.pinned == ((second, 0, 6),)
    free = plan_of(LINE).schedule
    after = replan(old, 0, search=lambda *_: free, always=True)
    assert free.start[second] == 4  # cheaper, and not where it was pinned
    assert not after.searched
    assert a.batches[0] == 3


@pytest.mark.parametrize("now", [-1, 80, 10_000])
def test_now_must_lie_within_the_plan(now: int) -> None:
    with pytest.raises(BadValue, match="the plan reaches from 0 to 80"):
        start_of(plan_of(LINE), now)


def test_facts_that_cannot_be_are_refused() -> None:
    old = plan_of(LINE)
    with pytest.raises(NotThere, match="the plan has 6 operations"):
        start_of(old, 1, 0, {6: (0, 0, 1)})
    with pytest.raises(BadValue, match="there are 2 machines"):
        start_of(old, 1, 0, {0: (2, 0, 1)})
    with pytest.raises(BadValue, match="work ends after it begins"):
        start_of(old, 1, 0, {0: (0, 2, 1)})
    with pytest.raises(NotThere, match="the plan has P, Q"):
        breakdown(LINE, "R", 0, 1)
    with pytest.raises(BadValue, match="not after 4"):
        breakdown(LINE, "P", 4, 4)


def test_a_plan_that_no_longer_fits_says_so() -> None:
    old = plan_of(LINE)
    with pytest.raises(Problem, match="plan over more days"):
        replan(old, 0, shop=breakdown(LINE, "P", 0, 78))


# --- smallest change first -------------------------------------------------------------------------------------------

# Two orders of 4 units on one machine; A first, then B.  A's is due at 8, B's at 4: the other way round is better.
TWO = JobShop(
    unit_min=60,
    machines=(Machine("P"),),
    jobs=(Job("A", (Stage("print", ((0, 4),), 0),)), Job("B", (Stage("print", ((0, 4),), 1),))),
    dues=(Due(0, 1, 8), Due(1, 1, 5)),
    horizon=80,
)
A_FIRST = Schedule((0, 0), (0, 4), (4, 8))
B_FIRST = Schedule((0, 0), (5, 1), (9, 5))


@pytest.mark.parametrize(("moved_price", "taken"), [(1.0, True), (9.0, True), (15.0, False)])
def test_a_searched_plan_pays_for_each_move(moved_price: float, taken: bool) -> None:
    # From unit 1 on: pushed A 1-5, B 5-9: late 4 h = 40, both moved.  B first: B 1-5, A 5-9: late 1 h = 10.
    shop = replace(TWO, prices=Prices(moved=moved_price))
    old = Planned(shop, A_FIRST, MONDAY, 0.0, 0.0)
    tail = Schedule((0, 0), (9, 1), (13, 5))  # and A put off far: late 5 h = 50, 4 h longer
    found = B_FIRST if taken else tail
    after = replan(old, 1, actual={}, search=lambda *_: found)
    assert after.searched == taken
    assert after.pushed == pytest.approx(40 + 9 + 2 * moved_price)  # late 4 h, 9 h long, two moved
    if taken:
        assert after.cost.cost == pytest.approx(10 + 9)


def test_a_move_that_gains_less_than_its_price_is_not_made() -> None:
    # Pushed: A 0-4 stays, B's work is 1 unit later; the search gains 10 by moving A as well, for 30.
    shop = replace(TWO, prices=Prices(moved=30.0), dues=(Due(0, 1, 80), Due(1, 1, 8)))
    old = Planned(shop, A_FIRST, MONDAY, 0.0, 0.0)
    down = breakdown(shop, "P", 6, 7)  # B 4-9: late 1 h = 10
    other = Schedule((0, 0), (4, 0), (9, 4))
    assert priced(down, other).faults == ()
    after = replan(old, 0, shop=down, search=lambda *_: other)
    assert not after.searched
    assert moved(old, down, after.planned.schedule) == ()  # B keeps its begin
    cheap = replace(down, prices=Prices(moved=0.1))
    assert replan(replace(old, shop=cheap), 0, shop=cheap, search=lambda *_: other).searched


def test_batches_of_a_step_that_change_places_have_not_moved() -> None:
    old = plan_of(LINE)
    swapped = list(old.schedule.start)
    one, other = LINE.number(0, 0, 0), LINE.number(0, 1, 0)
    swapped[one], swapped[other] = swapped[other], swapped[one]
    assert moved(old, LINE, replace(old.schedule, start=tuple(swapped))) == ()
    later = tuple(t + 1 for t in old.schedule.start)
    assert len(moved(old, LINE, replace(old.schedule, start=later))) == 6
    assert moved(old, LINE, replace(old.schedule, start=later), tolerance=1) == ()


def test_a_breach_of_the_store_is_named_with_its_price() -> None:
    stages = (Stage("print", ((0, 4),), 0, stored=True), Stage("cut", ((1, 4),), 1))
    shop = replace(LINE, jobs=(Job("A", stages, 3),), store=Store(1), prices=Prices(store=7.0))
    old = plan_of(shop)
    assert priced(shop, old.schedule).breaches == ()
    # all three are printed at 4, 8 and 12; Q stands from 4 to 20: two lie there from 8 to 12, three from 12 to 20, and
    # the last of them until 24 beside none: over one place 1 for 4 h, 2 for 8 h, 1 for 4 h = 24 batch-hours at 7
    facts = {shop.number(0, b, 0): (0, 4 * b, 4 * b + 4) for b in range(3)}
    after = replan(old, 12, shop=breakdown(shop, "Q", 4, 20), actual=facts)
    beyond = sum(one.size for one in after.cost.breaches)
    assert beyond == pytest.approx(4 + 2 * 8 + 4)
    assert any("the store holds 3 where 1 may be" in line and "priced at" in line for line in after.planned.says)
    assert after.cost.cost == pytest.approx(after.cost.late_h * 10 + after.cost.span_h + beyond * 7)


def test_a_breach_of_a_longest_wait_is_named_with_its_price() -> None:
    stages = (Stage("print", ((0, 4),), 0, most_wait=2), Stage("cut", ((1, 4),), 1))
    shop = replace(LINE, jobs=(Job("A", stages, 1),), dues=(Due(0, 1, 8),), prices=Prices(wait=3.0))
    after = replan(plan_of(shop), 4, shop=breakdown(shop, "Q", 4, 10))
    # printed at 4, cut from 10: 6 units of wait where 2 may be, 4 h beyond at 3
    assert [one.size for one in after.cost.breaches] == [4]
    assert "A, batch 1, cut begins 6 h after print ends; it waits 2 h at most: 4 h beyond, priced at 12" in (
        after.planned.says
    )


@st.composite
def shops(draw: st.DrawFn) -> JobShop:
    """Small shops with closed hours, set-ups, people, waits."""
    machines = tuple(
        Machine(f"M{m}", tuple((t, t + 6) for t in range(10 + m, 600, 24)) if draw(st.booleans()) else ())
        for m in range(3)
    )
    jobs = []
    for j in range(draw(st.integers(1, 3))):
        stages = tuple(
            Stage(
                f"s{s}",
                tuple((m, draw(st.integers(1, 5))) for m in sorted(draw(st.sets(st.integers(0, 2), min_size=1)))),
                3 * j + s,
                draw(st.integers(0, 3)),
                None,
                False,
                ((0, draw(st.integers(0, 2))),),
            )
            for s in range(draw(st.integers(1, 3)))
        )
        jobs.append(Job(f"J{j}", stages, draw(st.integers(1, 4)), draw(st.integers(0, 5))))
    dues = tuple(Due(j, job.batches, 30) for j, job in enumerate(jobs))
    setups = {(a, b): 1 for a in range(9) for b in range(9) if a != b}
    people = (Resource("people", (Level(0, 3),)),)
    return JobShop(60, machines, tuple(jobs), dues, setups, None, people, horizon=600, setups_open=draw(st.booleans()))


@settings(max_examples=60, deadline=None)
@given(shops(), st.integers(0, 40), st.integers(0, 20))
def test_no_frozen_operation_moves(shop: JobShop, now: int, horizon: int) -> None:
    old = plan_of(shop)
    after = replan(old, now, horizon=horizon)
    for number in range(len(shop.operations)):
        if old.schedule.start[number] < now + horizon:
            assert number in after.planned.frozen
            assert after.planned.schedule.machine[number] == old.schedule.machine[number]
            assert after.planned.schedule.start[number] == old.schedule.start[number]
            assert after.planned.schedule.end[number] == old.schedule.end[number]
    assert priced(shop, after.planned.schedule).faults == ()  # the independent checker


@settings(max_examples=60, deadline=None)
@given(shops(), st.integers(1, 40), st.integers(0, 20), st.integers(0, 2), st.integers(1, 30))
def test_what_follows_a_breakdown_can_be_done(shop: JobShop, now: int, horizon: int, machine: int, lasts: int) -> None:
    old = plan_of(shop)
    down = breakdown(shop, f"M{machine}", now, now + lasts)
    after = replan(old, now, shop=down, horizon=horizon)
    assert priced(down, after.planned.schedule).faults == ()
    begun = [i for i, t in enumerate(old.schedule.start) if t < now]
    assert all(after.planned.schedule.start[i] == old.schedule.start[i] for i in begun)
    assert all(after.planned.schedule.start[i] >= now for i in set(range(len(shop.operations))) - set(begun))


@settings(max_examples=60, deadline=None)
@given(shops(), st.integers(1, 40), st.integers(0, 20), st.data())
def test_whatever_the_facts_the_plan_from_now_on_can_be_done(
    shop: JobShop, now: int, horizon: int, data: st.DataObject
) -> None:
    old = plan_of(shop)
    at, facts = old.schedule, {}
    for number in range(len(shop.operations)):
        if data.draw(st.booleans()):
            begin = max(0, min(now - 1, at.start[number] + data.draw(st.integers(-3, 6))))
            if begin < shop.jobs[shop.operations[number].job].release:
                continue  # begun before it was there: no fact of a shop
            facts[number] = at.machine[number], begin, begin + data.draw(st.integers(1, 9))
    after = replan(old, now, horizon=horizon, actual=facts)
    assert [one.text for one in after.cost.faults] == []
    free = set(range(len(shop.operations))) - after.planned.frozen
    assert all(after.planned.schedule.start[i] >= now for i in free)
    for j, job in enumerate(shop.jobs):  # frozen ones are the first of their step, and of every step before
        for s in range(len(job.stages)):
            flags = [shop.number(j, b, s) in after.planned.frozen for b in range(job.batches)]
            assert flags == sorted(flags, reverse=True)
            assert s == 0 or sum(flags) <= sum(
                shop.number(j, b, s - 1) in after.planned.frozen for b in range(job.batches)
            )


# --- made up ---------------------------------------------------------------------------------------------------------


def test_the_surplus_is_used_first() -> None:
    short = shortfall((3_000, 9_000), 9_720, 4)
    assert (short.surplus, short.notes, short.made_up) == (720, 0, (0, 0))
    assert short.batches == (2, 4)  # 3,000 of 9,720 / 4 = 2,430 a batch


def test_what_no_batch_gives_is_made_up() -> None:
    short = shortfall((3_000, 8_000, 9_000), 7_500, 3)  # 2,500 a batch
    assert (short.surplus, short.notes, short.batches, short.made_up) == (0, 1_500, (2, 3, 3), (0, 500, 1_000))
    assert shortfall((5,), 0, 2).made_up == (5,)


@given(
    st.lists(st.integers(1, 10**7), min_size=1, max_size=6).map(lambda some: tuple(np.cumsum(some).tolist())),
    st.integers(0, 6 * 10**7),
    st.integers(1, 40),
)
def test_making_up_conserves_notes(wanted: tuple[int, ...], good: int, batches: int) -> None:
    short = shortfall(wanted, good, batches)
    assert sum(short.made_up) == short.notes == max(0, wanted[-1] - good)
    assert good + short.notes == wanted[-1] + short.surplus
    for one, needs, up in zip(wanted, short.batches, np.cumsum(short.made_up), strict=True):
        assert needs * good // batches + int(up) >= min(one, good) if needs < batches else True
        assert good + int(up) >= one
        assert needs == batches or (needs - 1) * good < one * batches  # and no batch more than that


@pytest.mark.parametrize("bad", [((), 1, 1), ((2, 1), 1, 1), ((1,), -1, 1), ((1,), 1, 0), ((0,), 1, 1)])
def test_counts_that_cannot_be_are_refused(bad: tuple[tuple[int, ...], int, int]) -> None:
    with pytest.raises(BadValue, match="correct the counts"):
        shortfall(*bad)


def test_a_make_up_batch_is_a_job_beside_and_its_deliveries_wait_for_it() -> None:
    old = plan_of(LINE)
    job = Job("A" + MAKE_UP, LINE.jobs[0].stages, 1, 2)
    shop = with_make_up(LINE, "A", shortfall((1_000, 3_000), 2_900, 3), job)
    assert [(one.job, one.batches, one.at) for one in shop.dues] == [(0, 2, 8), (0, 3, 16), (1, 1, 16)]
    after = replan(old, 2, shop=shop, causes=["100 notes held"])
    # the make-up follows the third batch without a gap: ready at 4 (3 + 2) = 20; delivery 1 now needs two batches
    assert readies(after.planned) == [12, 20]
    assert after.planned.says == (
        "100 notes held",
        "delivery 1 of A moves from 2 Mar 14:00 to 2 Mar 18:00, 4 h late: it now needs 2 batches, not 1",
        "delivery 2 of A moves from 2 Mar 22:00 to 3 Mar 02:00, 4 h late: it waits for the make-up batch",
    )
    assert without_job(shop, "A" + MAKE_UP).jobs == LINE.jobs
    assert without_job(LINE, "B") is LINE


def test_an_order_that_the_plan_has_not_is_refused() -> None:
    short = shortfall((1,), 1, 1)
    with pytest.raises(NotThere, match="the plan has A"):
        with_make_up(LINE, "B", short, None)
    with pytest.raises(BadValue, match="the plan has 2 of A"):
        with_make_up(LINE, "A", short, None)


# --- from the journal ------------------------------------------------------------------------------------------------


@cache
def shop_floor() -> tuple[Reading, Planned, object]:
    """The small demo, with a plan of it in five batches; make-ready is left out, as its rolls are a few metres."""
    sim, reading = small_demo.made()
    plant = template_works().plant
    assert plant is not None
    few = replace(plant, batch=1_000, store=None, stages=tuple(replace(one, make_ready=0) for one in plant.stages))
    shop = job_shop([sim.order], few, MONDAY, 60)
    return reading, plan_of(shop), few


def test_what_stands_and_what_is_cut_add_up() -> None:
    reading, planned, plant = shop_floor()
    standing = facts_of(reading, planned, plant)  # type: ignore[arg-type]
    notes = state(reading)["notes"]
    cut = notes["packed_good"] + notes["cut_not_packed"]
    assert cut <= standing.good <= cut + notes["on_sheets"]  # sheets that stand give some of their notes
    assert standing.done == (5,) * 11  # all 4,800 are packed: every stage has passed all five batches
    assert standing.wanted == (4_800,)


def test_facts_grow_with_the_journal_and_never_run_ahead_of_an_earlier_stage() -> None:
    reading, planned, plant = shop_floor()
    before: tuple[int, ...] = (0,) * 11
    for size in range(10, reading.size + 1, 45):
        standing = facts_of(reading.upto(size), planned, plant)  # type: ignore[arg-type]
        assert all(a >= b for a, b in zip(standing.done, standing.done[1:], strict=False))
        assert all(a >= b for a, b in zip(standing.done, before, strict=True))
        before = standing.done
        shop = planned.shop
        for number, (machine, begin, end) in standing.actual.items():
            assert begin < end
            name = shop.machines[machine].name
            assert name in {r.machine for r in reading.records[:size]}, shop.operations[number]


def test_what_passed_a_stage_is_what_its_records_gave() -> None:
    reading, _, plant = shop_floor()
    told = passed(reading, plant)  # type: ignore[arg-type]
    wound = sum(one.length * one.lanes for one in reading.records if getattr(one, "kind", "") == "roll")  # type: ignore[attr-defined]
    cut_off = reading.order.layout.cut_off
    assert sum(many for _, many in told.events[0]) == pytest.approx(wound / cut_off)
    sheeted = sum(one.sheets for one in reading.records if getattr(one, "kind", "") == "sheet")  # type: ignore[attr-defined]
    assert sum(many for _, many in told.events[5]) == sheeted
    assert {told.machines[1], told.machines[2]} == {"coater"}  # first and second time through the coater
    assert 7 not in told.events  # "relief, front" is the stage of that name, not the one before it
    assert told.events[8]


def test_the_shares_left_multiply_back_to_the_plan() -> None:
    _, planned, plant = shop_floor()
    back = backward(small_demo.made()[0].order, plant)  # type: ignore[arg-type]
    left = shares_left(back)
    assert left[-1] == 1.0
    # what the sheeter is to give, times what is left of it, are the good sheets planned for; in whole sheets
    assert back.stages[5].out * left[5] == pytest.approx(back.planned, abs=1)
    assert len(left) == len(planned.shop.jobs[0].stages)


def held(reading: Reading, size: int, start: int, end: int, grade: str = "hold") -> Reading:
    """The journal of `size` entries and a mark on all of a stretch of F01."""
    at = max(one.at for one in reading.records[:size]).isoformat()
    mark = {"machine": "office", "seq": 9_999, "at": at, "by": "R. Tessel", "kind": "mark", "unit": "F01",
            "lanes": [1, 2], "start": f"{start} m", "end": f"{end} m", "fault": "thick band", "grade": grade,
            "seen_by": "film gauge"}  # fmt: skip
    return Reading.of(reading.order, reading.works, [*reading.records[:size], adapter().validate_python(mark)])


def test_a_mark_on_the_film_moves_a_date_and_says_why() -> None:
    reading, planned, plant = shop_floor()
    size = 5  # two rolls are wound, neither enough for all: the film to come is counted as planned
    before = drifted(reading.upto(size), planned, plant)  # type: ignore[arg-type]
    assert before.short.notes == 0
    after = drifted(held(reading, size, 5, 35), before.after.planned, plant, frozen_h=0)  # type: ignore[arg-type]
    # 30 m of 168 mm sheets: 178.6, so at most 180 a lane, 360 on two lanes, 6 notes each
    loss = after.standing.losses[0]
    assert (loss.metres, loss.sheets, loss.notes) == (30.0, 360, 2_160)
    assert after.short.notes > 0
    assert after.standing.good + after.short.notes == 4_800
    was, now = after.after.was[0]
    assert now.ready > was.ready
    says = after.after.planned.says
    assert says[0] == "30 m of film held: 180 sheets a lane, 2,160 notes (thick band, entry 5)"
    assert says[1] == (
        f"{after.standing.good:,} good notes are to be expected of 4,800: "
        f"a make-up batch of {after.short.notes:,} notes"
    )
    assert says[-1].startswith("delivery 1 of ")
    assert says[-1].endswith(": it waits for the make-up batch")
    assert after.as_dict()["deliveries"][0]["ready"] > after.as_dict()["deliveries"][0]["ready_before"]


def test_a_small_mark_is_covered_by_the_surplus_and_moves_nothing() -> None:
    reading, planned, plant = shop_floor()
    size = 12
    before = drifted(reading.upto(size), planned, plant)  # type: ignore[arg-type]
    after = drifted(held(reading, size, 5, 6), before.after.planned, plant)  # type: ignore[arg-type]
    assert after.after.planned.says == (
        "1 m of film held: 7 sheets a lane, 84 notes (thick band, entry 12)",  # 5.95 sheets touch 7 at most
        f"surplus of {after.short.surplus:,} notes covers it: no date moves",
    )
    lost = before.standing.good - after.standing.good
    assert 0 < lost <= 84 + 2 * 6  # and on either lane a rest that is now too short for a sheet
    told = drifted(held(reading, size, 5, 6, grade="note"), before.after.planned, plant)  # type: ignore[arg-type]
    assert told.standing.good == before.standing.good  # a note takes nothing out


def test_a_make_up_batch_that_has_begun_is_left_as_it_is() -> None:
    reading, planned, plant = shop_floor()
    first = drifted(held(reading, 5, 5, 35), planned, plant, frozen_h=0).after.planned  # type: ignore[arg-type]
    job = [one.name for one in first.shop.jobs].index("TM-20-1" + MAKE_UP)
    begins = first.moment(first.schedule.start[first.shop.number(job, 0, 0)])
    waiting = drifted(held(reading, 5, 5, 35), first, plant, now=begins)  # type: ignore[arg-type]
    assert any("a make-up batch of" in line for line in waiting.after.planned.says)
    later = begins + timedelta(hours=1)
    again = drifted(held(reading, 5, 5, 35), first, plant, now=later)  # type: ignore[arg-type]
    assert "a make-up batch is under way" in again.after.planned.says
    assert again.after.planned.shop.jobs[job] == first.shop.jobs[job]
    assert len(again.after.planned.shop.jobs) == 2


def test_facts_that_do_not_fit_the_plan_are_refused() -> None:
    reading, planned, plant = shop_floor()
    with pytest.raises(NotThere, match="the plan has A"):
        facts_of(reading, plan_of(LINE), plant)  # type: ignore[arg-type]
    with pytest.raises(BadValue, match="the plan begins at"):
        facts_of(reading, planned, plant, now=MONDAY - timedelta(hours=1))  # type: ignore[arg-type]
    with pytest.raises(BadValue, match="it has no zone"):
        facts_of(reading, planned, plant, now=datetime(2026, 3, 3))  # type: ignore[arg-type]
    with pytest.raises(BadValue, match="plan the order anew"):
        facts_of(reading, planned, replace(plant, stages=plant.stages[1:]))  # type: ignore[arg-type,type-var,attr-defined]


def test_a_make_up_batch_has_the_families_of_its_order() -> None:
    _, planned, plant = shop_floor()
    order = small_demo.made()[0].order
    job = make_up_job(planned.shop, order, plant, MONDAY, 600, 48)  # type: ignore[arg-type]
    assert (job.name, job.batches, job.release) == (order.name + MAKE_UP, 1, 48)
    assert [one.family for one in job.stages] == [one.family for one in planned.shop.jobs[0].stages]
    with pytest.raises(NotThere, match="plan the order anew"):
        make_up_job(replace(planned.shop, families=("else",)), order, plant, MONDAY, 600, 0)  # type: ignore[arg-type]
