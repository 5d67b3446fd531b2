"""Spans and Extent: worked examples, then laws against `portion`, an interval library of another hand, slow and plain.

portion knows numbers between whole numbers, so it takes [3, 5) and [5, 9) for one range, as Spans do.
"""

from itertools import pairwise

import numpy as np
import portion  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.spans import EMPTY, Extent, Place, Spans

SMALL = st.integers(-12, 40)
PAIRS = st.lists(st.tuples(SMALL, SMALL).map(lambda p: (min(p), max(p))), max_size=8)
SPANS = PAIRS.map(lambda pairs: Spans.of(*pairs))
PLACES: st.SearchStrategy[Place] = st.sampled_from([("roll", 1), ("roll", 2), ("pile", 0), ("series S", 0)])
EXTENTS = st.lists(st.tuples(PLACES, SPANS), max_size=6).map(Extent)


def other(spans: Spans) -> portion.Interval:
    """The same set as portion has it."""
    return portion.Interval(*(portion.closedopen(a, b) for a, b in spans))


def pairs(interval: portion.Interval) -> list[tuple[int, int]]:
    return [(one.lower, one.upper) for one in interval if not one.empty]


def whole(spans: Spans) -> set[int]:
    """Every integer in it, one by one."""
    return {x for a, b in spans for x in range(a, b)}


def every(extent: Extent) -> set[tuple[Place, int]]:
    return {(place, x) for place, spans in extent.items() for x in whole(spans)}


# --- worked examples ----------------------------------------------------------------------------------------


def test_ranges_that_touch_are_one_range() -> None:
    assert list(Spans.of((3, 5), (5, 9))) == [(3, 9)]
    assert Spans.of((3, 5), (5, 9)) == Spans.of((3, 9))


def test_order_overlap_and_emptiness_of_what_is_given_leave_no_trace() -> None:
    assert list(Spans.of((20, 24), (7, 7), (0, 3), (2, 6), (0, 1))) == [(0, 6), (20, 24)]


def test_a_burst_pulled_from_the_middle_of_a_pile_leaves_two_ranges() -> None:
    pile, burst = Spans.of((0, 500)), Spans.of((200, 217))
    assert list(pile - burst) == [(0, 200), (217, 500)]
    assert (pile - burst).size == 483
    assert (pile - burst) | burst == pile


def test_ends_are_half_open() -> None:
    one = Spans.of((10, 20))
    assert 10 in one
    assert 19 in one
    assert 9 not in one
    assert 20 not in one
    assert not one & Spans.of((20, 30))


def test_first_stop_and_shift() -> None:
    one = Spans.of((4, 6), (9, 12))
    assert (one.first, one.stop, one.size, len(one)) == (4, 12, 5, 2)
    assert one.shifted(-4) == Spans.of((0, 2), (5, 8))


def test_nothing_is_nothing() -> None:
    assert not EMPTY
    assert Spans.of((5, 5)) == EMPTY
    assert (EMPTY.size, len(EMPTY), list(EMPTY)) == (0, 0, [])
    assert 0 not in EMPTY
    assert EMPTY | EMPTY == EMPTY & EMPTY == EMPTY - EMPTY == EMPTY.shifted(3) == EMPTY
    assert Spans.of((1, 4)).covers(EMPTY)
    assert not EMPTY.covers(Spans.of((1, 2)))
    for ask in ("first", "stop"):
        with pytest.raises(IndexError):
            getattr(EMPTY, ask)


def test_a_range_that_runs_backwards_is_refused_with_the_cure() -> None:
    with pytest.raises(BadValue, match=r"range = \(9, 3\): it ends before it starts; give start first, then stop"):
        Spans.of((0, 2), (9, 3))


def test_a_day_of_web_in_um_is_held_exactly() -> None:
    # 40 rolls of 8 km are 3.2e11 um: beyond 32 bits, far within 64.
    web = Spans.of((0, 320_000_000_000))
    splice = Spans.of((159_999_999_999, 160_000_000_001))
    assert (web - splice).size == 319_999_999_998
    assert 160_000_000_000 not in web - splice


def test_spans_cannot_be_changed_afterwards() -> None:
    starts = np.array([0, 10])
    one = Spans(starts, np.array([5, 12]))
    starts[0] = 3
    assert one == Spans.of((0, 5), (10, 12))
    with pytest.raises(ValueError, match="read-only"):
        one.starts[0] = 1


