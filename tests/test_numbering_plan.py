"""The numbering plan.  Examples by hand; the laws are that the plan bears each number once, and comes back."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue, NotThere
from reelmark.stations.numbering import (
    Format,
    Numbering,
    bundles,
    descending_for,
    packs,
    settings_by_hand,
    settings_sheet,
)

MONEY = Format.of()

plans = st.builds(
    Numbering,
    base=st.integers(0, 10**9),
    block=st.integers(1, 12),
    ups=st.integers(1, 6),
    descending=st.booleans(),
    first_tick=st.integers(0, 1000),
)


def test_the_formula_by_hand():
    up = Numbering(base=0, block=100, ups=45)
    assert [up.number(t, p) for t, p in ((0, 0), (99, 0), (0, 1), (100, 0), (101, 44))] == [0, 99, 100, 4500, 8901]
    down = Numbering(base=0, block=100, ups=45, descending=True)
    assert [down.number(t, p) for t, p in ((0, 0), (99, 0), (0, 1), (100, 0), (101, 44))] == [99, 0, 199, 4599, 8998]


def test_the_press_counter_may_begin_anywhere():
    plan = Numbering(base=7000, block=10, ups=2, first_tick=500)
    assert plan.number(500, 0) == 7000
    assert plan.tick_position(7020) == (510, 0)


@given(plans, st.integers(0, 40))
def test_each_number_of_the_span_is_borne_once_or_unused(plan, ticks):
    borne = [plan.number(plan.first_tick + t, p) for t in range(ticks) for p in range(plan.ups)]
    unused = [n for r in plan.unused(ticks) for n in range(r.first, r.stop)]
    assert Counter(borne + unused) == Counter(range(plan.base, plan.base + plan.span(ticks)))


@given(plans, st.integers(0, 10**6), st.data())
def test_tick_and_position_come_back_from_the_number(plan, t, data):
    place = plan.first_tick + t, data.draw(st.integers(0, plan.ups - 1))
    assert plan.tick_position(plan.number(*place)) == place


@given(plans, st.integers(0, 50), st.integers(-1, 50), st.data())
def test_numbers_of_a_run_of_ticks(plan, first, more, data):
    first += plan.first_tick
    p = data.draw(st.integers(0, plan.ups - 1))
    dull = sorted(plan.number(t, p) for t in range(first, first + more + 1))
    assert sorted(n for r in plan.of_ticks(first, first + more, p) for n in range(r.first, r.stop)) == dull


@given(tens=st.integers(2, 4), hundreds=st.integers(0, 500), tick=st.integers(0, 10**6), down=st.booleans())
def test_with_a_block_of_a_power_of_ten_a_sheet_shows_the_same_low_digits(tens, hundreds, tick, down):
    plan = Numbering(base=hundreds * 10**tens, block=10**tens, ups=45, descending=down)
    texts = [MONEY.text(plan.number(tick % 50_000, p)) for p in range(45)]
    assert len({text[-tens:] for text in texts}) == 1


@given(
    hundreds=st.integers(1, 20),
    base=st.integers(0, 50).map(lambda n: n * 100),
    k=st.integers(0, 9),
    p=st.integers(0, 44),
)
def test_a_block_that_is_a_multiple_of_100_gives_whole_packs_up_or_down(hundreds, base, k, p):
    for down in (False, True):
        plan = Numbering(base, hundreds * 100, 45, down)
        block = plan.block_of(k, p)
        ticks = range(k * plan.block, (k + 1) * plan.block)
        stack = [plan.number(t, p) for t in ticks]
        for n, pack in enumerate(packs(block.first, plan.block)):
            lift = stack[::-1][n * 100 : n * 100 + 100] if down else stack[n * 100 : n * 100 + 100]
            assert lift == list(range(pack.first, pack.stop))
            assert pack.first % 100 == 0


def test_lots_that_do_not_come_out_whole_are_refused():
    with pytest.raises(BadValue, match="50 notes are left over after whole lots of 100"):
        packs(0, 250)
    assert [tuple(b) for b in bundles(1000, 2000)] == [(1000, 1999), (2000, 2999)]


@given(st.integers(0, 6), st.integers(1, 20))
def test_the_lowest_number_lies_on_top_at_the_cutter(reversals, sheets):
    # The dull walk: the delivery builds from the bottom, then the pile is turned over so many times.
    plan = Numbering(0, 20, 3, descending_for(reversals))
    pile = [plan.number(t, 1) for t in range(sheets)]  # bottom first
    for _ in range(reversals):
        pile.reverse()
    assert pile[-1] == min(pile)


# ceil(1,110,000 / B) * 45, by hand.
@pytest.mark.parametrize(("block", "settings"), [(100, 499_500), (1_000, 49_950), (100_000, 540)])
def test_settings_by_hand_for_1_110_000_sheets(block, settings):
    assert settings_by_hand(1_110_000, block, 45) == settings


def test_settings_sheet_by_hand():
    down = settings_sheet(Numbering(0, 1000, 2, descending=True), MONEY, range(2))
    assert [(s.tick, s.position, s.text, s.step) for s in down] == [
        (0, 0, "AA0001000", -1),
        (0, 1, "AA0002000", -1),
        (1000, 0, "AA0003000", -1),
        (1000, 1, "AA0004000", -1),
    ]


def test_settings_sheet_sets_the_box_anew_where_the_wheels_would_print_0000000():
    # Block 9,999,000 .. 9,999,999: AA9999001 .. AA9999999, then not AB0000000 but AB0000001.
    up = settings_sheet(Numbering(9_999_000, 1000, 1), MONEY, range(1))
    assert [(s.tick, s.text) for s in up] == [(0, "AA9999001"), (999, "AB0000001")]
    down = settings_sheet(Numbering(9_999_000, 1000, 1, descending=True), MONEY, range(1))
    assert [(s.tick, s.text) for s in down] == [(0, "AB0000001"), (1, "AA9999999")]


@given(plans, st.integers(0, 3))
def test_boxes_set_by_the_sheet_print_the_plan(plan, block):
    form = Format.of(prefix_places=1, digits=2, letters="AB", reserved=("A07", "A08", "B50"))
    plan = Numbering(plan.base % 30, plan.block, min(plan.ups, 3), plan.descending, plan.first_tick)
    raw = [f"{letter}{n:02}" for letter in "AB" for n in range(100)]
    wheels: dict[int, int] = {}
    todo = settings_sheet(plan, form, range(block, block + 1))
    start = plan.first_tick + block * plan.block
    for tick in range(start, start + plan.block):
        wheels = {p: at + plan.direction for p, at in wheels.items()}
        wheels |= {s.position: raw.index(s.text) for s in todo if s.tick == tick}
        assert [raw[wheels[p]] for p in range(plan.ups)] == [form.text(plan.number(tick, p)) for p in range(plan.ups)]


def test_what_the_plan_does_not_hold_is_refused():
    plan = Numbering(base=100, block=10, ups=4, first_tick=5)
    with pytest.raises(NotThere, match="the plan begins at tick 5"):
        plan.number(4, 0)
    with pytest.raises(NotThere, match="positions 0 to 3"):
        plan.number(5, 4)
    with pytest.raises(NotThere, match="begins at number 100"):
        plan.tick_position(99)
    with pytest.raises(BadValue, match="block = 0"):
        Numbering(0, 0, 1)
    with pytest.raises(BadValue, match="a count is 0 or more"):
        descending_for(-1)
