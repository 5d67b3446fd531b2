"""The thread: every unit of the works tied to every other, from runs alone.

    thread = Thread(runs, ties)
    thread.forward(extent)   where it went     } each an Answer: MAY (recall this) and MUST (book this),
    thread.back(extent)      where it is from  } for every unit on the way

Three tables on one big axis do the exact part: `step` (web to web, sheet to sheet), `cutter` (web to sheet) and
`prints` (sheet to strike of the numbering boxes); strikes to numbers is closed form.  What the tables leave open hangs
on named unknowns and goes through the Feeds.  The composed maps are caches, made when first asked for.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np

from ..errors import NotThere
from ..facts import BLANK, SERIES, Imprint, PileRun, Run, Tie, Unknown
from ..spans import EMPTY, Extent, Spans
from .cutter import Cutter
from .exact import exact_rows
from .feed import Feed
from .form import Doubt
from .frames import BLOCK, Frames
from .lengths import Difference, Lengths
from .pins import pins_of
from .runs import RunMap
from .straight import Straight
from .strikes import Strikes
from .walk import Answer, walk_back, walk_forward

__all__ = ["Answer", "Difference", "Thread"]


class Thread:
    """Where everything is and was.  Built from runs and ties in journal order; immutable after.

    earlier : a thread of the same order a little while ago; what it already worked out is taken over
    """

    def __init__(self, runs: Sequence[Run], ties: Sequence[Tie] = (), earlier: "Thread | None" = None) -> None:
        self.runs, self.ties = tuple(runs), tuple(ties)
        self.lengths = Lengths.read(self.runs, self.ties)
        self.length = self.lengths.settled()
        self.doubt = Doubt(self.lengths.known)
        self.frames: Frames = earlier.frames if earlier else Frames()
        self._rows: dict[object, np.ndarray] = {}
        self._earlier_rows = earlier._rows if earlier else {}
        self.maker = self.lengths.maker
        self._index_units()
        self._lay_tables()

    # --- making ------------------------------------------------------------------------------------------------

    def _index_units(self) -> None:
        self.takers: dict[str, list[Run]] = {}
        self.imprints: dict[str, Imprint] = {}
        for run in self.runs:
            for unit in run.pile.inputs if run.pile else {p.unit for p in run.pieces}:
                self.takers.setdefault(unit, []).append(run)
            if run.imprint:
                self.imprints[run.imprint.unit] = run.imprint
        self._index_strikes()
        self.feeds: dict[int, Feed] = {}
        self.print_feeds: dict[str, Feed] = {}

    def _index_strikes(self) -> None:
        """Each setting of the boxes: where its ticks begin on the big axis, and which of them were struck."""
        ticks: dict[Strikes, list[tuple[int, int]]] = {}
        for i in self.imprints.values():
            ticks.setdefault(Strikes.of(i), []).append((i.first_tick, i.first_tick + i.ticks))
        self.strikes = {strikes: self.frames.start(strikes.place) for strikes in ticks}
        self._setting = {start // BLOCK: strikes for strikes, start in self.strikes.items()}
        self._struck: dict[str, list[tuple[Strikes, list[int], list[int]]]] = {}
        for strikes, some in ticks.items():
            struck = Spans.of(*some)
            self._struck.setdefault(strikes.series, []).append((strikes, struck.starts.tolist(), struck.stops.tolist()))

    def feed(self, run: Run) -> Feed:
        """The Feed of a run on piles, made when first asked for."""
        made = self.feeds.get(run.seq)
        if made is None:
            assert run.pile is not None
            made = Feed(run.pile, self.length, self.doubt, pins_of(self, run))
            self.feeds[run.seq] = made
        return made

    def print_feed(self, unit: str) -> Feed:
        """The numbering of a pile as a Feed from its sheets to the strikes it got."""
        made = self.print_feeds.get(unit)
        if made is None:
            made = self.print_feeds[unit] = self._make_print_feed(self.imprints[unit])
        return made

    def _make_print_feed(self, imprint: Imprint) -> Feed:
        """Sheets that went through unnumbered are pulls between sheets and strikes: of known place once seen blank."""
        place, _ = Strikes.of(imprint).place
        low, high = self.doubt.bounds(self.length[imprint.unit])
        lot = f"{imprint.unit} unnumbered"
        seen = sorted({t.sheet for t in self.ties if t.unit == imprint.unit and t.as_unit == BLANK})
        blanks = [Unknown(f"{lot} at {y}", y, y + 1, 1, 1, lot, "good", "") for y in seen[: high - imprint.ticks]]
        missed = max(0, low - imprint.ticks - len(blanks)), max(0, high - imprint.ticks - len(blanks))
        unknowns = [Unknown(lot, 0, high, *missed, lot, "good", "")] if missed[1] else []
        known = {u.name: (u.low, u.high) for u in (*blanks, *unknowns)}
        run = PileRun((imprint.unit,), ((place, imprint.ticks),), True, unknowns=(*blanks, *unknowns))
        return Feed(run, self.length, Doubt({**self.lengths.known, **known}), pins_of(self, imprint))

    def _lay_tables(self) -> None:
        step, cuts = [np.empty((0, 4), np.int64)], []
        for run in self.runs:
            if run.pile:
                step.append(self._kept(run))
            elif run.pieces:
                cuts += [self._cut_row(p) for p in run.pieces if p.width > 1]
                step.append(self._piece_rows(run))
        table = np.concatenate(step)
        self.step = RunMap(table[:, 0], table[:, 1], table[:, 2], table[:, 3])
        self.back_step = self.step.inverse
        self.cutter = Cutter(cuts)
        self.prints = RunMap.of(row for unit in self.imprints for row in self._print_rows(unit))
        self.back_prints = self.prints.inverse

    def _kept(self, run: Run) -> np.ndarray:
        """Rows of a run on piles: taken over from the earlier thread where nothing that bears on them changed."""
        assert run.pile is not None
        bearing = (
            run.pile,
            *(self.length[u] for u in run.pile.inputs),
            *(self.lengths.known[u.name] for u in run.pile.unknowns),
        )
        rows = self._earlier_rows.get(bearing)
        if rows is None:
            feed = Feed(run.pile, self.length, self.doubt)
            rows = self._global_rows(exact_rows(feed))
        self._rows[bearing] = rows
        return rows

    def _piece_rows(self, run: Run) -> np.ndarray:
        key = run.pieces
        rows = self._earlier_rows.get(key)
        if rows is None:
            start = self.frames.start
            rows = np.array(
                [
                    (start((p.unit, p.lane)) + p.start, p.many, start((p.to_unit, p.to_lane)) + p.at, p.sign)
                    for p in run.pieces if p.width == 1
                ], np.int64,
            ).reshape(-1, 4)  # fmt: skip
        self._rows[key] = rows
        return rows

    def _global_rows(self, rows: Iterable[tuple[str, int, int, str, int, int]]) -> np.ndarray:
        start = self.frames.start
        made = [(start((u, 0)) + a, n, start((to, 0)) + at, sign) for u, a, n, to, at, sign in rows]
        return np.array(made, np.int64).reshape(-1, 4)

    def _cut_row(self, p: "object") -> tuple[int, int, int, int, int]:
        web, pile = self.frames.start((p.unit, p.lane)), self.frames.start((p.to_unit, p.to_lane))  # type: ignore[attr-defined]
        low = p.at if p.sign > 0 else p.at - p.many + 1  # type: ignore[attr-defined]
        return pile + low, p.many, web + p.start, p.width, p.sign  # type: ignore[attr-defined]

    def _print_rows(self, unit: str) -> Iterable[tuple[int, int, int, int]]:
        first = self.imprints[unit].first_tick
        for u, a, n, to, at, sign in exact_rows(self.print_feed(unit)):
            if not to.endswith(" unnumbered"):
                yield self.frames.start((u, 0)) + a, n, self.frames.start((to, 0)) + first + at, sign

    # --- composed maps, cached ---------------------------------------------------------------------------------

    @cached_property
    def order(self) -> dict[str, int]:
        """Units in the order in which they were made."""
        return {unit: i for i, unit in enumerate(self.length)}

    @cached_property
    def born(self) -> RunMap:
        """Strike -> sheet as it was cut, through every exact handling of piles."""
        return self._followed(self.back_prints, self.cutter.sheets)

    @cached_property
    def made_exactly(self) -> Spans:
        """All that the exact tables know the making of."""
        return self.back_step.domain | self.cutter.sheets

    @cached_property
    def wound(self) -> RunMap:
        """Web as the sheet cutter met it -> film as it was wound."""
        at_cutter = RunMap.identity(self.cutter.web(self.cutter.sheets))
        return self._followed(at_cutter, None)

    def _followed(self, start: RunMap, until: Spans | None) -> RunMap:
        """The map continued backwards as far as it goes."""
        done, going = RunMap.of(), start
        while len(going):
            onward = going.then(self.back_step)
            if onward.reach < going.reach:
                done |= going.but(self.back_step.domain)
            going = onward
        return done if until is None else done.then(RunMap.identity(until))

    @cached_property
    def straight(self) -> Straight:
        """Strike <-> film, in one step."""
        return Straight(self.born, self.cutter, self.wound)

    @cached_property
    def _wound_back(self) -> RunMap:
        return self.wound.inverse

    # --- asking ------------------------------------------------------------------------------------------------

    def known(self, unit: str) -> str:
        """The unit's name, or NotThere."""
        if unit not in self.length and not unit.startswith("series "):
            near = [u for u in self.length if unit.lower() in u.lower()][:4]
            cure = f"did you mean {', '.join(near)}?" if near else "list the units with `reelmark way --units`"
            raise NotThere("unit", unit, "no record made a unit of that name", cure)
        return unit

    def forward(self, extent: Extent) -> Answer:
        """Where an extent went, for every unit it touched."""
        for unit, _ in extent:
            self.known(unit)
        return walk_forward(self, extent)

    def back(self, extent: Extent) -> Answer:
        """Where an extent came from, for every unit up the way."""
        for unit, _ in extent:
            self.known(unit)
        return walk_back(self, extent)

    def numbers(self, extent: Extent) -> Answer:
        """The numbers that sheets or film bear, or will: forward, and for sheets numbered already also back."""
        ahead, behind = self.forward(extent), self.back(extent)
        may, must = ahead.may, ahead.must
        for unit in {u for u, _ in behind.may if u in self.imprints} | {u for u, _ in extent if u in self.imprints}:
            at = unit, 0
            may |= self._borne(unit, behind.may.get(at, EMPTY) | extent.get(at, EMPTY)).may
            must |= self._borne(unit, behind.must.get(at, EMPTY) | extent.get(at, EMPTY)).must
        return Answer(may, must).of(lambda unit: unit.startswith(SERIES))

    def _borne(self, unit: str, sheets: Spans) -> Answer:
        return self.forward(Extent({(unit, 0): sheets})).of(lambda to: to.startswith(SERIES))

    def strike_of(self, series: str, number: int) -> tuple[Strikes, int, int] | None:
        """(setting, tick, position) of a number that was printed, or None."""
        for strikes, starts, stops in self._struck.get(series, ()):
            if number >= strikes.base:
                tick, position = strikes.struck(number)
                i = bisect_right(starts, tick) - 1
                if i >= 0 and tick < stops[i]:
                    return strikes, tick, position
        return None

    def film_of(self, strikes: Strikes, tick: int) -> list[tuple[str, int, int, int]]:
        """(roll, lane, start, stop) um of the film of one strike; empty where only the walk can tell.  About 2 us."""
        film = []
        for start, stop in self.straight.film(self.strikes[strikes] + tick):
            (roll, lane), at = self.frames.locate(start)
            film.append((roll, lane, at, at + stop - start))
        return film

    def sheets_at(self, film: np.ndarray) -> np.ndarray:
        """Sheets, on the big axis, cut from many single um of film; -1 where no sheet was."""
        return self.cutter.sheets_at(self._wound_back(film))

    def numbers_on(self, film: Extent) -> dict[Strikes, Spans]:
        """Numbers of all exact sheets that hold any of the film; the short way for film alone."""
        ticks: dict[Strikes, list[tuple[int, int]]] = {}
        for place, some in film.items():
            for start, stop in self.frames.along(place, some):
                for a, b in self.straight.strikes(start, stop):
                    ticks.setdefault(self._setting[a // BLOCK], []).append((a % BLOCK, a % BLOCK + b - a))
        return {strikes: strikes.numbers_of(some) for strikes, some in ticks.items()}
