"""What is read off a plan, against a plan worked out by hand, and its pictures.

The shop of `hand` has two machines and three batches, so that every figure can be followed on paper; where another
source is used it stands beside the check.
"""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model_shop import greedy, shop
from reelmark.acts.plan_kept import from_dict, to_dict
from reelmark.acts.plan_path import finisher
from reelmark.acts.plan_pins import carried_over, costs, kept, pinned, unpinned
from reelmark.acts.plan_time import OpenTime, in_words, moment, setups, unit_at, weeks
from reelmark.acts.plan_view import (
    busiest,
    campaigns,
    changed,
    chapters,
    critical,
    deliveries,
    load,
    people,
    store,
    tasks,
)
from reelmark.errors import BadValue, Clash, Problem
from reelmark.figures.gantt import gantt_picture, whole
from reelmark.figures.gantt_levels import load_picture, store_picture
from reelmark.figures.gantt_marks import _tone, letter
from reelmark.io.planfile import read_plan, stamp_of, write_plan
from reelmark.jobs import Due, Job, JobShop, Level, Machine, Resource, Schedule, Stage, Store
from reelmark.plan.check import check
from reelmark.plan.check_time import ends, overlap
from reelmark.plan.planned import Planned

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)  # Monday of ISO week 10 of 2026
CAN_BREAK = {"store", "wait long", "resource", "horizon"}  # what gives way to a pin


def hand(places: int = 1) -> Planned:
    """X, 2 batches: coater 4 h, rest 2 h, press 6 h.  Y: press 5 h.  Press: Y 0-5, set-up 5-8, X1 8-14, X2 14-20."""
    one = JobShop(
        60,
        (Machine("coater", closed=((16, 24), (40, 48))), Machine("press", maintenance=((30, 32),))),
        (
            Job("X", (Stage("coat", ((0, 4),), 0, 2, None, True), Stage("print", ((1, 6),), 1, uses=((0, 2),))), 2),
            Job("Y", (Stage("print", ((1, 5),), 2),)),
        ),
        (Due(0, 2, 18), Due(1, 1, 10), Due(0, 1, 14)),
        {(2, 1): 3, (1, 2): 3},
        Store(places),
        (Resource("people", (Level(0, 3),)),),
        horizon=100,
        setups_open=True,
    )
    at = Schedule((0, 1, 0, 1, 1), (0, 8, 4, 14, 0), (4, 14, 8, 20, 5))
    assert check(one, at).violations == () or places == 0
    return Planned(one, at, MONDAY, costs(one, at)[0], 1.0)


def large(seed: int = 1, **more: int) -> Planned:
    one = shop(seed, **more)
    at = greedy(one)
    return Planned(one, at, datetime(2026, 3, 2, 6, tzinfo=ZoneInfo("Europe/Berlin")), costs(one, at)[0], 1.0)


# --- by hand -------------------------------------------------------------------------------------------------------


def test_tasks_in_the_order_of_time_with_their_set_ups():
    rows = tasks(hand())
    assert [(row["order"], row["batch"], row["stage"], row["machine"]) for row in rows] == [
        ("X", 1, "coat", "coater"), ("Y", 1, "print", "press"), ("X", 2, "coat", "coater"), ("X", 1, "print", "press"),
        ("X", 2, "print", "press"),
    ]  # fmt: skip
    assert [row["setup_from"] for row in rows] == [None, None, None, "2026-03-02T11:00+00:00", None]
    assert (rows[3]["start"], rows[3]["end"]) == ("2026-03-02T14:00+00:00", "2026-03-02T20:00+00:00")


def test_a_late_delivery_says_for_what_it_waits():
    late, early, just = deliveries(hand(), [0.25, 1.0, None])
    assert (late["late_h"], late["margin_h"], late["ready"]) == (2.0, -2.0, "2026-03-03T02:00+00:00")
    assert late["says"] == "2 h late: print waits 4 h for press, which is taken by X, print (4 h)"
    assert (early["says"], early["late_h"]) == ("ready 5 h before it is due", 0.0)
    assert just["says"] == "ready just as it is due"
    assert [row["p_on_time"] for row in (late, early, just)] == [0.25, 1.0, None]


