"""An entry in words: what was written, what a correction made of it, and what it did to the books."""

import pytest

from model_records import CUT_OFF, Hand
from reelmark.acts.entries import entries, entry, matching, postings_of
from reelmark.errors import BadValue, NotThere


def hand() -> Hand:
    """Entries: 0 roll, 1 sheet, 2 print (2 + 3 pulled), 3 count, 4 move of a sheet."""
    hand = Hand()
    hand.pile("P1", 10)
    hand.printed("P1", "P2", pulls=[(0, 2), (6, 1)], counted_in=10)
    hand.write("count", unit="P2", counted=7)
    hand.write("move", unit="P2", start=0, sheets=1, source="good", target="held", why="crease")
    return hand


def test_a_record_is_told_field_by_field_with_units_and_its_parts_as_a_table() -> None:
    told = entry(hand().reading(), 2)
    assert [told[key] for key in ("kind", "machine", "seq", "by", "by2")] == ["print", "press", 1, "A. Quennel", None]
    fields = [("unit", "P1", ""), ("to", "P2", ""), ("work", "background", ""), ("counted_in", "10", "sheets")]
    assert told["fields"] == fields
    assert told["lists"] == [{
        "name": "pulls", "heads": ["start", "sheets", "kind", "why"],
        "units": ["sheets from the top", "sheets", "", ""],
        "rows": [["0", "2", "spoiled", "spoil"], ["6", "1", "spoiled", "spoil"]],
    }]  # fmt: skip
    roll = entry(hand().reading(), 0)
    assert ("length", "0.400", "m") in roll["fields"]  # 10 cut-offs of 40 mm


def test_the_postings_of_an_entry_say_how_much_out_of_what_into_what() -> None:
    told = entry(hand().reading(), 2)
    said = [(p["out_of"], p["into"], p["unit"], p["many"], p["measure"], p["where"]) for p in told["postings"]]
    assert said == [
        ("sheet:good", "press:carried", "P1", 10, "sheets", "sheets 0 to 9"),
        (None, "press:good", "P2", 7, "sheets", "sheets 0 to 6"),
        (None, "press:spoiled", "P2/0", 2, "sheets", "sheets 0 to 1"),
        (None, "press:spoiled", "P2/1", 1, "sheets", "sheet 0"),
    ]
    assert [(u["what"], u["unit"], u["least"], u["most"]) for u in told["units"]] == [
        ("took", "P1", 10, 10), ("made", "P2", 7, 7), ("made", "P2/0", 2, 2), ("made", "P2/1", 1, 1),
    ]  # fmt: skip
    assert [tie["words"] for tie in told["ties"]] == ["P1: 10 sheets counted, blind"]


def test_web_is_told_in_metres_and_its_lanes_together() -> None:
    hand = Hand()
    hand.write("roll", unit="R1", length=f"{5 * CUT_OFF} um", lanes=3)
    hand.write("mark", unit="R1", lanes=[2], start="0.04 m", end="0.08 m", fault="gel", seen_by="viewer")
    (posting,) = entry(hand.reading(), 0)["postings"]
    assert (posting["many"], posting["measure"]) == (600_000, "um")
    assert posting["where"] == "lane 1, 2, 3: 0.000 m to 0.200 m"
    (mark,) = entry(hand.reading(), 1)["marks"]
    assert (mark["fault"], mark["where"]) == ("gel", [{"unit": "R1", "lane": 2, "from_m": 0.04, "to_m": 0.08}])


