"""What the journal tells a plan: what has passed each stage and when, and how many good notes are to be expected.

A run belongs to the stage of the plant that names its machine; where several do, to the one whose name's words the work
has in it ("relief, front" is the stage "relief front"), else to as many-th as the machine has now worked on it.  A
stage of several works is passed as far as the one that has passed least.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from .. import records as rec
from ..facts import SERIES, Run
from ..order import Order
from ..plan.backward import Backward, StageNeed
from ..plant import Plant
from ..reading import Reading
from ..spans import EMPTY, Extent, Spans

__all__ = ["HOLDING", "Passed", "expected", "passed", "shares_left", "touched"]

HOLDING = ("cut out", "hold", "held")  # grades of a mark that take material out; `note`, `keep`, `downgrade` do not
SORTING = ("pull", "split", "join")
Event = tuple[datetime, float]  # when, sheets


@dataclass(frozen=True, slots=True)
class Passed:
    """events : by stage, in time, sheets that passed it then;  machines : that last worked on it
    depth : of each unit, the last stage that it has passed, -1 none"""

    events: Mapping[int, tuple[Event, ...]]
    machines: Mapping[int, str]
    depth: Mapping[str, int]


def passed(reading: Reading, plant: Plant) -> Passed:
    """Read run by run."""
    return _Reader(reading, plant).read()


@dataclass
class _Reader:
    reading: Reading
    plant: Plant
    works: dict[int, dict[str, list[Event]]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(list)))
    machines: dict[int, str] = field(default_factory=dict)
    depth: dict[str, int] = field(default_factory=dict)
    times: dict[str, dict[str, int]] = field(default_factory=dict)  # unit -> machine -> how often it worked on it

    def read(self) -> Passed:
        for _, due in self.reading.shop.due:
            if isinstance(due, Run):
                self._run(due)
            elif isinstance(due, rec.Cut):
                sheets = self.reading.thread.lengths.sheets(due.unit)[0]
                self._take("cut", due.machine, due.at, sheets, self.times.get(due.unit, {}).get(due.machine, 0))
        events = {s: min(map(tuple, one.values()), key=_total) for s, one in self.works.items()}
        return Passed({s: tuple(sorted(one)) for s, one in events.items()}, self.machines, self.depth)

    def _run(self, run: Run) -> None:
        sources = run.pile.inputs if run.pile else tuple(dict.fromkeys(p.unit for p in run.pieces))
        done: dict[str, int] = {}
        for source in sources:
            for machine, many in self.times.get(source, {}).items():
                done[machine] = max(many, done.get(machine, 0))
        depth = min((self.depth.get(source, -1) for source in sources), default=-1)
        gives = dict(_gives(self.reading, run))
        if not (run.pile and (run.what in SORTING or run.what.endswith(" pile") or run.what == "pile set over")):
            sheets = sum(many for unit, many in gives.items() if not unit.endswith("/waste"))
            web = not run.pile and all(p.width == 1 for p in run.pieces)
            stage = self._take(run.what, run.machine, datetime.fromisoformat(run.at), sheets,
                               done.get(run.machine, 0), web)  # fmt: skip
            depth = depth if stage is None else max(depth, stage)
            done[run.machine] = done.get(run.machine, 0) + 1
        for unit in gives:
            self.depth[unit], self.times[unit] = depth, done

    def _take(self, what: str, machine: str, at: datetime, sheets: float, times: int, web: bool = False) -> int | None:
        mine = [s for s, stage in enumerate(self.plant.stages) if machine in stage.machines and stage.web == web]
        if not mine:
            return None
        said = _words(what)
        named = [s for s in mine if _words(self.plant.stages[s].name) <= said]
        stage = max(named, key=lambda s: len(self.plant.stages[s].name)) if named else mine[min(times, len(mine) - 1)]
        self.works[stage][what].append((at, sheets))
        self.machines[stage] = machine
        return stage


def _words(text: str) -> set[str]:
    return set(text.lower().replace(",", " ").split())


def _total(events: tuple[Event, ...]) -> float:
    return sum(many for _, many in events)


def _gives(reading: Reading, run: Run) -> Iterator[tuple[str, float]]:
    """(unit, sheets that it is or would be cut to), lots and waste among them."""
    cut = reading.order.layout.cut_off
    for unit, lanes, length in run.born:
        yield unit, lanes * length / cut
    found: dict[str, float] = defaultdict(float)
    for piece in run.pieces:
        found[piece.to_unit] += piece.many if piece.width > 1 else piece.many / cut
    yield from found.items()
    if run.pile:
        for unit, _ in run.pile.outputs:
            yield unit, reading.thread.lengths.sheets(unit)[0]
        for lot in (*(p.lot for p in run.pile.pulls), *(u.lot for u in run.pile.unknowns)):
            yield lot, 0.0


def shares_left(back: Backward) -> tuple[float, ...]:
    """Of a sheet that has passed each stage, the share that comes out of the last; make-ready and samples spread over
    all.  The last entry is 1."""
    out = [1.0]
    for one in reversed(back.stages[1:]):
        out.append(out[-1] * one.out / one.runs)
    return tuple(reversed(out))


def expected(reading: Reading, plant: Plant, back: Backward, told: Passed, lost: Extent, complete: bool) -> int:
    """Good notes to be expected: cut ones, what stands at each stage times the mean yields left, film yet to be wound.

    lost : taken out of what is good, wherever it lies;  complete : no more film is wound for the order
    """
    books, order = reading.accounting.books, reading.order
    left = shares_left(back)
    sheet = [share * order.layout.ups for share in left]
    total = 0.0
    for unit, lane in books.places():
        good = EMPTY
        for spans in books.of_kind((unit, lane), "good").values():
            good = good | spans
        good = good - lost.get((unit, lane), EMPTY)
        depth = max(0, told.depth.get(unit, 0))
        measure = books.measures[unit]
        if measure == "notes":
            total += good.size
        else:
            cut = 1 if measure == "sheets" else order.layout.cut_off
            total += sum((b - a) // cut for a, b in good) * sheet[depth]  # a rest of web gives no sheet
    if not complete:
        wound = sum(many for _, many in told.events.get(0, ()))
        total += max(0.0, _sheets(back.stages[0], order) - wound) * sheet[0]
    return int(total)


def _sheets(need: StageNeed, order: Order) -> float:
    return need.out * order.lanes * 1e6 / order.layout.cut_off if need.unit == "m" else float(need.out)


def _whole(a: int, b: int, cut: int, length: int) -> tuple[int, int]:
    """The stretch made as long as the most sheets that it can touch, wherever the first cut will fall."""
    most = (-(-(b - a) // cut) + 1) * cut
    start = max(0, a - (most - (b - a)) // 2)
    return start, min(length, start + most)


def touched(reading: Reading, extent: Extent) -> Extent:
    """Web, sheets and numbers that may hold any of an extent; standing web in whole sheets, numbers sheet by sheet."""
    cut = reading.order.layout.cut_off
    may = reading.thread.forward(extent).may | extent
    places: list[tuple[tuple[str, int], Spans]] = []
    for (unit, lane), spans in may.items():
        if unit in reading.shop.web_length:
            spans = Spans.of(*(_whole(a, b, cut, reading.shop.web_length[unit]) for a, b in spans))
        if not unit.startswith(SERIES):
            places.append(((unit, lane), spans))
    return Extent([*places, *reading.thread.numbers(extent).may.items()])
