"""Records that cannot be true beside the earlier ones: refused with what, where and cure, and nothing half-taken.

The list is that of the first issue.  Each case is a small shop, one bad record more, and what the refusal must say.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, is_dataclass
from datetime import timedelta
from typing import Any

import pytest
from pydantic import BaseModel

from model_records import ORDER, WORKS, Hand
from reelmark.errors import BadValue, Clash, NotAllowed, NotThere
from reelmark.reading import Reading, Refused
from reelmark.spans import Extent, Spans

Body = dict[str, Any]


# --- the shop before the bad record -------------------------------------------------------------------------


def pile() -> Hand:
    """A white pile P of 10 sheets from roll `R P`."""
    hand = Hand()
    hand.pile("P", 10)
    return hand


def printed() -> Hand:
    """P printed to P1, 2 sheets pulled into lot P1/0: 8 are left."""
    hand = pile()
    hand.printed("P", "P1", [(3, 2)])
    return hand


def unsure() -> Hand:
    """P printed to P1, 0 to 3 sheets pulled, and nobody counted: 7 to 10 are left."""
    hand = pile()
    hand.printed("P", "P1", uncounted=[{"start": 0, "end": 10, "high": 3}])
    return hand


def roll() -> Hand:
    """A roll W of two lanes, 1 m; a roll L of one lane, 1 m."""
    hand = Hand()
    hand.write("roll", unit="W", length="1 m", lanes=2)
    hand.write("roll", unit="L", length="1 m", lanes=1)
    return hand


def rewound() -> Hand:
    """L wound to L1, 10 cm of waste."""
    hand = roll()
    hand.write("pass", kept=[kept("L", "0.1 m", "1 m")], to="L1")
    return hand


def allocated() -> Hand:
    """P, and numbers A101 to A200 of series S allocated."""
    hand = pile()
    hand.write("allocate", series="S", first="A101", last="A200", purpose="order")
    return hand


def numbered() -> Hand:
    """P numbered to N: 10 ticks from 0 in a block of 100, two positions, A001 on."""
    hand = pile()
    hand.write("allocate", series="S", first="A001", last="A400", purpose="order")
    hand.write("allocate", series="S spare", first="RA001", last="RA100", purpose="replacement")
    hand.numbered("P", "N", 10)
    return hand


def cut() -> Hand:
    """N cut to notes: A091 to A100 and A191 to A200 are good at finish."""
    hand = numbered()
    hand.write("cut", unit="N")
    return hand


def spoiled() -> Hand:
    """A100 spoiled."""
    hand = cut()
    hand.write("move", **notes("A100", "A100"))
    return hand


def slashed() -> Hand:
    """Piles P and Q/0, rolls L and L1/waste: names that a lot and waste would bear."""
    hand = Hand()
    hand.pile("P", 10)
    hand.pile("Q/0", 10)
    for unit in ("L", "L1/waste"):
        hand.write("roll", unit=unit, length="1 m", lanes=1)
    return hand


def kept(unit: str, start: str, end: str) -> Body:
    return {"unit": unit, "start": start, "end": end}


def notes(first: str, last: str, **more: str) -> Body:
    body = {"series": "S", "first": first, "last": last, "source": "good", "target": "spoiled", "why": "torn"}
    return body | more


def number(unit: str, ticks: int, first_tick: int = 0, **more: Any) -> Body:
    body: Body = {"unit": unit, "to": "M", "series": "S", "first": "A001", "block": 100, "descending": True}
    return body | {"first_tick": first_tick, "ticks": ticks} | more


def press(unit: str, to: str = "P9", **more: Any) -> Body:
    return {"unit": unit, "to": to, "work": "relief"} | more


def pulls(*places: tuple[int, int]) -> list[Body]:
    return [{"start": start, "sheets": sheets} for start, sheets in places]


def window(start: int, end: int, low: int, high: int) -> list[Body]:
    return [{"start": start, "end": end, "low": low, "high": high}]


def read(unit: str, sheet: int, position: int = 0) -> Body:
    return {"unit": unit, "sheet": sheet, "reads": [{"position": position, "text": "A091"}]}


@dataclass(frozen=True)
class Bad:
    """One bad record.  error: its class; says: texts that the refusal holds: what, where, cure."""

    name: str
    shop: Callable[[], Hand]
    kind: str
    body: Body = field(repr=False)
    error: type[BadValue]
    says: tuple[str, ...]


MARK = {"fault": "speck", "seen_by": "viewer"}
SAME = {"by": "A. Quennel", "by2": "A. Quennel"}
CORRECT = {"of_machine": "press", "of_seq": 1, "why": "wrong pile"}
ALLOT = {"series": "S", "purpose": "order"}

AT_ONCE = [
    # allocation
    Bad("overlapping allocation", allocated, "allocate", {**ALLOT, "first": "A150", "last": "A300"}, Clash,
        ("first = 'A150'", "51 of these numbers are allocated already", "allocate a free range")),
    Bad("the same allocation again", allocated, "allocate", {**ALLOT, "first": "A101", "last": "A200"}, Clash,
        ("100 of these",)),
    Bad("allocation upside down", pile, "allocate", {**ALLOT, "first": "A200", "last": "A101"}, BadValue,
        ("last = 'A101'", "before A200", "lower number first")),
    Bad("numbers outside the series", pile, "allocate", {**ALLOT, "first": "A001", "last": "A1000"}, NotThere,
        ("last = 'A1000'", "not a number of series S", "5 places")),
    Bad("a number never printed", pile, "allocate", {**ALLOT, "first": "A000", "last": "A100"}, NotThere,
        ("first = 'A000'", "never printed", "'A001'")),
    Bad("a series that is not of the order", pile, "allocate",
        {"series": "X", "purpose": "order", "first": "A001", "last": "A100"}, BadValue, ("series = 'X'", "S, S spare")),
    Bad("ticks beyond the series", numbered, "number", number("N", 10, first="Z901"), NotThere,
        ("ticks", "not allocated", "allocate them first")),
    # two persons
    *(Bad(f"{kind} {why}", shop, kind, body | who, NotAllowed, ("by2 = ", "two different persons", "sign"))
      for kind, shop, body in (
          ("allocate", pile, {**ALLOT, "first": "A001", "last": "A100"}),
          ("destroy", printed, {"unit": "P1/0"}), ("correct", printed, CORRECT))
      for why, who in (("by one person", {"by2": None}), ("by one person twice", SAME))),
    # pulls
    Bad("a pull larger than the pile", pile, "print", press("P", pulls=pulls((8, 3))), NotThere,
        ("pulls = 11", "P holds 10 sheets", "correct start or sheets")),
    Bad("a pull from the end of the pile on", pile, "print", press("P", pulls=pulls((10, 1))), NotThere,
        ("pulls = 11",)),
    Bad("a pull larger than the pile was counted", unsure, "print", press("P1", counted_in=8, pulls=pulls((8, 1))),
        NotThere, ("pulls = 9", "P1 holds 8 sheets")),
    Bad("two pulls of one sheet", pile, "pull", {"unit": "P", "to": "P9", "pulls": pulls((2, 4), (5, 1))}, Clash,
        ("pulls.start = 5", "up to 6 are pulled already")),
    Bad("an uncounted pull beyond the pile", pile, "print", press("P", uncounted=window(5, 11, 0, 2)), BadValue,
        ("uncounted = '5..11'", "of 10 sheets", "correct the window")),
    Bad("more pulled uncounted than lay there", pile, "print", press("P", uncounted=window(5, 7, 0, 3)), BadValue,
        ("uncounted = '5..7'", "0 to 3")),
    Bad("uncounted, least above most", pile, "print", press("P", uncounted=window(5, 9, 2, 1)), BadValue, ("2 to 1",)),
    Bad("uncounted where all was pulled already", pile, "print",
        press("P", pulls=pulls((2, 5)), uncounted=window(2, 7, 1, 2)), BadValue,
        ("uncounted = '2..7'", "5 are pulled already")),
    # units that do not exist, or not any more
    Bad("a run from a unit that does not exist", pile, "print", press("Q"), NotThere,
        ("unit = 'Q'", "no record made it", "send the record that made it first")),
    Bad("a pass of a roll that does not exist", roll, "pass", {"kept": [kept("X", "0 m", "1 m")], "to": "L1"}, NotThere,
        ("kept.unit = 'X'", "no record made it")),
    Bad("a join with a pile that does not exist", pile, "join", {"units": ["P", "Q"], "to": "P9"}, NotThere, ("'Q'",)),
    Bad("a count of a pile that does not exist", pile, "count", {"unit": "Q", "counted": 5}, NotThere, ("unit = 'Q'",)),
    Bad("a lot destroyed that does not exist", printed, "destroy", {"unit": "P1/1"}, NotThere,
        ("unit = 'P1/1'", "name a lot that was pulled")),
    Bad("a roll on the press", roll, "print", press("L"), NotThere, ("unit = 'L'", "it is a roll", "name a pile")),
    Bad("a pile on the coater", pile, "pass", {"kept": [kept("P", "0 m", "0.1 m")], "to": "L1"}, NotThere,
        ("'P'", "it is a pile of sheets", "name a roll")),
    Bad("a machine that is not of the works", pile, "print", press("P", machine="other press"), BadValue,
        ("machine = 'other press'", "the works has film line", "works.toml")),
    Bad("a unit used twice", printed, "print", press("P"), NotThere,
        ("unit = 'P'", "entry 2 took it already", "name the unit that entry gave")),
    Bad("a roll used twice", rewound, "pass", {"kept": [kept("L", "0 m", "0.1 m")], "to": "L2"}, NotThere,
        ("'L'", "entry 2 took it already")),
    Bad("a pass of a roll that was cut", pile, "pass", {"kept": [kept("R P", "0 m", "0.1 m")], "to": "L1"}, NotThere,
        ("'R P'", "sheets were cut from it")),
    Bad("a pile cut twice", cut, "cut", {"unit": "N"}, NotThere, ("unit = 'N'", "took it already")),
    Bad("a pile joined to itself", pile, "join", {"units": ["P", "P"], "to": "P9"}, BadValue,
        ("a pile is named twice", "name each pile once")),
    # cyclic passes, and names given twice
    Bad("a pass of a unit to itself", pile, "print", press("P", to="P"), Clash,
        ("to = 'P'", "entry 1 made a unit of that name", "a name of its own")),
    Bad("a pass to an ancestor's name", printed, "print", press("P1", to="P"), Clash, ("to = 'P'", "entry 1")),
    Bad("a rewind to itself", roll, "pass", {"kept": [kept("L", "0 m", "1 m")], "to": "L"}, Clash, ("to = 'L'",)),
    Bad("a rewind to the film's name", rewound, "pass", {"kept": [kept("L1", "0 m", "0.9 m")], "to": "L"}, Clash,
        ("to = 'L'", "entry 1 made")),
    Bad("sheets cut to the name of their roll", roll, "sheet",
        {"unit": "L", "to": "L", "first_cut": "0 m", "sheets": 2}, Clash, ("to = 'L'",)),
    Bad("a roll wound twice", roll, "roll", {"unit": "L", "length": "1 m", "lanes": 1}, Clash, ("unit = 'L'",)),
    Bad("both parts of a split of one name", pile, "split",
        {"unit": "P", "to": [{"unit": "X", "sheets": 4}, {"unit": "X"}]}, BadValue, ("'X', 'X'", "named twice")),
    Bad("a pile that has the name of a lot", printed, "print", press("P1", to="P1/0"), Clash, ("to = 'P1/0'",)),
    Bad("a pull into a lot whose name a pile has", slashed, "print", press("P", to="Q", pulls=pulls((0, 1))), Clash,
        ("to = 'Q/0'", "entry 3 made")),
    Bad("waste whose name a roll has", slashed, "pass", {"kept": [kept("L", "0 m", "0.9 m")], "to": "L1"}, Clash,
        ("to = 'L1/waste'", "entry 5 made")),
    # sheets
    Bad("a split of more than there is", pile, "split",
        {"unit": "P", "to": [{"unit": "X", "sheets": 11}, {"unit": "Y"}]}, NotThere,
        ("to.sheets = 11", "there are 10 sheets")),
    Bad("a split that leaves sheets over", pile, "split",
        {"unit": "P", "to": [{"unit": "X", "sheets": 4}, {"unit": "Y", "sheets": 5}]}, BadValue,
        ("to.sheets = 9", "there are 10 sheets", "leave the last part's sheets out")),
    Bad("a split whose first part is not counted", pile, "split",
        {"unit": "P", "to": [{"unit": "X"}, {"unit": "Y", "sheets": 5}]}, BadValue, ("only the last part",)),
    Bad("a sheet known again beyond the pile", printed, "sight",
        {"unit": "P1", "sheet": 8, "as_unit": "P", "as_sheet": 0}, NotThere, ("sheet = 8", "P1 has 8 sheets, 0 to 7")),
    Bad("known again as one beyond the pile", printed, "sight",
        {"unit": "P1", "sheet": 7, "as_unit": "P", "as_sheet": 10}, NotThere, ("as_sheet = 10", "P has 10 sheets")),
    Bad("a read beyond the pile", numbered, "read", read("N", 10), NotThere,
        ("sheet = 10", "N has 10 sheets, 0 to 9", "correct the sheet")),
    Bad("a read at a position no sheet has", numbered, "read", read("N", 0, 2), NotThere,
        ("reads.position = 2", "positions 0 to 1")),
    # web
    Bad("a roll of negative length", roll, "roll", {"unit": "X", "length": "-5 m", "lanes": 1}, BadValue,
        ("length = '-5", "a roll has length", "give the metres wound")),
    Bad("a roll of no length", roll, "roll", {"unit": "X", "length": "0 m", "lanes": 1}, BadValue, ("length",)),
    Bad("a roll longer than any", roll, "roll", {"unit": "X", "length": "80 km", "lanes": 1}, BadValue,
        ("length = '80000", "a roll holds", "at most")),
    Bad("a stretch that ends before it starts", roll, "pass", {"kept": [kept("L", "0.5 m", "0.2 m")], "to": "L1"},
        BadValue, ("kept = '500000..200000 um'", "start before end")),
    Bad("a stretch from below 0", roll, "pass", {"kept": [kept("L", "-0.5 m", "0.2 m")], "to": "L1"}, BadValue,
        ("kept = '-500000..200000 um'", "from 0 up")),
    Bad("a stretch beyond the roll", roll, "pass", {"kept": [kept("L", "0.5 m", "1.2 m")], "to": "L1"}, BadValue,
        ("kept.end = '1200000 um'", "L is 1000000 um long", "correct the metres")),
    Bad("metres kept twice", roll, "pass",
        {"kept": [kept("L", "0 m", "0.5 m"), kept("L", "0.4 m", "1 m")], "to": "L1"}, BadValue,
        ("400000 um of L", "kept once already up to 500000 um")),
    Bad("rolls of different lanes joined", roll, "pass",
        {"kept": [kept("L", "0 m", "1 m"), kept("W", "0 m", "1 m")], "to": "L1"}, BadValue,
        ("['L', 'W']", "differ in lanes")),
    Bad("a lane left out when slit", roll, "slit",
        {"kept": [kept("W", "0 m", "1 m")], "to": [{"lane": 1, "unit": "W1"}]}, BadValue,
        ("to = [1]", "lanes [1, 2]", "one roll of its own for each lane")),
    Bad("two lanes slit to one roll", roll, "slit",
        {"kept": [kept("W", "0 m", "1 m")], "to": [{"lane": 1, "unit": "W1"}, {"lane": 2, "unit": "W1"}]}, BadValue,
        ("to = [1, 2]", "one roll of its own")),
    Bad("sheets cut before the web is slit", roll, "sheet",
        {"unit": "W", "to": "X", "first_cut": "0 m", "sheets": 2}, BadValue, ("unit = 'W'", "slit it first")),
    Bad("more sheets than the roll holds", roll, "sheet",
        {"unit": "L", "to": "X", "first_cut": "0.9 m", "sheets": 3}, BadValue,
        ("sheets = 3", "from 900000 um on, L of 1000000 um holds 2", "correct the first cut")),
    Bad("sheets from below 0", roll, "sheet", {"unit": "L", "to": "X", "first_cut": "-0.1 m", "sheets": 3}, BadValue,
        ("sheets = 3", "from -100000 um on")),
    Bad("sheets cut twice from the same metres", pile, "sheet",
        {"unit": "R P", "to": "X", "first_cut": "0.36 m", "sheets": 1}, Clash,
        ("first_cut = '0.360 m'", "0.040 m", "cut before")),
    Bad("sheets cut from a roll that went on", rewound, "sheet",
        {"unit": "L", "to": "X", "first_cut": "0 m", "sheets": 1}, NotThere, ("'L'", "entry 2 took it already")),
    Bad("a mark beyond the roll", roll, "mark", {"unit": "L", "lanes": [1], "start": "0.9 m", "end": "1.1 m"} | MARK,
        NotThere, ("start = '0.900 m to 1.100 m'", "L runs from 0 to 1.000 m")),
    Bad("a mark upside down", roll, "mark", {"unit": "L", "lanes": [1], "start": "0.9 m", "end": "0.8 m"} | MARK,
        NotThere, ("start before end",)),
    Bad("a mark on a lane the roll has not", roll, "mark",
        {"unit": "W", "lanes": [2, 3], "start": "0.1 m", "end": "0.2 m"} | MARK, NotThere,
        ("lanes = [3]", "W has lanes [1, 2]")),
    # the numbering press
    Bad("numbers struck that are not allocated", allocated, "number", number("P", 10), NotThere,
        ("ticks = 10", "A091 and 9 more are not allocated", "allocate them first")),
    Bad("numbers struck twice", numbered, "number", number("N", 3, 7), Clash,
        ("first_tick = 7", "number A091 was struck before", "correct the counter")),
    Bad("numbers struck twice in another setting", numbered, "number",
        number("N", 3, block=5, first="A091", descending=False), Clash, ("number A091 was struck before",)),
    Bad("more ticks than sheets", allocated, "number", number("P", 11, first="A101", block=5), NotThere,
        ("ticks = 11", "at most 10 sheets of P", "press's counter, or the count")),
    Bad("more ticks than sheets that were left", allocated, "number",
        number("P", 9, first="A101", block=5, pulls=pulls((0, 1)), uncounted=window(1, 9, 1, 3)), NotThere,
        ("ticks = 9", "at most 8 sheets of P")),
    # packs and notes
    Bad("a pack that is no whole hundred", cut, "pack", {"series": "S", "first": "A101", "last": "A150"}, BadValue,
        ("last = 'A150'", "packs are whole hundreds")),
    Bad("a hundred that is no pack", cut, "pack", {"series": "S", "first": "A051", "last": "A150"}, BadValue,
        ("from index 50", "from a pack's first number")),
    Bad("a note replaced that is not of the pack", cut, "pack",
        {"series": "S", "first": "A101", "last": "A200", "replaced": [{"number": "A100", "by": "RA001"}]}, NotThere,
        ("replaced.number = 'A100'", "not in A101 to A200")),
    *(Bad(f"a release from hold {why}", pile, "move",
        {"unit": "P", "source": "held", "target": "good", "why": "x"} | who, NotAllowed,
        ("by2 = ", "good again by two different persons", "have another person sign"))
      for why, who in (("by one person", {"by2": None}), ("by one person twice", SAME))),
    Bad("a move of neither unit nor numbers", pile, "move", {"source": "good", "target": "held", "why": "x"}, BadValue,
        ("series, first, last", "one of them is missing", "or a unit")),
    Bad("a count of neither unit nor numbers", pile, "count", {"counted": 4}, BadValue, ("one of them is missing",)),
    Bad("a move of a pile that does not exist", pile, "move",
        {"unit": "Q", "source": "good", "target": "held", "why": "x"}, NotThere, ("unit = 'Q'", "no record made it")),
]  # fmt: skip

BY_THE_BOOKS = [
    Bad("a move of sheets that are not there", printed, "move",
        {"unit": "P1", "start": 6, "sheets": 3, "source": "good", "target": "held", "why": "x"}, NotThere,
        ("sheets = '6..9'", "P1 has 8 sheets", "correct start or sheets")),
    Bad("a move out of a state they are not in", printed, "move",
        {"unit": "P1", "start": 0, "sheets": 1, "source": "held", "target": "spoiled", "why": "x"}, NotThere,
        ("P1 = '0 from", "press:good does", "correct the earlier record")),
    Bad("a move of sheets that went on", printed, "move",
        {"unit": "P", "start": 0, "sheets": 1, "source": "good", "target": "spoiled", "why": "x"}, NotThere,
        ("press:carried does",)),
    Bad("a note moved that was never cut", cut, "move", notes("A001", "A001"), NotThere,
        ("series S = '0 from", "no account does")),
    Bad("a note spoiled twice", spoiled, "move", notes("A099", "A100"), NotThere,
        ("series S = '99 from", "finish:spoiled does", "correct the earlier record")),
    Bad("good notes destroyed", cut, "destroy", {"series": "S", "first": "A100", "last": "A100"}, NotThere,
        ("finish:good does",)),
    Bad("a lot destroyed twice", printed, "destroy", {"unit": "P1"}, NotThere, ("press:good does",)),
    Bad("a pile cut that bears no numbers", printed, "cut", {"unit": "P1"}, NotThere,
        ("unit = 'P1'", "its sheets bear no numbers", "number the pile before it is cut")),
    Bad("a pack of notes never cut", cut, "pack", {"series": "S", "first": "A101", "last": "A200"}, NotThere,
        ("A101 and 89 more are not good at finish", "never cut")),
]  # fmt: skip


# --- nothing half-taken -------------------------------------------------------------------------------------


def frozen(value: object, above: tuple[int, ...] = ()) -> object:
    """Everything an object holds, and what that holds in turn, as values that stay as they are."""
    if id(value) in above:
        return "itself"
    within = (*above, id(value))
    if isinstance(value, dict):
        return [(frozen(key, within), frozen(inner, within)) for key, inner in value.items()]
    if isinstance(value, (list, tuple)):
        return [frozen(inner, within) for inner in value]
    if isinstance(value, (Spans, Extent, BaseModel)) or is_dataclass(value) or not hasattr(value, "__dict__"):
        return frozenset(value) if isinstance(value, set) else value
    return type(value).__name__, frozen(vars(value), within)


def names(cases: list[Bad]) -> list[str]:
    return [one.name for one in cases]


@pytest.mark.parametrize("bad", AT_ONCE, ids=names(AT_ONCE))
def test_a_bad_record_is_refused_and_nothing_of_it_is_taken(bad: Bad) -> None:
    hand = bad.shop()
    shop = hand.shop()
    before = frozen(shop)
    with pytest.raises(bad.error) as refused:
        shop.take(len(hand.records), hand.next(bad.kind, **bad.body))
    assert type(refused.value) is bad.error
    assert all(text in str(refused.value) for text in bad.says), str(refused.value)
    assert in_house_form(refused.value)
    assert frozen(shop) == before


@pytest.mark.parametrize("bad", AT_ONCE, ids=names(AT_ONCE))
def test_a_reading_names_the_entry_of_the_bad_record(bad: Bad) -> None:
    hand = bad.shop()
    records = [*hand.records, hand.next(bad.kind, **bad.body)]
    with pytest.raises(Refused, match=rf"^entry {len(hand.records)}: ") as refused:
        Reading.of(ORDER, WORKS, records)
    assert refused.value.seq == len(hand.records)
    assert type(refused.value.problem) is bad.error


@pytest.mark.parametrize("bad", BY_THE_BOOKS, ids=names(BY_THE_BOOKS))
def test_what_only_the_books_can_tell_is_refused_by_the_books_with_its_entry(bad: Bad) -> None:
    hand = bad.shop()
    good = hand.reading()
    balance = good.accounting.books.balance()
    wrong = Reading.of(ORDER, WORKS, [*hand.records, hand.next(bad.kind, **bad.body)])
    with pytest.raises(Refused) as refused:
        _ = wrong.accounting
    assert refused.value.seq == len(hand.records)
    assert type(refused.value.problem) is bad.error
    assert all(text in str(refused.value) for text in bad.says), str(refused.value)
    assert in_house_form(refused.value.problem)
    assert hand.reading().accounting.books.balance() == balance


def in_house_form(problem: BadValue) -> bool:
    """Field and value, what is true instead, the cure; one line."""
    parts = problem.asked, problem.true, problem.cure
    return all(parts) and str(problem) == f"{parts[0]}: {parts[1]}; {parts[2]}" and "\n" not in str(problem)


def test_every_shop_that_the_bad_records_meet_is_good_without_them() -> None:
    for shop in {bad.shop for bad in (*AT_ONCE, *BY_THE_BOOKS)}:
        assert shop().reading().accounting.proved() == []


# --- time, order, corrections -------------------------------------------------------------------------------


def test_time_does_not_run_backwards_on_one_machine() -> None:
    hand = printed()
    shop, late = hand.shop(), hand.next("print", **press("P1"))
    before = frozen(shop)
    early = late.model_copy(update={"at": hand.records[2].at - timedelta(seconds=1)})
    with pytest.raises(Clash, match=r"time runs backwards: entry 1 of press is of 2027-03-01 06:02.*set the machine's"):
        shop.take(3, early)
    assert frozen(shop) == before
    shop.take(3, late)


def test_two_machines_need_not_agree_on_the_time() -> None:
    hand = pile()
    shop, late = hand.shop(), hand.next("print", **press("P"))
    shop.take(2, late.model_copy(update={"at": hand.records[0].at - timedelta(days=1)}))


def test_a_machine_s_own_numbers_rise() -> None:
    hand = printed()
    shop, again = hand.shop(), hand.next("print", **press("P1"))
    before = frozen(shop)
    with pytest.raises(Clash, match="seq = 1: press is at 1 already; send records in their order"):
        shop.take(3, again.model_copy(update={"seq": 1}))
    assert frozen(shop) == before


def test_after_a_refusal_the_right_record_is_taken_under_the_same_number() -> None:
    hand = pile()
    shop = hand.shop()
    with pytest.raises(NotThere):
        shop.take(2, hand.next("print", **press("P", pulls=pulls((8, 3)))))
    shop.take(2, hand.next("print", **press("P", pulls=pulls((8, 2)))))
    assert shop.lengths.sheets("P9") == (8, 8)


def corrected(**more: Any) -> Hand:
    hand = printed()
    hand.write("correct", **(CORRECT | more))
    return hand


@pytest.mark.parametrize(
    ("hand", "seq", "error", "says"),
    [
        (corrected(of_seq=2), 3, NotThere, "'press 2': no earlier record has that machine and number; name the"),
        (corrected(of_machine="office"), 3, NotThere, "'office 1': no earlier record"),
        (corrected(record={"kind": "print", "unit": "P"}), 3, BadValue, "print.to = .*; add the field"),
        (corrected(record={"kind": "print", "unit": "Q", "to": "P1", "work": "x"}), 2, NotThere, "no record made it"),
    ],
)
def test_a_bad_correction_is_refused(hand: Hand, seq: int, error: type[BadValue], says: str) -> None:
    with pytest.raises(Refused, match=f"^entry {seq}: .*{says}") as refused:
        hand.reading()
    assert isinstance(refused.value.problem, error)
    assert in_house_form(refused.value.problem)


def test_a_correction_is_not_corrected() -> None:
    hand = corrected()
    hand.write("correct", of_machine="office", of_seq=1, why="no")
    with pytest.raises(Refused, match="entry 4: of_seq = 1: that record is itself a correction; correct the record"):
        hand.reading()


def test_a_number_spoiled_twice_is_refused_and_the_refusal_names_who_holds_it() -> None:
    hand = spoiled()
    hand.write("destroy", series="S", first="A100", last="A100")
    assert hand.reading().accounting.proved() == []
    hand.write("move", **notes("A100", "A100"))
    says = "any place:good does not hold 99; finish:destroyed does; post from there"
    with pytest.raises(Refused, match=says):
        _ = hand.reading().accounting


def test_a_negative_count_of_sheets_never_becomes_a_record() -> None:
    for kind, body in (("count", {"unit": "P", "counted": -1}), ("print", press("P", pulls=pulls((0, -2))))):
        with pytest.raises(ValueError, match="greater than or equal to"):
            pile().next(kind, **body)