def test_a_correction_and_the_entry_it_corrects_name_one_another_and_what_changed() -> None:
    hand = Hand()
    hand.pile("P1", 10)
    hand.printed("P1", "P2", pulls=[(0, 2)])
    right = {"kind": "print", "unit": "P1", "to": "P2", "work": "background", "pulls": [{"start": 0, "sheets": 3}]}
    hand.write("correct", of_machine="press", of_seq=1, record=right, why="three were pulled")
    told, correction = entry(hand.reading(), 2), entry(hand.reading(), 3)
    changed = [{"field": "pulls[0].sheets", "was": "2 sheets", "is": "3 sheets"}]
    assert told["changed"] == correction["changed"] == changed
    assert [one["entry"] for one in told["corrected_by"]] == [3]
    assert correction["corrects"]["entry"] == 2
    assert [p["many"] for p in told["postings"]] == [10, 7, 3]  # as it counts, not as it was written
    assert told["lists"][0]["rows"][0][1] == "2"  # as it was written
    assert correction["postings"] == []


def test_what_a_second_correction_changed_is_told_against_the_first() -> None:
    hand = Hand()
    hand.pile("P1", 10)
    hand.printed("P1", "P2", pulls=[(0, 2)])
    for many in (3, 4):
        right = {
            "kind": "print",
            "unit": "P1",
            "to": "P2",
            "work": "background",
            "pulls": [{"start": 0, "sheets": many}],
        }
        hand.write("correct", of_machine="press", of_seq=1, record=right, why="counted again")
    reading = hand.reading()
    assert entry(reading, 4)["changed"] == [{"field": "pulls[0].sheets", "was": "3 sheets", "is": "4 sheets"}]
    assert entry(reading, 2)["changed"] == [{"field": "pulls[0].sheets", "was": "2 sheets", "is": "4 sheets"}]


def test_an_entry_taken_back_stands_no_more() -> None:
    hand = Hand()
    hand.pile("P1", 10)
    hand.write("count", unit="P1", counted=9)
    hand.write("correct", of_machine="counting room", of_seq=1, why="another pile was counted")
    told = entry(hand.reading(), 2)
    assert told["stands"] is False
    assert {one["is"] for one in told["changed"]} == {"never happened"}
    assert (told["postings"], told["units"], told["ties"]) == ([], [], [])


def test_an_account_is_what_its_postings_make_it() -> None:
    reading = hand().reading()
    good, held = postings_of(reading, "press", "good"), postings_of(reading, "press", "held")
    assert [(row["entry"], row["many"], row["other"]) for row in good] == [(2, 7, None), (4, -1, "press:held")]
    assert [(row["entry"], row["many"], row["other"], row["why"]) for row in held] == [(4, 1, "press:good", "crease")]
    for line in reading.accounting.books.balance():
        rows = postings_of(reading, line.account.place, line.account.kind)
        assert sum(row["many"] for row in rows if row["measure"] == line.measure) == line.many


@pytest.mark.parametrize(
    ("place", "kind", "said"), [("press", "goods", "the kinds are"), ("moon", "good", "press:good")]
)
def test_an_account_that_is_not_there_is_told_with_those_that_are(place: str, kind: str, said: str) -> None:
    with pytest.raises(BadValue, match=said):
        postings_of(hand().reading(), place, kind)


def test_the_list_gives_so_many_from_an_entry_on_of_a_kind_and_a_machine() -> None:
    reading = hand().reading()
    assert [row["entry"] for row in entries(reading, 1, 2)] == [1, 2]
    assert [(row["entry"], row["words"]) for row in entries(reading, 0, 9, machine="press")] == [(2, "P1 to P2")]
    assert [row["words"] for row in entries(reading, 0, 9, kind="count")] == ["P2, 7 sheets counted"]
    assert matching(reading, "move", "press") == []
    for bad in ({"kind": "prints"}, {"machine": "presses"}):
        with pytest.raises(BadValue, match=r"prints|presses"):
            entries(reading, 0, 9, **bad)
    with pytest.raises(BadValue, match="entries count from 0"):
        entries(reading, -1, 9)


def test_an_entry_beyond_the_end_is_told_with_what_there_is() -> None:
    with pytest.raises(NotThere, match="holds 5 entries, 0 to 4"):
        entry(hand().reading(), 5)
    with pytest.raises(NotThere, match="it is empty"):
        entry(Hand().reading(), 0)
