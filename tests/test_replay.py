"""Law 4 of the design: the journal replayed gives the same bytes of every reading; one changed byte is found.

A reading is told as bytes: the balance, every posting, lengths and differences, and MAY and MUST of traces both ways.
"""

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from random import Random

import pytest

from model_records import ORDER, WORKS, Hand
from reelmark import records as rec
from reelmark.demo import SMALL, Simulated, simulate
from reelmark.facts import SERIES
from reelmark.journal import Journal, canonical, digest, find_change, verify_consistency
from reelmark.reading import Reading, Refused
from reelmark.spans import Extent
from reelmark.trace.thread import Answer

SEED = 5


@cache
def sim() -> Simulated:
    return simulate(SMALL, SEED)


@cache
def journal() -> Journal:
    """The simulated shop's records, each once, as the bytes that are sealed."""
    kept = Journal()
    seen = set[tuple[str, int]]()
    for one in (one for shift in sim().records for one in shift):
        if (one["machine"], one["seq"]) not in seen:
            seen.add((one["machine"], one["seq"]))
            kept.append(canonical(one))
    return kept


def read(entries: list[bytes]) -> Reading:
    """The reading of stored bytes, from nothing else."""
    records = [rec.adapter().validate_json(entry) for entry in entries]
    return Reading.of(sim().order, sim().works, records)


@cache
def whole() -> Reading:
    return read(list(journal().entries))


def shown(extent: Extent) -> list[list[object]]:
    return [[unit, lane, [list(pair) for pair in spans]] for (unit, lane), spans in sorted(extent.items(), key=str)]


def answer(one: Answer) -> list[list[list[object]]]:
    return [shown(one.may), shown(one.must)]


