"""The plan a person reads and the strikes the trace follows are one formula, said in two rooms: they must agree."""

from hypothesis import given
from hypothesis import strategies as st

from reelmark.stations.numbering import Numbering
from reelmark.trace.strikes import Strikes


@given(st.integers(0, 10**9), st.integers(1, 2000), st.integers(1, 60), st.booleans(), st.integers(0, 10**6), st.data())
def test_plan_and_strikes_agree(
    base: int, block: int, ups: int, descending: bool, tick: int, data: st.DataObject
) -> None:
    position = data.draw(st.integers(0, ups - 1))
    plan, strikes = Numbering(base, block, ups, descending), Strikes("S", base, block, ups, descending)
    number = plan.number(tick, position)
    assert number == strikes.number(tick, position)
    assert plan.tick_position(number) == strikes.struck(number) == (tick, position)
