"""The checker: a fault of each kind planted and found, and the same schedule without it clean.

The expected values are counted by hand from the few units of each case.
"""

from dataclasses import replace

import pytest

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
from reelmark.plan.check import KINDS, check

# Two machines, P1 closed 4-6 and maintained 10-11; two batches of A (P1 2 units, wait 1 to 6, P2 1), one of B (P1 3).
A = Job("A", (Stage("print", ((0, 2),), 0, 1, 6, stored=True), Stage("cut", ((1, 1),), 1)), 2)
B = Job("B", (Stage("print", ((0, 3),), 2),), release=1)
SHOP = JobShop(
    unit_min=30,
    machines=(Machine("P1", ((4, 6),), ((10, 11),)), Machine("P2")),
    jobs=(A, B),
    dues=(Due(0, 1, 3, 2.0), Due(0, 2, 20, 1.0)),
    setups={(0, 2): 1, (2, 0): 1},
    store=Store(2),
    resources=(Resource("crew", (Level(0, 1), Level(30, 0))),),
    prices=Prices(10, 5, 1),
    horizon=24,
)
# A1 print 0-2, A1 cut 3-4, A2 print 2-4, A2 cut 7-8, B print 7-10 (set-up 1 unit from 4; closed to 6)
CLEAN = Schedule((0, 1, 0, 1, 0), (0, 3, 2, 7, 7), (2, 4, 4, 8, 10))


def moved(schedule: Schedule, number: int, **to: int) -> Schedule:
    """The schedule with one operation elsewhere."""
    new = {}
    for name in ("machine", "start", "end"):
        values = list(getattr(schedule, name))
        values[number] = to.get(name, values[number])
        new[name] = tuple(values)
    return Schedule(**new)


def kinds(shop: JobShop, schedule: Schedule) -> set[str]:
    return {one.kind for one in check(shop, schedule).violations}


def with_stage(number: int, **changes: object) -> JobShop:
    """SHOP with one of A's stages changed."""
    stages = list(A.stages)
    stages[number] = replace(stages[number], **changes)  # type: ignore[arg-type]
    return replace(SHOP, jobs=(replace(A, stages=tuple(stages)), B))


def test_a_schedule_that_can_be_done_is_clean_and_costs_what_it_costs():
    checked = check(SHOP, CLEAN)
    assert checked.violations == ()
    # by hand: the first of A ends 4, wanted 3: half an hour late at weight 2; one set-up of half an hour; 10 units
    assert (checked.late_h, checked.setup_h, checked.span_h) == (1.0, 0.5, 5.0)
    assert checked.cost == 10 * 1.0 + 5 * 0.5 + 5.0


PLANTED = {
    "closed": (SHOP, moved(CLEAN, 4, start=5, end=9), 0.5),  # B begins at 5, P1 opens at 6
    "end": (SHOP, moved(CLEAN, 3, end=9), 0.5),
    "maintenance": (SHOP, moved(CLEAN, 4, start=8, end=11), 0.5),
    "overlap": (SHOP, moved(CLEAN, 2, start=1, end=3), 0.5),
    "set-up": (replace(SHOP, setups={(0, 2): 5}), CLEAN, 1.0),  # 5 units after 4 is 9, B begins at 7
    "wait short": (SHOP, moved(CLEAN, 1, start=2, end=3), 0.5),
    "wait long": (SHOP, moved(CLEAN, 3, start=12, end=13), 1.0),
    "release": (replace(SHOP, jobs=(A, replace(B, release=9))), CLEAN, 1.0),
    "store": (replace(SHOP, store=Store(0)), CLEAN, 0.5 * (1 + 3)),  # A1 lies 2-3, A2 4-7: two stretches
    "resource": (with_stage(1, uses=((0, 2),)), CLEAN, 0.5 * 2),  # one too many in both cuts
    "machine": (SHOP, moved(CLEAN, 1, machine=0, start=3), 1),
    "operation": (SHOP, Schedule((0,), (0,), (2,)), 4),
    "horizon": (replace(SHOP, horizon=9), CLEAN, 0.5),
}


def test_every_kind_is_planted():
    assert set(PLANTED) == set(KINDS)