def test_the_critical_path_goes_back_to_what_binds():
    """X2 waits for X1 on the press, X1 for Y and its set-up, Y for nothing."""
    rows = critical(hand(), 0)
    assert [(row["order"], row["batch"], row["because"]) for row in rows] == [
        ("Y", 1, "release"), ("X", 1, "machine"), ("X", 2, "machine"),
    ]  # fmt: skip
    assert "taken by Y, batch 1, print until Mon 2026-03-02 11:00, and is then set up, 3 h" in rows[1]["says"]
    assert [row["batches"] for row in chapters(rows)] == ["1", "1 to 2"]
    assert critical(hand()) == rows  # the one most late is told where none is named


def test_a_critical_path_ends_where_it_may_begin_and_has_no_hole():
    """Each step begins no earlier than the one that it waits for begins, in a plan that nobody worked out by hand."""
    planned = large()
    for line in range(len(planned.shop.dues)):
        rows = critical(planned, line)
        assert rows[-1]["operation"] == finisher(planned, line)
        assert rows[0]["because"] in {"release", "machine"}
        starts = [planned.schedule.start[row["operation"]] for row in rows]
        assert starts == sorted(starts)


def test_load_is_work_and_set_up_of_the_open_hours():
    """Until hour 20: the press works 17 h and is set up 3 h of 20; the coater works 8 h of 16, closed from 16 on."""
    rows = {row["machine"]: row for row in load(hand())}
    press, coater = rows["press"], rows["coater"]
    assert (press["week"], press["work_h"], press["setup_h"], press["open_h"]) == ("2026-W10", 17, 3, 20)
    assert (coater["work_h"], coater["setup_h"], coater["open_h"], coater["share"]) == (8, 0, 16, 0.5)
    top = busiest(load(hand()))
    assert top is not None
    assert (top["machine"], top["share"], top["week_share"]) == ("press", 1.0, 1.0)
    assert busiest([]) is None


def test_load_adds_up_to_the_work_of_the_plan():
    """Over all weeks each machine works the open units of its operations: the durations as the shop gives them."""
    planned = large()
    rows = load(planned)
    for m, machine in enumerate(planned.shop.machines):
        worked = sum(row["work_h"] for row in rows if row["machine"] == machine.name)
        at = [i for i, on in enumerate(planned.schedule.machine) if on == m]
        assert worked == sum(dict(planned.shop.stage(i).on)[m] for i in at) * 0.5
    assert max(row["share"] or 0 for row in rows) <= 1.0


@pytest.mark.parametrize(("places", "breaches"), [(1, 0), (0, 1)])
def test_the_store_holds_what_waits_for_the_next_stage(places, breaches):
    """X1 lies from 4 to 8, X2 from 8 to 14."""
    told = store(hand(places))
    assert [(one["unit"], one["level"]) for one in told["levels"]] == [(4, 1), (8, 1), (14, 0)]
    assert len(told["breaches"]) == breaches
    if breaches:
        (one,) = told["breaches"]
        assert (one["from"], one["to"], one["most"]) == ("2026-03-02T10:00+00:00", "2026-03-02T20:00+00:00", 1)
        assert "X, batch 1, coat" in one["says"]


def test_the_store_is_as_full_as_the_checker_finds_it():
    """Batch-hours beyond the places, against reelmark.plan.check, which shares no code with it."""
    planned = large()
    told, over = store(planned), 0.0
    assert planned.shop.store is not None
    for one, after in zip(told["levels"], told["levels"][1:], strict=False):
        over += max(0, one["level"] - planned.shop.store.places) * (after["unit"] - one["unit"]) * 0.5
    found = sum(one.size for one in check(planned.shop, planned.schedule).violations if one.kind == "store")
    assert over == found > 0


def test_people_at_work_of_those_there():
    """Two on the press for 12 h of X; three are there for 20 h."""
    (row,) = people(hand())
    assert (row["held_h"], row["there_h"], row["share"], row["peak"]) == (24, 60, 0.4, 2)


def test_campaigns_are_counted_by_order_and_stage():
    rows = campaigns(hand())
    assert [(row["order"], row["stage"], row["batches"], row["number"]) for row in rows] == [
        ("X", "coat", "1, 2", 1), ("Y", "print", "1", 1), ("X", "print", "1, 2", 1),
    ]  # fmt: skip


