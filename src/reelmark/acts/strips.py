"""The order as strips: for each station of the way, the units it gave, laid end to end on one axis and to scale.

    strips(reading)      Strip of a station -> Track of a handling -> Box of a unit
    track.flat(extent)   an extent on the track's axis, row by row: what every picture and every question is made of

A web's axis is micrometres, its rows are lanes; the rolls of one slitting lie side by side.  A pile's axis is sheets,
a series' notes.  The first track of a strip is what the station gives; the others are what it did on the way there.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..facts import SERIES, Run
from ..reading import Reading
from ..spans import Extent, Spans
from ..way import WAY, Station
from .recall import numbered_units

__all__ = ["Box", "Strip", "Track", "strips"]

BESIDE = "pulled, and waste"
SORTING = frozenset({"pull", "split", "join"})  # done to a rest again and again: how often says nothing
_NTH = {1: "again", 2: "a third time"}


@dataclass(frozen=True, slots=True)
class Box:
    """A unit on a track: where it begins, how long it may be and surely is, on which lanes."""

    unit: str
    start: int
    length: int
    sure: int
    lanes: tuple[int, ...]
    entry: int | None


@dataclass(frozen=True)
class Track:
    """Units of one handling, end to end.  measure : um, sheets or notes.  side : lots and waste, beside the way."""

    key: str
    words: str
    measure: str
    boxes: tuple[Box, ...]
    side: bool = False

    @cached_property
    def rows(self) -> tuple[int, ...]:
        """The lanes there are."""
        return tuple(sorted({lane for box in self.boxes for lane in box.lanes}))

    @property
    def gives(self) -> bool:
        """Is it what the station gives, and not only a handling on the way?"""
        return not self.key.rpartition(".")[2].isdecimal()

    @property
    def length(self) -> int:
        """Of the whole axis."""
        return max((box.start + box.length for box in self.boxes), default=0)

    @cached_property
    def _start(self) -> dict[tuple[str, int], int]:
        return {(box.unit, lane): box.start for box in self.boxes for lane in box.lanes}

    def flat(self, extent: Mapping[tuple[str, int], Spans]) -> dict[int, Spans]:
        """What of the extent lies here, on this axis: lane -> spans."""
        found: dict[int, list[Spans]] = {}
        for place in extent.keys() & self._start.keys():
            found.setdefault(place[1], []).append(extent[place].shifted(self._start[place]))
        return {
            lane: Spans(np.concatenate([s.starts for s in some]), np.concatenate([s.stops for s in some]))
            for lane, some in found.items()
        }

    def extent(self, start: int, stop: int, lanes: Iterable[int] = ()) -> Extent:
        """The units' own places of a stretch of the axis; no lanes named = all."""
        wanted = set(lanes) or set(self.rows)
        return Extent(
            [
                ((box.unit, lane), Spans.of((max(0, start - box.start), min(box.length, stop - box.start))))
                for box in self.boxes
                if start < box.start + box.length and stop > box.start
                for lane in box.lanes
                if lane in wanted
            ]
        )

    def at(self, x: int) -> Box | None:
        """The box that holds a place of the axis."""
        return next((box for box in self.boxes if box.start <= x < box.start + box.length), None)


@dataclass(frozen=True)
class Strip:
    """A station, and what it gave."""

    station: Station
    tracks: tuple[Track, ...]


def strips(reading: Reading) -> tuple[Strip, ...]:
    """All stations of the way in order; a station that has given nothing yet has no tracks."""
    by_station = _Sorted(reading)
    return tuple(Strip(one, by_station.tracks(one.name)) for one in WAY)


