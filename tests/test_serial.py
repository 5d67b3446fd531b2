"""How numbers are written.  Worked examples by hand; the law is that text and index undo each other."""

from itertools import product
from string import ascii_uppercase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue, NotThere
from reelmark.stations.numbering import Format

MONEY = Format.of(prefix_places=2, digits=7)


def test_two_letters_of_24_and_seven_digits_by_hand():
    # 24 * 24 * 10^7 = 5.76e9 texts; less one 0000000 for each of the 576 prefixes.
    assert Format.of(skip_zero=False).size == 5_760_000_000
    assert MONEY.size == 5_760_000_000 - 576


def test_zero_is_never_printed():
    assert [MONEY.text(n) for n in (0, 9_999_998, 9_999_999)] == ["AA0000001", "AA9999999", "AB0000001"]
    assert MONEY.text(MONEY.size - 1) == "ZZ9999999"
    with pytest.raises(NotThere, match=r"'AB0000000'.* all zero.* 'AB0000001'"):
        MONEY.index("AB0000000")


def test_i_and_o_are_left_out():
    assert MONEY.text(8 * 24 * 9_999_999) == "JA0000001"  # A..H are eight letters, then J
    with pytest.raises(BadValue, match=r"place 2 holds 'O', which is not in its alphabet 'ABCDEFGHJKLMNPQRSTUVWXYZ'"):
        MONEY.index("AO0000001")


def test_wrong_length_says_both_lengths():
    with pytest.raises(BadValue, match="it has 8 places and the format 9; write it like 'AA0000001'"):
        MONEY.index("AA000001")


@pytest.mark.parametrize("index", [-1, MONEY.size])
def test_index_outside_the_series(index):
    with pytest.raises(NotThere, match="the series has the indices 0 to 5759999423"):
        MONEY.text(index)


def test_specimens_are_stepped_over():
    form = Format.of(prefix_places=0, digits=2, fixed_prefix="R", reserved=("R03", "R04", "R00"))
    assert [form.text(n) for n in range(4)] == ["R01", "R02", "R05", "R06"]
    assert form.size == 97  # 00..99 less 00, 03, 04; R00 was skipped already
    with pytest.raises(NotThere, match="reserved"):
        form.index("R03")
    assert form.jumps(0, form.size - 1) == [2]  # R02 -> R05 is the one place where wheels would print what must not be


def test_jumps_lie_where_the_prefix_turns():
    assert MONEY.jumps(0, 9_999_998) == []
    assert MONEY.jumps(9_999_900, 20_000_000) == [9_999_999, 19_999_998]


def test_read_gives_none_for_what_is_no_number():
    assert MONEY.read("AB0000001") == 9_999_999
    assert [MONEY.read(t) for t in ("AB00O0001", "AB0000000", "", "AB")] == [None] * 4


@pytest.mark.parametrize(
    ("places", "tail", "reserved"),
    [((), 0, ()), (("AA",), 0, ()), (("",), 0, ()), (("A",), 1, ()), (("AB",), 2, ()), (("AB",), 0, ("A", "A")),
     (("AB",), 0, ("C",)), (("A",), 0, ("A",))],
)  # fmt: skip
def test_formats_that_cannot_be(places, tail, reserved):
    with pytest.raises(BadValue):
        Format(places, tail, reserved)


@given(index=st.integers(0, MONEY.size - 1))
def test_text_and_index_undo_each_other(index):
    assert MONEY.index(MONEY.text(index)) == index


@st.composite
def small_formats(draw):
    letters = st.integers(1, 4).map(lambda n: ascii_uppercase[:n])
    places = tuple(draw(st.lists(letters, min_size=1, max_size=4)))
    texts = ["".join(t) for t in product(*places)]
    reserved = tuple(draw(st.lists(st.sampled_from(texts), unique=True, max_size=5)))
    tail = draw(st.integers(0, len(places)))
    return places, tail, reserved, texts


@given(small_formats())
def test_same_as_the_dull_list_of_all_texts(parts):
    places, tail, reserved, texts = parts
    printed = [t for t in texts if t not in reserved and not (tail and set(t[len(t) - tail :]) == {"A"})]
    if not printed:
        with pytest.raises(BadValue):
            Format(places, tail, reserved)
        return
    form = Format(places, tail, reserved)
    assert [form.text(n) for n in range(form.size)] == printed
    assert [form.index(t) for t in printed] == list(range(form.size))
    assert [form.read(t) is None for t in texts] == [t not in printed for t in texts]
    apart = [n for n in range(1, form.size) if texts.index(printed[n]) - texts.index(printed[n - 1]) > 1]
    assert form.jumps(0, form.size - 1) == apart
