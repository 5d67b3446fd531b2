"""Plans side by side, quotes and impossible dates.

Check values: closed forms of shops small enough to be counted by hand, said beside each.
"""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.acts.plan_whatif import offer, order_in, side_by_side, what_if
from reelmark.demo.plant import template_order, template_works
from reelmark.errors import BadValue, Clash, NotThere, Problem
from reelmark.jobs import Due, Job, JobShop, Machine, Schedule, Stage
from reelmark.order import Order
from reelmark.plan.arrays import arrays
from reelmark.plan.decode import Lists, Start, decode
from reelmark.plan.impossible import impossible, impossible_words
from reelmark.plan.lists import empty, first_lists, fresh, schedule_of
from reelmark.plan.loading import job_shop
from reelmark.plan.planned import Planned
from reelmark.plan.quote import alone, quote
from reelmark.plan.whatif import (
    compare,
    loads,
    machine_more,
    shift_less,
    shift_more,
    week,
    with_order,
    without_order,
    yield_better,
)
from reelmark.plant import Plant

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)
WEEK = 168  # units of an hour

# Four batches of 4 hours on one press, open all day: ready at 16.
PRESS = JobShop(
    unit_min=60,
    machines=(Machine("P"),),
    jobs=(Job("A", (Stage("print", ((0, 4),), 0),), 4),),
    dues=(Due(0, 4, 10),),
    setups={(0, 1): 2, (1, 0): 2},
    horizon=2 * WEEK,
)


def best_of_first(shop: JobShop, start: Start, lists: Lists) -> Schedule:
    """A search that looks at two plans: the one given, and the decoder's first."""
    a = arrays(shop)
    found = []
    for one in (lists, first_lists(a, start, list(range(len(shop.jobs))))):
        placed = empty(a)
        found.append((float(decode(a, one, start, placed, np.inf)), schedule_of(shop, a, placed)))
    return min(found, key=lambda pair: pair[0])[1]


def plan_of(shop: JobShop) -> Planned:
    a = arrays(shop)
    placed = empty(a)
    cost = decode(a, first_lists(a, fresh(a), list(range(len(shop.jobs)))), fresh(a), placed, np.inf)
    return Planned(shop, schedule_of(shop, a, placed), MONDAY, float(cost), 0.0)


# --- the question changed --------------------------------------------------------------------------------------------


def test_a_second_press_halves_the_time() -> None:
    old = plan_of(PRESS)
    more = machine_more(PRESS, "P")
    assert [one.name for one in more.machines] == ["P", "P 2"]
    assert machine_more(more, "P").machines[2].name == "P 3"
    split = Schedule((0, 1, 0, 1), (0, 0, 4, 4), (4, 4, 8, 8))  # two batches on each
    new = what_if(old, more, search=lambda *_: split)
    told = side_by_side(old, new)
    assert told["deliveries"][0]["shift_h"] == -8  # 16 -> 8
    assert told["deliveries"][0]["late_h"] == [6, 0]
    assert told["cost"] == [6 * 10 + 16, 8]
    assert told["load"] == [
        {"machine": "P", "before": 1.0, "after": 1.0},
        {"machine": "P 2", "before": None, "after": 1.0},
    ]
    assert told["moved"] == 3  # the first batch stays


def test_a_shift_less_delays_by_its_length_and_a_shift_more_gives_it_back() -> None:
    old = plan_of(PRESS)
    less = shift_less(PRESS, "P", week(PRESS, 6, 8))  # 6-14, and again a week later
    assert less.machines[0].closed == ((6, 14), (6 + WEEK, 14 + WEEK))
    assert compare(old, plan_of(less)).span_h == (16, 24)
    again = shift_more(less, "P", [(6, 14)])
    assert again.machines[0].closed == ((6 + WEEK, 14 + WEEK),)
    assert plan_of(again).schedule == old.schedule
    assert shift_more(less, "P", [(8, 10)]).machines[0].closed[:2] == ((6, 8), (10, 14))


def test_an_order_put_in_and_taken_out_leaves_the_question_as_it_was() -> None:
    job = Job("B", (Stage("print", ((0, 3),), 1),), 2)
    more = with_order(PRESS, job, [Due(7, 2, 40)])
    assert more.dues[-1].job == 1  # its own number, whatever it said
    assert without_order(more, "B") == PRESS
    first = without_order(more, "A")
    assert [one.name for one in first.jobs] == ["B"]
    assert first.dues == (Due(0, 2, 40),)


def test_questions_that_make_no_sense_are_refused() -> None:
    with pytest.raises(NotThere, match="the plan has P"):
        machine_more(PRESS, "Q")
    with pytest.raises(NotThere, match="the plan has A"):
        without_order(PRESS, "B")
    with pytest.raises(Clash, match="give it its own name"):
        with_order(PRESS, PRESS.jobs[0])
    with pytest.raises(NotThere, match="there are 1"):
        with_order(PRESS, Job("B", (Stage("print", ((3, 3),), 1),)))
    for first, units in ((-1, 8), (0, 0), (0, WEEK + 1), (2 * WEEK, 8)):
        with pytest.raises(BadValue, match="a shift lasts 1 to 168 units"):
            week(PRESS, first, units)