def test_without_dues_or_stores_there_is_little_to_say():
    bare = replace(hand(), shop=replace(hand().shop, dues=(), store=None, resources=()))
    assert (deliveries(bare), critical(bare), people(bare), store(bare)["breaches"]) == ([], [], [], [])


# --- time ----------------------------------------------------------------------------------------------------------


def test_hours_go_on_while_the_clocks_change():
    """48 h from 28 March 2026, 00:00 in Berlin: summer time begins on the 29th at 02:00 (Directive 2000/84/EC)."""
    planned = replace(hand(), begins=datetime(2026, 3, 28, tzinfo=ZoneInfo("Europe/Berlin")))
    at = moment(planned, 48)
    assert at.isoformat() == "2026-03-30T01:00:00+02:00"
    assert unit_at(planned, at) == 48
    assert [one[1:] for one in weeks(planned, 60)] == [(0, 47), (47, 60)]  # that Sunday has 23 h


def test_weeks_are_those_of_iso_8601():
    """1 January 2027 lies in week 53 of 2026: ISO 8601, as datetime counts it."""
    planned = replace(hand(), begins=datetime(2026, 12, 31, 12, tzinfo=UTC))
    assert list(weeks(planned, 120)) == [("2026-W53", 0, 84), ("2027-W01", 84, 120)]


@pytest.mark.parametrize(("hours", "words"), [(0, "0 h"), (47.5, "47.5 h"), (48, "2 days"), (52, "2 days 4 h")])
def test_lengths_in_words(hours, words):
    assert in_words(hours) == words


SPELLS = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 9)).map(lambda one: (one[0], one[0] + one[1])), max_size=6
)


@given(SPELLS, st.integers(0, 70), st.integers(0, 20))
def test_open_time_is_as_the_checker_counts_it(closed, start, units):
    time_ = OpenTime(Machine("M", tuple(closed)))
    if units:
        assert time_.end(start, units) == ends(closed, start, units)
    opened = sum(not any(a <= t < b for a, b in closed) for t in range(start, start + units))
    assert time_.between(start, start + units) == opened == sum(b - a for a, b in time_.parts(start, start + units))
    begin = time_.start(start, units)
    assert time_.between(begin, start) == units
    assert begin == start or time_.between(begin + 1, start) < units  # no later one


def test_set_ups_lie_before_their_tasks_clear_of_work_and_maintenance():
    planned = replace(large(), shop=replace(large().shop, setups_open=True))
    planned = replace(planned, schedule=greedy(planned.shop))
    found = setups(planned)
    assert len(found) > 20
    for i, (begin, end) in found.items():
        m = planned.schedule.machine[i]
        assert end <= planned.schedule.start[i]
        assert not any(overlap((begin, end), spell) for spell in planned.shop.machines[m].maintenance)
        others = [n for n, on in enumerate(planned.schedule.machine) if on == m and n != i]
        assert not any(overlap((begin, end), (planned.schedule.start[n], planned.schedule.end[n])) for n in others)


# --- pins ----------------------------------------------------------------------------------------------------------


def test_a_pinned_task_waits_out_what_is_in_its_way():
    """X2 on the press from 26 would run into the maintenance from 30 to 32: it begins after it."""
    after = pinned(hand(), 3, 1, 26)
    assert (after.schedule.start[3], after.schedule.end[3]) == (32, 38)
    assert after.schedule.start[:3] == hand().schedule.start[:3]
    assert kept(after.schedule, after.pinned)
    assert check(after.shop, after.schedule).violations == ()
    assert "3 h" not in changed(hand(), after)[0]
    assert changed(hand(), after)[0].startswith("X, 2 batches: ready 18 h later")
    row = next(row for row in critical(after, 0) if row["operation"] == 3)
    assert (row["because"], row["says"].partition(";")[0]) == ("pin", "pinned to Tue 2026-03-03 08:00")


def test_a_pinned_task_takes_its_turn_among_what_begins_before_and_after_it():
    """Y pinned to 9: X1, planned for 8 behind Y and a set-up, now finds the press free and set up for nothing at 6."""
    after = pinned(hand(), 4, 1, 9)
    assert check(after.shop, after.schedule).violations == ()
    assert after.schedule.start == (0, 6, 4, 23, 15)  # X1 6-12, set-up to 15, Y to 20, set-up to 23, X2


