"""How many there are: pulls nobody counted, pinned by later counts; counts that contradict, and what heals them.

`narrowed` is held against trying every whole number there is.
"""

from collections.abc import Iterator
from itertools import product
from random import Random

import pytest

from model_records import Hand
from reelmark.trace.counts import narrowed
from reelmark.trace.form import Bounds, Doubt, Form
from reelmark.trace.lengths import Difference, Lengths

# A count pins the sum of several pulls, and a length takes each pull's own bounds only: too wide, though never wrong.

Known = dict[str, Bounds]
Equal = tuple[Form, int]


def window(start: int, end: int, high: int, low: int = 0) -> list[dict[str, int]]:
    return [{"start": start, "end": end, "low": low, "high": high}]


def lengths(hand: Hand) -> Lengths:
    lengths: Lengths = hand.shop().lengths
    return lengths


def only(hand: Hand) -> Difference:
    """The one difference that is open."""
    (one,) = lengths(hand).differences
    return one


def twice_pulled() -> Hand:
    """A pile of 100, 0 to 5 pulled in the first pass and 0 to 4 in the second, nobody counted."""
    hand = Hand()
    hand.pile("P", 100)
    hand.printed("P", "P1", uncounted=window(40, 60, 5))
    hand.printed("P1", "P2", uncounted=window(10, 30, 4))
    return hand


# --- worked examples ----------------------------------------------------------------------------------------


def test_an_uncounted_pull_leaves_the_pile_and_its_lot_in_doubt() -> None:
    known = lengths(twice_pulled())
    assert [known.sheets(unit) for unit in ("P", "P1", "P1/0", "P2", "P2/0")] == [
        (100, 100), (95, 100), (0, 5), (91, 100), (0, 4)
    ]  # fmt: skip


def test_a_count_two_passes_on_pins_what_it_can_of_both_pulls() -> None:
    # 93 are left, so 7 went: the first took 3 to 5, the second 2 to 4.
    hand = twice_pulled()
    hand.write("count", unit="P2", counted=93)
    known = lengths(hand)
    assert [known.sheets(unit) for unit in ("P2", "P1/0", "P2/0", "P1")] == [(93, 93), (3, 5), (2, 4), (95, 97)]
    assert not known.differences


def test_a_count_of_one_lot_then_settles_the_other() -> None:
    hand = twice_pulled()
    hand.write("count", unit="P2", counted=93)
    hand.write("count", unit="P1/0", counted=4)
    known = lengths(hand)
    assert [known.sheets(unit) for unit in ("P1", "P1/0", "P2/0")] == [(96, 96), (4, 4), (3, 3)]
    assert known.exactly("P2/0") == 3


def test_all_pulled_in_both_passes_is_found_out_at_once() -> None:
    hand = twice_pulled()
    hand.write("count", unit="P2", counted=91)
    known = lengths(hand)
    assert [known.exactly(unit) for unit in ("P1", "P1/0", "P2/0")] == [95, 5, 4]


def test_the_press_s_own_counters_count() -> None:
    hand = twice_pulled()
    hand.printed("P2", "P3", [(0, 3)], counted_in=97, counted_out=94)
    known = lengths(hand)
    assert [known.sheets(unit) for unit in ("P1", "P2", "P3")] == [(97, 100), (97, 97), (94, 94)]
    assert not known.differences


def test_a_count_that_cannot_be_true_names_both_counts_and_the_entries_between() -> None:
    hand = twice_pulled()  # entries 0 to 3
    hand.printed("P2", "P3", counted_in=93)
    hand.printed("P3", "P4", [(0, 1)])
    hand.write("count", unit="P4", counted=94)
    one = only(hand)
    assert (one.unit, one.counted, one.booked, one.events) == ("P4", 94, (92, 92), (4, 5))
    assert one.since == "count of P2: 93 (entry 4)"
    assert one.text.startswith("P4: 94 counted, 92 booked; since count of P2: 93 (entry 4); entries between: 4, 5")


def test_a_count_beyond_all_that_can_have_been_pulled_names_the_sheet_cutter() -> None:
    hand = twice_pulled()
    hand.write("count", unit="P2", counted=90)
    one = only(hand)
    assert (one.booked, one.events) == ((91, 100), (1, 2, 3))
    assert one.since == "sheet (entry 1)"
    assert lengths(hand).sheets("P2") == (91, 100)  # what cannot be true narrows nothing


def test_between_joined_piles_the_last_count_of_each_is_named() -> None:
    hand = Hand()
    for name, sheets in (("A", 30), ("B", 40)):
        hand.pile(name, sheets)
        hand.write("count", unit=name, counted=sheets)
    hand.write("join", units=["A", "B"], to="J")
    hand.write("count", unit="J", counted=71)
    one = only(hand)
    assert one.since == "count of A: 30 (entry 2) and count of B: 40 (entry 5)"
    assert (one.booked, one.events) == ((70, 70), (6,))


