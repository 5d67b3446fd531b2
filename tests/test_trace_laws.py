"""Laws 1, 2 and 5 of the design, over random small works against the dullest walk there is."""

from random import Random

import pytest

from model_works import World, extent, small_works
from reelmark.spans import Extent, Spans
from reelmark.trace.thread import Thread

SEEDS = range(300)


def asked(world: World, rng: Random) -> list[tuple[str, int, list[int]]]:
    places = [(u, lane, len(items)) for u, lanes in world.at.items() for lane, items in lanes.items() if items]
    chosen = []
    for unit, lane, n in rng.sample(places, min(len(places), 6)):
        a = rng.randrange(n)
        chosen.append((unit, lane, list(range(a, rng.randint(a + 1, n)))))
    return chosen


def spans(xs: set[int]) -> Spans:
    return Spans(sorted(xs), [x + 1 for x in sorted(xs)])


def truth(world: World, thread: Thread, unit: str, things: set[object], forward: bool) -> Extent:
    made = {u: run.seq for u, run in thread.maker.items()}
    here = made[unit]
    held = world.holding(things, made, here if forward else -1, 10**9 if forward else here)
    numbers = held.pop(("series S", 0), set())
    if forward:
        held["series S", 0] = {n for n in numbers if made[_last_pile(world, n)] >= here}
    return Extent({place: spans(xs) for place, xs in held.items()})


@pytest.mark.parametrize("seed", SEEDS)
def test_exact_works_is_traced_to_the_sheet_both_ways(seed: int) -> None:
    world = small_works(seed, doubtful=False)
    thread = Thread(world.runs, world.ties)
    for unit, lane, xs in asked(world, Random(seed)):
        things = world.meant(unit, lane, xs)
        for forward in (True, False):
            one = (thread.forward if forward else thread.back)(extent((unit, lane), set(xs)))
            assert one.may == one.must == truth(world, thread, unit, things, forward), (unit, xs, forward)


@pytest.mark.parametrize("seed", SEEDS)
def test_must_lies_within_truth_and_truth_within_may(seed: int) -> None:
    world = small_works(seed, doubtful=True)
    thread = Thread(world.runs, world.ties)
    assert not thread.lengths.differences  # a true history never contradicts itself
    for unit, lane, xs in asked(world, Random(seed)):
        things = world.meant(unit, lane, xs)
        for forward in (True, False):
            one = (thread.forward if forward else thread.back)(extent((unit, lane), set(xs)))
            true = truth(world, thread, unit, things, forward)
            assert one.may.covers(true), (unit, xs, forward, true - one.may)
            assert true.covers(one.must), (unit, xs, forward, one.must - true)
            assert one.may.covers(one.must)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_number_goes_back_to_its_sheet_and_film_and_comes_forward_again(seed: int) -> None:
    world = small_works(seed, doubtful=seed % 2 == 1)
    thread = Thread(world.runs, world.ties)
    made = {u: run.seq for u, run in thread.maker.items()}
    for number, sheet in world.numbers.items():
        one = thread.back(Extent.one("series S", 0, number, number + 1))
        held = world.holding({sheet}, made, -1, 10**9)
        born = {p: xs for p, xs in held.items() if made.get(p[0], 10**9) <= made[_last_pile(world, number)]}
        true = Extent({place: spans(xs) for place, xs in born.items()})
        assert one.may.covers(true)
        assert true.covers(one.must)
        if seed % 2 == 0:
            assert one.may == one.must == true
            struck = thread.strike_of("S", number)
            assert struck
            film = thread.film_of(struck[0], struck[1])
            assert {(u, lane, x) for u, lane, a, b in film for x in range(a, b)} == set(sheet)


def _last_pile(world: World, number: int) -> str:
    found: str = next(
        run.imprint.unit for run in world.runs
        if run.imprint and world.numbers[number] in world.at[run.imprint.unit][0]
    )  # fmt: skip
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_law_1_pieces_cover_their_input_exactly(seed: int) -> None:
    world = small_works(seed, doubtful=False)
    thread = Thread(world.runs, world.ties)
    for run in world.runs:
        units = run.pile.inputs if run.pile else {p.unit for p in run.pieces}
        for unit in units:
            for lane, items in world.at[unit].items():
                here = thread.frames.globally((unit, lane), Spans.of((0, len(items))))
                went = thread.step.domain & here
                cut = thread.cutter.web(thread.cutter.touched(here)) & here
                assert (went | cut).size == went.size + cut.size
                if run.what != "sheet":
                    assert went == here
