"""Numbers read on a pile of which some sheets went unnumbered: what they pin down, and what a misread must not do."""

from random import Random

import pytest

from model_records import UPS, Hand
from reelmark.facts import BLANK
from reelmark.reading import Reading
from reelmark.spans import Extent
from reelmark.striking import strikes_seen


def numbered(sheets: int, ticks: int) -> Hand:
    """A pile N of so many sheets, struck fewer times; the last strike lies on top."""
    hand = Hand()
    hand.pile("P", sheets)
    hand.write("allocate", series="S", first="A001", last="A200", purpose="order")
    hand.numbered("P", "N", ticks)
    return hand


def look(hand: Hand, sheet: int, tick: int | None) -> None:
    """Both positions of a sheet read: tick t bears A(100 - t) and A(200 - t), or nothing."""
    texts = ["" if tick is None else f"A{100 * (p + 1) - tick:03d}" for p in range(UPS)]
    hand.write("read", unit="N", sheet=sheet, reads=[{"position": p, "text": text} for p, text in enumerate(texts)])


def sheet_of(reading: Reading, tick: int) -> tuple[Extent, Extent]:
    answer = reading.thread.back(Extent.one("series S", 0, 99 - tick, 100 - tick)).of(lambda unit: unit == "N")
    return answer.may, answer.must


def test_one_sheet_unnumbered_leaves_every_strike_one_of_two_sheets() -> None:
    reading = numbered(10, 9).reading()
    assert sheet_of(reading, 4)[0] == Extent.one("N", 0, 4, 6)
    assert not sheet_of(reading, 4)[1]


def test_a_read_settles_all_that_lie_on_one_side_of_it() -> None:
    # Sheet 3 from the top bears strike 5: 8, 7, 6 lie above it, so the sheet without a number lies below.
    hand = numbered(10, 9)
    look(hand, 3, 5)
    reading = hand.reading()
    assert sheet_of(reading, 7)[0] == Extent.one("N", 0, 1, 2)
    assert sheet_of(reading, 4)[0] == Extent.one("N", 0, 4, 6)


def test_the_sheet_without_a_number_found_settles_all() -> None:
    hand = numbered(10, 9)
    look(hand, 6, None)
    reading = hand.reading()
    assert [sheet_of(reading, tick) for tick in range(9)] == [
        (Extent.one("N", 0, y, y + 1),) * 2 for y in (9, 8, 7, 5, 4, 3, 2, 1, 0)
    ]


@pytest.mark.parametrize("tick", [3, 7, 8])
def test_a_misread_that_cannot_be_true_pins_nothing(tick: int) -> None:
    hand = numbered(10, 9)
    before = sheet_of(hand.reading(), 4)
    look(hand, 3, tick)
    reading = hand.reading()
    assert strikes_seen(reading.shop) == []
    assert sheet_of(reading, 4) == before


def test_of_reads_that_cannot_all_be_true_the_most_that_agree_are_believed() -> None:
    hand = numbered(12, 10)
    for sheet, tick in ((0, 9), (2, 7), (4, 4), (6, 3), (8, 1)):  # sheet 4 bears strike 5 in truth
        look(hand, sheet, tick)
    assert [(tie.sheet, tie.as_sheet) for tie in strikes_seen(hand.reading().shop)] == [(0, 9), (2, 7), (6, 3), (8, 1)]


def test_a_read_that_goes_against_a_blank_sheet_found_is_not_believed() -> None:
    hand = numbered(10, 9)
    look(hand, 4, None)
    look(hand, 2, 6)
    look(hand, 7, 1)  # with sheet 4 blank it bears strike 2
    ties = strikes_seen(hand.reading().shop)
    assert [(tie.sheet, tie.as_unit == BLANK) for tie in ties] == [(4, True), (2, False)]


@pytest.mark.parametrize("seed", range(60))
def test_true_reads_are_all_believed_and_the_truth_lies_within_may_whatever_is_misread(seed: int) -> None:
    rng = Random(seed)
    sheets, missed = rng.randint(5, 25), rng.randint(1, 3)
    blank = set(rng.sample(range(sheets), missed))
    ticks = sheets - missed
    struck = {y: ticks - 1 - e for e, y in enumerate(y for y in range(sheets) if y not in blank)}
    hand = numbered(sheets, ticks)
    for y in rng.sample(range(sheets), rng.randint(0, sheets)):
        look(hand, y, struck.get(y))
    true = hand.reading()
    assert len(strikes_seen(true.shop)) == len(hand.records) - 4
    for y, tick in struck.items():
        may, must = sheet_of(true, tick)
        assert may.covers(Extent.one("N", 0, y, y + 1))
        assert Extent.one("N", 0, y, y + 1).covers(must)
    for _ in range(rng.randint(1, 3)):
        look(hand, rng.randrange(sheets), rng.randrange(ticks))
    reading = hand.reading()
    for tick in struck.values():
        sheet_of(reading, tick)  # answered, not refused