def test_a_blind_recount_by_another_person_heals() -> None:
    hand = Hand()
    hand.pile("P", 100)
    hand.printed("P", "P1", [(0, 4)])
    hand.write("count", unit="P1", counted=69)
    assert only(hand).booked == (96, 96)
    hand.write("count", unit="P1", counted=96, by="C. Ostrey")
    known = lengths(hand)
    assert not known.differences
    assert [(old.counted, tie.counted) for old, tie in known.healed] == [(69, 96)]


def test_a_recount_by_the_same_person_heals_nothing() -> None:
    hand = Hand()
    hand.pile("P", 100)
    for counted in (99, 100):
        hand.write("count", unit="P", counted=counted)
    assert only(hand).counted == 99


def test_a_count_with_the_book_in_sight_narrows_nothing() -> None:
    hand = twice_pulled()
    hand.write("count", unit="P2", counted=93, blind=False)
    assert lengths(hand).sheets("P2") == (91, 100)


def test_a_wrong_count_that_could_be_true_shows_at_the_next_and_goes_with_its_correction() -> None:
    hand = twice_pulled()
    hand.write("count", unit="P1", counted=97)  # in truth 98
    hand.write("count", unit="P2", counted=98)
    one = only(hand)
    assert (one.booked, one.since, one.events) == ((93, 97), "count of P1: 97 (entry 4)", (3,))
    right = {"kind": "count", "unit": "P1", "counted": 98}
    hand.write("correct", of_machine="counting room", of_seq=1, record=right, why="misread")
    known = hand.reading().shop.lengths
    assert not known.differences
    assert known.exactly("P2/0") == 0


# --- joins and splits ---------------------------------------------------------------------------------------


def test_a_part_split_off_is_sure_and_the_rest_carries_the_doubt() -> None:
    hand = twice_pulled()
    hand.write("split", unit="P2", to=[{"unit": "X", "sheets": 50}, {"unit": "Y"}])
    known = lengths(hand)
    assert (known.sheets("X"), known.sheets("Y")) == ((50, 50), (41, 50))
    hand.write("count", unit="Y", counted=44)
    assert lengths(hand).sheets("P2") == (94, 94)


def test_doubts_of_joined_piles_add_up_and_are_settled_together() -> None:
    hand = Hand()
    for name, high in (("A", 3), ("B", 2)):
        hand.pile(name, 50)
        hand.printed(name, f"{name}1", uncounted=window(0, 50, high))
    hand.write("join", units=["A1", "B1"], to="J")
    assert lengths(hand).sheets("J") == (95, 100)
    hand.write("count", unit="J", counted=95)
    known = lengths(hand)
    assert [known.exactly(unit) for unit in ("A1", "B1", "A1/0", "B1/0")] == [47, 48, 3, 2]


def test_a_joined_pile_s_count_and_one_of_its_parts_settle_the_other_part() -> None:
    hand = Hand()
    for name in ("A", "B"):
        hand.pile(name, 50)
        hand.printed(name, f"{name}1", uncounted=window(0, 50, 9))
    hand.write("join", units=["A1", "B1"], to="J")
    hand.write("count", unit="J", counted=90)
    hand.write("count", unit="A1", counted=46)
    known = lengths(hand)
    assert [known.exactly(unit) for unit in ("A1", "B1", "B1/0")] == [46, 44, 6]


def test_counts_that_only_together_exclude_each_other_are_found() -> None:
    # Three pulls took 5 between them, and four took 7, but the fourth took 1 at most: each unknown by itself may be
    # anything from 0 to 5, so narrowing one at a time sees nothing.
    hand = Hand()
    hand.pile("P0", 100)
    for i in range(3):
        hand.printed(f"P{i}", f"P{i + 1}", uncounted=window(0, 50, 10))
    hand.write("count", unit="P3", counted=95)
    hand.printed("P3", "P4", uncounted=window(0, 50, 1))
    assert not lengths(hand).differences
    hand.write("count", unit="P4", counted=93)
    one = only(hand)
    assert (one.unit, one.counted, one.booked, one.events) == ("P4", 93, (94, 95), (6,))
    assert one.since == "count of P3: 95 (entry 5)"


# --- against trying everything ------------------------------------------------------------------------------


def every(known: Known, equations: list[Equal]) -> Iterator[dict[str, int]]:
    """Every choice of whole numbers within the bounds that fulfils the equations."""
    for values in product(*(range(low, high + 1) for low, high in known.values())):
        chosen = dict(zip(known, values, strict=True))
        if all(form.constant + sum(many * chosen[n] for n, many in form.terms) == value for form, value in equations):
            yield chosen


