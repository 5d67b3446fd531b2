"""The life of rolls, piles, lots and packs, and an order's state: worked out by hand, and against the demo's own truth.

The hand's works: film cut to sheets of 40 mm, the top sheet the last cut, so that sheet y of P1 is the film from
y * 40 mm on, as wound.  Printed and numbered, a pile is turned twice: sheet y of N1 is sheet y of P1.  The boxes fall
from A100 and A200, so that sheet y of N1 bears the numbers of index y and 100 + y.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import pytest

from model_records import ORDER, WORKS, Hand, packed
from reelmark import records as rec
from reelmark.acts.pack import pack_life, replacement
from reelmark.acts.state import state
from reelmark.acts.unit import unit_life
from reelmark.demo import SMALL, Simulated, simulate
from reelmark.errors import BadValue, NotThere
from reelmark.order import Delivery
from reelmark.reading import Reading


@pytest.fixture(scope="module")
def reading() -> Reading:
    made: Reading = packed().reading()
    return made


# --- rolls -----------------------------------------------------------------------------------------------------


def web() -> Reading:
    """F, 10 m: from the outside 4.02 m kept, 0.48 m cut out, 5.5 m kept; then slit, and cut to 238 sheets."""
    hand = Hand()
    hand.write("roll", unit="F", length="10 m", lanes=2)  # 0
    kept = [{"unit": "F", "start": "0 m", "end": "4.02 m"}, {"unit": "F", "start": "4.5 m", "end": "10 m"}]
    hand.write("pass", kept=kept, to="G")  # 1
    whole = [{"unit": "G", "start": "0 m", "end": "9.52 m"}]
    hand.write("slit", kept=whole, to=[{"lane": 1, "unit": "L1"}, {"lane": 2, "unit": "L2"}])  # 2
    hand.write("sheet", unit="L1", to="P", first_cut="0 m", sheets=238)  # 3
    hand.write("mark", unit="G", lanes=[2], start="1 m", end="2 m", fault="speck", seen_by="viewer")  # 4
    made: Reading = hand.reading()
    return made


def test_a_roll_its_length_and_its_neighbours():
    film, wound = unit_life(web(), "F"), unit_life(web(), "G")
    assert (film["kind"], film["high"], film["lanes"], film["measure"]) == ("roll", 10.0, [1, 2], "m")
    assert (film["made"]["units"], film["made"]["entry"]) == ([], 0)
    assert [(one["entry"], one["units"]) for one in film["taken"]] == [(1, ["G", "G/waste"])]
    assert (wound["made"]["units"], wound["high"]) == (["F"], 9.52)
    assert [(one["entry"], one["what"], one["units"]) for one in wound["taken"]] == [(2, "slit", ["L1", "L2"])]
    waste = unit_life(web(), "G/waste")
    assert (waste["kind"], waste["high"], waste["accounts"][0]["account"]) == ("lot", 0.48, "coat:spoiled")


def test_a_splice_is_found_wherever_its_web_went():
    """On G at 4.02 m; on L1, wound the other way round, at 9.52 - 4.02 m; in the sheet cut 101st from the outside."""
    lives = {name: unit_life(web(), name)["splices"] for name in ("F", "G", "L1", "L2", "P", "G/waste")}
    assert (lives["F"], lives["G/waste"]) == ([], [])
    for name, at, lanes in (("G", 4.02, [1, 2]), ("L1", 5.5, [1]), ("L2", 5.5, [2])):
        (one,) = lives[name]
        assert (one["entry"], one["how"], one["made_on"]) == (1, "0.480 m cut out", "G")
        assert (one["from"], one["to"], one["lanes"], one["sure"]) == (at, at, lanes, True)
    (one,) = lives["P"]
    assert (one["from"], one["to"]) == (137, 138)  # the top sheet was cut last


def test_a_mark_shows_on_the_web_before_and_after():
    """Of G 1 to 2 m, the last metres of F unwound: G from the core is F from its outside, 0 to 4.02 m first."""
    before, after = unit_life(web(), "F")["marks"], unit_life(web(), "L2")["marks"]
    assert [(m["from"], m["to"], m["lanes"], m["seen_on"]) for m in before] == [(8.0, 9.0, [2], "G")]
    assert [(m["from"], m["to"], m["lanes"]) for m in after] == [(7.52, 8.52, [2])]
    assert unit_life(web(), "L1")["marks"] == unit_life(web(), "P")["marks"] == []


def test_two_rolls_joined():
    hand = Hand()
    for name in ("F", "H"):
        hand.write("roll", unit=name, length="2 m", lanes=1)
    both = [{"unit": "F", "start": "0 m", "end": "2 m"}, {"unit": "H", "start": "0.5 m", "end": "2 m"}]
    hand.write("pass", kept=both, to="G")
    (one,) = unit_life(hand.reading(), "G")["splices"]
    assert (one["how"], one["from"]) == ("F and H joined", 2.0)


# --- piles and lots --------------------------------------------------------------------------------------------


def test_what_took_a_pile_and_who_has_it(reading):
    life = unit_life(reading, "N1")
    assert [(one["entry"], one["what"], one["units"]) for one in life["taken"]] == [(7, "pull", ["N2", "N2/0"])]
    assert [(one["account"], one["from"], one["to"]) for one in life["accounts"]] == [("press:carried", 0, 100)]
    cut = unit_life(reading, "N2")
    assert [(one["entry"], one["what"], one["units"]) for one in cut["taken"]] == [(13, "cut", ["series S"])]
    assert (cut["low"], cut["high"]) == (99, 99)


def test_a_mark_on_the_film_shows_on_every_pile_of_it(reading):
    """1 to 1.12 m are sheets 25, 26 and 27; on N2, from which sheet 10 was pulled, one less."""
    for name, low in (("P1", 25), ("N1", 25), ("P2", 99 - 27), ("N2", 24)):
        (one,) = unit_life(reading, name)["marks"]
        assert (one["entry"], one["from"], one["to"], one["sure"]) == (4, low, low + 3, True), name
    assert unit_life(reading, "P3")["marks"] == []


def test_a_lot_knows_where_it_was_pulled(reading):
    lot = unit_life(reading, "N2/0")
    assert (lot["kind"], lot["high"], lot["made"]["units"]) == ("lot", 1, ["N1"])
    (pull,) = lot["pulls"]
    assert (pull["of"], pull["from"], pull["to"], pull["kind"], pull["entry"]) == ("N1", 10, 11, "spoiled", 7)
    assert lot["accounts"][0]["account"] == "press:spoiled"
    assert [(n["first"], n["last"], n["may"], n["must"]) for n in lot["numbers"]] == [("A011", "A111", 2, 2)]


def test_pulls_of_a_pile_as_it_was_made_and_as_it_was_taken(reading):
    assert [one["when"] for one in unit_life(reading, "N1")["pulls"]] == ["as it was taken"]
    assert [one["when"] for one in unit_life(reading, "N2")["pulls"]] == ["as it was made"]


def doubtful() -> Hand:
    hand = Hand()
    hand.write("allocate", series="S", first="A001", last="A400", purpose="order")
    hand.pile("P1", 100)  # 1, 2
    hand.printed("P1", "P2", uncounted=[{"start": 0, "end": 50, "low": 0, "high": 3}])  # 3
    return hand


def test_a_pull_that_nobody_counted_leaves_the_pile_and_the_order_in_doubt():
    reading = doubtful().reading()
    life, lot = unit_life(reading, "P2"), unit_life(reading, "P2/0")
    assert (life["low"], life["high"], lot["low"], lot["high"]) == (97, 100, 0, 3)
    assert [(one["low"], one["high"]) for one in life["pulls"]] == [(0, 3)]
    kept = [(one["account"], one["many"], one["from"]) for one in life["accounts"]]
    assert kept == [("press:good", 97, 0), ("press:difference", 3, None)]
    now = state(reading)
    assert now["doubt"] == {"sheets": 3, "notes": 0, "pulls": 1, "pulls_low": 0, "pulls_high": 3}
    assert now["balanced"] is False
    press = next(one for one in now["stations"] if one["station"] == "press")
    assert (press["low"], press["high"]) == (97, 100)


def test_a_count_ends_the_doubt():
    hand = doubtful()
    hand.write("count", unit="P2", counted=98)
    reading = hand.reading()
    assert (unit_life(reading, "P2")["low"], unit_life(reading, "P2/0")["high"]) == (98, 2)
    assert state(reading)["doubt"]["pulls"] == state(reading)["doubt"]["sheets"] == 0


def test_counts_that_disagree_and_what_settled_them():
    hand = Hand()
    hand.pile("P1", 100)
    hand.write("count", unit="P1", counted=99, blind=False)  # 2
    (difference,) = unit_life(hand.reading(), "P1")["differences"]
    assert (difference["counted"], difference["booked_low"], difference["settled_by"]) == (99, 100, None)
    hand.write("count", unit="P1", counted=100, by="C. Ostler")  # 3
    life = unit_life(hand.reading(), "P1")
    assert [(one["counted"], one["agrees"], one["blind"]) for one in life["counts"]] == [
        (99, False, False), (100, True, True),
    ]  # fmt: skip
    assert [one["settled_by"] for one in life["differences"]] == [3]


def test_what_was_only_booked_and_what_was_seen_again():
    hand = Hand()
    hand.pile("P1", 10)
    hand.printed("P1", "P2", [(0, 2)])  # 2
    hand.write("move", unit="P2", start=1, sheets=2, source="good", target="held", why="ink")  # 3
    hand.write("destroy", unit="P2/0")  # 4
    hand.write("sight", unit="P2", sheet=7, as_unit="P1", as_sheet=2)  # 5
    reading = hand.reading()
    pile = unit_life(reading, "P2")
    assert [(one["entry"], one["what"], one["why"]) for one in pile["posted"]] == [
        (3, "sheets 1 to 2: good to held", "ink")
    ]
    assert sorted((one["from"], one["to"], one["account"]) for one in pile["accounts"]) == [
        (0, 1, "press:good"), (1, 3, "press:held"), (3, 8, "press:good"),
    ]  # fmt: skip
    assert [(one["entry"], one["by2"]) for one in unit_life(reading, "P2/0")["posted"]] == [(4, "B. Tarrow")]
    for name in ("P1", "P2"):
        assert [one["what"] for one in unit_life(reading, name)["sightings"]] == ["sheet 7 of P2 is sheet 2 of P1"]


@pytest.mark.parametrize("name", ["", "P", "series S", "series X", "N1 uncounted", "p1"])
def test_a_unit_that_is_not_there(reading, name):
    with pytest.raises(NotThere):
        unit_life(reading, name)


# --- packs -----------------------------------------------------------------------------------------------------


def test_a_pack_its_notes_and_those_put_in(reading):
    life = pack_life(reading, "S", "A001")
    assert (life["first"], life["last"], life["notes"]) == ("A001", "A100", 100)
    assert [(one["entry"], one["by"], one["of_these"]) for one in life["banded"]] == [(14, "A. Quennel", 100)]
    kept = [(one["account"], one["first"], one["last"]) for one in life["accounts"]]
    assert kept == [("packed:good", "A001", "A010"), ("press:spoiled", "A011", "A011"), ("packed:good", "A012", "A100")]
    (one,) = life["replaced"]
    assert (one["number"], one["by"], one["account"], one["by_account"]) == (
        "A011", "RA091", "press:spoiled", "packed:good",
    )  # fmt: skip
    assert len(life["numbers"]) == 100
    assert [one["number"] for one in life["numbers"] if one["replaced_by"]] == ["A011"]


def test_where_a_pack_came_from(reading):
    """99 of its own notes, of every sheet of P1 but sheet 10; one replacement note, of the sheet that bears RA091."""
    rows = {one["unit"]: one for one in pack_life(reading, "S", "A001")["from"]}
    assert {unit: (one["may"], one["must"]) for unit, one in rows.items()} == {
        "N1": (99, 99), "P2": (99, 99), "P1": (99, 99), "R P1": (3.96, 3.96),
        "N3": (1, 1), "P4": (1, 1), "P3": (1, 1), "R P3": (0.04, 0.04),
    }  # fmt: skip
    assert (rows["P1"]["stretches"], rows["R P1"]["from"], rows["R P1"]["to"]) == (2, 0.0, 4.0)
    assert [one["fault"] for one in pack_life(reading, "S", "A001")["marks"]] == ["pinhole"]


def test_a_pack_that_was_counted_short(reading):
    life = pack_life(reading, "S", "A101")
    assert [(one["entry"], one["counted"]) for one in life["counts"]] == [(15, 99)]
    (one,) = life["differences"]
    assert (one["counted"], one["booked_low"], one["settled_by"]) == (99, 100, None)
    assert pack_life(reading, "S", "A001")["differences"] == []


def test_a_pack_not_banded_and_one_not_printed(reading):
    before = packed().reading().upto(7)
    life = pack_life(before, "S", "A001")
    assert (life["banded"], [one["account"] for one in life["accounts"]]) == ([], ["on sheets"])
    assert [one["account"] for one in pack_life(reading, "S", "A301")["accounts"]] == ["series:allocated"]
    assert pack_life(reading, "S", "A301")["from"] == []


def test_a_bundle_of_the_numbers_there_are(reading):
    life = pack_life(reading, "S", "A001", 1000)
    assert (life["notes"], life["last"]) == (1000, "B001")
    kept = [(one["account"], one["first"], one["last"]) for one in life["accounts"]][-3:]
    assert kept == [("packed:good", "A112", "A200"), ("series:allocated", "A201", "A400"),
                    ("series:free", "A401", "B001")]  # fmt: skip
    assert sum(one["notes"] for one in life["accounts"]) == 1000


def test_which_number_lies_for_which(reading):
    told = {"number": "A011", "by": "RA091", "entry": 14, "series": "S"}
    assert replacement(reading, "S", 10) == replacement(reading, "S spare", 90) == told
    assert replacement(reading, "S", 11) is None


@pytest.mark.parametrize(("series", "first", "notes", "error", "true"), [
    ("S", "A050", 100, BadValue, "it lies in the pack that begins with A001"),
    ("S", "A101", 1000, BadValue, "it lies in the bundle that begins with A001"),
    ("S", "A001", 300, BadValue, "a pack has 100 notes, a bundle 1,000"),
    ("T", "A001", 100, NotThere, "the order has S, S spare"),
    ("S", "A401", 100, NotThere, "the order was given A001 to A400"),
    ("S", "RA001", 100, BadValue, "5 places"), ("S", "", 100, BadValue, "0 places"),
    ("S", "A000", 100, BadValue, "zero"),
])  # fmt: skip
def test_a_pack_that_is_none(reading, series, first, notes, error, true):
    with pytest.raises(error) as no:
        pack_life(reading, series, first, notes)
    assert true in no.value.true


# --- the order -------------------------------------------------------------------------------------------------


def test_the_state_of_an_order_half_made():
    """110 sheets of 2 notes: 200 notes banded, of 20 replacement notes 2 put in, 1 sheet pulled."""
    two = (Delivery(250, "2027-09-30"), Delivery(150, "2027-06-30"))
    now = state(Reading.of(replace(ORDER, deliveries=two), WORKS, packed().records))
    assert (now["ordered"], now["to_make"]) == (400, 200)
    assert now["notes"] == {
        "packed_good": 200, "cut_not_packed": 18, "held": 0, "spoiled": 0, "in_doubt": 0, "on_sheets": 0,
        "on_sheets_held": 0, "on_sheets_numbered": 0, "on_sheets_spoiled": 2,
    }  # fmt: skip
    gave = {one["station"]: (one["low"], one["measure"]) for one in now["stations"]}
    assert gave == {
        "film": (4.4, "m"), "coat": (0, "m"), "window": (0, "m"), "optic": (0, "m"), "sheet": (110, "sheets"),
        "press": (110, "sheets"), "numbering": (109, "sheets"), "finish": (200, "notes"),
    }  # fmt: skip
    assert (now["balanced"], now["differences"], now["settled"]) == (False, 1, 0)
    assert [(one["by"], one["due"], one["packed"], one["missing"], one["next"]) for one in now["deliveries"]] == [
        ("2027-06-30", 150, 150, 0, False), ("2027-09-30", 400, 50, 200, True),
    ]  # fmt: skip


def test_the_state_of_nothing():
    now = state(Hand().reading())
    assert (now["to_make"], now["balanced"], {one["low"] for one in now["stations"]}) == (400, True, {0})
    assert [one["next"] for one in now["deliveries"]] == [True]
    assert not any(now["notes"].values())


# --- against the demo's truth ----------------------------------------------------------------------------------


@cache
def small() -> tuple[Simulated, Reading]:
    sim = simulate(SMALL, 20)
    return sim, Reading.of(sim.order, sim.works, _once(sim))


def _once(sim: Simulated) -> Iterator[rec.Record]:
    """Every record once, as the intake would hand it on."""
    seen: set[tuple[str, int]] = set()
    for one in (one for shift in sim.records for one in shift):
        if (key := (str(one["machine"]), int(str(one["seq"])))) not in seen:
            seen.add(key)
            yield rec.adapter().validate_json(json.dumps(one))


def test_every_pile_and_lot_of_the_demo_is_as_long_as_it_truly_was():
    sim, reading = small()
    lots = {name: int((sim.truth.lot == n).sum()) for n, name in enumerate(sim.truth.lots)}
    truth = {name: len(sheets) for name, sheets in sim.truth.piles.items()} | lots
    piles = [name for name in truth if name in reading.thread.maker]
    assert len(piles) > 100
    for name in piles:
        life = unit_life(reading, name)
        assert (life["low"], life["high"]) == (truth[name], truth[name]), name


def test_every_note_of_the_demo_is_in_one_of_the_figures():
    sim, reading = small()
    notes, ups = state(reading)["notes"], sim.order.layout.ups
    assert notes["packed_good"] == sim.order.notes
    assert notes["on_sheets_spoiled"] == int((sim.truth.kind > 0).sum()) * ups
    assert notes["spoiled"] == len(sim.truth.notes)
    whole = ("packed_good", "cut_not_packed", "held", "spoiled", "in_doubt", "on_sheets", "on_sheets_spoiled")
    assert sum(notes[one] for one in whole) == len(sim.truth.kind) * ups