def test_pinning_where_it_is_moves_nothing():
    before = large(2, orders=3, batches=4, stages=6)
    at = before.schedule
    after = pinned(before, 20, at.machine[20], at.start[20])
    assert (after.schedule, after.cost) == (at, before.cost)
    assert carried_over(after) is after
    assert unpinned(after, 20) == before


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(1, 3), st.data())
def test_a_pin_breaks_no_rule_that_people_cannot_bend(seed, data):
    """By the independent checker: only the store, longest waits and people may give way."""
    before = large(seed, orders=2, batches=3, stages=6)
    for _ in range(2):
        operation = data.draw(st.integers(0, len(before.shop.operations) - 1))
        machine = data.draw(st.sampled_from([m for m, _ in before.shop.stage(operation).on]))
        start = data.draw(st.integers(0, 1500))
        try:
            before = pinned(before, operation, machine, start)
        except Clash:
            continue
        assert kept(before.schedule, before.pinned)
        assert {one.kind for one in check(before.shop, before.schedule).violations} <= CAN_BREAK


@pytest.mark.parametrize(("pin", "words"), [
    ((9, 1, 0), "the plan has 5 operations"), ((3, 0, 0), "can go on press"), ((3, 7, 0), "can go on press"),
    ((3, 1, -1), "reaches 100 h"), ((3, 1, 100), "reaches 100 h"),
])  # fmt: skip
def test_what_cannot_be_pinned_is_told(pin, words):
    with pytest.raises(BadValue, match=words):
        pinned(hand(), *pin)


def test_what_is_frozen_stays():
    with pytest.raises(Clash, match="frozen"):
        pinned(replace(hand(), frozen=frozenset({3})), 3, 1, 40)
    with pytest.raises(BadValue, match="not pinned"):
        unpinned(hand(), 3)


# --- the file ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plan_is_the_same_after_its_file(tmp_path, seed):
    planned = replace(pinned(large(seed), 30, *_same(large(seed), 30)), frozen=frozenset({1, 5}), says=("a", "b"))
    write_plan(tmp_path, "current", to_dict(planned) | {"told": {"by": "A. Moss"}})
    read = read_plan(tmp_path, "current")
    assert read is not None
    assert read["told"] == {"by": "A. Moss"}
    assert from_dict(read, planned.begins) == planned
    assert from_dict(read).begins == planned.begins
    assert [one.name for one in (tmp_path / "plans").iterdir()] == ["current.json"]  # nothing half written is left


def _same(planned: Planned, i: int) -> tuple[int, int]:
    return planned.schedule.machine[i], planned.schedule.start[i]


def test_no_file_is_no_plan(tmp_path):
    assert read_plan(tmp_path, "current") is None
    assert stamp_of(tmp_path, "current") is None
    with pytest.raises(BadValue, match="letters"):
        read_plan(tmp_path, "../key")


DAMAGED = [
    (lambda d: d | {"format": 2}, "reads format 1"), (lambda d: d | {"machine": [0.5]}, "damaged at machine"),
    (lambda d: {k: v for k, v in d.items() if k != "shop"}, "damaged at shop"),
    (lambda d: d | {"start": [-4] * 5}, "damaged at start"), (lambda d: d | {"more": 1}, "damaged at more"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), DAMAGED)
def test_a_damaged_file_is_told(tmp_path, change, words):
    (tmp_path / "plans").mkdir()
    path = tmp_path / "plans" / "current.json"
    path.write_text(json.dumps(change(to_dict(hand()))), encoding="utf-8")
    with pytest.raises(Problem, match=words) as no:
        read_plan(tmp_path, "current")
    assert "plan again" in no.value.cure
    for text in ("", "{", '{"format": 1', "\x00", "[" * 5000):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(Problem, match="plan current in plans/"):
            read_plan(tmp_path, "current")


@pytest.mark.parametrize(("change", "words"), [
    ({"end": [1, 2]}, "times of"), ({"machine": [9] * 5}, "machines beyond"), ({"frozen": [77]}, "not there"),
    ({"pinned": [[88, 0, 0]]}, "not there"), ({"begins": "2026-03-02T06:00:00"}, "no zone"),
])  # fmt: skip
def test_parts_that_do_not_fit_together_are_told(change, words):
    with pytest.raises(Problem, match=words):
        from_dict(to_dict(hand()) | change)


