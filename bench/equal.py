"""Is the thread right at every sheet, both ways?  Each check compares all sheets, or all numbers, with the truth."""

from collections.abc import Iterator

import numpy as np
from order50 import CUT_OFF, UPS
from truth import Ints, Truth

from reelmark.spans import Extent, Spans
from reelmark.trace.strikes import Strikes
from reelmark.trace.thread import Thread


class Wrong(Exception):
    """The thread says something else than what is true."""


def check(thread: Thread, truth: Truth) -> int:
    """How many sheets were compared; Wrong names the first check that fails."""
    (strikes,) = thread.strikes
    _equal("sheet of every strike, strike of every sheet", _strikes_and_sheets(thread, truth, strikes))
    _equal("film of every sheet, sheet of every film", _webs_and_film(thread, truth))
    _equal("every number", _numbers(truth, strikes))
    _equal("film of a number of every sheet", _films(thread, truth, strikes))
    _equal("numbers of the film of every sheet", _recalls(thread, truth, strikes))
    return int(truth.born)


def _equal(what: str, checks: Iterator[bool]) -> None:
    for i, same in enumerate(checks):
        if not same:
            raise Wrong(f"{what}: comparison {i}")


def _strikes_and_sheets(thread: Thread, truth: Truth, strikes: Strikes) -> Iterator[bool]:
    first = thread.frames.start(strikes.place)
    cut = [thread.frames.start((c.pile, 0)) + np.arange(c.sheets)[::-1] for c in truth.shop.cuts]
    sheets = np.concatenate(cut)
    yield np.array_equal(thread.born(first + np.arange(truth.shop.ticks)), sheets[truth.sheet_of_tick])
    ticks = truth.tick_of_sheet
    yield np.array_equal(thread.born.inverse(sheets), np.where(ticks < 0, -1, first + ticks))


def _webs_and_film(thread: Thread, truth: Truth) -> Iterator[bool]:
    """Both ends of each sheet, and the middle, to film and back, and the cutter between."""
    for i, c in enumerate(truth.shop.cuts):
        start, pile = thread.frames.start((c.unit, c.lane)), thread.frames.start((c.pile, 0))
        web, sheets = truth.web(i), pile + np.arange(c.sheets)[::-1]
        yield [thread.cutter.web_of(s) for s in sheets.tolist()] == [(w, w + CUT_OFF) for w in (web + start).tolist()]
        for within in (0, CUT_OFF // 2, CUT_OFF - 1):
            roll, lane, film = truth.film(i, web + within)
            there = thread.frames.start((roll, lane)) + film
            yield np.array_equal(thread.wound(web + within + start), there)
            yield np.array_equal(thread.wound.inverse(there), web + within + start)


def _numbers(truth: Truth, strikes: Strikes) -> Iterator[bool]:
    """Number of every position of every sheet, and back."""
    ticks = np.arange(truth.shop.ticks)
    for some in np.array_split(ticks, 50):
        numbers = truth.numbers(some)
        for position in range(UPS):
            tick, back = strikes.struck(numbers[:, position])  # type: ignore[arg-type]
            yield np.array_equal(tick, some) and bool(np.all(back == position))
        yield strikes.numbers(Spans.of((int(some[0]), int(some[-1]) + 1))) == _spans(numbers.ravel())


def _films(thread: Thread, truth: Truth, strikes: Strikes) -> Iterator[bool]:
    """The quick way for one number, asked for one of every sheet that has one."""
    for i, a in enumerate(truth.first[:-1]):
        ends = [truth.film(i, truth.web(i) + within) for within in (0, CUT_OFF - 1)]
        (roll, lane, low), (_, _, high) = ends
        ticks = truth.tick_of_sheet[a : a + len(low)]
        numbers = truth.numbers(ticks)[:, 22]
        for tick, number, *edges in zip(ticks.tolist(), numbers.tolist(), low.tolist(), high.tolist(), strict=True):
            if tick >= 0:
                yield _film_is(thread, strikes, tick, number, (roll, lane), edges)


def _film_is(
    thread: Thread, strikes: Strikes, tick: int, number: int, place: tuple[str, int], edges: list[int]
) -> bool:
    if thread.strike_of(strikes.series, number) != (strikes, tick, 22):
        return False
    film = thread.film_of(strikes, tick)
    inside = all(any(a <= x < b for _, _, a, b in film) for x in edges)
    outside = not any(a < x < b - 1 for _, _, a, b in film for x in edges)
    return inside and outside and {f[:2] for f in film} == {place} and sum(b - a for _, _, a, b in film) == CUT_OFF


def _recalls(thread: Thread, truth: Truth, strikes: Strikes) -> Iterator[bool]:
    """Film of every second sheet of each cut, then of the others: exactly their numbers."""
    for i, a in enumerate(truth.first[:-1]):
        web = truth.web(i)
        for odd in (0, 1):
            film = _film_spans(truth, i, web[odd::2])
            ticks = truth.tick_of_sheet[a : a + len(web)][odd::2]
            found = thread.numbers_on(film)
            yield found.get(strikes, Spans.of()) == _spans(truth.numbers(ticks[ticks >= 0]).ravel())


def _film_spans(truth: Truth, cut: int, web: Ints) -> Extent:
    """The film of sheets: whole where both ends lie a cut-off apart, else one um in every 100 of it."""
    roll, lane, low = truth.film(cut, web)
    _, _, high = truth.film(cut, web + CUT_OFF - 1)
    low, high = np.minimum(low, high), np.maximum(low, high)
    whole = high - low == CUT_OFF - 1
    parts = (web[~whole][:, None] + np.arange(0, CUT_OFF, 100)).ravel()
    _, _, ends = truth.film(cut, parts)
    return Extent({(roll, lane): Spans(np.r_[low[whole], ends], np.r_[high[whole], ends] + 1)})


def _spans(numbers: Ints) -> Spans:
    return Spans(numbers, numbers + 1)