def plant() -> Plant:
    found = template_works().plant
    assert found is not None
    return found


def test_a_better_yield_is_that_much_better_and_no_more_than_all() -> None:
    better = yield_better(plant(), "relief front", 0.01)
    changed = [
        (a.name, b.good.mean - a.good.mean) for a, b in zip(plant().stages, better.stages, strict=True) if a != b
    ]
    assert [name for name, _ in changed] == ["relief front"]
    assert changed[0][1] == pytest.approx(0.01)
    assert yield_better(better, "relief front", -0.01).stages[8].good.mean == pytest.approx(plant().stages[8].good.mean)
    with pytest.raises(BadValue, match=r"would give 1\.032"):
        yield_better(plant(), "relief front", 0.05)
    with pytest.raises(NotThere, match="the route has film"):
        yield_better(plant(), "varnish", 0.01)


def test_load_is_the_work_over_the_open_time() -> None:
    shop = replace(PRESS, machines=(Machine("P", ((4, 8),), ((8, 10),)), Machine("Q")))
    (press, idle) = loads(shop, plan_of(shop).schedule)
    # four batches of 4: 0-4, 10-14, 14-18, 18-22; of 22 hours 4 are closed and 2 kept for maintenance
    assert (press.work_h, press.open_h, press.share) == (16, 16, 1.0)
    assert (idle.work_h, idle.open_h, idle.share) == (0, 22, 0.0)


@given(st.integers(1, 6), st.integers(1, 5), st.integers(0, 40))
def test_a_plan_beside_itself_differs_in_nothing(batches: int, units: int, due: int) -> None:
    shop = replace(PRESS, jobs=(Job("A", (Stage("print", ((0, units),), 0),), batches),), dues=(Due(0, batches, due),))
    same = compare(plan_of(shop), plan_of(shop))
    assert same.moved == 0
    assert same.cost[0] == same.cost[1] == 10 * max(0, batches * units - due) + batches * units  # closed form
    assert all(a == b for a, b in same.deliveries)


# --- quotes ----------------------------------------------------------------------------------------------------------

NEW = Job("N", (Stage("print", ((0, 4),), 1),))


def test_a_quote_comes_after_what_is_promised() -> None:
    # A is ready at 16 and due then; N needs 2 of set-up and 4 of work: ready at 22, or first, at 4, and A at 22.
    shop = replace(PRESS, dues=(Due(0, 4, 16),))
    old = plan_of(shop)
    found = quote(old, with_order(shop, NEW), "N")
    assert found.ready == 22
    assert found.moves == ()
    assert found.added == 2 * 5 + 6  # set-up, and 6 hours more of the whole
    assert found.earliest == 4  # with the works to itself
    assert found.swift is not None
    assert found.swift.ready < 22
    assert [b.ready - a.ready for a, b in found.swift.moves] == [6]  # N first: its work and one set-up
    assert "ready 3 Mar 04:00, cost +16" in found.words()[0]
    assert any("delivery 1 of A would move by 6 h" in line for line in found.words())


def test_a_quote_takes_the_slack_that_planned_deliveries_have() -> None:
    # A is due at 30: N may go first, from 0 to 4, and A after a set-up from 6 to 22.
    shop = replace(PRESS, dues=(Due(0, 4, 30),))
    old = plan_of(shop)
    more = with_order(shop, NEW)
    assert quote(old, more, "N").ready == 22  # nothing may move
    assert quote(old, more, "N", allowed=6).ready == 4
    assert quote(old, more, "N", allowed=5).ready == 22


def test_a_search_may_better_a_quote_and_never_moves_a_promise() -> None:
    shop = replace(PRESS, dues=(Due(0, 4, 16),))
    old, more = plan_of(shop), with_order(replace(PRESS, dues=(Due(0, 4, 16),)), NEW)
    asked: list[JobShop] = []

    def first(question: JobShop, start: Start, lists: Lists) -> Schedule:
        asked.append(question)
        return Schedule((0,) * 5, (6, 10, 14, 18, 0), (10, 14, 18, 22, 4))  # N first: A's promise would be broken

    assert quote(old, more, "N", search=first).ready == 22
    assert [(one.job, one.at) for one in asked[0].dues] == [(0, 16), (1, 0)]


def test_what_runs_is_not_quoted_away() -> None:
    shop = replace(PRESS, dues=(Due(0, 4, 30),))
    found = quote(plan_of(shop), with_order(shop, NEW), "N", now=5, allowed=100)
    # batches 1 and 2 (0-4, 4-8) have begun: N from 8 + 2 to 14
    assert found.ready == 14
    assert found.planned.schedule.start[:2] == (0, 4)


def test_quotes_that_cannot_be_given_are_refused() -> None:
    old = plan_of(PRESS)
    with pytest.raises(NotThere, match="the question has A"):
        quote(old, PRESS, "N")
    with pytest.raises(NotThere, match="add the new order"):
        quote(old, with_order(PRESS, NEW), "A")
    short = replace(PRESS, horizon=18)
    with pytest.raises(Problem, match="plan over more days"):
        quote(plan_of(short), with_order(short, NEW), "N")