@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_fault_is_found_and_measured(kind: str):
    shop, schedule, size = PLANTED[kind]
    found = [one for one in check(shop, schedule).violations if one.kind == kind]
    assert found, f"{kind} is not found in {schedule}"
    assert sum(one.size for one in found) == pytest.approx(size)
    assert all(one.text for one in found)


def test_a_fault_is_said_in_words_and_names_its_operations():
    (one,) = check(SHOP, moved(CLEAN, 3, start=12, end=13)).violations
    assert one.text == "A, batch 2, cut begins 4 h after print ends; it waits 3 h at most"
    assert one.operations == (2, 3)


def test_a_set_up_that_needs_people_waits_for_open_time_and_for_maintenance():
    people = replace(SHOP, setups_open=True)
    early = moved(CLEAN, 4, start=6, end=9)
    assert kinds(SHOP, early) == set()  # one unit after 4 is 5, in closed time
    assert kinds(people, early) == {"set-up"}  # done at 7
    assert kinds(people, CLEAN) == set()
    five = replace(people, setups={(0, 2): 5}, horizon=0)  # 6-10 is 4 units, then maintenance: 11-16
    assert kinds(five, moved(CLEAN, 4, start=15, end=18)) == {"set-up"}
    assert kinds(five, moved(CLEAN, 4, start=16, end=19)) == set()


def test_work_rests_in_closed_time_and_so_do_the_people_it_holds():
    over = Job("C", (Stage("print", ((0, 4),), 0, uses=((0, 1),)),))
    guest = Job("D", (Stage("count", ((ANYWHERE, 2),), 0, uses=((0, 1),)),))
    shop = replace(SHOP, jobs=(over, guest), dues=(), store=None)
    rests = Schedule((0, ANYWHERE), (2, 4), (8, 6))  # 2-4 and 6-8; D has the crew while P1 is closed
    assert check(shop, rests).violations == ()
    assert kinds(shop, moved(rests, 1, start=5, end=7)) == {"resource"}
    assert kinds(shop, moved(rests, 0, end=6)) == {"end"}


def test_what_a_machine_is_set_up_for_counts_at_the_first_set_up():
    set_for_b = replace(SHOP, machines=(replace(SHOP.machines[0], family=2), SHOP.machines[1]))
    checked = check(set_for_b, CLEAN)
    assert [one.kind for one in checked.violations] == ["set-up"]  # A begins at 0, one unit too early
    assert checked.setup_h == 1.0


def test_the_nth_batch_to_end_is_the_one_that_is_due():
    swapped = Schedule((0, 1, 0, 1, 0), (2, 7, 0, 3, 7), (4, 8, 2, 4, 10))  # A2 goes first
    assert check(SHOP, swapped).late_h == check(SHOP, CLEAN).late_h == 1.0
    assert check(replace(SHOP, dues=(Due(0, 2, 6, 1.0),)), swapped).late_h == 1.0  # the second ends at 8


def test_stages_in_any_order_wait_for_those_before_them():
    fork = Job(
        "F",
        (
            Stage("a", ((0, 1),), 0, least_wait=1),
            Stage("b", ((1, 1),), 0, after=()),
            Stage("c", ((1, 1),), 0, after=(0, 1)),
        ),
    )
    shop = JobShop(60, SHOP.machines, (fork,))
    assert check(shop, Schedule((0, 1, 1), (0, 0, 2), (1, 1, 3))).violations == ()
    assert kinds(shop, Schedule((0, 1, 1), (0, 0, 1), (1, 1, 2))) == {"wait short"}  # the wait of a
    assert kinds(shop, Schedule((0, 1, 1), (0, 5, 4), (1, 6, 5))) == {"wait short"}  # c before b


def test_every_move_of_one_operation_is_seen():
    """Each operation a unit earlier or later: a violation or another cost, but where there is room; never elsewhere."""
    unseen = set()
    for number in range(len(CLEAN.start)):
        for by in (-1, 1):
            start, end = CLEAN.start[number] + by, CLEAN.end[number] + by
            new = check(SHOP, moved(CLEAN, number, start=start, end=end))
            if not new.violations and new.cost == check(SHOP, CLEAN).cost:
                unseen.add((number, by))
        assert "machine" in kinds(SHOP, moved(CLEAN, number, machine=1 - CLEAN.machine[number]))
    assert unseen == {(3, -1), (3, 1)}  # by hand: the second cut alone has room, 1 to 6 units after its print