def test_a_long_set_is_shown_by_its_first_ranges() -> None:
    assert repr(Spans.of((1, 3), (7, 8))) == "Spans([1, 3) [7, 8))"
    assert repr(Spans.of(*((10 * i, 10 * i + 1) for i in range(9)))).endswith("[50, 51) …)")


def test_a_set_is_no_other_thing() -> None:
    assert Spans.of((0, 1)) != [(0, 1)]


# --- laws, against portion ----------------------------------------------------------------------------------


@given(PAIRS)
def test_normal_form_is_sorted_disjoint_not_touching_and_not_empty(given_pairs: list[tuple[int, int]]) -> None:
    one = Spans.of(*given_pairs)
    ranges = list(one)
    assert all(a < b for a, b in ranges)
    assert all(b < c for (_, b), (c, _) in pairwise(ranges))
    assert ranges == pairs(portion.Interval(*(portion.closedopen(a, b) for a, b in given_pairs)))
    assert one.size == len(whole(one))


@given(SPANS, SPANS)
def test_union_intersection_and_difference_are_those_of_portion(a: Spans, b: Spans) -> None:
    assert list(a | b) == pairs(other(a) | other(b))
    assert list(a & b) == pairs(other(a) & other(b))
    assert list(a - b) == pairs(other(a) - other(b))
    assert a.covers(b) is (other(b) in other(a))


@given(SPANS, SMALL)
def test_contains_is_that_of_portion(a: Spans, x: int) -> None:
    assert (x in a) is (x in other(a))


@given(SPANS, SPANS)
def test_equal_sets_are_equal_values_with_equal_hashes(a: Spans, b: Spans) -> None:
    assert (a == b) is (whole(a) == whole(b))
    again = Spans.of(*reversed([(x, x + 1) for x in sorted(whole(a))]))
    assert again == a
    assert hash(again) == hash(a)


@given(SPANS, SPANS, SPANS)
def test_set_algebra_holds(a: Spans, b: Spans, c: Spans) -> None:
    assert a | b == b | a
    assert (a | b) | c == a | (b | c)
    assert a & (b | c) == (a & b) | (a & c)
    assert a - (b | c) == (a - b) - c
    assert (a - b) | (a & b) == a
    assert (a - b).size + (a & b).size == a.size
    assert (a | b).size + (a & b).size == a.size + b.size


@given(SPANS, st.integers(-(10**12), 10**12))
def test_shifting_there_and_back_changes_nothing(a: Spans, by: int) -> None:
    assert a.shifted(by).shifted(-by) == a
    assert a.shifted(by).size == a.size


# --- extents ------------------------------------------------------------------------------------------------


def test_an_extent_drops_empty_places_and_gathers_what_is_named_twice() -> None:
    one = Extent([(("P1", 0), Spans.of((0, 3))), (("P2", 0), EMPTY), (("P1", 0), Spans.of((3, 5)))])
    assert dict(one) == {("P1", 0): Spans.of((0, 5))}
    assert one == Extent.one("P1", 0, 0, 5)
    assert (one.size, len(one)) == (5, 1)
    assert ("P2", 0) not in one
    assert not Extent.one("P1", 0, 7, 7)


def test_lanes_of_one_roll_are_places_of_their_own() -> None:
    lanes = Extent({("R1", 1): Spans.of((0, 9)), ("R1", 2): Spans.of((4, 6))})
    assert lanes & Extent.one("R1", 2, 0, 5) == Extent.one("R1", 2, 4, 5)
    assert lanes - Extent.one("R1", 1, 0, 9) == Extent.one("R1", 2, 4, 6)
    assert not lanes & Extent.one("R2", 1, 0, 9)


@given(EXTENTS, EXTENTS)
def test_extents_are_sets_of_places_and_integers(a: Extent, b: Extent) -> None:
    assert every(a | b) == every(a) | every(b)
    assert every(a & b) == every(a) & every(b)
    assert every(a - b) == every(a) - every(b)
    assert a.covers(b) is every(a).issuperset(every(b))
    assert a.size == len(every(a))
    assert (a == b) is (every(a) == every(b))
    assert all(spans for one in (a | b, a & b, a - b) for spans in one.values())


@given(EXTENTS)
def test_equal_extents_have_equal_hashes_in_whatever_order_they_were_put(a: Extent) -> None:
    turned = Extent(list(a.items())[::-1])
    assert turned == a
    assert hash(turned) == hash(a)