def other_order() -> Order:
    order = template_order()
    series = tuple(replace(one, name=f"X {one.name}", prefix="X" + one.prefix) for one in order.series)
    later = tuple(replace(one, by=f"2026-0{n}-20") for n, one in enumerate(order.deliveries, 6))
    return replace(order, name="XX-5-1", series=series, deliveries=later)


def test_an_order_is_offered_beside_one_that_is_planned() -> None:
    shop = job_shop([template_order()], plant(), MONDAY, 150)
    old = plan_of(shop)
    both = order_in(old, other_order(), plant())
    together = job_shop([template_order(), other_order()], plant(), MONDAY, 150)
    assert both.jobs == together.jobs  # our own other way to the same question
    assert dict(both.setups) == dict(together.setups)
    assert both.dues == together.dues
    told = offer(old, other_order(), plant())
    assert told["order"] == "XX-5-1"
    assert told["moves"] == []
    assert told["not_before"] < told["ready"]
    assert told["added_cost"] > 0
    swift = offer(old, other_order(), plant(), allowed_h=2_000.0)
    assert swift["ready"] <= told["ready"]
    with pytest.raises(Clash, match="give it its own name"):
        order_in(old, template_order(), plant())


def test_what_if_keeps_what_has_begun() -> None:
    old = plan_of(PRESS)
    new = what_if(old, machine_more(PRESS, "P"), now=5, search=best_of_first)
    assert new.schedule.start[:2] == (0, 4)
    assert new.schedule.end[3] <= 16


# --- impossible dates ------------------------------------------------------------------------------------------------


def test_a_date_too_early_says_by_how_much_and_what_would_do() -> None:
    (one,) = impossible(PRESS)
    # four batches of 4 take 16, due at 10: 6 late at best; two batches can be there at 8
    assert (one.short, one.earliest, one.machines) == (6, 16, ())
    assert one.cures == ("deliver 2 batches by then",)
    (text,) = impossible_words(PRESS)
    assert text == (
        "A, 4 batches due 10 h: 6 h late at best, with the works to itself; possible from 16 h, "
        "or deliver 2 batches by then"
    )
    assert "due 2026-03-02 16:00" in impossible_words(PRESS, MONDAY)[0]


def test_more_hours_are_named_where_they_would_do() -> None:
    night = replace(PRESS, machines=(Machine("P", ((4, 12),)),), dues=(Due(0, 4, 20),))
    (one,) = impossible(night)
    assert one.short == 4  # 16 of work, 8 closed: 24
    assert "run P through its closed hours too" in one.cures
    little = replace(night, dues=(Due(0, 4, 12),))
    assert "run P through its closed hours, which saves 8 h and is not enough" in impossible(little)[0].cures


def test_no_batch_at_all() -> None:
    (one,) = impossible(replace(PRESS, dues=(Due(0, 1, 3),)))
    assert one.cures[0].startswith("no batch at all")


def test_a_date_beyond_the_calendars_says_so() -> None:
    short = replace(PRESS, horizon=12)
    assert impossible_words(short, MONDAY) == (
        "A, 4 batches due 2026-03-02 16:00: not within the calendars, even with the works to itself; "
        "plan over more days, or deliver 2 batches by then",
    )


def test_orders_that_fit_alone_may_be_too_many_together() -> None:
    shop = with_order(replace(PRESS, dues=(Due(0, 4, 18),)), Job("B", PRESS.jobs[0].stages, 4), [Due(1, 4, 20)])
    assert alone(shop, 0, 4) == alone(shop, 1, 4) == 16  # closed form
    (one,) = impossible(shop)
    # by 20 the press must have done 8 batches of 4 = 32: 12 hours short, two shifts of 8 h
    assert (one.due, one.short, one.machines, one.earliest) == (shop.dues[1], 12, ("P",), None)
    assert one.cures[0] == "2 more shifts of 8 h on P"
    assert impossible_words(shop)[0].startswith("B, 4 batches due 20 h: P lack 12 h of open time")


def test_dates_that_can_be_kept_are_not_called_impossible() -> None:
    shop = replace(PRESS, dues=(Due(0, 4, 16),))
    assert impossible(shop) == ()
    assert plan_of(shop).schedule.end[3] == 16


@given(st.integers(1, 5), st.integers(1, 4), st.integers(1, 3), st.integers(0, 30))
def test_what_is_called_impossible_no_plan_keeps(batches: int, units: int, jobs: int, due: int) -> None:
    stages = (Stage("print", ((0, units),), 0, 1), Stage("cut", ((1, 2),), 0))
    shop = JobShop(
        60,
        (Machine("P", ((5, 9), (20, 26))), Machine("Q")),
        tuple(Job(f"J{j}", stages, batches) for j in range(jobs)),
        tuple(Due(j, batches, due) for j in range(jobs)),
        horizon=400,
    )
    found = plan_of(shop)
    late = any(found.schedule.end[i] > due for i in range(len(found.schedule.end)))
    assert late or impossible(shop) == ()  # a plan that keeps all dates is a proof that none is impossible