def hull(known: Known, equations: list[Equal]) -> Known | None:
    """Least and greatest of each unknown over all choices; None when there is none."""
    found = list(every(known, equations))
    ends = {name: (min(c[name] for c in found), max(c[name] for c in found)) for name in known} if found else None
    return ends


def drawn(rng: Random, unknowns: int, most: int) -> Known:
    ends = (sorted((rng.randint(0, most), rng.randint(0, most))) for _ in range(unknowns))
    return {f"k{i}": (low, high) for i, (low, high) in enumerate(ends)}


def shop_like(rng: Random) -> tuple[Known, list[Equal]]:
    """Lots, and piles each less what was pulled from it and from all it was made of: sets nested or apart."""
    known = drawn(rng, rng.randint(2, 5), 4)
    piles: list[frozenset[str]] = []
    standing = [frozenset({name}) for name in known]
    lots = list(standing)
    while len(standing) > 1:
        one, two = rng.sample(standing, 2)
        standing = [s for s in standing if s not in (one, two)] + [one | two]
        piles.append(one | two)
    forms = [(Form(20, tuple((n, -1) for n in sorted(s))), -1) for s in rng.sample(piles, rng.randint(0, len(piles)))]
    forms += [(Form(0, tuple((n, 1) for n in sorted(s))), 1) for s in rng.sample(lots, rng.randint(0, 2))]
    truth = {name: rng.randint(low, high) for name, (low, high) in known.items()}
    slip = rng.choice((0, 0, 1, -1))  # of the last count
    equal = [(form, form.constant + sign * sum(truth[n] for n, _ in form.terms)) for form, sign in forms]
    rng.shuffle(equal)
    return known, [*equal[:-1], (equal[-1][0], equal[-1][1] + slip)] if equal else []


def any_like(rng: Random) -> tuple[Known, list[Equal]]:
    """Any sums at all of a few unknowns, with any signs."""
    known = drawn(rng, rng.randint(2, 4), 3)
    equations = []
    for _ in range(rng.randint(1, 4)):
        names = sorted(rng.sample(sorted(known), rng.randint(1, len(known))))
        form = Form(rng.randint(-3, 3), tuple((name, rng.choice((1, -1))) for name in names))
        low, high = Doubt(known).bounds(form)
        equations.append((form, rng.randint(low - 1, high + 1)))
    return known, equations


@pytest.mark.parametrize("block", range(4))
def test_what_a_shop_can_count_is_narrowed_to_the_last_whole_number(block: int) -> None:
    """Forms of units are nested or apart, for material flows in a tree: there the bounds are exact."""
    rng, contradictions = Random(block), 0
    for _ in range(300):
        known, equations = shop_like(rng)
        true = hull(known, equations)
        contradictions += true is None
        assert narrowed(known, equations) == true, (known, equations)
    assert contradictions > 50


def test_of_any_system_nothing_true_is_ever_cut_off() -> None:
    """Where forms cross, as no shop makes them, bounds may be wider than the truth but never narrower."""
    rng, exact, solvable = Random(3), 0, 0
    for _ in range(600):
        known, equations = any_like(rng)
        true, found = hull(known, equations), narrowed(known, equations)
        if true is not None:
            assert found is not None, (known, equations)
            assert all(found[n][0] <= low and high <= found[n][1] for n, (low, high) in true.items())
            solvable += 1
            exact += found == true
    assert solvable > 100
    assert exact > 0.95 * solvable


def test_narrowing_changes_neither_what_it_is_given_nor_its_own_answer() -> None:
    rng = Random(5)
    for _ in range(200):
        known, equations = shop_like(rng)
        before, found = dict(known), narrowed(known, equations)
        assert known == before
        if found is not None:
            assert narrowed(found, equations) == found


def test_one_at_a_time_misses_what_all_together_exclude() -> None:
    known = {"a": (0, 10), "b": (0, 10), "c": (0, 10), "d": (0, 1)}
    abc = Form(0, (("a", 1), ("b", 1), ("c", 1)))
    abcd = Form(0, (*abc.terms, ("d", 1)))
    assert hull(known, [(abc, 5), (abcd, 7)]) is None
    assert narrowed(known, [(abc, 5)]) == {"a": (0, 5), "b": (0, 5), "c": (0, 5), "d": (0, 1)}
    assert narrowed(known, [(abcd, 7)]) is not None
    assert narrowed(known, [(abc, 5), (abcd, 7)]) is None
    assert narrowed(known, [(abc, 5), (abcd, 6)]) == {"a": (0, 5), "b": (0, 5), "c": (0, 5), "d": (1, 1)}


def test_nothing_counted_says_nothing_new() -> None:
    assert narrowed({"a": (2, 7)}, []) == {"a": (2, 7)}
    assert narrowed({}, []) == {}
    assert narrowed({"a": (2, 7)}, [(Form(3), 4)]) is None
