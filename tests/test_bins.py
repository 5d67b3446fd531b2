"""Columns of a long axis: mean against a count of every integer, and no place ever lost."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.bins import LEVELS, bands, shares
from reelmark.spans import EMPTY, Spans

sets = st.lists(st.tuples(st.integers(0, 400), st.integers(1, 60)), max_size=12).map(
    lambda pairs: Spans.of(*((a, a + n) for a, n in pairs))
)


@given(sets, st.integers(0, 300), st.integers(1, 12), st.integers(1, 30))
def test_a_column_s_share_is_the_count_of_its_integers(spans: Spans, start: int, wide: int, columns: int) -> None:
    """Columns of whole width, so that every integer belongs to one: counted one by one."""
    stop = start + wide * columns
    counted = [sum(x in spans for x in range(start + c * wide, start + (c + 1) * wide)) / wide for c in range(columns)]
    assert shares(spans, start, stop, columns) == pytest.approx(counted, abs=1e-12)


@given(sets, st.integers(1, 50))
def test_shares_keep_the_whole(spans: Spans, columns: int) -> None:
    """The mean over all columns is the mean over the axis, whatever the columns."""
    share = shares(spans, 0, 500, columns)
    assert share.mean() * 500 == pytest.approx(spans.size, abs=1e-9)


def test_a_metre_in_forty_kilometres_is_drawn() -> None:
    metre = Spans.of((5_214_000_000, 5_215_000_000))
    share = shares(metre, 0, 40_000_000_000, 1100)
    assert np.flatnonzero(share).tolist() == [143]  # 5214 m of 36.36 m a column
    assert bands(share) == [(143, 144, 1)]
    assert share[143] == pytest.approx(1 / (40_000 / 1100))


def test_a_single_um_is_never_of_strength_0() -> None:
    assert bands(shares(Spans.of((7, 8)), 0, 2**40, 1000)) == [(0, 1, 1)]


def test_full_columns_are_of_full_strength_and_neighbours_are_one_band() -> None:
    assert bands(shares(Spans.of((100, 300)), 0, 1000, 10)) == [(1, 3, LEVELS)]
    assert bands(shares(EMPTY, 0, 1000, 10)) == []


@given(sets, st.integers(2, 60))
def test_bands_cover_what_is_touched_and_nothing_else(spans: Spans, columns: int) -> None:
    share = shares(spans, 0, 500, columns)
    drawn = {c for a, b, _ in bands(share) for c in range(a, b)}
    assert drawn == {c for c in range(columns) if share[c] > 0}
    for (_, stop, one), (start, _, two) in zip(bands(share), bands(share)[1:], strict=False):
        assert stop < start or one != two
