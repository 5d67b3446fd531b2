"""The search box: what is typed, the places it may mean, and what is said where there is none.

The works is small and its names are worked out by hand: a sheet bears 2 notes, a block of 100 strikes 200 numbers.
"""

from contextlib import suppress
from time import perf_counter

import pytest

from model_records import Hand
from reelmark.acts.find import MOST, Place, find, plain
from reelmark.errors import BadValue, NotThere
from reelmark.reading import Reading


@pytest.fixture(scope="module")
def reading() -> Reading:
    """Series S, A001 to A999 and on, of which the order was given A001 to A400; 25 piles X00 to X24.  61 entries."""
    hand = Hand()
    hand.write("allocate", series="S", first="A001", last="A400", purpose="order")  # 0
    hand.pile("P1", 200)  # 1, 2
    hand.write("mark", unit="R P1", lanes=[1], start="1 m", end="1.12 m", fault="Pinhole in window", seen_by="viewer")
    hand.write("mark", unit="R P1", lanes=[1], start="2 m", end="2.5 m", fault="thick band", seen_by="gauge")
    hand.write("mark", unit="R P1", lanes=[1], start="3 m", end="3.5 m", fault="thick band", seen_by="gauge")
    hand.printed("P1", "P2", [(0, 3)])  # 6
    for n in range(25):
        hand.pile(f"X{n:02d}", 1)
    hand.pile("p1", 1)
    hand.pile("P2x", 1)
    made: Reading = hand.reading()
    return made


def only(reading: Reading, text: str) -> Place:
    (place,) = find(reading, text)
    return place


@pytest.mark.parametrize("text", ["A007", "a007", " a 00.7 ", "A.007"])
def test_a_number_in_any_case_with_spaces_and_dots(reading, text):
    place = only(reading, text)
    assert (place.kind, place.name, place.first, place.of) == ("number", "S", "A007", ("series S@A007-A007",))


def test_the_first_number_of_a_pack_is_a_number_still(reading):
    assert only(reading, "A101").kind == "number"


@pytest.mark.parametrize("text", ["A101 pack", "a101 PACK", "pack A101", "A150 pack", "A101-A200", "a101 to a200",
                                  "A101 - A200 pack"])  # fmt: skip
def test_a_pack_by_a_number_in_it_or_its_range(reading, text):
    place = only(reading, text)
    assert (place.kind, place.first, place.last) == ("pack", "A101", "A200")


def test_a_range_that_is_no_pack_is_a_stretch_of_its_series(reading):
    place = only(reading, "A101-A250")
    assert (place.kind, place.of) == ("series", ("series S@A101-A250",))


def test_a_bundle_ends_where_the_series_ends(reading):
    """Its 1,000 numbers A001 to A999, B001 (the thousandth, for A000 is never printed)."""
    place = only(reading, "A001 bundle")
    assert (place.kind, place.first, place.last) == ("bundle", "A001", "B001")


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("P1", "pile", "P1"), ("p1", "pile", "p1"), ("P2", "pile", "P2"), ("p2", "pile", "P2"), ("r p2x", "roll", "R P2x"),
    ("R  P1", "roll", "R P1"), ("P2/0", "lot", "P2/0"), ("s", "series", "S"), ("series S", "series", "S"),
])  # fmt: skip
def test_a_unit_as_written_comes_before_one_written_otherwise(reading, text, kind, name):
    place = only(reading, text)
    assert (place.kind, place.name) == (kind, name)


def test_part_of_a_name_lists_what_holds_it_those_that_begin_with_it_first(reading):
    assert [place.name for place in find(reading, "p")][:6] == ["P1", "P2", "P2/0", "p1", "P2x", "R P1"]


def test_many_are_cut_to_the_most(reading):
    found = [place.name for place in find(reading, "x")]
    assert found == [f"X{n:02d}" for n in range(MOST)]


def test_marks_by_the_words_of_their_fault(reading):
    assert [(p.kind, p.entry) for p in find(reading, "Thick Band")] == [("mark", 4), ("mark", 5)]
    assert only(reading, "window pinhole").of == ("R P1@1-1.12m",)
    assert only(reading, "pinhole").entry == 3


def test_entries_and_marks_by_their_entry(reading):
    assert (only(reading, "#3").kind, only(reading, "# 3").entry) == ("mark", 3)
    assert (only(reading, "#0").kind, only(reading, "entry 6").entry) == ("entry", 6)
    assert only(reading, "#6").words == "#6, print at press"


@pytest.mark.parametrize(("text", "true"), [
    ("A401", "this order was given A001 to A400"),
    ("A401 pack", "this order was given A001 to A400"),
    ("A390-A410", "this order was given A001 to A400"),
    ("AI01", "as a number: place 2 holds 'I'"),
    ("A000", "never printed"),
    ("A12", "it has 3 signs, and numbers have 4, as A001"),
    ("P3", "near it: P1, P2, p1"),
    ("#61", "the journal holds entries #0 to #60"),
])  # fmt: skip
def test_what_is_not_there_is_told_with_what_is(reading, text, true):
    with pytest.raises(NotThere) as no:
        find(reading, text)
    assert true in no.value.true
    assert no.value.cure.startswith("type ")


@pytest.mark.parametrize("text", ["", "   ", "\t\n", "x" * 101, "A200-A101"])
def test_what_cannot_be_a_question(reading, text):
    with pytest.raises(BadValue):
        find(reading, text)


@pytest.mark.parametrize("text", [
    "ß", "#", "#-1", "#９", "-", "–", "--", "@", "P1@0-3", "%", "' or 1=1", "\u202e", "😀", "pack", "bundle", " to ",
    "A001-A002-A003", "#" + "9" * 90, "A" * 100, "0" * 100, "\x00", "pack pack pack",
])  # fmt: skip
def test_no_text_breaks_it(reading, text):
    with suppress(BadValue):
        assert find(reading, text)


def test_an_order_without_records_says_so():
    empty = Hand().reading()
    with pytest.raises(NotThere, match="was given no number yet"):
        find(empty, "A001")
    with pytest.raises(NotThere, match="the journal is empty"):
        find(empty, "#0")


def test_plain():
    assert plain(" aa 000.1001\t") == "AA0001001"


def test_it_is_quick(reading):
    """A guard against a search that grows with the notes: 30 ms for ten searches is far above what it takes."""
    start = perf_counter()
    for text in ("A007", "P2", "x", "thick band", "#3", "A101 pack", "A101-A250", "p", "R P1", "S"):
        find(reading, text)
    assert perf_counter() - start < 0.03
