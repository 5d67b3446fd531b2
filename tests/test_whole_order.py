"""A whole order, many times over: forty shops that never were, read from their records, and judged by their truth.

Nothing may be refused, the books must be proved, no difference may stay open, every note ordered must be packed, and
for sheets that bear a number the truth lies within MAY and contains MUST, down to the film.
"""

from collections.abc import Iterator

import pytest

from reelmark.demo import Simulated
from reelmark.facts import SERIES
from reelmark.reading import Reading
from reelmark.spans import Extent, Place, Spans
from reelmark.trace.strikes import Strikes
from small_demo import made

SEEDS = range(40)
ALL = 2  # seeds of which every sheet is asked; of the others a ninth, and all that lie over a splice
forty = pytest.mark.parametrize("seed", SEEDS)


# --- the truth in reelmark's words --------------------------------------------------------------------------


def film_of(sim: Simulated, sheet: int) -> Extent:
    """The film under a sheet, um as wound at the film line."""
    truth, lane = sim.truth, int(sim.truth.lane[sheet])
    pieces = zip(truth.roll[sheet].tolist(), truth.start[sheet].tolist(), truth.stop[sheet].tolist(), strict=True)
    return Extent([((truth.film_rolls[roll], lane), Spans.of((a, b))) for roll, a, b in pieces if roll >= 0])


def numbered(sim: Simulated, reading: Reading) -> Iterator[tuple[int, Strikes, int, Extent, Extent]]:
    """(sheet, setting of the boxes, tick, where it lay up to the press that numbered it, where it ever lay)."""
    settings = {strikes.series: strikes for strikes in reading.thread.strikes}
    made_by = {pile: reading.thread.maker[pile].seq for pile in sim.truth.piles}
    places: dict[int, dict[Place, Spans]] = {}
    for pile, sheets in sim.truth.piles.items():
        for at, sheet in enumerate(sheets.tolist()):
            places.setdefault(sheet, {})[pile, 0] = Spans.of((at, at + 1))
    for run in reading.shop.runs:
        if run.imprint:
            for sheet in sim.truth.piles[run.imprint.unit].tolist():
                tick, film = int(sim.truth.tick[sheet]), film_of(sim, sheet)
                before = {place: x for place, x in places[sheet].items() if made_by[place[0]] <= run.seq}
                if tick >= 0:
                    yield sheet, settings[run.imprint.series], tick, Extent(before) | film, Extent(places[sheet]) | film


def judged(sim: Simulated, extent: Extent) -> Extent:
    """Only the piles and the film rolls: lots and rolls between are not in the truth."""
    return Extent({at: s for at, s in extent.items() if at[0] in sim.truth.piles or at[0] in sim.truth.film_rolls})


# --- the order as a whole -----------------------------------------------------------------------------------


@forty
def test_the_order_is_read_balanced_and_complete(seed: int) -> None:
    sim, reading = made(seed)
    accounting = reading.accounting
    assert accounting.proved() == []
    assert not reading.thread.lengths.differences
    assert not accounting.note_differences
    notes = {line.account: line.many for line in accounting.books.balance() if line.measure == "notes"}
    assert {account.kind for account in notes} <= {"good", "spoiled", "destroyed"}
    assert sum(many for account, many in notes.items() if account.place == "packed") == sim.order.notes


@forty
def test_every_pile_and_lot_holds_what_it_truly_holds(seed: int) -> None:
    sim, reading = made(seed)
    true = {pile: len(sheets) for pile, sheets in sim.truth.piles.items()}
    true |= {lot: int((sim.truth.lot == n).sum()) for n, lot in enumerate(sim.truth.lots)}
    # Every pull was counted in the end, so every length is one number.
    assert true == {unit: reading.thread.lengths.exactly(unit) for unit in true}


@forty
def test_the_books_hold_every_sheet_as_it_truly_ended(seed: int) -> None:
    """Lots by kind: what was spoiled, sampled or destroyed, as sheets."""
    sim, reading = made(seed)
    lines = reading.accounting.books.balance()
    booked = {k: sum(line.many for line in lines if (line.measure, line.account.kind) == ("sheets", k)) for k in KINDS}
    assert booked == {kind: int((sim.truth.kind == n).sum()) for n, kind in enumerate(KINDS_IN_ORDER) if kind in KINDS}


KINDS_IN_ORDER = ("good", "spoiled", "sample", "destroyed")  # as the truth numbers them
KINDS = KINDS_IN_ORDER[1:]


# --- sheet by sheet -----------------------------------------------------------------------------------------


@forty
def test_the_truth_of_numbered_sheets_lies_within_may_and_contains_must(seed: int) -> None:
    sim, reading = made(seed)
    for sheet, strikes, tick, before, ever in numbered(sim, reading):
        if seed >= ALL and tick % 9 != seed % 9 and len(film_of(sim, sheet)) == 1:
            continue
        numbers = strikes.numbers(Spans.of((tick, tick + 1)))
        answer = reading.thread.back(Extent({strikes.numbers_place: numbers}))
        assert answer.may.covers(before), sheet
        assert ever.covers(judged(sim, answer.must)), sheet


@forty
def test_the_short_way_to_the_film_is_right_wherever_it_answers(seed: int) -> None:
    sim, reading = made(seed)
    answered = total = 0
    for sheet, strikes, tick, _, _ in numbered(sim, reading):
        film = reading.thread.film_of(strikes, tick)
        total += 1
        if film:
            answered += 1
            assert Extent([((roll, lane), Spans.of((a, b))) for roll, lane, a, b in film]) == film_of(sim, sheet), sheet
    assert answered > 0.8 * total


@pytest.mark.parametrize("seed", range(0, 40, 8))
def test_film_goes_forward_to_the_numbers_that_lie_on_it(seed: int) -> None:
    """Half a metre of every roll and lane, every 3 m: the recall holds every number struck on it."""
    sim, reading = made(seed)
    struck: dict[Place, list[tuple[Spans, Place, Spans]]] = {}
    for _, strikes, tick, before, _ in numbered(sim, reading):
        numbers = strikes.numbers(Spans.of((tick, tick + 1)))
        for place in before:
            if place[0] in sim.truth.film_rolls:
                struck.setdefault(place, []).append((before[place], strikes.numbers_place, numbers))
    for (roll, lane), here in struck.items():
        for start in range(0, here[-1][0].stop, 3_000_000):
            film = Spans.of((start, start + 500_000))
            answer = reading.thread.forward(Extent({(roll, lane): film})).of(lambda unit: unit.startswith(SERIES))
            true = Extent([(series, numbers) for under, series, numbers in here if under & film])
            assert answer.may.covers(true)
            assert true.covers(answer.must)