class _Sorted:
    """Units by station and handling."""

    def __init__(self, reading: Reading) -> None:
        self.shop, self.thread = reading.shop, reading.thread
        self.numbered = numbered_units(reading)
        self.lots = {
            lot
            for run in reading.shop.runs if run.pile
            for lot in (*(p.lot for p in run.pile.pulls), *(u.lot for u in run.pile.unknowns))
        }  # fmt: skip
        self.groups: dict[str, dict[tuple[str, int], list[str]]] = {}
        self._done: dict[str, dict[tuple[str, str], int]] = {}
        for unit, run in self.thread.maker.items():
            times = self._times(unit, run)
            way = (BESIDE, 0) if self._beside(unit) else (run.what, 0 if run.what in SORTING else times)
            self.groups.setdefault(self._station(unit, run), {}).setdefault(way, []).append(unit)

    def _station(self, unit: str, run: Run) -> str:
        """Piles handled on after numbering belong to the numbering's strip, whoever handled them."""
        return "numbering" if unit in self.numbered and run.station != "finish" else run.station

    def _times(self, unit: str, run: Run) -> int:
        """How often the same was done at this station to what the unit was made of."""
        done: dict[tuple[str, str], int] = {}
        for source in dict.fromkeys(run.pile.inputs if run.pile else (p.unit for p in run.pieces)):
            for key, many in self._done.get(source, {}).items():
                done[key] = max(many, done.get(key, 0))
        mine = run.station, run.what
        self._done[unit] = {**done, mine: done.get(mine, 0) + 1}
        return done.get(mine, 0)

    def _beside(self, unit: str) -> bool:
        return unit in self.lots or unit.endswith("/waste")

    def tracks(self, station: str) -> tuple[Track, ...]:
        """What it gives first, then what was done, then what went beside."""
        groups = self.groups.get(station, {})
        first = [
            self._track(f"{station}.{name}", words, units)
            for name, words, units in self._given(station, groups) if units
        ]  # fmt: skip
        done = [
            (n, what, self._track(f"{station}.{n}", self._words(what, times), units))
            for n, ((what, times), units) in enumerate(groups.items(), 1)
        ]
        on_the_way = [track for _, what, track in done if what != BESIDE]
        shown = {tuple(box.unit for box in track.boxes) for track in first}
        on_the_way = [t for t in on_the_way if tuple(box.unit for box in t.boxes) not in shown]
        return (*first, *self._series(station), *on_the_way, *(track for _, what, track in done if what == BESIDE))

    @staticmethod
    def _words(what: str, times: int) -> str:
        return what if times == 0 or what == BESIDE else f"{what}, {_NTH.get(times, f'time {times + 1}')}"

    def _given(self, station: str, groups: Mapping[tuple[str, int], list[str]]) -> list[tuple[str, str, list[str]]]:
        """What left the station or stands there, not taken by a handling of the same strip; rolls and piles apart."""
        mine = {unit for (what, _), units in groups.items() if what != BESIDE for unit in units}
        kept_on = {unit for unit in mine for run in self.thread.takers.get(unit, ()) if mine & _outputs(run)}
        left = [unit for unit in self.thread.maker if unit in mine and unit not in kept_on]
        rolls = [unit for unit in left if unit in self.shop.rolls]
        piles = [unit for unit in left if unit not in self.shop.rolls]
        gives = f"{next(one.gives for one in WAY if one.name == station)}s"
        return [("piles", gives, piles), ("rolls", "rolls not cut yet" if piles else gives, rolls)]

    def _track(self, key: str, words: str, units: list[str]) -> Track:
        """Units end to end; rolls of one run on lanes of their own lie side by side.  Waste of web is not drawn here:
        it shows where it was taken from.
        """
        piles = [unit for unit in units if unit not in self.shop.rolls]
        at, boxes, row = 0, [], dict[int, int]()
        for unit in piles or units:
            low, high = self._length(unit)
            run, lanes = self.thread.maker[unit], self.shop.rolls.get(unit, (0,))
            start = row.setdefault(run.seq, at) if unit in self.shop.rolls and len(lanes) == 1 else at
            boxes.append(Box(unit, start, high, low, lanes, run.seq))
            at = max(at, start + high)
        return Track(key, words, "sheets" if piles else "um", tuple(boxes), units[0] in self.lots)

    def _length(self, unit: str) -> tuple[int, int]:
        if unit in self.shop.web_length:
            return self.shop.web_length[unit], self.shop.web_length[unit]
        return self.thread.lengths.sheets(unit)

    def _series(self, station: str) -> list[Track]:
        """Numbers at the numbering, packs at the finish: the series of the order, each on an axis of its own."""
        words = {"numbering": "numbers of", "finish": "packs of"}.get(station)
        if words is None:
            return []
        return [
            Track(f"{station}.s{n}", f"{words} {name}", "notes", (Box(SERIES + name, 0, s.stop, s.stop, (0,), None),))
            for n, (name, s) in enumerate(self.shop.allocated.items())
        ]


def _outputs(run: Run) -> set[str]:
    return {unit for unit, _ in run.pile.outputs} if run.pile else {p.to_unit for p in run.pieces}
