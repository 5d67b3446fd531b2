"""Taking hold of material: the address reads back, and what is followed is what truly lay there."""

import itertools
from typing import Any

import pytest

from reelmark.acts.follow import choose, follow, text_of
from reelmark.acts.moves import moves
from reelmark.acts.strips import strips
from reelmark.acts.told import accounts_of, amounts, number_ranges
from reelmark.demo import Simulated
from reelmark.errors import BadValue, Problem
from reelmark.facts import SERIES
from reelmark.reading import Reading
from reelmark.spans import EMPTY, Extent, Spans
from reelmark.trace.strikes import Strikes
from small_demo import made


def sheets_on(sim: Simulated, roll: str, lane: int, start: int, stop: int) -> set[int]:
    """Sheets that by the simulator's truth lie on some of this film, counted one by one."""
    truth, at = sim.truth, sim.truth.film_rolls.index(roll)
    return {
        sheet
        for sheet in range(len(truth.lane)) if truth.lane[sheet] == lane
        for piece in (0, 1)
        if truth.roll[sheet, piece] == at and truth.start[sheet, piece] < stop and truth.stop[sheet, piece] > start
    }  # fmt: skip


def numbers_of(sim: Simulated, reading: Reading, sheets: set[int]) -> dict[str, set[int]]:
    """Numbers by the plan of the boxes that those sheets were struck with."""
    settings = {strikes.series: strikes for strikes in reading.thread.strikes}
    found: dict[str, set[int]] = {}
    for sheet in sheets:
        tick = int(sim.truth.tick[sheet])
        if tick >= 0:
            name = sim.order.series[int(sim.truth.series[sheet])].name
            strikes: Strikes = settings[name]
            found.setdefault(name, set()).update(strikes.number(tick, p) for p in range(strikes.ups))
    return found


def integers(spans: Spans) -> set[int]:
    return {x for a, b in spans for x in range(a, b)}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("lane", [1, 2])
def test_metres_of_film_go_on_to_the_numbers_that_truly_lie_on_them(seed: int, lane: int) -> None:
    sim, reading = made(seed)
    for roll in sim.truth.film_rolls:
        long = reading.shop.web_length[roll]
        for start in range(0, long - 1_000_000, 7_000_000):
            stop = start + 1_000_000
            touched = follow(reading, choose(reading, [f"{roll}@{start / 1e6}-{stop / 1e6}m@{lane}"]))
            true = numbers_of(sim, reading, sheets_on(sim, roll, lane, start, stop))
            for name in reading.shop.formats:
                place = SERIES + name, 0
                assert integers(touched.may.get(place, EMPTY)) >= true.get(name, set())
                assert integers(touched.must.get(place, EMPTY)) <= true.get(name, set())


@pytest.mark.parametrize("seed", range(4))
def test_one_sheet_of_any_pile_leads_to_its_film_and_its_numbers(seed: int) -> None:
    """From the first sheet of every pile there ever was, before numbering or after."""
    sim, reading = made(seed)
    for pile, sheets in sim.truth.piles.items():
        if not len(sheets):
            continue
        sheet = int(sheets[0])
        touched = follow(reading, choose(reading, [f"{pile}@0-1"]))
        roll, lane = sim.truth.film_rolls[int(sim.truth.roll[sheet, 0])], int(sim.truth.lane[sheet])
        film = Spans.of((int(sim.truth.start[sheet, 0]), int(sim.truth.stop[sheet, 0])))
        assert touched.may[roll, lane].covers(film), pile
        for name, true in numbers_of(sim, reading, {sheet}).items():
            assert integers(touched.may[SERIES + name, 0]) >= true, pile


@pytest.mark.parametrize("seed", range(4))
def test_a_note_is_not_its_sheet(seed: int) -> None:
    """One number: its own sheet on every pile and the sheet's film, and no other number."""
    sim, reading = made(seed)
    strikes = next(iter(reading.thread.strikes))
    place = SERIES + strikes.series, 0
    number = strikes.number(3, 1)
    text = reading.shop.formats[strikes.series].text(number)
    touched = follow(reading, choose(reading, [f"{place[0]}@{text}-{text}"]))
    assert touched.may[place] == touched.must[place] == Spans.of((number, number + 1))
    mine = [one.name for one in sim.order.series].index(strikes.series)
    [sheet] = [x for x in range(len(sim.truth.tick)) if (sim.truth.tick[x], sim.truth.series[x]) == (3, mine)]
    for pile, sheets in sim.truth.piles.items():
        at = [i for i, x in enumerate(sheets.tolist()) if x == sheet]
        if at:
            assert at[0] in touched.may.get((pile, 0), EMPTY), pile


