"""The first bad sheet: 16 looks for a pile of 10,000 (two ends, and 2^14 > 9,999 between them)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.stations.numbering import first_bad, next_look


@given(n=st.integers(1, 10_000), data=st.data())
def test_finds_the_first_bad_sheet_in_sixteen_looks(n, data):
    bad_from = data.draw(st.integers(0, n))
    looks = []

    def look(sheet):
        looks.append(sheet)
        return sheet >= bad_from

    assert first_bad(n, look) == (bad_from if bad_from < n else None)
    assert len(looks) == len(set(looks)) <= 16
    assert all(0 <= sheet < n for sheet in looks)


def test_a_good_pile_costs_one_look():
    looks = []

    def look(sheet):
        looks.append(sheet)
        return False

    assert first_bad(10_000, look) is None
    assert looks == [9_999]


def test_next_look_halves_and_ends():
    assert next_look(0, 9) == 4
    assert next_look(4, 5) is None


def test_a_pile_that_is_not_good_then_bad_is_refused():
    with pytest.raises(BadValue, match="not good-then-bad"):
        next_look(7, 7)
    with pytest.raises(BadValue, match="empty pile"):
        first_bad(0, bool)
