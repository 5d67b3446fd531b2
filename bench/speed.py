"""Questions asked of the thread and of the anchor in turns, and answers held against each other."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from statistics import median
from typing import TypeVar

import numpy as np
from anchor import Anchor
from equal import Wrong
from measure import Result, below, percentile, seconds, side_by_side, stated, times
from order50 import BLOCK, CUT_OFF, LANES, LENGTH, METRE, UPS, Shop50
from truth import Ints, Truth

from reelmark.facts import Run
from reelmark.spans import Extent, Spans
from reelmark.trace.strikes import Strikes
from reelmark.trace.thread import Thread

T = TypeVar("T")
Stretch = tuple[tuple[str, int], int, int]  # (roll, lane), start, stop: the question as SQL wants it


@dataclass(frozen=True)
class Both:
    """The thread and the anchor over the same order.  ticks : so many of the first are in the anchor."""

    thread: Thread
    anchor: Anchor
    truth: Truth
    ticks: int
    note: str

    @property
    def strikes(self) -> Strikes:
        """The one setting of the boxes."""
        (one,) = self.thread.strikes
        return one

    def film(self, number: int) -> list[tuple[str, int, int, int]]:
        """What the thread says of a number."""
        return trace(self.thread, self.strikes.series, number)

    def numbers(self, film: Extent) -> Spans:
        """What the thread says of film."""
        return self.thread.numbers_on(film)[self.strikes]


def trace(thread: Thread, series: str, number: int) -> list[tuple[str, int, int, int]]:
    """Number to film: (roll, lane, start, stop)."""
    found = thread.strike_of(series, number)
    return thread.film_of(found[0], found[1]) if found else []


def speed(both: Both, rng: Random) -> list[Result]:
    """All comparisons of speed."""
    numbers = [both.strikes.number(rng.randrange(both.ticks), rng.randrange(UPS)) for _ in range(10_000)]
    return [
        _trace(both, numbers),
        below("trace, 99 of 100 below", percentile(both.film, numbers, 0.99), "us", 50,
              percentile(both.anchor.trace, numbers, 0.99), "10,000 random numbers, each timed by itself, warm"),
        _recall(both, "recall 3 m of one lane", _stretches(both, rng, 3 * METRE, 200), 5),
        _recall(both, "recall 1 km of one lane", _stretches(both, rng, 1000 * METRE, 10), 100),
        *_whole_roll(both),
    ]  # fmt: skip


def _trace(both: Both, numbers: list[int]) -> Result:
    for number in numbers:
        film, (roll, lane, um) = both.film(number), both.anchor.trace(number)
        if film[0][:2] != (roll, lane) or min(start for _, _, start, _ in film) != um:
            raise Wrong(f"number {number}: thread says {film}, anchor {(roll, lane, um)}")
    ours, rows = side_by_side([_each(both.film, numbers), _each(both.anchor.trace, numbers)], len(numbers))
    return times("trace number to film", ours, "us", rows, 3, both.note)


def _each(ask: Callable[[T], object], questions: list[T]) -> Callable[[], None]:
    def all_of_them() -> None:
        for one in questions:
            ask(one)

    return all_of_them


def _stretches(both: Both, rng: Random, length: int, many: int) -> list[Stretch]:
    """Film whose sheets got numbers that the anchor has."""
    found: list[Stretch] = []
    while len(found) < many:
        film = trace(both.thread, both.strikes.series, both.strikes.number(rng.randrange(both.ticks), 0))
        roll, lane, start, _ = film[0]
        start = min(start, LENGTH - length)
        if both.numbers(Extent.one(roll, lane, start, start + length)).stop <= both.ticks // BLOCK * BLOCK * UPS:
            found.append(((roll, lane), start, start + length))
    return found


def _recall(both: Both, name: str, stretches: list[Stretch], least: float) -> Result:
    across = sum(_differs(both, one) for one in stretches)
    films = [_film(one) for one in stretches]
    ours, rows = side_by_side(
        [_each(both.numbers, films), _each(lambda one: both.anchor.recall(*one), stretches)], len(stretches)
    )
    one = both.numbers(films[0])
    note = f"the first of {len(stretches)}: {one.size:,} numbers in {len(one)} ranges"
    differ = f"; {across} differ by sheets across a splice, which the anchor keeps only once" if across else ""
    return times(name, ours, "us", rows, least, note + differ)


def _film(stretch: Stretch) -> Extent:
    (roll, lane), start, stop = stretch
    return Extent.one(roll, lane, start, stop)


def _differs(both: Both, stretch: Stretch) -> bool:
    """Whether the anchor's answer is another; Wrong unless all of the difference is sheets across a splice."""
    ours, rows = both.numbers(_film(stretch)), Spans.of(*both.anchor.recall(*stretch))
    for start, stop in (ours - rows) | (rows - ours):
        for number in range(start, stop):
            tick, _ = both.strikes.struck(number)
            if len(both.thread.film_of(both.strikes, tick)) == 1:
                raise Wrong(f"recall of {stretch}: number {number} is in one answer only")
    return ours != rows