def test_an_address_reads_back() -> None:
    _, reading = made()
    web, pile = "F01", next(u for u, i in reading.thread.imprints.items())
    series = reading.thread.imprints[pile].series
    form = reading.shop.formats[series]
    for text in (
        f"{web}@1.5-2m@1",
        f"{web}@0.000001-2.25m",
        f"{pile}@0-3",
        f"{SERIES}{series}@{form.text(4)}-{form.text(90)}",
    ):
        assert text_of(reading, choose(reading, [text])) == [text]
    both = choose(reading, [f"{web}@1-2m@1", f"{web}@1-2m@2", f"{pile}@2-3"])
    assert choose(reading, text_of(reading, both)) == both
    assert choose(reading, [web]) == Extent(
        {(web, lane): Spans.of((0, reading.shop.web_length[web])) for lane in reading.shop.rolls[web]}
    )


@pytest.mark.parametrize(
    "text",
    [
        "", "nowhere", "F01@1-2", "F01@2-1m", "F01@1-2m@9", "F01@1-2m@x", "F01@1-99999m", "F01@-1-2m", "F01@a-bm",
        "F01@1e9-2e99m", "series", "series ", "series none@A-B", "F01@1-2m@1@2", "F01@1.0000000001-2m", "F01@1-2m@²",
    ],
)  # fmt: skip
def test_an_address_that_does_not_read_is_told_with_its_cure(text: str) -> None:
    _, reading = made()
    with pytest.raises(Problem) as told:
        choose(reading, [text])
    assert told.value.cure


def test_more_places_than_an_address_holds_are_refused() -> None:
    _, reading = made()
    with pytest.raises(BadValue, match="65 places"):
        choose(reading, ["F01@1-2m"] * 65)


# --- strips ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_every_unit_lies_on_a_strip_once_as_given_and_once_as_handled(seed: int) -> None:
    _, reading = made(seed)
    every = [box.unit for strip in strips(reading) for track in strip.tracks for box in track.boxes]
    waste = {unit for unit in reading.thread.maker if unit.endswith("/waste")}
    assert set(every) >= set(reading.thread.maker) - waste
    keys = [track.key for strip in strips(reading) for track in strip.tracks]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("seed", range(4))
def test_a_track_s_axis_and_its_units_agree(seed: int) -> None:
    """A stretch of the axis as units and back on the axis is the same stretch, where units lie."""
    _, reading = made(seed)
    for strip in strips(reading):
        for track in strip.tracks:
            third = track.length // 3
            flat = track.flat(track.extent(third, 2 * third))
            for lane, spans in flat.items():
                held = Spans.of(*((b.start, b.start + b.length) for b in track.boxes if lane in b.lanes))
                assert spans == held & Spans.of((third, 2 * third)), track.key
            ends = sorted((b.start, b.start + b.length, b.lanes) for b in track.boxes)
            for (_, stop, lanes), (start, _, others) in itertools.pairwise(ends):
                assert start >= stop or not set(lanes) & set(others), track.key


# --- in words ----------------------------------------------------------------------------------


def test_the_selection_in_words_adds_up() -> None:
    sim, reading = made()
    touched = follow(reading, choose(reading, ["F01@3-4m@1"]))
    true = sheets_on(sim, "F01", 1, 3_000_000, 4_000_000)
    told = {one.words: one for one in amounts(strips(reading), touched)}
    assert (told["film rolls"].may, told["film rolls"].must) == (1_000_000, 1_000_000)
    assert told["white piles"].must == len(true)
    ranges = number_ranges(reading, touched.may)
    assert sum(many for *_, many in ranges) == sum(map(len, numbers_of(sim, reading, true).values()))
    assert sum(many for _, measure, many in accounts_of(reading, touched.may) if measure == "notes") <= sum(
        r[3] for r in ranges
    )


def test_moves_take_all_that_is_good_and_nothing_twice() -> None:
    """The records that hold a metre of film hold exactly the good notes and standing sheets on it."""
    _, reading = made()
    touched = follow(reading, choose(reading, ["F01@3-4m"]))
    bodies: list[dict[str, Any]] = moves(reading, touched.may, ["good"], "held", "seen on the film")
    good = {(a, m): n for a, m, n in accounts_of(reading, touched.may) if a.endswith(":good") and m != "um"}
    notes = sum(_many(reading, body) for body in bodies if "series" in body)
    assert notes == sum(n for (_, m), n in good.items() if m == "notes") > 0
    assert sum(b.get("sheets", 0) for b in bodies) == sum(n for (_, m), n in good.items() if m == "sheets")
    assert all(body["source"] == "good" and body["target"] == "held" for body in bodies)


def _many(reading: Reading, body: dict[str, Any]) -> int:
    form = reading.shop.formats[body["series"]]
    return form.index(body["last"]) - form.index(body["first"]) + 1