# --- pictures ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", ["machine", "order"])
@pytest.mark.parametrize("weeks_", [12, 600])
def test_every_operation_is_in_the_picture(by, weeks_):
    """However thin: what would not be seen is drawn with its campaign."""
    planned = large()
    drawn = ET.fromstring(gantt_picture(planned, (0, weeks_ * 336), by=by, alone=False, address=lambda i: f"?op={i}"))
    bars = [one for one in drawn.iter() if one.get("data-op")]
    assert sum(int(one.get("data-many", 0)) for one in bars) == 720
    assert all(one.get("aria-label") for one in bars)
    assert len(bars) == 720 if weeks_ == 12 else len(bars) < 200


def test_a_window_shows_what_lies_in_it():
    drawn = gantt_picture(hand(), (7, 15), by="machine", alone=False, address=lambda i: f"?op={i}")
    assert {one.get("data-op") for one in ET.fromstring(drawn).iter() if one.get("data-op")} == {"1", "2", "3"}
    assert 'data-minutes="480"' in drawn
    assert 'data-from="2026-03-02T13:00+00:00"' in drawn


def test_the_whole_window_holds_all_and_a_due_that_is_near():
    """Work ends at 20; a due at 26 is shown, one at 500 is named at the edge."""
    near = replace(hand(), shop=replace(hand().shop, dues=(Due(0, 2, 26), Due(1, 1, 500))))
    low, high = whole(near)
    assert low <= 0
    assert 26 <= high < 40
    assert "1 due later, from 23 Mar" in gantt_picture(near, (low, high))


def test_late_frozen_pinned_and_closed_are_marked():
    planned = replace(hand(), frozen=frozenset({0, 4}), pinned=((3, 1, 14),))
    drawn = gantt_picture(planned, (0, 30), chosen=1)
    assert "X: 2 batches due Tue 2026-03-03 00:00, ready Tue 2026-03-03 02:00, late" in drawn
    for words in ("frozen before", "; pinned", "; frozen", "maintenance"):
        assert words in drawn, words
    assert drawn.count('fill="url(#gantt-machine-kept)"') == 1  # its legend: the maintenance lies at the window's end
    assert gantt_picture(planned, (0, 40)).count('fill="url(#gantt-machine-kept)"') == 2


def test_names_that_mean_something_to_a_browser_are_only_names():
    bad = "<b>&\"'"
    planned = hand()
    jobs = tuple(replace(job, name=bad + job.name) for job in planned.shop.jobs)
    planned = replace(planned, shop=replace(planned.shop, jobs=jobs))
    for by in ("machine", "order"):
        words = "".join(ET.fromstring(gantt_picture(planned, (0, 30), by=by)).itertext())
        assert bad in words
    assert bad not in gantt_picture(planned, (0, 30))
    ET.fromstring(load_picture([row | {"machine": bad} for row in load(planned)], alone=True))


def test_orders_are_told_apart_without_colour():
    assert len({_tone(job) for job in range(24)}) == 24
    assert [letter(n) for n in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


def test_load_and_store_are_pictures_that_say_what_they_show():
    planned = large()
    told, rows = store(planned), load(planned)
    for text, words in ((store_picture(planned, told, whole(planned), alone=True), "12 places"),
                        (load_picture(rows, alone=True), "14 machines in 11 weeks")):  # fmt: skip
        assert words in "".join(ET.fromstring(text).itertext())
    empty = store_picture(planned, {"levels": [], "places": None, "breaches": []}, (0, 10), alone=False)
    assert "no limit is set" in empty


def test_a_picture_of_720_tasks_stays_small():
    # how fast it is drawn is a figure of the bench
    planned = large()
    picture = gantt_picture(planned, whole(planned), alone=False, address=str)
    assert len(planned.shop.operations) == 720
    assert len(list(ET.fromstring(picture).iter())) < 10 * 720


def test_plans_lie_beside_the_journal(tmp_path):
    assert isinstance(tmp_path, Path)
    write_plan(tmp_path, "current", to_dict(hand()))
    assert (tmp_path / "plans" / "current.json").stat().st_size > 500
    (tmp_path / "file").write_text("x")
    with pytest.raises(Problem, match="writing plan"):
        write_plan(tmp_path / "file", "current", to_dict(hand()))