def _whole_roll(both: Both) -> list[Result]:
    roll = next(run.born[0][0] for run in both.truth.shop.runs[len(both.truth.shop.runs) // 50 :] if run.born)
    whole = Extent({(roll, lane): Spans.of((0, LENGTH)) for lane in range(1, LANES + 1)})
    few = Extent.one(roll, 2, LENGTH // 2, LENGTH // 2 + 3 * METRE)
    numbers = both.thread.numbers_on(whole)[both.strikes]
    direct, walked, short = (
        us / 1000
        for us in side_by_side([lambda: both.thread.numbers_on(whole), lambda: both.thread.numbers(whole),
                                lambda: both.thread.numbers(few)], 1)
    )  # fmt: skip
    if both.thread.numbers(whole).must["series " + both.strikes.series, 0] != numbers:
        raise Wrong(f"the walk and the short way differ on {roll}")
    return [
        below("whole mother roll, 4 lanes, as ranges", direct, "ms", 20, None,
              f"{numbers.size:,} numbers in {len(numbers)} ranges"),
        stated("whole mother roll, walked with MAY and MUST", walked, "ms", None, "through every unit on the way"),
        stated("recall 3 m, walked with MAY and MUST", short, "ms", None, "through every unit on the way"),
    ]  # fmt: skip


# --- recompute -------------------------------------------------------------------------------------------------


def late(runs: list[Run], which: int) -> list[Run]:
    """The runs with one pull of one print pass corrected by a sheet."""
    prints = [i for i, run in enumerate(runs) if run.what == "print"]
    i = prints[len(prints) // 2 + which]
    pile = runs[i].pile
    assert pile is not None
    first, second, *rest = pile.pulls
    pulls = (first._replace(sheets=first.sheets - 1), second, *rest)
    changed = replace(runs[i], pile=replace(pile, pulls=pulls))
    return [*runs[:i], changed, *runs[i + 1 :]]


def recompute(shop: Shop50, thread: Thread, rounds: int = 9) -> list[Result]:
    """An order read anew after a late event, up to the first answer."""
    series = shop.name
    number = shop.ticks * UPS // 2 // BLOCK * BLOCK
    took, anew = [], []
    for which in range(rounds):
        runs = late(shop.runs, which)
        took.append(1000 * seconds(lambda runs=runs: trace(Thread(runs, (), earlier=thread), series, number)))  # type: ignore[misc]
        anew.append(1000 * seconds(lambda runs=runs: trace(Thread(runs), series, number)))  # type: ignore[misc]
    _same(Thread(late(shop.runs, 0), (), earlier=thread), Thread(late(shop.runs, 0)), series, shop.ticks)
    note = f"median of {rounds}, {min(took):.0f} to {max(took):.0f} ms; anchor: the same from nothing"
    return [below("recompute an order after a late event", median(took), "ms", 50, median(anew), note)]


def _same(one: Thread, two: Thread, series: str, ticks: int) -> None:
    """Wrong unless both threads have the same film for a number in every thousand sheets."""
    for tick in range(0, ticks - 100, 997):
        number = next(iter(one.strikes)).number(tick, 0)
        if trace(one, series, number) != trace(two, series, number):
            raise Wrong(f"number {number} after a late event")


def first_film(truth: Truth) -> list[tuple[tuple[str, int], Ints]]:
    """For the anchor: roll and lane of each cut, and where the first film of each sheet begins."""
    found = []
    for i in range(len(truth.shop.cuts)):
        web = truth.web(i)
        roll, lane, low = truth.film(i, web)
        _, _, high = truth.film(i, web + CUT_OFF - 1)
        um = np.minimum(low, high)
        across = np.abs(high - low) != CUT_OFF - 1
        um[across] = [_lowest(truth, i, w) for w in web[across].tolist()]
        found.append(((roll, lane), um))
    return found


def _lowest(truth: Truth, cut: int, web: int) -> int:
    """Where the lowest film of a sheet across a splice begins."""
    return int(truth.film(cut, np.arange(web, web + CUT_OFF))[2].min())
