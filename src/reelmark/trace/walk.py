"""Walking an extent along the way, unit by unit, with its doubt.

For each unit three things are carried: what is surely meant, what may be meant, and stretches that hang on named
unknowns.  Whole numbers go through the exact tables in one sweep a unit; the rest through the Feed, and comes back to
whole numbers as soon as its unknowns cancel.  Nothing is narrowed to a point on the way.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ..facts import SERIES, Run
from ..spans import EMPTY, Extent, Place, Spans
from .feed import Feed, Stretch
from .form import Doubt, Form
from .strikes import Strikes

if TYPE_CHECKING:
    from .thread import Thread

__all__ = ["Answer", "walk_back", "walk_forward"]


@dataclass(frozen=True, slots=True)
class Answer:
    """MAY: everything it can have touched.  MUST: what it surely touched.  MUST lies within MAY."""

    may: Extent
    must: Extent

    def of(self, wanted: Callable[[str], bool]) -> "Answer":
        """Only the units whose name is wanted."""
        return Answer(*(Extent({p: s for p, s in one.items() if wanted(p[0])}) for one in (self.may, self.must)))


@dataclass(slots=True)
class _Carried:
    """What is carried of one unit: lane -> spans, surely and perhaps; and loose stretches."""

    sure: dict[int, Spans] = field(default_factory=dict)
    maybe: dict[int, Spans] = field(default_factory=dict)
    loose: list[Stretch] = field(default_factory=list)

    def exact(self) -> Iterator[tuple[bool, int, Spans]]:
        for sure, lanes in ((True, self.sure), (False, self.maybe)):
            for lane, spans in lanes.items():
                yield sure, lane, spans

    def add(self, sure: bool, lane: int, spans: Spans) -> None:
        lanes = self.sure if sure else self.maybe
        lanes[lane] = lanes.get(lane, EMPTY) | spans


class _Walk:
    """One question being answered: what is still to be walked, and what was found."""

    def __init__(self, thread: "Thread", extent: Extent) -> None:
        self.thread, self.doubt = thread, Doubt(thread.lengths.known)
        self.todo: dict[str, _Carried] = {}
        self.may: list[tuple[Place, Spans]] = []
        self.must: list[tuple[Place, Spans]] = []
        for (unit, lane), spans in extent.items():
            self.put(unit, True, lane, spans)

    def put(self, unit: str, sure: bool, lane: int, spans: Spans) -> None:
        if spans:
            self.todo.setdefault(unit, _Carried()).add(sure, lane, spans)

    def put_global(self, sure: bool, spans: Spans) -> None:
        for (unit, lane), some in self.thread.frames.locally(spans).items():
            self.put(unit, sure, lane, some)

    def put_stretch(self, stretch: Stretch, doubt: Doubt) -> None:
        low, high = doubt.settled(stretch.low), doubt.settled(stretch.high)
        if doubt.bounds(high - low)[1] <= 0:
            return
        if low.terms or high.terms:
            held = Stretch(stretch.unit, low, high, stretch.sure)
            self.todo.setdefault(stretch.unit, _Carried()).loose.append(held)
        else:
            self.put(stretch.unit, stretch.sure, 0, Spans.of((low.constant, high.constant)))

    def found(self, unit: str, carried: _Carried) -> None:
        for sure, lane, spans in carried.exact():
            self.may.append(((unit, lane), spans))
            if sure:
                self.must.append(((unit, lane), spans))
        for stretch in carried.loose:
            may, must = hulls(stretch, self.doubt)
            self.may.append(((unit, 0), may))
            self.must.append(((unit, 0), must))

    def answer(self) -> Answer:
        return Answer(Extent(self.may), Extent(self.must))


def hulls(stretch: Stretch, doubt: Doubt) -> tuple[Spans, Spans]:
    """Outer and inner whole-number spans of a stretch with doubt."""
    (low, low_end), (high, high_end) = doubt.bounds(stretch.low), doubt.bounds(stretch.high)
    outer = Spans.of((max(0, low), max(0, low, high_end)))
    inner = Spans.of((low_end, high)) if stretch.sure and low_end < high else EMPTY
    return outer, inner


def _doubtful(carried: _Carried, left: Callable[[Spans], Spans]) -> Iterator[tuple[Form, Form, bool]]:
    """Stretches that the exact tables leave over, and the loose ones."""
    for sure, lane, spans in carried.exact():
        if lane == 0:
            for a, b in left(spans):
                yield Form(a), Form(b), sure
    for stretch in carried.loose:
        yield stretch.low, stretch.high, stretch.sure


def walk_forward(thread: "Thread", extent: Extent) -> Answer:
    """Where an extent went."""
    walk = _Walk(thread, extent)
    start = set(walk.todo)
    while walk.todo:
        unit = min(walk.todo, key=lambda u: thread.order.get(u, 1 << 60))
        carried = walk.todo.pop(unit)
        if unit not in start:
            walk.found(unit, carried)
        if unit.startswith(SERIES):
            continue
        start.discard(unit)
        _onward(walk, unit, carried)
    return walk.answer()


def _onward(walk: _Walk, unit: str, carried: _Carried) -> None:
    thread = walk.thread
    for sure, lane, spans in carried.exact():
        there = thread.frames.globally((unit, lane), spans)
        walk.put_global(sure, thread.step.image(there))
        walk.put_global(sure, thread.cutter.touched(there))
    piles = [run for run in thread.takers.get(unit, ()) if run.pile]
    if piles:
        for low, high, sure in _doubtful(carried, _less(thread, unit, thread.step.domain)):
            for run in piles:
                for stretch in thread.feed(run).forward(unit, low, high, walk.doubt, sure):
                    walk.put_stretch(stretch, walk.doubt)
    if unit in thread.imprints:
        _struck(walk, unit, carried)


def _less(thread: "Thread", unit: str, known: Spans) -> Callable[[Spans], Spans]:
    """Spans of a unit without those an exact table knows."""
    shift = thread.frames.start((unit, 0))
    return lambda spans: (spans.shifted(shift) - known).shifted(-shift)


def _struck(walk: _Walk, unit: str, carried: _Carried) -> None:
    """From sheets of a numbered pile to numbers."""
    thread, imprint = walk.thread, walk.thread.imprints[unit]
    strikes = Strikes.of(imprint)
    for sure, lane, spans in carried.exact():
        ticks = thread.frames.locally(thread.prints.image(thread.frames.globally((unit, lane), spans)))
        walk.put(imprint.frame, sure, 0, strikes.numbers(ticks.get(strikes.place, EMPTY)))
    feed = thread.print_feed(unit)
    doubt = _with(feed, walk)
    for low, high, sure in _doubtful(carried, _less(thread, unit, thread.prints.domain)):
        for stretch in feed.forward(unit, low, high, doubt, sure):
            if stretch.unit == strikes.place[0]:
                for sure_, ticks_ in zip((False, True), hulls(stretch, doubt), strict=True):
                    walk.put(
                        imprint.frame,
                        sure_,
                        0,
                        strikes.numbers(_held(ticks_, imprint.ticks).shifted(imprint.first_tick)),
                    )


def _held(spans: Spans, length: int) -> Spans:
    return spans & Spans.of((0, length))


def _with(feed: Feed, walk: _Walk) -> Doubt:
    """The walk's doubt with the feed's own unknowns: sheets that went unnumbered."""
    walk.doubt.learn(feed.doubt, [u.name for u in feed.run.unknowns])
    return walk.doubt


def walk_back(thread: "Thread", extent: Extent) -> Answer:
    """Where an extent came from."""
    walk = _Walk(thread, extent)
    start = set(walk.todo)
    while walk.todo:
        unit = max(walk.todo, key=lambda u: thread.order.get(u, 1 << 60))
        carried = walk.todo.pop(unit)
        if unit not in start:
            walk.found(unit, carried)
        start.discard(unit)
        _series_back(walk, unit, carried) if unit.startswith(SERIES) else _backward(walk, unit, carried)
    return walk.answer()


def _backward(walk: _Walk, unit: str, carried: _Carried) -> None:
    thread = walk.thread
    for sure, lane, spans in carried.exact():
        there = thread.frames.globally((unit, lane), spans)
        walk.put_global(sure, thread.back_step.image(there))
        walk.put_global(sure, thread.cutter.web(there & thread.cutter.sheets))
    maker = thread.maker.get(unit)
    if maker is None or not maker.pile:
        for stretch in carried.loose:
            _onto_web(walk, unit, stretch)
        return
    for low, high, sure in _doubtful(carried, _less(thread, unit, thread.made_exactly)):
        for stretch in _made_from(thread, maker, unit, low, high, sure, walk.doubt):
            walk.put_stretch(stretch, walk.doubt)


def _made_from(
    thread: "Thread", maker: Run, unit: str, low: Form, high: Form, sure: bool, doubt: Doubt
) -> Iterable[Stretch]:
    feed = thread.feed(maker)
    if unit in feed.out_lengths:
        return feed.back(unit, low, high, doubt, sure)
    return feed.back_from_lot(unit, low, high, doubt, sure)


def _onto_web(walk: _Walk, unit: str, stretch: Stretch) -> None:
    """A stretch with doubt at the sheet cutter: its outer and inner sheets, each to its web."""
    thread = walk.thread
    length = Spans.of((0, thread.length[unit].constant))
    for sure, sheets in zip((False, True), hulls(stretch, walk.doubt), strict=True):
        walk.put_global(sure, thread.cutter.web(thread.frames.globally((unit, 0), sheets & length)))


def _series_back(walk: _Walk, series: str, carried: _Carried) -> None:
    """From numbers to sheets of the piles that were numbered."""
    thread = walk.thread
    for strikes in thread.strikes:
        if strikes.numbers_place[0] != series:
            continue
        for sure, _, numbers in carried.exact():
            ticks = strikes.ticks(numbers)
            there = thread.frames.globally(strikes.place, ticks)
            walk.put_global(sure, thread.back_prints.image(there))
            left = there - thread.back_prints.domain
            if left:
                _doubtful_strikes(walk, strikes.place[0], left.shifted(-thread.frames.start(strikes.place)), sure)


def _doubtful_strikes(walk: _Walk, place: str, ticks: Spans, sure: bool) -> None:
    for unit, imprint in walk.thread.imprints.items():
        if Strikes.of(imprint).place[0] != place:
            continue
        feed = walk.thread.print_feed(unit)
        doubt = _with(feed, walk)
        for a, b in _held(ticks.shifted(-imprint.first_tick), imprint.ticks):
            for stretch in feed.back(place, Form(a), Form(b), doubt, sure):
                walk.put_stretch(stretch, doubt)