def asked(reading: Reading) -> list[Extent]:
    """Some stretches of film, of piles and of the numbers, the same for the same units."""
    rng, found = Random(3), list[Extent]()
    for unit in sorted(reading.thread.length):
        lanes = reading.shop.rolls.get(unit, (0,))
        length = reading.thread.lengths.sheets(unit)[0]
        if length > 0 and rng.random() < 0.1:
            start = rng.randrange(length)
            found.append(Extent.one(unit, rng.choice(lanes), start, min(length, start + 1 + length // 50)))
    numbers = reading.shop.allocated.items()
    return found + [Extent.one(SERIES + name, 0, some.first + 17, some.first + 19) for name, some in numbers]


def told(reading: Reading) -> bytes:
    """Every reading of a journal, as bytes."""
    books, lengths = reading.accounting.books, reading.thread.lengths
    return canonical(
        {
            "balance": [[*line.account, line.measure, line.many] for line in books.balance()],
            "postings": [
                [p.seq, shown(p.extent), list(p.source or ()), list(p.target), p.why, list(p.by)]
                for p in books.postings
            ],
            "lengths": [[unit, *lengths.sheets(unit)] for unit in lengths.of],
            "differences": [d.text for d in lengths.differences],
            "traces": [
                [shown(one), answer(reading.thread.forward(one)), answer(reading.thread.back(one))]
                for one in asked(reading)
            ],
        }
    )


# --- replay -------------------------------------------------------------------------------------------------


def test_the_journal_replayed_tells_the_same_bytes() -> None:
    first = told(whole())
    assert len(first) > 50_000
    assert told(read(list(journal().entries))) == first


@pytest.mark.parametrize("percent", [10, 35, 60, 85, 100])
def test_as_known_at_an_earlier_size_is_the_replay_of_so_many_entries(percent: int) -> None:
    size = len(journal()) * percent // 100
    earlier = whole().upto(size)
    assert earlier.size == size
    assert told(earlier) == told(read(list(journal().entries)[:size]))


def test_asking_about_earlier_sizes_changes_nothing_of_the_present() -> None:
    before = told(whole())
    for size in (0, 20, 200):
        _ = whole().upto(size).accounting
    assert told(whole()) == before


def test_the_order_in_which_questions_come_does_not_matter() -> None:
    one, two = read(list(journal().entries)), read(list(journal().entries))
    _ = one.accounting, one.thread
    _ = two.thread.born, two.thread.wound, two.accounting
    for extent in reversed(asked(two)):
        two.thread.back(extent)
    assert told(one) == told(two)


def test_another_process_with_another_hash_of_text_tells_the_same_bytes() -> None:
    # Python orders sets of text differently in every process; nothing told may hang on that.
    name = Path(__file__).stem
    code = f"import {name} as here; print(here.digest(here.told(here.whole())).hex())"
    paths = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    tellings = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONPATH": paths, "PYTHONHASHSEED": seed},
            capture_output=True, text=True, check=True,
        ).stdout.strip()
        for seed in ("1", "2")
    }  # fmt: skip
    assert tellings == {digest(told(whole())).hex()}


def test_an_empty_journal_reads_as_nothing() -> None:
    reading = Reading.of(ORDER, WORKS, [])
    assert (reading.size, reading.accounting.books.balance(), reading.accounting.proved()) == (0, [], [])
    assert told(reading) == told(whole().upto(0))


# --- one changed byte ---------------------------------------------------------------------------------------


def test_one_changed_byte_is_found_at_its_place() -> None:
    rng, entries, leaves = Random(9), list(journal().entries), journal().tree.leaves
    assert find_change(entries, leaves) is None
    for _ in range(400):
        at = rng.randrange(len(entries))
        byte = rng.randrange(len(entries[at]))
        changed = bytearray(entries[at])
        changed[byte] ^= 1 << rng.randrange(8)
        altered = [*entries[:at], bytes(changed), *entries[at + 1 :]]
        assert find_change(altered, leaves) == at
    assert Journal(altered).tree.root() != journal().tree.root()


def test_every_bit_of_one_entry_counts() -> None:
    entries = list(journal().entries)[:8]
    leaves = Journal(entries).tree.leaves
    for byte in range(len(entries[5])):
        for bit in range(8):
            changed = bytearray(entries[5])
            changed[byte] ^= 1 << bit
            assert find_change([*entries[:5], bytes(changed), *entries[6:]], leaves) == 5


def test_an_entry_lost_put_in_or_changed_over_is_found_at_its_place() -> None:
    entries, leaves = list(journal().entries), journal().tree.leaves
    assert find_change(entries[:-1], leaves) == len(entries) - 1
    assert find_change([*entries, entries[0]], leaves) == len(entries)
    assert find_change([*entries[:40], *entries[41:]], leaves) == 40
    assert find_change([*entries[:40], entries[41], entries[40], *entries[42:]], leaves) == 40


def test_every_earlier_answer_s_seal_is_one_the_present_journal_has_grown_from() -> None:
    tree = journal().tree
    for size in range(1, len(tree) + 1, 37):
        verify_consistency(size, len(tree), tree.consistency(size, len(tree)), tree.root(size), tree.root())


# --- corrections --------------------------------------------------------------------------------------------


def late() -> Hand:
    """A pull written down as 2 sheets; counted, the pile disagrees; entry 4 puts it right: there were 3."""
    hand = Hand()
    hand.pile("P", 10)
    hand.printed("P", "P1", [(4, 2)])
    hand.write("count", unit="P1", counted=7)
    right = {"kind": "print", "unit": "P", "to": "P1", "work": "background", "pulls": [{"start": 4, "sheets": 3}]}
    hand.write("correct", of_machine="press", of_seq=1, record=right, why="it was three")
    return hand


def test_a_correction_is_a_later_entry_and_the_old_answer_is_still_given_for_the_old_size() -> None:
    reading = late().reading()
    top = Extent.one("P", 0, 9, 10)
    assert reading.thread.forward(top).must == Extent.one("P1", 0, 0, 1)
    sixth = Extent.one("P", 0, 6, 7)
    assert reading.thread.forward(sixth).must == Extent.one("P1/0", 0, 2, 3)
    assert reading.upto(4).thread.forward(sixth).must == Extent.one("P1", 0, 3, 4)
    assert [d.counted for d in reading.upto(4).shop.lengths.differences] == [7]
    assert not reading.shop.lengths.differences


def test_what_was_known_before_a_correction_does_not_depend_on_it() -> None:
    hand = late()
    for size in range(len(hand.records) + 1):
        assert told(hand.reading().upto(size)) == told(Reading.of(ORDER, WORKS, hand.records[:size]))


def test_a_record_that_never_happened_is_as_if_it_had_not_been_written_from_then_on() -> None:
    hand = Hand()
    hand.pile("P", 10)
    hand.write("move", unit="P", start=0, sheets=1, source="good", target="spoiled", why="smear")
    without = Reading.of(ORDER, WORKS, hand.records[:2]).accounting.books.balance()
    wrong = hand.reading().accounting.books.balance()
    hand.write("correct", of_machine="office", of_seq=1, why="it was another pile")
    assert hand.reading().accounting.books.balance() == without != wrong
    assert hand.reading().upto(3).accounting.books.balance() == wrong


def test_a_record_corrected_twice_stands_as_the_last_correction_has_it() -> None:
    hand = Hand()
    hand.pile("P", 10)
    hand.printed("P", "P1", [(0, 1)])
    for n, sheets in enumerate((2, 3)):
        right = {"kind": "print", "unit": "P", "to": "P1", "work": "x", "pulls": [{"start": 0, "sheets": sheets}]}
        hand.write("correct", of_machine="press", of_seq=1, record=right, why=f"counted {n + 1} times")
    reading = hand.reading()
    assert [reading.upto(size).shop.lengths.exactly("P1") for size in (3, 4, 5)] == [9, 8, 7]


def test_the_demo_s_late_correction_changes_the_answer_from_its_entry_on_and_not_before() -> None:
    at, one = next((i, r) for i, r in enumerate(whole().records) if isinstance(r, rec.Correct) and r.record)
    assert one.record is not None
    unit = str(one.record["to"])
    before, after = whole().upto(at), whole().upto(at + 1)
    assert before.shop.lengths.sheets(unit) != after.shop.lengths.sheets(unit)
    assert after.shop.lengths.sheets(unit) == whole().shop.lengths.sheets(unit)
    assert json.loads(journal().entries[at])["kind"] == "correct"


def test_an_allocation_is_not_corrected() -> None:
    hand = Hand()
    place = hand.write("allocate", series="S", first="A001", last="A100", purpose="order")
    hand.write("correct", of_machine=place.machine, of_seq=place.seq, why="slip")
    with pytest.raises(Refused, match="an allocation stands as two persons signed it"):
        Reading.of(ORDER, WORKS, hand.records)
