"""Law 3 of the design: accounts are disjoint and their union is what entered; counts, identities and holders balance.

Over random small works, the books are held against the dullest ledger there is: one integer, one holder, in a dict.
Then errors are planted in good postings, and the proof must find each from the postings alone.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from random import Random

import pytest

from model_records import CUT_OFF, ORDER, WORKS, Hand, record
from model_works import CUT_OFF as SMALL_CUT_OFF
from model_works import UPS as SMALL_UPS
from model_works import World, small_works
from reelmark.errors import NotThere
from reelmark.facts import Account, Posting
from reelmark.ledger import Books, Fault, faults
from reelmark.order import Layout, Order, Series
from reelmark.posting import Accounting
from reelmark.reading import Reading, Refused
from reelmark.shop import Shop
from reelmark.spans import Extent, Place, Spans
from reelmark.trace.thread import Thread

SEEDS = range(100)
PRESS = Account("press", "good")
Holders = dict[tuple[Place, int], Account]

SMALL_ORDER = replace(
    ORDER, layout=Layout(2, 2, 1, 1, SMALL_CUT_OFF), lanes=2, series=(Series("S", letters=1, digits=4),)
)


# --- the dullest ledger -------------------------------------------------------------------------------------


def held(postings: list[Posting]) -> Holders:
    """Who holds each integer after all postings; a posting from who does not hold it, or anew, is an error."""
    holders: Holders = {}
    for one in postings:
        for place, spans in one.extent.items():
            for x in (x for a, b in spans for x in range(a, b)):
                assert holders.get((place, x)) == one.source, (one, x)
                holders[place, x] = one.target
    return holders


def entered(postings: list[Posting]) -> Extent:
    union = Extent()
    for one in postings:
        union = union | (one.extent if one.source is None else Extent())
    return union


def weight(accounting: Accounting, order: Order, kept: Callable[[Account], bool] = lambda _: True) -> int:
    """Um of web, times notes on a sheet: what all that is not carried on weighs."""
    one = {"um": order.layout.ups, "sheets": order.layout.ups * order.layout.cut_off, "notes": order.layout.cut_off}
    return sum(line.many * one[line.measure] for line in accounting.books.balance() if kept(line.account))


def born(world: World) -> int:
    """Um of film wound in all lanes."""
    return sum(lanes * length for run in world.runs for _, lanes, length in run.born)


@cache
def kept_books(seed: int, doubtful: bool) -> tuple[World, Accounting]:
    """A random small works and its books, every numbered pile that stands at the end cut to notes."""
    world = small_works(seed, doubtful)
    shop = Shop(SMALL_ORDER, WORKS)
    shop.runs, shop.due = world.runs, [(run.seq, run) for run in world.runs]
    thread = Thread(world.runs, world.ties)
    for n, unit in enumerate(standing(world)):
        if thread.numbers(Extent.one(unit, 0, 0, max(0, thread.lengths.sheets(unit)[0]))).may:
            shop.due.append((world.seq + n, record("cut", n + 1, n, unit=unit)))
    return world, Accounting(shop, thread)


def standing(world: World) -> list[str]:
    """Piles of some sheets that nothing was made of, lots left out."""
    taken = {unit for run in world.runs if run.pile for unit in run.pile.inputs}
    made = [unit for run in world.runs if run.pile for unit, _ in run.pile.outputs]
    return [unit for unit in made if unit not in taken and world.at.get(unit, {0: []})[0]]


# --- law 3, over random works -------------------------------------------------------------------------------


@pytest.mark.parametrize("doubtful", [False, True], ids=["exact", "doubtful"])
@pytest.mark.parametrize("seed", SEEDS)
def test_every_integer_that_entered_has_one_holder_and_the_accounts_say_who(seed: int, doubtful: bool) -> None:
    _, accounting = kept_books(seed, doubtful)
    books = accounting.books
    holders = held(books.postings)
    union = entered(books.postings)
    assert {key for key in holders} == {(p, x) for p, spans in union.items() for a, b in spans for x in range(a, b)}
    for place in books.places():
        accounts = books.accounts(place)
        together = Spans.of(*(pair for spans in accounts.values() for pair in spans))
        assert together == union[place]
        assert sum(spans.size for spans in accounts.values()) == together.size
        assert {x: account for account, spans in accounts.items() for a, b in spans for x in range(a, b)} == {
            x: account for (at, x), account in holders.items() if at == place
        }


@pytest.mark.parametrize("doubtful", [False, True], ids=["exact", "doubtful"])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_proof_finds_nothing_and_all_film_is_somewhere(seed: int, doubtful: bool) -> None:
    world, accounting = kept_books(seed, doubtful)
    assert accounting.proved() == []
    assert weight(accounting, SMALL_ORDER) == born(world) * SMALL_UPS


@pytest.mark.parametrize("seed", SEEDS)
def test_where_all_is_counted_the_books_say_what_lies_there(seed: int) -> None:
    world, accounting = kept_books(seed, False)
    books = accounting.books
    cut = {place[0] for one in books.postings if one.why == "cut" for place in one.extent}
    for unit in standing(world):
        if unit not in cut:
            assert books.accounts((unit, 0)) == {PRESS: Spans.of((0, len(world.at[unit][0])))}
    assert not [line for line in books.balance() if line.account.kind == "difference"]
    notes = sum(line.many for line in books.balance() if line.measure == "notes")
    assert notes == sum(len(world.at[unit][0]) for unit in standing(world) if unit in cut) * SMALL_UPS


@pytest.mark.parametrize("seed", SEEDS)
def test_where_not_all_is_counted_the_books_say_no_more_than_lies_there(seed: int) -> None:
    world, accounting = kept_books(seed, True)
    for run in world.runs:
        for unit in [unit for unit, _ in run.pile.outputs] if run.pile else []:
            booked = sum(spans.size for spans in accounting.books.accounts((unit, 0)).values())
            assert booked <= len(world.at[unit][0])


def test_random_works_reach_notes_and_doubt() -> None:
    measures = Counter(
        (doubtful, line.measure, line.account.kind == "difference")
        for seed in SEEDS for doubtful in (False, True) for line in kept_books(seed, doubtful)[1].books.balance()
    )  # fmt: skip
    assert measures[False, "notes", False] > 30
    assert measures[True, "sheets", True] > 30
    assert measures[True, "notes", True] > 5


# --- worked examples ----------------------------------------------------------------------------------------


def worked() -> Hand:
    """10 sheets printed, 2 pulled; 8 numbered; 1 spoiled; the rest cut, a note spoiled, lot and note destroyed."""
    hand = Hand()
    hand.pile("P", 10)
    hand.write("allocate", series="S", first="A001", last="A200", purpose="order")
    hand.printed("P", "P1", [(3, 2)])
    hand.numbered("P1", "N", 8)
    hand.write("pull", unit="N", to="N1", pulls=[{"start": 0, "sheets": 1}])
    hand.write("cut", unit="N1")
    move = {"source": "good", "target": "spoiled", "why": "torn"}
    hand.write("move", series="S", first="A100", last="A100", **move)
    hand.write("destroy", unit="P1/0")
    hand.write("destroy", series="S", first="A100", last="A100")
    return hand


def test_a_small_shop_s_balance_worked_by_hand() -> None:
    # 10 sheets of 2 notes: 2 pulled and destroyed, 1 pulled, 7 cut to 14 notes of which 1 is destroyed.
    accounting = worked().reading().accounting
    assert {(line.account, line.measure): line.many for line in accounting.books.balance()} == {
        (Account("press", "destroyed"), "sheets"): 2,
        (Account("press", "spoiled"), "sheets"): 1,
        (Account("finish", "good"), "notes"): 13,
        (Account("finish", "destroyed"), "notes"): 1,
    }
    assert weight(accounting, ORDER) == 10 * CUT_OFF * ORDER.layout.ups
    assert accounting.proved() == []


def test_two_persons_stand_in_the_posting_of_what_was_destroyed() -> None:
    postings = worked().reading().accounting.books.postings
    assert {one.by for one in postings if one.target.kind == "destroyed"} == {("A. Quennel", "B. Tarrow")}


def test_pulls_nobody_counted_are_a_difference_until_they_are_counted() -> None:
    hand = Hand()
    hand.pile("P", 10)
    hand.printed("P", "P1", uncounted=[{"start": 0, "end": 10, "high": 6}])
    hand.printed("P1", "P2", uncounted=[{"start": 0, "end": 4, "high": 4}])

    def sheets() -> dict[str, int]:
        accounting = hand.reading().accounting
        assert accounting.proved() == []
        return {line.account.kind: line.many for line in accounting.books.balance()}

    assert sheets() == {"difference": 10}  # 6 and 4 may have gone: not one sheet is sure to be anywhere
    hand.write("count", unit="P1", counted=8)
    assert sheets() == {"good": 4, "spoiled": 2, "difference": 4}
    hand.write("count", unit="P2", counted=5)
    assert sheets() == {"good": 5, "spoiled": 5}


def test_a_known_pull_out_of_an_uncounted_pile_is_booked_and_leaves_that_much_less_in_doubt() -> None:
    # 2 to 10 are left, then 3 are pulled: those 3 were surely there.
    hand = Hand()
    hand.pile("P", 10)
    hand.printed("P", "P1", uncounted=[{"start": 0, "end": 10, "high": 8}])
    hand.printed("P1", "P2", [(0, 3)])
    accounting = hand.reading().accounting
    assert accounting.proved() == []
    assert {(line.account.kind, line.many) for line in accounting.books.balance()} == {
        ("spoiled", 3),
        ("difference", 7),
    }


def test_a_part_split_off_an_uncounted_pile_is_sure_and_the_rest_is_not() -> None:
    hand = Hand()
    for name in ("A", "B"):
        hand.pile(name, 10)
        hand.printed(name, f"{name}1", uncounted=[{"start": 0, "end": 10, "high": 8}])
    hand.write("join", units=["A1", "B1"], to="J")
    hand.write("split", unit="J", to=[{"unit": "J1", "sheets": 9}, {"unit": "J2"}])
    accounting = hand.reading().accounting
    assert accounting.proved() == []
    assert {(line.account.kind, line.many) for line in accounting.books.balance()} == {("good", 9), ("difference", 11)}


def test_what_is_held_stays_held_through_the_press_and_the_guillotine() -> None:
    hand = Hand()
    hand.pile("P", 10)
    hand.write("allocate", series="S", first="A001", last="A200", purpose="order")
    hand.write("move", unit="P", start=2, sheets=1, source="good", target="held", why="speck")
    hand.printed("P", "P1")
    accounts = hand.reading().accounting.books.accounts(("P1", 0))
    assert accounts[Account("press", "held")] == Spans.of((7, 8))
    hand.numbered("P1", "N", 10)
    hand.write("cut", unit="N")
    accounting = hand.reading().accounting
    # The 8th sheet of P1 is struck 8th, at tick 7: in a falling block of 100, numbers A093 and A193.
    assert accounting.books.accounts(("series S", 0))[Account("finish", "held")] == Spans.of((92, 93), (192, 193))
    assert accounting.proved() == []


def test_books_refuse_to_enter_what_is_there_and_to_move_what_is_not_and_stay_as_they_were() -> None:
    books, spoil = Books(), Account("press", "spoiled")
    books.enter(0, "R", "um", Extent({("R", 1): Spans.of((0, 9)), ("R", 2): Spans.of((0, 9))}), PRESS, "wound")
    books.move(1, Extent.one("R", 2, 3, 5), PRESS, spoil, "speck")
    both = Extent({("R", 1): Spans.of((4, 6)), ("R", 2): Spans.of((4, 6))})
    before = {place: books.accounts(place) for place in books.places()}, list(books.postings)
    tries: list[Callable[[], None]] = [
        lambda: books.enter(2, "R", "um", Extent({("R", 3): Spans.of((0, 9)), ("R", 2): Spans.of((8, 9))}), PRESS, "x"),
        lambda: books.move(2, both, PRESS, spoil, "x"),
        lambda: books.gather(2, both, "good", "spoiled", "x"),
    ]
    for attempt in tries:
        with pytest.raises(NotThere):
            attempt()
        assert ({place: books.accounts(place) for place in books.places()}, list(books.postings)) == before
    with pytest.raises(NotThere, match="press:good does not hold 4; press:spoiled does; post from there, or correct"):
        books.move(2, both, PRESS, spoil, "x")


def test_a_number_spoiled_twice_is_refused_and_the_refusal_says_who_holds_it() -> None:
    hand = worked()
    hand.write("move", series="S", first="A099", last="A100", source="good", target="spoiled", why="again")
    says = "series S = '99 from any place:good .*: any place:good does not hold 99; finish:destroyed does; post from"
    with pytest.raises(Refused, match=says) as refused:
        _ = hand.reading().accounting
    assert refused.value.seq == len(hand.records) - 1


# --- planted errors -----------------------------------------------------------------------------------------


@cache
def proper() -> tuple[Reading, Accounting]:
    """Two sheets looked at, one spoiled and one taken as a sample; then on through the press to notes."""
    hand = worked()
    hand.pile("Q", 12)
    hand.write("move", unit="Q", start=5, sheets=1, source="good", target="spoiled", why="smear")
    hand.write("move", unit="Q", start=7, sheets=1, source="good", target="sample", why="for the issuer")
    hand.write("move", unit="Q", start=5, sheets=1, source="spoiled", target="held", why="look again")
    hand.write("move", unit="Q", start=7, sheets=1, source="sample", target="held", why="look again")
    reading = hand.reading()
    return reading, reading.accounting


def found(postings: list[Posting]) -> list[Fault]:
    """The proof, of these postings in place of the good ones."""
    reading, accounting = proper()
    one = {"um": ORDER.layout.ups, "sheets": ORDER.layout.ups * CUT_OFF, "notes": CUT_OFF}
    weights = {unit: one[measure] for unit, measure in accounting.books.measures.items()}
    return faults(postings, weights, {run.seq for run in reading.shop.runs if run.born})


def good() -> list[Posting]:
    return list(proper()[1].books.postings)


def at(why: str) -> int:
    return next(i for i, one in enumerate(good()) if one.why == why)


def test_nothing_is_found_where_nothing_is_planted() -> None:
    assert found(good()) == []


def test_a_swapped_identity_with_perfect_counts_is_found_at_both_sheets() -> None:
    postings = good()
    first, second = (i for i, one in enumerate(postings) if one.why == "look again")
    one, two = postings[first], postings[second]
    postings[first], postings[second] = replace(one, extent=two.extent), replace(two, extent=one.extent)
    assert counts(postings) == counts(good())
    wrong = {(fault.account, fault.at) for fault in found(postings) if fault.total < 0}
    assert wrong == {(Account("sheet", "spoiled"), 7), (Account("sheet", "sample"), 5)}
    (text,) = [fault.text for fault in found(postings) if fault.at == 7 and fault.total < 0]
    assert text == "Q, lane 0, 7: account sheet:spoiled holds it -1 times"


def counts(postings: list[Posting]) -> Counter[Account]:
    """How many each account holds, without saying which."""
    total: Counter[Account] = Counter()
    for one in postings:
        total[one.target] += one.extent.size
        if one.source is not None:
            total[one.source] -= one.extent.size
    return total


def test_a_posting_doubled_is_found() -> None:
    for i in range(len(good())):
        assert found([*good()[: i + 1], *good()[i:]]), good()[i]


def test_a_posting_lost_is_found_unless_nothing_was_built_on_it() -> None:
    # Of the last move of an integer nothing but the record tells: without it the integer is only where it was before.
    for i, one in enumerate(good()):
        later = [other for other in good()[i + 1 :] if other.source == one.target and other.extent & one.extent]
        weighs = one.source is None or one.target.kind == "carried"
        assert bool(found([*good()[:i], *good()[i + 1 :]])) is bool(later or weighs), one


def test_a_whole_carry_lost_is_found_at_its_entry() -> None:
    # 10 sheets out of P, 8 and 2 into P1 and its lot: without the first half 10 sheets would come of nothing.
    i = next(i for i, one in enumerate(good()) if ("P", 0) in one.extent and one.target.kind == "carried")
    (fault,) = found([*good()[:i], *good()[i + 1 :]])
    assert (fault.unit, fault.total) == (f"entry {good()[i].seq}", 10 * CUT_OFF * ORDER.layout.ups)
    assert fault.text == f"entry {good()[i].seq}: 800,000 more entered than carried out"


def test_a_sheet_too_many_or_too_few_out_of_a_run_is_found_by_weight() -> None:
    i = next(i for i, one in enumerate(good()) if ("P1", 0) in one.extent and one.source is None)
    for many, total in ((7, -1), (9, 1)):
        postings = good()
        postings[i] = replace(postings[i], extent=Extent.one("P1", 0, 0, many))
        entry = [fault for fault in found(postings) if fault.unit == f"entry {good()[i].seq}"]
        assert [fault.total for fault in entry] == [total * CUT_OFF * ORDER.layout.ups]


def test_a_note_lost_at_the_guillotine_is_found_by_weight() -> None:
    i = at("cut")
    i = next(j for j in range(i, len(good())) if ("series S", 0) in good()[j].extent)
    postings, notes = good(), good()[i].extent["series S", 0]
    postings[i] = replace(
        postings[i], extent=Extent({("series S", 0): notes - Spans.of((notes.first, notes.first + 1))})
    )
    assert [fault.total for fault in found(postings) if fault.unit == f"entry {good()[i].seq}"] == [-CUT_OFF]


def test_any_extent_shifted_by_one_is_found() -> None:
    for i, one in enumerate(good()):
        if one.source is not None:
            shifted = Extent({place: spans.shifted(1) for place, spans in one.extent.items()})
            postings = good()
            postings[i] = replace(one, extent=shifted)
            later = any(other.source == one.target and other.extent & one.extent for other in good()[i + 1 :])
            beyond = bool(shifted - entered(good()))
            elsewhere = any(fault.total < 0 for fault in found(postings))
            assert elsewhere or not (later or beyond), one


@pytest.mark.parametrize("seed", range(60))
def test_in_any_works_a_doubled_or_misplaced_posting_is_found(seed: int) -> None:
    world, accounting = kept_books(seed, seed % 2 == 1)
    postings, rng = list(accounting.books.postings), Random(seed)
    one = {"um": SMALL_UPS, "sheets": SMALL_UPS * SMALL_CUT_OFF, "notes": SMALL_CUT_OFF}
    weights = {unit: one[measure] for unit, measure in accounting.books.measures.items()}
    births = {run.seq for run in world.runs if run.born}
    i = rng.randrange(len(postings))
    assert not faults(postings, weights, births)
    assert faults([*postings, postings[i]], weights, births)
    carried = rng.choice([i for i, p in enumerate(postings) if p.target.kind == "carried"])
    assert faults([*postings[:carried], *postings[carried + 1 :]], weights, births)
